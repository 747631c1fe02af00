/* model/anova.h - the classical table of a balanced layout: mean squares, what they are
 * expected to be, and what the blocking was worth.
 *
 * In a balanced orthogonal layout (model/strata.h) each random term k has r_k rows a unit,
 * and Z_k Z_k' / r_k projects onto a space that is the sum of whole strata. So the mean
 * square that is left in stratum s is expected to be
 *
 *     E(MS_s) = sigma2 + sum r_k variance_k    over k = s and every k that lies inside s
 *
 * and a treatment tested there adds its own effects to the same sum; F is the ratio of the
 * two. Solved from the smallest unit upward the mean squares give estimates of the
 * components that know no boundary: they may be negative.
 *
 * Relative efficiency: had the treatments been put on the units of stratum s without
 * looking at the coarser unit k, the error would have been expected to be the mean of both
 * mean squares, weighted by all degrees of freedom of each stratum:
 *
 *     E = (d_s MS_s + d_k MS_k) / (d_s + d_k)       relative = E / MS_s
 *
 * so many times the replicates give the same precision without k. Fisher's factor
 * (f1 + 1)(f2 + 3) / ((f1 + 3)(f2 + 1)) pays for the degrees of freedom of the error, f1
 * with and f2 without k.
 *
 * Source: Henderson 1953, Biometrics 9:226-252 and Searle, Casella & McCulloch 1992,
 * Variance Components, ch. 4 (expected mean squares); Nelder 1965, Proc R Soc A 283:147-162
 * (strata); Yates 1935, J R Stat Soc Suppl 2:181-247 and Cochran & Cox 1957, Experimental
 * Designs, ch. 4 (efficiency); Fisher 1935, The Design of Experiments (the factor). */
#ifndef QX_MODEL_ANOVA_H
#define QX_MODEL_ANOVA_H

#include "model/strata.h"

typedef struct qx_anova_line {
    size_t stratum; /* random term, or random_count: the residual */
    size_t term;    /* fixed term, or QX_NO_COLUMN: what is left in the stratum */
    double df, sum_of_squares, mean_square;
    double error_df, f, p; /* against what is left; NAN for the latter, or without df */
} qx_anova_line;

typedef struct qx_anova {
    size_t stratum_count;
    const double *weight; /* stratum_count^2: E(MS_s) = sum_k weight[s + k count] v_k, the
                             residual last; all 0 in the row of an empty stratum */
    const double *component; /* stratum_count: estimates without a boundary; NAN where
                                nothing is left to estimate them from */
    size_t line_count;       /* strata in order, in each its terms, then what is left */
    const qx_anova_line *line;
} qx_anova;

/* All in `arena`. `strata` must be balanced, else QX_E_ARG. QX_E_NOMEM. */
QX_API qx_status qx_anova_make(qx_ctx *cx,
                               qx_arena *arena,
                               const qx_lmm_spec *spec,
                               const qx_design *design,
                               const qx_strata *strata,
                               qx_anova *out);

typedef struct qx_efficiency {
    double relative;            /* E / MS_s */
    double corrected;           /* times Fisher's factor */
    double df_with, df_without; /* f1, f2 */
} qx_efficiency;

/* Pools `count` strata of which the first holds the error: df (all of each stratum),
 * mean_square (what is left in it), treated (df of the treatments in it), count entries
 * each. NAN where a mean square is not > 0 or its df are used up. */
QX_API qx_efficiency qx_efficiency_of(size_t count,
                                      const double df[],
                                      const double mean_square[],
                                      const double treated[]);

#endif
