/* model/exact.h - exact tests for small and sparse tables, where no large-sample p may be
 * trusted: by going through all that could have been, given the margins.
 *
 *   table        r treatments x c classes of independent things: all tables with the same
 *                margins, p = those no more likely than the observed one (Freeman & Halton
 *                1951, Biometrika 38:141-149)
 *   permutation  one score a unit, treatments placed on units by chance, within blocks: all
 *                ways of placing them, p = those with between-treatment sum of squares at
 *                least as large (Pitman 1937, Suppl J R Stat Soc 4:119-130). Valid when the
 *                things inside a unit hang together (five buds of one section)
 *   odds         two groups over strata: the number found in the first group given all
 *                margins, with its exact p, interval and an estimate that stays finite
 *                (Mehta & Patel 1995, Stat Med 14:2143-2160; Hirji, Tsiatis & Mehta 1989, Am
 *                Stat 43:7-11 for the median unbiased estimate)
 *
 * Where there is too much to go through, arrangements are drawn by chance instead, from a
 * seed, and p = (1 + as extreme) / (1 + drawn), never zero (Phipson & Smyth 2010, Stat Appl
 * Genet Mol Biol 9:39); `exact` is then false and `se` its Monte Carlo error. */
#ifndef QX_MODEL_EXACT_H
#define QX_MODEL_EXACT_H

#include <stdbool.h>
#include <stdint.h>

#include "base/ctx.h"
#include "numeric/rng.h"

typedef struct qx_exact {
    double p;
    double se; /* Monte Carlo; 0 when exact */
    bool exact;
    double arrangements; /* gone through, or drawn */
} qx_exact;

/* count: r x c, row by row, whole numbers >= 0. `draws` when there is too much to go through
 * (0: 100,000). QX_E_ARG (a count that is not whole), QX_E_INPUT (nothing in the table),
 * QX_E_NOMEM. */
QX_API qx_status qx_exact_table(qx_ctx *cx,
                                size_t r,
                                size_t c,
                                const double count[],
                                size_t draws,
                                uint64_t seed,
                                qx_exact *out);

/* Units i of n: score, group (0 ... groups - 1), stratum (any numbers; NULL: one stratum).
 * Scores are centred within strata. QX_E_ARG, QX_E_INPUT (nothing can be exchanged). */
typedef struct qx_permutation {
    size_t n, groups;
    const double *score;
    const uint32_t *group, *stratum;
    size_t draws; /* 0: 100,000 */
    uint64_t seed;
} qx_permutation;

QX_API qx_status qx_exact_permutation(qx_ctx *cx,
                                      const qx_permutation *question,
                                      qx_exact *out);

typedef struct qx_exact_odds {
    double p;            /* two-sided: outcomes no more likely than the observed one */
    double log_odds;     /* conditional maximum likelihood; at an end of what is possible
                            the median unbiased estimate */
    bool median;         /* it is the latter */
    double lower, upper; /* of the log odds ratio; infinite at an end */
} qx_exact_odds;

/* Stratum s: k1 of n1 in the first group, k0 of n0 in the second; whole numbers. QX_E_ARG,
 * QX_E_INPUT (the margins leave one outcome only). Cost: sum of sizes squared. */
QX_API qx_status qx_exact_odds_ratio(qx_ctx *cx,
                                     size_t strata,
                                     const double k1[],
                                     const double n1[],
                                     const double k0[],
                                     const double n0[],
                                     double level,
                                     qx_exact_odds *out);

#endif
