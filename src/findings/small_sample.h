/* findings/small_sample.h - tests of counts, shares, grades and classes when units are few.
 *
 * Chi-squared and the normal distribution belong to endless data. With six blocks the
 * variation between units is known by a few degrees of freedom, exactly as for centimetres,
 * and likelihood takes it too small besides. So what is tested is the likelihood ratio D of two
 * fits that both hold the variances at their restricted estimates, as a linear model's F does:
 *
 *     terms        D / (df1 share)                 against F(df1, df)
 *     differences  the signed root, sqrt(D / share)    against t(df)
 *     intervals    standard errors times sqrt(factor), t(df)
 *
 * with df, factor and share of linearised.h. Where extra variation between the things was
 * looked for and not taken up (choose_family.h), the family with a spread stands behind the
 * tests all the same: its restricted spread, often nil, and the uncertainty of it. A test that
 * took "not shown" for "none" would be wrong in just those trials where chance hid it.
 *
 * Grades and classes of single things without units have no variance to estimate; their ratio
 * is divided by its mean over its degrees of freedom (Bartlett's correction,
 * model/classes_bartlett.c) and goes against chi-squared.
 *
 * Means without units keep the model's own interval (contract), unless the spread of their
 * family was found by the test: then they go by t as well. Differences of classes without
 * order are tested by Wald's statistic over sqrt(factor).
 *
 * docs/calibration.md shows the error rates. With `bootstrap` in the protocol the terms' tests
 * are made by simulation instead (model/glmm_bootstrap.h). */
#ifndef QX_FINDINGS_SMALL_SAMPLE_H
#define QX_FINDINGS_SMALL_SAMPLE_H

#include "findings/choose_family.h"
#include "model/classes.h"
#include "model/glmm.h"

/* Pairs of one family that are tested by likelihood ratio; with more, which nobody reads
 * one by one, Wald's statistic serves. */
#define QX_RATIOS_MOST 66

/* Set w->small_method (NULL where p serves as it is), w->small_means and w->linear; need
 * w->design. `wide`: of choose_family.h, or NULL; borrowed until *held is freed. *held: the fit
 * with its variances at the restricted estimates, for w->estimator.held, freed by its own free;
 * NULL where no variance is limited. QX_E_NOMEM. */
qx_status qx_small_counts(qx_work *w,
                          const qx_glmm *fit,
                          const qx_glmm *wide,
                          const qx_family_choice *choice,
                          qx_glmm **held);
qx_status qx_small_classes(qx_work *w, const qx_classes *fit, qx_classes **held);

/* What is allowed for in row'beta; nothing without w->linear. QX_E_NOMEM. */
qx_status qx_small_allowance(qx_work *w, const double row[], qx_allowance *out);

/* Root of the likelihood ratio of row'beta = 0 that goes with its allowance; not-a-number where
 * there is none. Not for classes without order. */
qx_status
qx_small_root(qx_work *w, const double row[], const qx_allowance *a, double *root);

/* p of L beta = 0, whose likelihood ratio in the fit is chisq with num_df. */
qx_status qx_small_p(qx_work *w, qx_mat L, double chisq, double num_df, double *p);

#endif
