/* findings/linearised.h - what few units cost a model of counts, shares, grades or classes:
 * restricted estimates of its variances, and the degrees of freedom of its contrasts.
 *
 * Around the fit the model is nearly a linear one for a working response,
 *
 *     z = X beta + sum of Z_k u_k + e,   Sigma = diag(v) + sum theta_k Z_k Z_k'
 *
 * v_i: variance of a row on the scale of the link, known from its mean but for the family's
 * own spread tau; phi the variances (theta, tau). So what is known of linear models serves:
 *
 *   phi*    restricted estimates. Maximum likelihood takes variances too small, since it
 *           forgets the effects that were estimated, and often takes a real one for nil. phi*
 *           is the top of log L(phi) - 1/2 log|X' Sigma^-1 X|, log L the model's own (Laplace)
 *           with the fixed effects at their best: Cox & Reid's adjusted profile. Fisher
 *           scoring, with slope  d log L / d phi_k + 1/2 tr((Sigma^-1 - P) S_k)
 *   C       (X' Sigma^-1 X)^-1 at phi*
 *   A       covariance of phi*: I^-1 J I^-1 with I = 1/2 tr(P S_k P S_l), the information of
 *           normal rows, and J = I + 1/4 sum_i (P S_k P)_ii (P S_l P)_ii kappa_i, kappa_i the
 *           fourth cumulant of row i: the variance of a quadratic form. For the spread of a
 *           family its own expected information instead (`known`), but in A no more than that
 *           of normal rows: what a likelihood knows beyond it, it knows of endless data
 *   df      2 V^2 / (g' A g),   V = c'Cc, g its derivatives by phi: many where chance within
 *           units is what counts, and no more than there are units where their variation is
 *   factor  V(phi*) / V(phi of the fit), for standard errors that were made at the latter
 *   share   a variance at nil in phi* would often be less than nil, if it could: units differ
 *           less than chance alone makes them. A test against a variance that is never less
 *           than that of chance rejects too seldom (or, where that is forgotten, too often);
 *           as with centimetres (model/unconstrained.h) tests go by the variance without the
 *           bound, one scoring step of all of phi beyond phi*: share = 1 + g'step / V
 *
 * A variance at nil stays in A (limbs never become replicates of what was done to trees).
 *
 * Source: Breslow & Clayton 1993, J Am Stat Assoc 88:9-25 (linearised model); Cox & Reid 1987,
 * J R Stat Soc B 49:1-39, Bellio & Brazzale 2011, Stat Comput 21:173-183 (restricted
 * likelihood of such models); Seber & Lee 2003, Linear Regression Analysis, 2nd ed., section
 * 1.4 (variance of a quadratic form; from memory); Satterthwaite 1946, Biometrics Bulletin
 * 2:110-114; Giesbrecht & Burns 1985, Biometrics 41:477-486; Fai & Cornelius 1996, J Stat
 * Comput Simul 54:363-378 (several rows). How well it holds: docs/calibration.md. */
#ifndef QX_FINDINGS_LINEARISED_H
#define QX_FINDINGS_LINEARISED_H

#include "model/design.h"

#define QX_LINEARISED_ROWS_MOST  800 /* dense; more rows: large data need no such care */
#define QX_LINEARISED_TERMS_MOST 16

#define QX_LINEARISED_APART UINT32_MAX /* a row that is in no unit of a part */

/* The rows on the scale of the link. */
typedef struct qx_linearised_rows {
    qx_mat X;             /* n x p */
    const double *v;      /* n: variances, those that act row by row included; or */
    qx_mat block;         /* n x n: covariance of the rows; at NULL: v */
    const double *fourth; /* n: fourth cumulants, or NULL: normal */
} qx_linearised_rows;

/* A variance: of units (code), or one that acts on each row by itself (code NULL; slope:
 * derivative of v by it). */
typedef struct qx_linearised_part {
    double variance;      /* at which v holds, and where the search begins */
    double told;          /* at which the standard errors were made */
    const uint32_t *code; /* n */
    size_t count;
    const double *slope; /* n, with code NULL */
    double known;        /* information about it over that of normal rows; 1 for units */
    bool exact;          /* `known` says it all; else `fourth` does the rest */
} qx_linearised_part;

/* Derivatives of the model's own log L (fixed effects at their best) by each variance, at
 * `variance`. QX_E_NUMERIC: not to be had there. */
typedef qx_status
qx_linearised_score(qx_ctx *cx, const void *fit, const double variance[], double score[]);

typedef struct qx_linearised {
    size_t p, parts;
    double variance[QX_LINEARISED_TERMS_MOST]; /* restricted estimates, not below nil */
    double beyond[QX_LINEARISED_TERMS_MOST];   /* the step from there without the bound */
    qx_mat C, plain; /* p x p: at phi*, and at the variances that were told */
    qx_mat slope[QX_LINEARISED_TERMS_MOST]; /* p x p: derivatives of C by each variance */
    qx_mat A;                               /* parts x parts */
} qx_linearised;

/* In `arena`; *out NULL when there are no parts, too many rows, or the numbers do not allow it
 * (not an error). QX_E_NOMEM. */
qx_status qx_linearised_make(qx_ctx *cx,
                             qx_arena *arena,
                             const qx_linearised_rows *rows,
                             size_t part_count,
                             const qx_linearised_part part[],
                             qx_linearised_score *score,
                             const void *fit,
                             const qx_linearised **out);

/* What is allowed for in several rows (r x p) at once; of the factors the mean over their
 * directions. */
typedef struct qx_allowance {
    double df;     /* INFINITY where nothing limits them */
    double factor; /* the variance that was told should be larger by; at least 1 */
    double share;  /* of the variance at phi*, without the bound at nil; at most 1 */
} qx_allowance;

/* QX_E_NOMEM. */
qx_status
qx_linearised_joint(qx_ctx *cx, const qx_linearised *l, qx_mat L, qx_allowance *out);

#endif
