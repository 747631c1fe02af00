/* findings/small_sample.h - tests of counts, shares, grades and classes when units are few.
 *
 * Chi-squared and the normal distribution belong to endless data. With six blocks the
 * variation between units is known by a few degrees of freedom, exactly as for centimetres,
 * and likelihood takes it too small besides. Both are made good from the linear model that
 * the fit is near to (linearised.h: df, factor):
 *
 *     terms        F = (df / df1) (exp(ratio / (factor df)) - 1)   against F(df1, df)
 *     differences  the signed root of the same with df1 = 1        against t(df)
 *     intervals    standard errors times sqrt(factor), t(df)
 *
 * F is what a likelihood ratio with all variances unknown is in a linear model (there, n rows
 * and p effects: df = n - p, factor = n / (n - p), ratio = n log(1 + df1 F / df)), and
 * ratio / df1 when nothing limits the df.
 *
 * Classes without order take the df that containment (model/containment.h) finds for the
 * layout; grades of single things without units take n - p, the rule of linear models.
 * docs/calibration.md shows the error rates of both. With `bootstrap` in the protocol the
 * terms' tests are made by simulation instead (model/glmm_bootstrap.h). */
#ifndef QX_FINDINGS_SMALL_SAMPLE_H
#define QX_FINDINGS_SMALL_SAMPLE_H

#include "findings/work.h"
#include "model/classes.h"
#include "model/glmm.h"

/* Pairs of one family that are tested by likelihood ratio; with more, which nobody reads
 * one by one, Wald's statistic serves. */
#define QX_RATIOS_MOST 66

/* Set w->small (small_method NULL where p serves as it is); needs w->design. `penalised`: a
 * penalty holds the fit, so that Wald's statistic means little. *units is freed by
 * qx_lmm_free, NULL where it is not needed. QX_E_NOMEM. */
qx_status qx_small_counts(qx_work *w, const qx_glmm *fit, bool penalised);
qx_status qx_small_classes(qx_work *w, const qx_classes *fit, qx_lmm **units);

/* df of a row, INFINITY where nothing limits them; factor of its variance, at least 1. */
double qx_small_df(qx_work *w, const double row[]);
double qx_small_factor(const qx_work *w, const double row[]);

/* F of a likelihood ratio as above; df may be INFINITY. With a spread of the rows themselves
 * (negative binomial, beta-binomial) the ratio is no logarithm: there, ratio / (df1 factor). */
double
qx_small_f(const qx_work *w, double ratio, double num_df, double df, double factor);

/* p of a likelihood ratio with num_df for L beta = 0. */
qx_status qx_small_p(qx_work *w, qx_mat L, double chisq, double num_df, double *p);

#endif
