/* model/family.h - the contract of a response family: how counts and shares scatter around
 * their mean, and the list of families.
 *
 * A family is a const descriptor in a file of its own (family_<key>.c) and one line in
 * families.def. Nothing else changes when one is added: fits, tests, residuals, simulation
 * and power follow from the descriptor.
 *
 *   binomial           k of n                        n mu (1 - mu)
 *   beta-binomial      k of n, the share varies      n mu (1 - mu) (phi + n) / (phi + 1)
 *   Poisson            k                             mu
 *   negative binomial  k, the mean varies            mu + mu^2 / theta
 *
 * The second of each pair has a spread psi >= 0 with psi^2 = 1/phi or 1/theta: its
 * log-likelihood is smooth and even in psi and that of the plain family at psi = 0, so that
 * "no extra variation" is an inner point for the optimiser. `dispersion` turns psi into the
 * number that is reported.
 *
 * A share is mu (of 1), a count is mu itself. k and n are whole numbers held as double; n is
 * ignored by counts. */
#ifndef QX_MODEL_FAMILY_H
#define QX_MODEL_FAMILY_H

#include <stdbool.h>
#include <stddef.h>

#include "base/ctx.h"
#include "model/laplace.h"
#include "model/link.h"
#include "numeric/rng.h"

typedef enum { QX_SERVES_COUNT, QX_SERVES_SHARE } qx_serves;

/* Rows for the likelihood of a family (data of qx_family.rows). */
typedef struct qx_family_rows {
    qx_link link;
    const double *k;        /* n rows */
    const double *size;     /* n rows; NULL for counts */
    const double *weight;   /* n rows: how many alike rows each stands for; NULL: 1 */
    const double *constant; /* n rows: weight times the part of l without parameters */
    double rounding;        /* of the sum of l: that of the constants, which it cancels */
} qx_family_rows;

typedef struct qx_family {
    const char *key;    /* "binomial" */
    const char *title;  /* "beta-binomial": the words of results */
    const char *source; /* author, year, title */
    qx_serves serves;
    qx_link default_link;
    size_t parameters;           /* 0, or 1 for the spread psi */
    const char *dispersion_name; /* "phi", "theta"; NULL without a spread */
    const char *modelled_by; /* key of the family with the spread; NULL if it has one */
    bool
        collapses; /* rows with the same predictor may be joined by adding k and n (or k and
                       weights) */

    /* Can k of n be? `why` receives a static text of what was expected. */
    bool (*support)(double k, double n, const char **why);

    /* May this link be used? */
    bool (*takes)(qx_link link);

    /* Variance of k. Share: n mu (1 - mu) ...; count: mu ... */
    double (*variance)(double mu, double n, double psi);

    /* log of the probability of k with all constants; -INFINITY where it is 0. */
    double (*loglik)(double k, double n, double mu, double psi);

    /* The part of loglik that depends on k and n alone (binomial coefficient). */
    double (*constant)(double k, double n);

    /* d loglik / d mu. */
    double (*score)(double k, double n, double mu, double psi);

    /* 2 (loglik at the saturated mean - loglik at mu), the spread as it is; >= 0. */
    double (*deviance)(double k, double n, double mu, double psi);

    /* P(K <= k): for randomised quantile residuals. */
    double (*below)(double k, double n, double mu, double psi);

    /* One k drawn. */
    double (*simulate)(qx_rng *rng, double n, double mu, double psi);

    /* The reported number (phi, theta) from psi, INFINITY at 0; and back. NULL without. */
    double (*dispersion)(double psi);
    double (*spread)(double dispersion);

    /* log-likelihood of rows in terms of the linear predictor; data: qx_family_rows. */
    qx_row_likelihood *rows;
} qx_family;

#define X(key) extern QX_API const qx_family qx_family_##key;
#include "model/families.def"
#undef X

QX_API size_t qx_family_count(void);
QX_API const qx_family *qx_family_get(size_t i);
QX_API const qx_family *qx_family_find(const char *key); /* or NULL */

/* Rows (numbers from 0, at most `most` of them into row[]) whose k and size the family
 * cannot have: negative, fractional, not finite, k > n, n < 0. Gives how many there are;
 * `why` as in support, for the first. A size of 0 with k = 0 is allowed and tells nothing. */
QX_API size_t qx_family_refused(const qx_family *family,
                                size_t n,
                                const double k[],
                                const double size[],
                                size_t most,
                                size_t row[],
                                const char **why);

#endif
