/* findings/small_sample.h - tests of counts, shares, grades and classes when units are few.
 *
 * Chi-squared and the normal distribution belong to endless data. With six blocks the
 * variation between units is known by a few degrees of freedom, exactly as for centimetres,
 * and a likelihood ratio is held against F or t with those: the df that containment
 * (model/containment.h) finds for the same layout,
 *
 *     terms        (likelihood ratio / df1)  against F(df1, df of the units)
 *     differences  signed root of the likelihood ratio  against t(df of the units)
 *
 * docs/calibration.md shows the error rates of both. With `bootstrap` in the protocol the
 * terms' tests are made by simulation instead (model/glmm_bootstrap.h). */
#ifndef QX_FINDINGS_SMALL_SAMPLE_H
#define QX_FINDINGS_SMALL_SAMPLE_H

#include "findings/work.h"

/* Pairs of one family that are tested by likelihood ratio; with more, which nobody reads
 * one by one, Wald's statistic serves. */
#define QX_RATIOS_MOST 66

/* Sets w->small_method and w->units. `varies`: the model estimates how much units or things
 * vary, so that df are limited; else (a penalty alone) the ratio is held against chi-squared
 * and the normal distribution. *fit is freed by qx_lmm_free; NULL when nothing limits the df.
 * QX_E_NOMEM. */
qx_status qx_small_sample_prepare(qx_work *w, bool varies, qx_lmm **fit);

/* df of a row, INFINITY where nothing limits them. */
double qx_small_df(qx_work *w, const double row[]);

/* p of a likelihood ratio with num_df for L beta = 0. */
qx_status
qx_small_p(qx_work *w, qx_mat L, double chisq, double num_df, double *p, double *den_df);

#endif
