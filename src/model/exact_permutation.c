#include "model/exact.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "numeric/dist.h"

#define DRAWS_DEFAULT 100000
/* Arrangements gone through at the most: about a second. */
static const double ARRANGEMENTS_MOST = 1e6;
/* Relative room for "at least as large": equal sums of squares differ by rounding. */
static const double EQUAL = 1e-9;

typedef struct unit {
    uint32_t stratum, group;
    double score;
} unit;

typedef struct layout {
    size_t n, groups, strata;
    unit *unit;      /* n, by stratum, then group */
    uint32_t *place; /* n: group of each under an arrangement */
    size_t *start;   /* strata + 1 */
    double *size;    /* groups */
    double *sum;     /* groups */
    double observed;
} layout;

static int by_stratum(const void *left, const void *right)
{
    const unit *a = left, *b = right;
    if (a->stratum != b->stratum) {
        return a->stratum < b->stratum ? -1 : 1;
    }
    return a->group < b->group ? -1 : a->group > b->group;
}

/* Between groups, of scores centred within strata. */
static double statistic(const layout *l)
{
    double total = 0.0;
    memset(l->sum, 0, l->groups * sizeof *l->sum);
    for (size_t i = 0; i < l->n; i++) {
        l->sum[l->place[i]] += l->unit[i].score;
    }
    for (size_t g = 0; g < l->groups; g++) {
        total += l->size[g] > 0.0 ? l->sum[g] * l->sum[g] / l->size[g] : 0.0;
    }
    return total;
}

static qx_status read_units(qx_ctx *cx, const qx_permutation *q, layout *l)
{
    for (size_t i = 0; i < q->n; i++) {
        if (q->group[i] >= q->groups || !isfinite(q->score[i])) {
            return qx_fail(cx, QX_E_ARG, "unit %zu has no score or no group", i + 1);
        }
        l->unit[i] = (unit){.stratum = q->stratum == NULL ? 0 : q->stratum[i],
                            .group = q->group[i],
                            .score = q->score[i]};
        l->size[q->group[i]] += 1.0;
    }
    qsort(l->unit, l->n, sizeof *l->unit, by_stratum);
    for (size_t i = 0; i < l->n; i++) {
        if (i == 0 || l->unit[i].stratum != l->unit[i - 1].stratum) {
            l->start[l->strata++] = i;
        }
        l->place[i] = l->unit[i].group;
    }
    l->start[l->strata] = l->n;
    return QX_OK;
}

static void centre(const layout *l)
{
    for (size_t s = 0; s < l->strata; s++) {
        const size_t from = l->start[s], to = l->start[s + 1];
        double mean = 0.0;
        for (size_t i = from; i < to; i++) {
            mean += l->unit[i].score / (double)(to - from);
        }
        for (size_t i = from; i < to; i++) {
            l->unit[i].score -= mean;
        }
    }
}

/* Ways to place the groups on the units of every stratum. */
static double arrangements(const layout *l)
{
    double log_ways = 0.0;
    for (size_t s = 0; s < l->strata; s++) {
        const size_t from = l->start[s], to = l->start[s + 1];
        double run = 0.0;
        log_ways += qx_lgamma((double)(to - from) + 1.0);
        for (size_t i = from; i < to; i++) {
            run += 1.0;
            if (i + 1 == to || l->unit[i + 1].group != l->unit[i].group) {
                log_ways -= qx_lgamma(run + 1.0);
                run = 0.0;
            }
        }
    }
    return floor(exp(log_ways) + 0.5);
}

/* The next arrangement in order of the codes from..to; false after the last, and then the
 * first again (Narayana's way of permutations with repeats). */
static bool next_within(uint32_t *place, size_t count)
{
    size_t i = count;
    while (i > 1 && place[i - 2] >= place[i - 1]) {
        i--;
    }
    if (i > 1) {
        size_t j = count - 1;
        while (place[j] <= place[i - 2]) {
            j--;
        }
        const uint32_t kept = place[i - 2];
        place[i - 2] = place[j];
        place[j] = kept;
    }
    const bool more = i > 1;
    for (size_t a = more ? i - 1 : 0, b = count - 1; a < b; a++, b--) {
        const uint32_t kept = place[a];
        place[a] = place[b];
        place[b] = kept;
    }
    return more;
}

static bool next(layout *l)
{
    for (size_t s = 0; s < l->strata; s++) {
        if (next_within(l->place + l->start[s], l->start[s + 1] - l->start[s])) {
            return true;
        }
    }
    return false;
}

static void all_arrangements(layout *l, qx_exact *out)
{
    double above = 0.0, count = 0.0;
    do {
        count += 1.0;
        above += statistic(l) >= l->observed * (1.0 - EQUAL) ? 1.0 : 0.0;
    } while (next(l));
    *out = (qx_exact){.p = above / count, .exact = true, .arrangements = count};
}

static void draw_arrangements(layout *l, size_t draws, uint64_t seed, qx_exact *out)
{
    qx_rng rng = qx_rng_seeded(seed);
    size_t above = 0;
    for (size_t d = 0; d < draws; d++) {
        for (size_t s = 0; s < l->strata; s++) {
            uint32_t *place = l->place + l->start[s];
            for (size_t i = l->start[s + 1] - l->start[s]; i > 1; i--) {
                const size_t j = (size_t)qx_rng_below(&rng, i);
                const uint32_t kept = place[i - 1];
                place[i - 1] = place[j];
                place[j] = kept;
            }
        }
        above += statistic(l) >= l->observed * (1.0 - EQUAL);
    }
    out->p = (1.0 + (double)above) / (1.0 + (double)draws);
    out->se = sqrt(out->p * (1.0 - out->p) / (double)draws);
    out->exact = false;
    out->arrangements = (double)draws;
}

static qx_status permutation(qx_ctx *cx, const qx_permutation *q, qx_exact *out)
{
    layout l = {.n = q->n, .groups = q->groups};
    QX_NEW(cx, l.unit, q->n);
    QX_NEW(cx, l.place, q->n);
    QX_NEW(cx, l.start, q->n + 1);
    QX_NEW(cx, l.size, q->groups);
    QX_NEW(cx, l.sum, q->groups);
    QX_TRY(read_units(cx, q, &l));
    centre(&l);
    l.observed = statistic(&l);
    const double ways = arrangements(&l);
    if (!(ways > 1.0)) {
        return qx_fail(cx, QX_E_INPUT, "no unit could have had another treatment");
    }
    if (ways <= ARRANGEMENTS_MOST) {
        all_arrangements(&l, out);
    } else {
        draw_arrangements(&l, q->draws == 0 ? DRAWS_DEFAULT : q->draws, q->seed, out);
    }
    return QX_OK;
}

qx_status qx_exact_permutation(qx_ctx *cx, const qx_permutation *question, qx_exact *out)
{
    qx_exact got = {0};
    qx_status status;
    QX_SCRATCH(cx, status, permutation(cx, question, &got));
    if (status == QX_OK) {
        *out = got;
    }
    return status;
}
