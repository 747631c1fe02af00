#include "layout/search.h"

#include <math.h>
#include <string.h>

#include "layout/search_state.h"

#define LEVELS       24  /* thresholds of one start, the last one zero */
#define ROUNDS_MOST  30  /* passes over all pairs at the end of a start */
#define FIRST_SHARE  0.6 /* first threshold, a share of tr G / plots; tried on lattices */
#define RIDGE        1e-2 /* while a start is not connected, a share of the replicates */
#define SAME         1e-9 /* a gain below this share of tr G is rounding */
#define STARTS_MOST  200
#define STALE        30   /* starts in a row that find nothing better end the search */
#define TRIES_A_PLOT 40   /* exact: at each threshold, at most */
#define SPREAD_TRIES 4000 /* cheap: for each plot */

static bool at_target(const qx_searching *s, double trace)
{
    return trace <= s->in->target * (1 + SAME);
}

/* tr G without the families' means. */
static double trace_of(const qx_searching *s)
{
    const double families = s->in->family == NULL ? 1 : (double)s->in->family_count;
    double means = 0;
    for (size_t f = 0; f < (size_t)families; f++) {
        double size = 0;
        for (size_t t = 0; t < s->v; t++) {
            size += qx_searching_family(s, t) == f ? 1 : 0;
        }
        means += size > 0 ? 1 / (s->mean_r * size / (double)s->v) : 0;
    }
    return s->trace - means;
}

/* Random tries at one threshold. False: G could not be formed again. */
static bool wander(qx_searching *s, double threshold, size_t tries)
{
    for (size_t k = 0; k < tries; k++) {
        size_t p = 0;
        size_t q = 0;
        if (qx_searching_pick(s, &p, &q) && qx_exact_attempt(s, p, q, threshold) &&
            !qx_exact_refresh(s)) {
            return false;
        }
    }
    return true;
}

/* Every pair once, gains only. False: G could not be formed again. */
static bool sweep(qx_searching *s, bool *gained, double until)
{
    *gained = false;
    for (size_t p = 0; p < s->n && s->spent < until; p++) {
        const size_t set = qx_searching_set(s, p);
        for (size_t x = s->set_start[set]; x < s->set_start[set + 1]; x++) {
            if (s->set_plot[x] > p &&
                qx_exact_attempt(s, p, s->set_plot[x], -SAME * s->trace)) {
                *gained = true;
                if (!qx_exact_refresh(s)) {
                    return false;
                }
            }
        }
    }
    return true;
}

/* Tries at each threshold so that one start takes at most what there is to spend. */
static size_t tries_at_a_level(const qx_searching *s)
{
    double entries = 0;
    for (size_t f = 0; f < s->in->blocking_count; f++) {
        entries += 2 * (double)s->n / (double)s->in->blocking[f].count;
    }
    entries = entries < (double)s->v ? entries : (double)s->v;
    const double v = (double)s->v;
    const double cost = 2 * entries * entries + 0.1 * (6 + 2) * v * v;
    const double tries = s->in->work / (LEVELS * cost);
    const double most = (double)(s->n * TRIES_A_PLOT);
    return tries < most ? (size_t)tries + 1 : (size_t)most;
}

/* Thresholds that fall to zero. False: G could not be formed again. */
static bool cool(qx_searching *s)
{
    const size_t tries = tries_at_a_level(s);
    const double first = FIRST_SHARE * s->trace / (double)s->n;
    for (size_t level = 0; level < LEVELS; level++) {
        const double share = (double)(LEVELS - 1 - level) / (LEVELS - 1);
        if (!wander(s, first * share * share - SAME * s->trace, tries)) {
            return false;
        }
        if (s->ridge > 0 && level == LEVELS / 4) {
            s->ridge = 0;
            if (!qx_exact_form(s)) {
                return false;
            }
        }
        if (s->ridge == 0 && at_target(s, trace_of(s))) {
            return true;
        }
    }
    return true;
}

/* Every pair until nothing is gained. */
static bool polish(qx_searching *s)
{
    bool gained = true;
    const double until = s->spent + s->in->work;
    for (size_t round = 0; gained && round < ROUNDS_MOST; round++) {
        if (at_target(s, trace_of(s))) {
            return true;
        }
        if (!sweep(s, &gained, until)) {
            return false;
        }
    }
    return true;
}

typedef enum { WAY_POLISH, WAY_SPREAD, WAY_EXACT } way;

/* One start to its end: tr G on differences, INFINITY when it is not connected. */
static double improve(qx_searching *s, way how)
{
    s->ridge = 0;
    if (how == WAY_SPREAD) {
        qx_spread_run(s, s->n * SPREAD_TRIES);
    }
    if (!qx_exact_form(s)) {
        s->ridge = RIDGE * s->mean_r;
        if (!qx_exact_form(s)) {
            return (double)INFINITY;
        }
    }
    const bool cooling = how == WAY_EXACT || s->ridge > 0;
    if ((cooling && !cool(s)) || !polish(s)) {
        return (double)INFINITY;
    }
    return qx_exact_form(s) ? trace_of(s) : (double)INFINITY;
}

/* A start that is good is only polished; of the others every second one begins with the
 * cheap part, and all of them where exact tries would cost too much. */
static way way_of(const qx_searching *s, size_t start)
{
    if (start == 0 && s->in->good_start) {
        return WAY_POLISH;
    }
    return start % 2 == 0 || tries_at_a_level(s) < s->n * 4 ? WAY_SPREAD : WAY_EXACT;
}

static void shuffle_sets(qx_searching *s)
{
    const size_t sets = qx_searching_sets(s);
    for (size_t k = 0; k < sets; k++) {
        const uint32_t *plot = s->set_plot + s->set_start[k];
        for (size_t i = s->set_start[k + 1] - s->set_start[k]; i > 1; i--) {
            const size_t j = (size_t)qx_rng_below(s->rng, i);
            const uint32_t kept = s->at[plot[i - 1]];
            s->at[plot[i - 1]] = s->at[plot[j]];
            s->at[plot[j]] = kept;
        }
    }
}

static qx_status run(qx_searching *s, uint32_t treatment[], double *trace)
{
    QX_TRY(qx_searching_prepare(s));
    memcpy(s->at, treatment, s->n * sizeof *s->at);
    double best = (double)INFINITY;
    size_t hits = 0;
    size_t stale = 0;
    for (size_t start = 0; start < STARTS_MOST; start++) {
        if (qx_ctx_cancelled(s->cx)) {
            return qx_fail(s->cx, QX_E_CANCELLED, "stopped while searching a layout");
        }
        if (start > 0) {
            shuffle_sets(s);
        }
        const double found = improve(s, way_of(s, start));
        stale++;
        hits += found < best * (1 + SAME) ? 1 : 0;
        if (found < best * (1 - SAME) || start == 0) {
            stale = 0;
            hits = 1;
            best = found;
            memcpy(treatment, s->at, s->n * sizeof *s->at);
        }
        if (at_target(s, best) || s->spent > s->in->work || stale > STALE ||
            (s->in->hits > 0 && hits >= s->in->hits)) {
            break;
        }
    }
    *trace = best;
    return QX_OK;
}

qx_status qx_search_run(qx_ctx *cx,
                        const qx_search *problem,
                        qx_rng *rng,
                        uint32_t treatment[],
                        double *trace)
{
    if (problem->treatments > QX_SEARCH_TREATMENTS_MOST || problem->treatments == 0 ||
        problem->blocking_count > QX_BLOCKINGS_MOST) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "a search takes 1 to %zu treatments",
                       QX_SEARCH_TREATMENTS_MOST);
    }
    qx_searching s = {.cx = cx, .in = problem, .rng = rng};
    s.n = problem->plots;
    s.v = problem->treatments;
    s.mean_r = (double)s.n / (double)s.v;
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, run(&s, treatment, trace));
    return status;
}
