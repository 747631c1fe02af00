/* model/covariance.h - covariances beyond independent units: what a model asks for, and the
 * matrices that follow.
 *
 *     V(theta) = sum_i variance_i Z_i Z_i'          units (model/lmm.h)
 *              + S o rho^|t_a - t_b|                residual: rows of one series
 *              + field o rho_row^|dr| rho_place^|dp|  neighbours in the field
 *
 *   residual   each level of `residual_by` (a season) may have a variance of its own; the
 *              rows of one series (one unit on several dates) are correlated by the
 *              distance of their dates, first order: rho to the power of the distance in
 *              units of the shortest step. Without series rows are independent. A series
 *              lies inside one level.
 *   field      the units in their places: correlated by rows between and places between
 *              (the product of two first-order processes); rows of one unit share its
 *              value. The unit's own independent variation stands beside it.
 *
 * V is linear in the variances and not in the correlations: V_i and V_ij are its first and
 * second derivatives. Matrices are over the rows of one set (model/general.h).
 *
 * Source: first-order autoregression at uneven times: Jones & Boadi-Boateng 1991,
 * Biometrics 47:161-175; separable row-column processes in field trials: Cullis & Gleeson
 * 1991, Biometrics 47:1449-1460. */
#ifndef QX_MODEL_COVARIANCE_H
#define QX_MODEL_COVARIANCE_H

#include <stdbool.h>

#include "base/ctx.h"
#include "model/frame.h"
#include "numeric/dense.h"

/* A correlation is looked for inside this distance of +-1, where V is still well
 * conditioned. */
#define QX_RHO_MOST 0.999

typedef struct qx_covariance {
    size_t residual_by; /* frame factor, or QX_NO_COLUMN: one residual variance */
    size_t series; /* frame factor: rows of one level are one unit on several dates */
    const double *time;      /* n: date of each row in shortest steps; with series */
    bool field;              /* correlated neighbours */
    const double *row;       /* n: row of the field, whole numbers; with field */
    const double *place;     /* n: place in its row, whole numbers; NULL: one place */
    const char *series_name; /* names of the correlations and of the field's component */
    const char *row_name, *place_name, *field_name;
} qx_covariance;

#define QX_COVARIANCE_NONE                                                               \
    ((qx_covariance){.residual_by = QX_NO_COLUMN, .series = QX_NO_COLUMN})

typedef enum {
    QX_PART_UNIT,     /* variance of a random term */
    QX_PART_RESIDUAL, /* residual variance, of one level or of all */
    QX_PART_SERIES,   /* correlation of neighbouring dates */
    QX_PART_FIELD,    /* variance of the field */
    QX_PART_ROW,      /* correlation of neighbouring rows */
    QX_PART_PLACE     /* correlation of neighbouring places */
} qx_part_kind;

/* One parameter of V. */
typedef struct qx_part {
    qx_part_kind kind;
    const uint32_t *code; /* unit: n codes of the random term */
    size_t level;         /* residual: number in residual_by */
    double low, high;     /* of the parameter; high INFINITY for a variance */
} qx_part;

/* What the matrices are made from. */
typedef struct qx_parts {
    size_t n, count;
    const qx_part *part;
    const uint32_t *level_of; /* n: level of residual_by; NULL: one level */
    const uint32_t *series;   /* n; NULL: rows are independent */
    const double *time;
    const double *row, *place;    /* NULL without a field */
    size_t at[QX_PART_PLACE + 1]; /* number of the first parameter of each kind, or
                                     QX_NO_COLUMN */
    size_t levels;                /* residual parameters */
} qx_parts;

bool qx_part_is_variance(qx_part_kind kind);

/* V over the given rows; k x k, both triangles. */
void qx_parts_covariance(const qx_parts *parts,
                         const double theta[],
                         size_t k,
                         const size_t row[],
                         qx_mat out);

/* dV/dtheta_i. */
void qx_parts_first(const qx_parts *parts,
                    const double theta[],
                    size_t i,
                    size_t k,
                    const size_t row[],
                    qx_mat out);

/* Is d2V/dtheta_i dtheta_j anything but nil? */
bool qx_parts_curved(const qx_parts *parts, size_t i, size_t j);

/* d2V/dtheta_i dtheta_j of a pair that is. */
void qx_parts_second(const qx_parts *parts,
                     const double theta[],
                     size_t i,
                     size_t j,
                     size_t k,
                     const size_t row[],
                     qx_mat out);

#endif
