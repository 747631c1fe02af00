#include "layout/alike.h"

#include <math.h>
#include <stdlib.h>

#include "numeric/rng.h"

#define ROUNDS       2000 /* exchanges tried for each tree */
#define LEAST_ROUNDS 20
#define FULL_SQUARE  400  /* blocks of twenty still get all rounds */
#define HEAT         1.0  /* first temperature, in shares of one tree in f */
#define COLD         1e-5 /* the last one, of the first */
#define TOO_FAR      10.0 /* price of each metre beyond reach, in f of all trees */
#define REACH_FACTOR 1.5
#define NEAR         64 /* exchanges are tried with that many nearest trees */

typedef struct search {
    qx_ctx *cx;
    const qx_alike_wish *wish;
    size_t n, B, k;
    bool sized;
    double v_size, v_place; /* per tree and df: what S is divided by */
    double reach;
    size_t *block;  /* n */
    size_t *member; /* B x k */
    size_t *slot;   /* n: place of a tree in its block */
    double *cost;   /* B */
    size_t *near;   /* n x near_count */
    size_t near_count;
    qx_rng rng;
} search;

static double distance(const qx_alike_tree *a, const qx_alike_tree *b)
{
    return hypot(a->x_m - b->x_m, a->y_m - b->y_m);
}

/* --- variances --- */

/* Sum over the members of squared deviations from their mean, of size and of place. */
static void
squares(const search *s, const size_t member[], size_t count, double *size, double *place)
{
    double mean[3] = {0};
    *size = 0.0;
    *place = 0.0;
    for (size_t i = 0; i < count; i++) {
        const qx_alike_tree *t = &s->wish->tree[member[i]];
        mean[0] += (s->sized ? t->size : 0.0) / (double)count;
        mean[1] += t->x_m / (double)count;
        mean[2] += t->y_m / (double)count;
    }
    for (size_t i = 0; i < count; i++) {
        const qx_alike_tree *t = &s->wish->tree[member[i]];
        const double d = (s->sized ? t->size : 0.0) - mean[0];
        const double x = t->x_m - mean[1], y = t->y_m - mean[2];
        *size += d * d;
        *place += x * x + y * y;
    }
}

static double farthest(const search *s, const size_t member[])
{
    double most = 0.0;
    for (size_t i = 0; i < s->k; i++) {
        for (size_t j = 0; j < i; j++) {
            const double d =
                distance(&s->wish->tree[member[i]], &s->wish->tree[member[j]]);
            most = d > most ? d : most;
        }
    }
    return most;
}

/* Share of one block in f, times the number of blocks; too great a reach is paid for. */
static double cost_of(const search *s, const size_t member[])
{
    double size, place;
    squares(s, member, s->k, &size, &place);
    const double far = farthest(s, member) - s->reach;
    return size / s->v_size + s->wish->weight * place / s->v_place +
           (far > 1e-9 ? TOO_FAR * (1.0 + far) : 0.0);
}

/* --- start: by place --- */

typedef struct walk {
    double row, along;
    size_t tree;
} walk;

static int compare_walk(const void *a, const void *b)
{
    const walk *x = a, *y = b;
    if (x->row != y->row) {
        return x->row < y->row ? -1 : 1;
    }
    if (x->along != y->along) {
        return x->along < y->along ? -1 : 1;
    }
    return x->tree < y->tree ? -1 : 1;
}

/* Trees in the order of a walk up one row and down the next. */
static void walk_through(const search *s, walk *steps)
{
    for (size_t i = 0; i < s->n; i++) {
        steps[i] = (walk){s->wish->tree[i].x_m, s->wish->tree[i].y_m, i};
    }
    qsort(steps, s->n, sizeof *steps, compare_walk);
    bool down = false;
    for (size_t i = 0; i < s->n; i++) {
        down = i > 0 && steps[i].row != steps[i - 1].row ? !down : down;
        if (down) {
            s->slot[i] = 1; /* marks; slots are set later */
        }
    }
    for (size_t i = 0; i < s->n; i++) {
        steps[i].along = s->slot[i] == 1 ? -steps[i].along : steps[i].along;
        s->slot[i] = 0;
    }
    qsort(steps, s->n, sizeof *steps, compare_walk);
}

typedef struct rank {
    double oddness;
    size_t tree;
} rank;

static int compare_rank(const void *a, const void *b)
{
    const rank *x = a, *y = b;
    if (x->oddness != y->oddness) {
        return x->oddness > y->oddness ? -1 : 1;
    }
    return x->tree < y->tree ? -1 : 1;
}

static int compare_number(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Surplus trees are left out by the distance of their size from the middle one. */
static qx_status leave_out(search *s, bool out[])
{
    double *sorted;
    rank *ranks;
    QX_NEW(s->cx, sorted, s->n);
    QX_NEW(s->cx, ranks, s->n);
    for (size_t i = 0; i < s->n; i++) {
        sorted[i] = s->sized ? s->wish->tree[i].size : 1.0;
    }
    qsort(sorted, s->n, sizeof *sorted, compare_number);
    for (size_t i = 0; i < s->n; i++) {
        const double size = s->sized ? s->wish->tree[i].size : 1.0;
        /* without sizes the far end of the walk is left out */
        ranks[i] = (rank){s->sized ? fabs(log(size / sorted[s->n / 2])) : (double)i, i};
    }
    qsort(ranks, s->n, sizeof *ranks, compare_rank);
    for (size_t i = 0; i < s->n - s->B * s->k; i++) {
        out[ranks[i].tree] = true;
    }
    return QX_OK;
}

static qx_status start_by_place(search *s)
{
    walk *steps;
    bool *out;
    QX_NEW(s->cx, steps, s->n);
    QX_NEW(s->cx, out, s->n);
    QX_TRY(leave_out(s, out));
    walk_through(s, steps);
    size_t used = 0;
    for (size_t i = 0; i < s->n; i++) {
        const size_t tree = steps[i].tree;
        if (out[tree]) {
            s->block[tree] = QX_NO_BLOCK;
            continue;
        }
        s->block[tree] = used / s->k;
        s->slot[tree] = used % s->k;
        s->member[used++] = tree;
    }
    return QX_OK;
}

/* --- search --- */

typedef struct distant {
    double d;
    size_t tree;
} distant;

static int compare_far(const void *a, const void *b)
{
    const distant *x = a, *y = b;
    if (x->d != y->d) {
        return x->d < y->d ? -1 : 1;
    }
    return x->tree < y->tree ? -1 : 1;
}

static qx_status find_near(search *s)
{
    distant *all;
    s->near_count = s->n - 1 < NEAR ? s->n - 1 : NEAR;
    QX_NEW(s->cx, s->near, s->n * s->near_count);
    QX_NEW(s->cx, all, s->n);
    for (size_t i = 0; i < s->n; i++) {
        for (size_t j = 0; j < s->n; j++) {
            all[j] = (distant){j == i ? (double)INFINITY
                                      : distance(&s->wish->tree[i], &s->wish->tree[j]),
                               j};
        }
        qsort(all, s->n, sizeof *all, compare_far);
        for (size_t m = 0; m < s->near_count; m++) {
            s->near[i * s->near_count + m] = all[m].tree;
        }
    }
    return QX_OK;
}

/* Puts tree `i` where tree `j` is and the other way round. */
static void exchange(search *s, size_t i, size_t j)
{
    const size_t block = s->block[i], slot = s->slot[i];
    s->block[i] = s->block[j];
    s->slot[i] = s->slot[j];
    s->block[j] = block;
    s->slot[j] = slot;
    if (s->block[i] != QX_NO_BLOCK) {
        s->member[s->block[i] * s->k + s->slot[i]] = i;
    }
    if (s->block[j] != QX_NO_BLOCK) {
        s->member[s->block[j] * s->k + s->slot[j]] = j;
    }
}

/* Cost of the blocks that two trees stand in now. */
static double cost_now(const search *s, size_t i, size_t j, double fresh[2])
{
    const size_t at[2] = {s->block[i], s->block[j]};
    for (size_t m = 0; m < 2; m++) {
        fresh[m] = at[m] == QX_NO_BLOCK ? 0.0 : cost_of(s, &s->member[at[m] * s->k]);
    }
    return fresh[0] + fresh[1];
}

static void try_exchange(search *s, size_t i, size_t j, double heat)
{
    double fresh[2];
    const size_t a = s->block[i], b = s->block[j];
    if (a == b) {
        return;
    }
    const double before =
        (a == QX_NO_BLOCK ? 0.0 : s->cost[a]) + (b == QX_NO_BLOCK ? 0.0 : s->cost[b]);
    exchange(s, i, j);
    const double step = cost_now(s, i, j, fresh) - before;
    if (step > 0.0 && !(heat > 0.0 && qx_rng_uniform(&s->rng) < exp(-step / heat))) {
        exchange(s, i, j);
        return;
    }
    if (s->block[i] != QX_NO_BLOCK) {
        s->cost[s->block[i]] = fresh[0];
    }
    if (s->block[j] != QX_NO_BLOCK) {
        s->cost[s->block[j]] = fresh[1];
    }
}

static double total(const search *s)
{
    double sum = 0.0;
    for (size_t b = 0; b < s->B; b++) {
        sum += s->cost[b];
    }
    return sum;
}

/* Exchanges that help, until none does. */
static void descend(search *s)
{
    double before = INFINITY;
    while (total(s) < before - 1e-12) {
        before = total(s);
        for (size_t i = 0; i < s->n; i++) {
            for (size_t m = 0; m < s->near_count; m++) {
                try_exchange(s, i, s->near[i * s->near_count + m], 0.0);
            }
        }
    }
}

static qx_status anneal(search *s)
{
    /* An exchange costs the square of a block: large blocks get fewer. */
    const size_t square = s->k * s->k / FULL_SQUARE + 1;
    const size_t steps = (ROUNDS / square + LEAST_ROUNDS) * s->n;
    QX_ASSERT(s->n > 0);
    for (size_t step = 0; step < steps; step++) {
        if (step % s->n == 0 && qx_ctx_cancelled(s->cx)) {
            return qx_fail(s->cx, QX_E_CANCELLED, "stopped");
        }
        const double heat = HEAT / (double)s->n * pow(COLD, (double)step / (double)steps);
        const size_t i = qx_rng_below(&s->rng, s->n);
        const size_t j =
            s->near[i * s->near_count + qx_rng_below(&s->rng, s->near_count)];
        try_exchange(s, i, j, heat);
    }
    descend(s);
    return QX_OK;
}

/* --- the whole --- */

static void measure(const search *s, double *within, double *far)
{
    double sum = 0.0;
    *far = 0.0;
    for (size_t b = 0; b < s->B; b++) {
        double size, place;
        squares(s, &s->member[b * s->k], s->k, &size, &place);
        sum += size;
        *far = fmax(*far, farthest(s, &s->member[b * s->k]));
    }
    const double df = (double)(s->B * (s->k - 1));
    *within = s->sized ? sum / df / (s->v_size / (double)s->n) : (double)NAN;
}

static qx_status keep(search *s, qx_arena *arena, const size_t **out)
{
    size_t *copy;
    QX_NEW_IN(s->cx, arena, copy, s->n);
    for (size_t i = 0; i < s->n; i++) {
        copy[i] = s->block[i];
    }
    *out = copy;
    return QX_OK;
}

static qx_status make_room(search *s)
{
    QX_NEW(s->cx, s->block, s->n);
    QX_NEW(s->cx, s->slot, s->n);
    QX_NEW(s->cx, s->member, s->B * s->k);
    QX_NEW(s->cx, s->cost, s->B);
    return QX_OK;
}

/* Variances over the trees that blocks by place would take: a tree that nobody takes must
 * not make all blocks look good. Times the number of trees: one tree's share is 1 / that. */
static void find_variances(search *s)
{
    const double used = (double)(s->B * s->k);
    squares(s, s->member, s->B * s->k, &s->v_size, &s->v_place);
    s->v_size = s->v_size > 0.0 ? s->v_size / (used - 1.0) * (double)s->n : 1.0;
    s->v_place = s->v_place > 0.0 ? s->v_place / (used - 1.0) * (double)s->n : 1.0;
}

static qx_status no_such_blocks(const search *s, double far)
{
    return qx_fail(
        s->cx,
        QX_E_INPUT,
        "no %zu blocks of %zu trees were found with all trees of a block within "
        "%.1f m of each other; expected a reach of about %.1f m, or smaller "
        "blocks",
        s->B,
        s->k,
        s->reach,
        far);
}

static qx_status make(search *s, qx_arena *arena, qx_alike *out)
{
    QX_TRY(make_room(s));
    QX_TRY(start_by_place(s));
    find_variances(s);
    QX_TRY(keep(s, arena, &out->by_place));
    measure(s, &out->within_by_place, &out->farthest_by_place_m);
    s->reach = s->wish->reach_m > 0.0 ? s->wish->reach_m
                                      : REACH_FACTOR * out->farthest_by_place_m;
    QX_TRY(find_near(s));
    for (size_t b = 0; b < s->B; b++) {
        s->cost[b] = cost_of(s, &s->member[b * s->k]);
    }
    QX_TRY(anneal(s));
    measure(s, &out->within, &out->farthest_m);
    if (out->farthest_m > s->reach + 1e-9) {
        return no_such_blocks(s, out->farthest_m);
    }
    out->reach_m = s->reach;
    return keep(s, arena, &out->block);
}

static qx_status check(qx_ctx *cx, const qx_alike_wish *w, bool *sized)
{
    size_t given = 0;
    if (w->count > QX_ALIKE_MOST || w->per_block < 2 || w->blocks < 1 ||
        !(w->weight >= 0.0) || !(w->reach_m >= 0.0)) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "blocks of alike trees need at most 20,000 trees, at least two in "
                       "a block, and a reach and weight of at least 0");
    }
    if (w->blocks > w->count / w->per_block) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "%zu blocks of %zu trees need %zu trees, but %zu can be used; %zu "
                       "blocks would fit",
                       w->blocks,
                       w->per_block,
                       w->blocks * w->per_block,
                       w->count,
                       w->count / w->per_block);
    }
    for (size_t i = 0; i < w->count; i++) {
        const qx_alike_tree *t = &w->tree[i];
        given += (size_t)!isnan(t->size);
        if (!isfinite(t->x_m) || !isfinite(t->y_m) ||
            (!isnan(t->size) && !(t->size > 0.0))) {
            return qx_fail(cx, QX_E_ARG, "a tree has no place, or a size not above 0");
        }
    }
    if (given != 0 && given != w->count) {
        return qx_fail(cx, QX_E_ARG, "some trees have a size and others have none");
    }
    *sized = given > 0;
    return QX_OK;
}

qx_status
qx_alike_make(qx_ctx *cx, qx_arena *arena, const qx_alike_wish *wish, qx_alike *out)
{
    qx_alike made = {0};
    search s = {.cx = cx,
                .wish = wish,
                .n = wish->count,
                .B = wish->blocks,
                .k = wish->per_block,
                .rng = qx_rng_seeded(wish->seed)};
    QX_TRY(check(cx, wish, &s.sized));
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, make(&s, arena, &made));
    if (status == QX_OK) {
        *out = made;
    }
    return status;
}

double qx_alike_worth(double within, double within_by_place, double r)
{
    return (1.0 - r * r * (1.0 - within_by_place)) / (1.0 - r * r * (1.0 - within));
}
