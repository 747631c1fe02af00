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
 * Handed to qx_lmm_fit in the spec. How V follows from it: model/parts.h; docs/methods/
 * covariance.md.
 *
 * Source: first-order autoregression at uneven times: Jones & Boadi-Boateng 1991,
 * Biometrics 47:161-175; separable row-column processes in field trials: Cullis & Gleeson
 * 1991, Biometrics 47:1449-1460. */
#ifndef QX_MODEL_COVARIANCE_H
#define QX_MODEL_COVARIANCE_H

#include <stdbool.h>

#include "model/frame.h"

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

#endif
