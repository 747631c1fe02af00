/* model/parts.h - the parameters of a covariance (model/covariance.h) and the matrices that
 * follow from them. Private to model/.
 *
 * V is linear in the variances and not in the correlations: V_i and V_ij are its first and
 * second derivatives. Matrices are over the rows of one set (model/general.h). */
#ifndef QX_MODEL_PARTS_H
#define QX_MODEL_PARTS_H

#include <stdbool.h>

#include "model/covariance.h"
#include "numeric/dense.h"

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
