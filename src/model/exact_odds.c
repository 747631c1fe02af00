#include "model/exact.h"

#include <math.h>
#include <string.h>

#include "numeric/dist.h"
#include "numeric/root.h"

/* Relative room for "no more likely". */
static const double EQUAL = 1e-7;
/* Log odds beyond which nothing is looked for. */
static const double REACH = 60.0;

/* Log of the number of ways to each outcome low, low + 1, ..., at odds of one; weighted by
 * exp(outcome x log odds) they are the conditional distribution. */
typedef struct outcomes {
    size_t count;
    double *log_ways;
    size_t at;   /* the observed one, from low */
    double tail; /* probability of the tail that is looked for */
    bool upper;  /* tail: at or above, else at or below */
} outcomes;

static double log_sum(double a, double b)
{
    const double most = fmax(a, b);
    return most > -HUGE_VAL ? most + log(exp(a - most) + exp(b - most)) : most;
}

/* log ways (count + more - 1) = the sums over pairs of outcomes. */
static void convolve(const outcomes *o, size_t more, const double ways[], double out[])
{
    for (size_t t = 0; t < o->count + more - 1; t++) {
        out[t] = -HUGE_VAL;
    }
    for (size_t i = 0; i < o->count; i++) {
        for (size_t j = 0; j < more; j++) {
            out[i + j] = log_sum(out[i + j], o->log_ways[i] + ways[j]);
        }
    }
}

static bool whole(double x)
{
    return x >= 0.0 && x == floor(x) && x < 1e6;
}

typedef struct stratum {
    double k1, n1, k0, n0;
} stratum;

static qx_status add_stratum(qx_ctx *cx, size_t number, const stratum *s, outcomes *o)
{
    if (!whole(s->k1) || !whole(s->n1) || !whole(s->k0) || !whole(s->n0) ||
        s->k1 > s->n1 || s->k0 > s->n0) {
        return qx_fail(cx, QX_E_ARG, "stratum %zu is not made of k of n", number + 1);
    }
    const double found = s->k1 + s->k0;
    const double low = fmax(0.0, found - s->n0), high = fmin(found, s->n1);
    const size_t more = (size_t)(high - low) + 1;
    double *ways, *out;
    QX_NEW(cx, ways, more);
    QX_NEW(cx, out, o->count + more - 1);
    for (size_t j = 0; j < more; j++) {
        const double t = low + (double)j;
        ways[j] = qx_lchoose(s->n1, t) + qx_lchoose(s->n0, found - t);
    }
    convolve(o, more, ways, out);
    o->log_ways = out;
    o->count += more - 1;
    o->at += (size_t)(s->k1 - low);
    return QX_OK;
}

/* Sum of the weights from..to at a log odds ratio, over that of all. */
static double share(const outcomes *o, double log_odds, size_t from, size_t to)
{
    double all = -HUGE_VAL, part = -HUGE_VAL;
    for (size_t t = 0; t < o->count; t++) {
        const double w = o->log_ways[t] + (double)t * log_odds;
        all = log_sum(all, w);
        part = t >= from && t <= to ? log_sum(part, w) : part;
    }
    return exp(part - all);
}

static double tail_excess(void *data, double log_odds)
{
    const outcomes *o = data;
    return (o->upper ? share(o, log_odds, o->at, o->count - 1)
                     : share(o, log_odds, 0, o->at)) -
           o->tail;
}

/* Mean outcome minus the observed one: zero at the conditional maximum likelihood. */
static double mean_excess(void *data, double log_odds)
{
    const outcomes *o = data;
    double all = -HUGE_VAL, mean = 0.0;
    for (size_t t = 0; t < o->count; t++) {
        all = log_sum(all, o->log_ways[t] + (double)t * log_odds);
    }
    for (size_t t = 0; t < o->count; t++) {
        mean += (double)t * exp(o->log_ways[t] + (double)t * log_odds - all);
    }
    return mean - (double)o->at;
}

static qx_status
find_tail(qx_ctx *cx, outcomes *o, double tail, bool upper, double *log_odds)
{
    o->tail = tail;
    o->upper = upper;
    return qx_root(cx, tail_excess, o, -REACH, REACH, 0.0, log_odds);
}

static double two_sided(const outcomes *o)
{
    const double observed = o->log_ways[o->at] + EQUAL;
    double all = -HUGE_VAL, part = -HUGE_VAL;
    for (size_t t = 0; t < o->count; t++) {
        all = log_sum(all, o->log_ways[t]);
        part = o->log_ways[t] <= observed ? log_sum(part, o->log_ways[t]) : part;
    }
    return fmin(1.0, exp(part - all));
}

static qx_status estimate(qx_ctx *cx, outcomes *o, double level, qx_exact_odds *out)
{
    const double half = 0.5 * (1.0 - level);
    const bool lowest = o->at == 0, highest = o->at + 1 == o->count;
    *out = (qx_exact_odds){.p = two_sided(o),
                           .median = lowest || highest,
                           .lower = -HUGE_VAL,
                           .upper = HUGE_VAL};
    if (!lowest) {
        QX_TRY(find_tail(cx, o, half, true, &out->lower));
    }
    if (!highest) {
        QX_TRY(find_tail(cx, o, half, false, &out->upper));
    }
    if (lowest || highest) {
        return find_tail(cx, o, 0.5, highest, &out->log_odds);
    }
    return qx_root(cx, mean_excess, o, -REACH, REACH, 0.0, &out->log_odds);
}

static qx_status odds_ratio(qx_ctx *cx,
                            size_t strata,
                            const double *const column[4],
                            double level,
                            qx_exact_odds *out)
{
    outcomes o = {.count = 1};
    QX_NEW(cx, o.log_ways, 1);
    for (size_t s = 0; s < strata; s++) {
        const stratum one = {column[0][s], column[1][s], column[2][s], column[3][s]};
        QX_TRY(add_stratum(cx, s, &one, &o));
    }
    if (o.count < 2) {
        return qx_fail(cx, QX_E_INPUT, "the margins leave only one outcome");
    }
    return estimate(cx, &o, level, out);
}

qx_status qx_exact_odds_ratio(qx_ctx *cx,
                              size_t strata,
                              const double k1[],
                              const double n1[],
                              const double k0[],
                              const double n0[],
                              double level,
                              qx_exact_odds *out)
{
    const double *const column[4] = {k1, n1, k0, n0};
    qx_exact_odds got = {0};
    qx_status status;
    if (!(level > 0.0 && level < 1.0)) {
        return qx_fail(cx, QX_E_ARG, "a level is between 0 and 1");
    }
    QX_SCRATCH(cx, status, odds_ratio(cx, strata, column, level, &got));
    if (status == QX_OK) {
        *out = got;
    }
    return status;
}
