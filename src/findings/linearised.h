/* findings/linearised.h - what few units cost a model of counts, shares or grades: degrees of
 * freedom of its contrasts, and the smallness of its variances made good.
 *
 * Around the fit the model is nearly a linear one for a working response,
 *
 *     z = X beta + sum of Z_k u_k + e,   Sigma = diag(v) + sum theta_k Z_k Z_k'
 *
 * v_i: variance of a row on the scale of the link, known from its mean but for the family's
 * own spread tau. So what is known of linear models serves:
 *
 *   C(phi)   (X' Sigma^-1 X)^-1, phi the variances (theta, tau)
 *   A        inverse of the expected REML information of phi, 1/2 tr(P S_i P S_j)
 *   df       2 V^2 / (g' A g),   V = c'Cc, g its derivatives (Satterthwaite 1946; Giesbrecht
 *            & Burns 1985): many where chance within units is what counts, and no more
 *            than there are units where their variation is
 *   factor   V(phi*) / V(phi): maximum likelihood takes variances too small, since it
 *            forgets the effects that were estimated; phi* is one scoring step from it
 *            towards REML, A (1/2) tr((Sigma^-1 - P) S_i)
 *
 * A variance at zero stays there and stays in A (limbs never become replicates of what was
 * done to trees).
 *
 * Source: Breslow & Clayton 1993, J Am Stat Assoc 88:9-25 (linearised model and REML in it);
 * Satterthwaite 1946, Biometrics Bulletin 2:110-114; Giesbrecht & Burns 1985, Biometrics
 * 41:477-486; Fai & Cornelius 1996, J Stat Comput Simul 54:363-378 (several rows). How well
 * it holds: docs/calibration.md. */
#ifndef QX_FINDINGS_LINEARISED_H
#define QX_FINDINGS_LINEARISED_H

#include "model/design.h"

#define QX_LINEARISED_ROWS_MOST  800 /* dense; more rows: large data need no such care */
#define QX_LINEARISED_TERMS_MOST 16

/* A variance: of units (code), or one that acts on each row by itself (code NULL; slope:
 * derivative of v by it). */
typedef struct qx_linearised_part {
    double variance;
    const uint32_t *code; /* n */
    size_t count;
    const double *slope; /* n, with code NULL */
} qx_linearised_part;

typedef struct qx_linearised {
    size_t p, parts;
    bool by_rows;                           /* a variance acts on each row by itself */
    qx_mat C, plain;                        /* p x p: at phi* and at phi */
    qx_mat slope[QX_LINEARISED_TERMS_MOST]; /* p x p: derivatives of C by each variance */
    qx_mat A;                               /* parts x parts */
} qx_linearised;

/* design: n rows. v: n, all variances included. In `arena`; *out NULL when there are no
 * parts, too many rows, or the numbers do not allow it (not an error). QX_E_NOMEM. */
qx_status qx_linearised_make(qx_ctx *cx,
                             qx_arena *arena,
                             const qx_design *design,
                             const double v[],
                             size_t part_count,
                             const qx_linearised_part part[],
                             const qx_linearised **out);

/* df of row'beta, INFINITY where nothing limits them. */
double qx_linearised_df(const qx_linearised *l, const double row[]);

/* Factor by which the variance of row'beta should be larger; at least 1. */
double qx_linearised_factor(const qx_linearised *l, const double row[]);

/* Both for several rows (r x p) at once: df of an F with r numerator df, and the mean factor.
 * QX_E_NOMEM. */
qx_status qx_linearised_joint(
    qx_ctx *cx, const qx_linearised *l, qx_mat L, double *df, double *factor);

#endif
