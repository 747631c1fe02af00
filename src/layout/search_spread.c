/* The cheap part of the search. With mu the eigenvalue that a balanced layout would have,
 *
 *     f = sum (lambda - mu)^2 = |C|^2 - 2 mu tr C + constant
 *
 * and a change C' = C - (a d' + d a') moves it by
 *
 *     f' - f = -4 a'Cd + 2 (a'a d'd + (a'd)^2) + 4 mu a'd,
 *
 * where d has two entries and a as many as two blocks hold: nothing here grows with v. A
 * layout with even eigenvalues is close to the best (Shah 1960, Ann Math Statist
 * 31:791-794), which search_exact.c then looks for. */
#include "layout/search_state.h"

#define LEVELS 16  /* thresholds, the last one zero */
#define FIRST  1.0 /* first threshold in steps of one concurrence; tried on lattices */

/* C -= a d' + d a' in two rows and two columns. */
static void apply(qx_searching *s, size_t i, size_t j)
{
    const size_t v = s->v;
    for (size_t x = 0; x < s->touched_count; x++) {
        const size_t t = s->touched[x];
        const double a = s->value[t];
        s->G[t * v + j] -= a;
        s->G[t * v + i] += a;
        s->G[j * v + t] -= a;
        s->G[i * v + t] += a;
    }
}

static double rise(const qx_searching *s, size_t i, size_t j, double mu)
{
    double acd = 0;
    double aa = 0;
    for (size_t x = 0; x < s->touched_count; x++) {
        const double a = s->value[s->touched[x]];
        const double *row = s->G + s->touched[x] * s->v;
        acd += a * (row[j] - row[i]);
        aa += a * a;
    }
    const double ad = s->value[j] - s->value[i];
    return -4 * acd + 4 * aa + 2 * ad * ad + 4 * mu * ad;
}

static void attempt(qx_searching *s, size_t p, size_t q, double mu, double threshold)
{
    const size_t i = s->at[p];
    const size_t j = s->at[q];
    if (i == j || !qx_searching_gather(s, p, q)) {
        return;
    }
    s->spent += 2 * (double)s->touched_count + 20;
    if (rise(s, i, j, mu) < threshold) {
        apply(s, i, j);
        s->at[p] = (uint32_t)j;
        s->at[q] = (uint32_t)i;
    }
    qx_searching_forget(s);
}

/* One concurrence more and one less: the smallest step of f, by the mean block size. */
static double step_of(const qx_searching *s)
{
    double step = 0;
    for (size_t f = 0; f < s->in->blocking_count; f++) {
        const double k = (double)s->n / (double)s->in->blocking[f].count;
        step += s->in->sign[f] > 0 ? 4 / (k * k) : 0;
    }
    return step;
}

/* Trace of C over v - 1 if every block were binary. */
static double even_eigenvalue(const qx_searching *s)
{
    double trace = (double)s->n;
    for (size_t f = 0; f < s->in->blocking_count; f++) {
        trace -= s->in->sign[f] * (double)s->in->blocking[f].count;
    }
    return s->v > 1 ? trace / (double)(s->v - 1) : trace;
}

void qx_spread_run(qx_searching *s, size_t tries)
{
    const double mu = even_eigenvalue(s);
    const double step = step_of(s);
    qx_searching_information(s);
    s->spent += (double)s->v * (double)s->v;
    for (size_t level = 0; level < LEVELS; level++) {
        const double share = (double)(LEVELS - 1 - level) / (LEVELS - 1);
        const double threshold = FIRST * step * share - 1e-9 * step;
        for (size_t k = 0; k < tries / LEVELS; k++) {
            size_t p = 0;
            size_t q = 0;
            if (qx_searching_pick(s, &p, &q)) {
                attempt(s, p, q, mu, threshold);
            }
        }
    }
}
