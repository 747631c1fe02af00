/* model/residual.h - residuals that show odd values, and tests of assumptions.
 *
 *   studentised (external) and standardised (internal) residuals, leverage, Cook's distance
 *       Cook & Weisberg 1982, Residuals and Influence in Regression
 *   Shapiro-Wilk     Royston 1995, Appl Stat 44:547-551 (algorithm AS R94)
 *   Brown-Forsythe   1974, J Am Stat Assoc 69:364-367
 *   Bartlett         1937, Proc R Soc A 160:268-282
 *   Kruskal-Wallis   1952, J Am Stat Assoc 47:583-621;  Friedman 1937, ibid 32:675-701
 *   Box-Cox          1964, J R Stat Soc B 26:211-252 */
#ifndef QX_MODEL_RESIDUAL_H
#define QX_MODEL_RESIDUAL_H

#include "model/lmm.h"

typedef struct qx_residuals {
    size_t n;
    const double *raw;          /* y - X beta (least squares of the fixed part and, for mixed
                                   models, conditional on the random terms) */
    const double *leverage;
    const double *standardised; /* internally studentised */
    const double *studentised;  /* externally studentised */
    const double *cook;
    size_t df;                  /* of one external residual's t: n - p - 1 */
} qx_residuals;

QX_API qx_status qx_residuals_make(qx_ctx *cx, qx_arena *arena, const qx_lmm *fit,
                                   qx_residuals *out);

typedef struct qx_check_value {
    double value, p, num_df, den_df; /* NAN where there is none */
} qx_check_value;

/* n 3 ... 5000; QX_E_ARG otherwise or when all values are equal. */
QX_API qx_status qx_shapiro_wilk(qx_ctx *cx, size_t n, const double x[], qx_check_value *out);
QX_API qx_status qx_brown_forsythe(qx_ctx *cx, size_t n, const double x[], size_t groups,
                                   const uint32_t group[], qx_check_value *out);
QX_API qx_status qx_bartlett(qx_ctx *cx, size_t n, const double x[], size_t groups,
                             const uint32_t group[], qx_check_value *out);
QX_API qx_status qx_kruskal_wallis(qx_ctx *cx, size_t n, const double x[], size_t groups,
                                   const uint32_t group[], qx_check_value *out);
/* One value a cell of blocks x treatments, else QX_E_ARG. */
QX_API qx_status qx_friedman(qx_ctx *cx, size_t n, const double x[], size_t treatments,
                             const uint32_t treatment[], size_t blocks,
                             const uint32_t block[], qx_check_value *out);

typedef struct qx_box_cox {
    double lambda, lower, upper; /* profile likelihood estimate and interval at `level` */
} qx_box_cox;

/* All y (unshifted) > 0, else QX_E_ARG. Fixed part by least squares. */
QX_API qx_status qx_box_cox_profile(qx_ctx *cx, const qx_design *design, const double y[],
                                    double level, qx_box_cox *out);

#endif
