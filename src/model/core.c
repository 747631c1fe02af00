#include "model/core.h"

#include <math.h>

#include "numeric/chol.h"

/* In place of a lambda of zero: its square is far below the rounding of 1, and the fourth
 * power far above underflow. */
static const double LAMBDA_LEAST = 1e-12;

/* One dense matrix: at most this many columns (its inverse is 128 MB), and when its cube is
 * below this many times the steps of the sparse factor and of all of M by sparse solves,
 * which run at a tenth of the speed of LAPACK on a dense matrix. */
#define DENSE_MOST 4000
static const double DENSE_SHARE = 10.0;

/* Entries of C while they are listed. */
typedef struct list {
    size_t count, room;
    uint32_t *row, *col, *from;
    double *times;
} list;

static void put(list *l, size_t item, size_t a, size_t b, double times)
{
    if (l->row != NULL) {
        l->row[l->count] = (uint32_t)(a > b ? a : b);
        l->col[l->count] = (uint32_t)(a > b ? b : a);
        l->from[l->count] = (uint32_t)item;
        l->times[l->count] = times;
    }
    l->count++;
}

/* A table of items: the atoms' sets, or pairs. `first`: an atom of each. */
typedef struct table {
    qx_alike a;
    const uint32_t *first;
    size_t offset; /* of its items among all */
    size_t k, l;   /* core terms, `terms` for X */
} table;

static qx_status make_table(qx_ctx *cx,
                            qx_arena *arena,
                            const qx_core *core,
                            const qx_alike *by_k,
                            size_t k,
                            size_t l,
                            table *out)
{
    const size_t levels = l < core->terms ? core->start[l + 1] - core->start[l] : 0;
    *out = (table){.a = *by_k, .k = k, .l = l};
    if (k != l) {
        QX_TRY(qx_alike_and(cx, arena, by_k, levels, core->nest->code[l], &out->a));
    }
    return qx_alike_first(cx, qx_ctx_scratch(cx), &out->a, &out->first);
}

/* What an item adds to C, by an atom that has it. */
static void list_item(const qx_core *core, const table *t, size_t item, list *l)
{
    const size_t atom = t->first[item];
    const size_t set = core->nest->set[atom];
    const size_t at = t->offset + item;
    const size_t col =
        t->l < core->terms ? core->start[t->l] + core->nest->code[t->l][atom] : 0;
    if (t->k < core->terms) {
        put(l, at, core->start[t->k] + core->nest->code[t->k][atom], col, 1.0);
        return;
    }
    for (size_t j = 0; j < core->p; j++) {
        const double x = QX_AT(core->X, set, j);
        if (x == 0.0) {
            continue;
        }
        if (t->l < core->terms) {
            put(l, at, j, col, x);
            continue;
        }
        for (size_t i = j; i < core->p; i++) {
            if (QX_AT(core->X, set, i) != 0.0) {
                put(l, at, i, j, x * QX_AT(core->X, set, i));
            }
        }
    }
}

/* All entries; without arrays in `l` they are only counted. The diagonal is there in any
 * case (a level without data). */
static void list_all(const qx_core *core, const table t[], list *l)
{
    l->count = 0;
    for (size_t k = 0; k < core->tables; k++) {
        for (size_t i = 0; i < t[k].a.count; i++) {
            list_item(core, &t[k], i, l);
        }
    }
    for (size_t j = 0; j < core->size; j++) {
        put(l, 0, j, j, 0.0);
    }
}

static qx_status make_pattern(qx_ctx *cx, qx_arena *arena, const table t[], qx_core *core)
{
    list l = {0};
    uint32_t *to;
    list_all(core, t, &l);
    QX_NEW(cx, l.row, l.count);
    QX_NEW(cx, l.col, l.count);
    QX_NEW_IN(cx, arena, l.from, l.count);
    QX_NEW_IN(cx, arena, l.times, l.count);
    QX_NEW_IN(cx, arena, to, l.count);
    list_all(core, t, &l);
    const qx_triplets entries = {.count = l.count, .row = l.row, .col = l.col};
    QX_TRY(
        qx_sparse_make(cx, arena, core->size, core->size, &entries, to, &core->pattern));
    core->entries = l.count - core->size;
    core->from = l.from;
    core->times = l.times;
    core->to = to;
    return QX_OK;
}

/* Tables: X, then each term with X, itself and those before it. */
static qx_status make_tables(qx_ctx *cx, qx_arena *arena, qx_core *core)
{
    const qx_nest *nest = core->nest;
    const size_t terms = core->terms;
    table *t;
    qx_alike set = {nest->atoms, core->X.rows, nest->set};
    const uint32_t **item;
    size_t *offset;
    QX_NEW(cx, t, 1 + terms * (terms + 3) / 2);
    QX_TRY(make_table(cx, arena, core, &set, terms, terms, &t[core->tables++]));
    for (size_t k = 0; k < terms; k++) {
        const qx_alike own = {
            nest->atoms, core->start[k + 1] - core->start[k], nest->code[k]};
        QX_TRY(make_table(cx, arena, core, &set, terms, k, &t[core->tables++]));
        for (size_t l = 0; l <= k; l++) {
            QX_TRY(make_table(cx, arena, core, &own, k, l, &t[core->tables++]));
        }
    }
    QX_NEW_IN(cx, arena, item, core->tables);
    QX_NEW_IN(cx, arena, offset, core->tables);
    for (size_t k = 0; k < core->tables; k++) {
        t[k].offset = offset[k] = core->items;
        core->items += t[k].a.count;
        item[k] = t[k].a.of;
    }
    core->item = item;
    core->offset = offset;
    return make_pattern(cx, arena, t, core);
}

static qx_status make(qx_ctx *cx, qx_arena *arena, bool sparse, qx_core *core)
{
    qx_spchol *c;
    QX_TRY(make_tables(cx, arena, core));
    QX_TRY(qx_spchol_new(cx, arena, &core->pattern, &c));
    core->analysis = c;
    core->solve_cost = 2.0 * qx_spchol_entries(c);
    const double size = (double)core->size;
    core->dense =
        !sparse && core->size <= DENSE_MOST &&
        size * size * size < DENSE_SHARE * (qx_spchol_flops(c) + core->solve_cost * size);
    return QX_OK;
}

qx_status qx_core_make(qx_ctx *cx,
                       qx_arena *arena,
                       const qx_nest *nest,
                       qx_mat X,
                       const size_t levels[],
                       bool sparse,
                       qx_core *out)
{
    qx_status status;
    size_t *start;
    /* In place: the analysis keeps the address of the pattern. */
    *out = (qx_core){.p = X.cols, .terms = nest->core_count, .nest = nest, .X = X};
    QX_NEW_IN(cx, arena, start, out->terms + 1);
    start[0] = out->p;
    for (size_t k = 0; k < out->terms; k++) {
        start[k + 1] = start[k] + levels[k];
    }
    out->start = start;
    out->size = start[out->terms];
    if (out->size >= UINT32_MAX) {
        return qx_fail(cx, QX_E_SHAPE, "%zu columns are too many", out->size);
    }
    QX_SCRATCH(cx, status, make(cx, arena, sparse, out));
    return status;
}

qx_status
qx_core_room_make(qx_ctx *cx, qx_arena *arena, const qx_core *core, qx_core_room *out)
{
    const size_t jet = qx_jet_size(core->nest->depth);
    const size_t entries = core->pattern.start[core->size];
    qx_core_room r = {0};
    QX_NEW_IN(cx, arena, r.sums, core->items * jet);
    QX_NEW_IN(cx, arena, r.C, entries * jet);
    QX_NEW_IN(cx, arena, r.h, core->size * jet);
    QX_NEW_IN(cx, arena, r.scale, core->size);
    QX_NEW_IN(cx, arena, r.scaled, entries);
    QX_NEW_IN(cx, arena, r.mu, core->size);
    QX_NEW_IN(cx, arena, r.root, core->size);
    if (core->dense) {
        QX_TRY(qx_mat_new(cx, arena, core->size, core->size, &r.K));
    } else {
        QX_TRY(qx_spchol_again(cx, arena, core->analysis, &r.factor));
    }
    *out = r;
    return QX_OK;
}

/* C and its derivatives: atoms to items, items to entries. */
static void sum_matrix(const qx_core *core, const double w[], qx_core_room *r)
{
    const size_t jet = qx_jet_size(r->s);
    const size_t entries = core->pattern.start[core->size];
    memset(r->sums, 0, core->items * jet * sizeof *r->sums);
    memset(r->C, 0, entries * jet * sizeof *r->C);
    for (size_t t = 0; t < core->tables; t++) {
        double *sums = r->sums + core->offset[t] * jet;
        for (size_t a = 0; a < core->nest->atoms; a++) {
            qx_jet_add(jet, w + a * jet, sums + core->item[t][a] * jet);
        }
    }
    for (size_t c = 0; c < jet; c++) {
        double *C = r->C + c * entries;
        for (size_t e = 0; e < core->entries; e++) {
            C[core->to[e]] += core->times[e] * r->sums[core->from[e] * jet + c];
        }
    }
}

/* h and its derivatives; the sets' sums take the place of the items'. */
static void sum_vector(const qx_core *core, const double b[], qx_core_room *r)
{
    const size_t jet = qx_jet_size(r->s);
    const size_t atoms = core->nest->atoms;
    memset(r->sums, 0, core->X.rows * jet * sizeof *r->sums);
    memset(r->h, 0, core->size * jet * sizeof *r->h);
    for (size_t a = 0; a < atoms; a++) {
        qx_jet_add(jet, b + a * jet, r->sums + core->nest->set[a] * jet);
    }
    for (size_t c = 0; c < jet; c++) {
        double *h = r->h + c * core->size;
        for (size_t j = 0; j < core->p; j++) {
            for (size_t i = 0; i < core->X.rows; i++) {
                h[j] += QX_AT(core->X, i, j) * r->sums[i * jet + c];
            }
        }
        for (size_t k = 0; k < core->terms; k++) {
            for (size_t a = 0; a < atoms; a++) {
                h[core->start[k] + core->nest->code[k][a]] += b[a * jet + c];
            }
        }
    }
}

/* S C S + diag(0, I), and its factor. */
static qx_status factor(qx_ctx *cx, const qx_core *core, qx_core_room *r)
{
    const qx_sparse *p = &core->pattern;
    for (size_t j = 0; j < core->size; j++) {
        for (size_t e = p->start[j]; e < p->start[j + 1]; e++) {
            r->scaled[e] = r->scale[p->row[e]] * r->C[e] * r->scale[j];
        }
        r->scaled[p->start[j]] += j >= core->p ? 1.0 : 0.0;
    }
    if (!core->dense) {
        QX_TRY(qx_spchol_factor(cx, r->factor, r->scaled));
        r->log_det = qx_spchol_logdet(r->factor);
        return QX_OK;
    }
    qx_mat_zero(r->K);
    for (size_t j = 0; j < core->size; j++) {
        for (size_t e = p->start[j]; e < p->start[j + 1]; e++) {
            QX_AT(r->K, p->row[e], j) = r->scaled[e];
        }
    }
    QX_TRY(qx_chol_factor(cx, r->K));
    r->log_det = qx_chol_logdet(r->K);
    return QX_OK;
}

qx_status qx_core_solve(qx_ctx *cx,
                        const qx_core *core,
                        const qx_nest_room *walk,
                        size_t s,
                        const double lambda[],
                        qx_core_room *room)
{
    room->s = s;
    sum_matrix(core, walk->w, room);
    sum_vector(core, walk->b, room);
    for (size_t j = 0; j < core->size; j++) {
        room->scale[j] = j < core->p ? 1.0 : fmax(lambda[j - core->p], LAMBDA_LEAST);
        room->root[j] = room->scale[j] * room->h[j];
    }
    QX_TRY(factor(cx, core, room));
    QX_TRY(qx_core_apply(cx, room, qx_mat_of(room->root, core->size, 1)));
    for (size_t j = 0; j < core->size; j++) {
        room->mu[j] = room->scale[j] * room->root[j];
    }
    room->h_mu = qx_dot(core->size, room->h, room->mu);
    return QX_OK;
}

const double *qx_core_values(const qx_core *core, const qx_core_room *room, size_t c)
{
    return room->C + c * core->pattern.start[core->size];
}

qx_status qx_core_apply(qx_ctx *cx, const qx_core_room *room, qx_mat B)
{
    return room->factor == NULL ? qx_chol_solve(cx, room->K, B)
                                : qx_spchol_solve(cx, room->factor, B);
}

double qx_core_factor_cost(const qx_core *core)
{
    const double size = (double)core->size;
    return core->dense ? size * size * size / 3.0 : qx_spchol_flops(core->analysis);
}

void qx_core_scale(const qx_core_room *room, qx_mat B)
{
    for (size_t j = 0; j < B.cols; j++) {
        for (size_t i = 0; i < B.rows; i++) {
            QX_AT(B, i, j) *= room->scale[i];
        }
    }
}

size_t qx_core_term_of(const qx_core *core, size_t column)
{
    for (size_t k = 0; k < core->terms; k++) {
        if (column >= core->start[k] && column < core->start[k + 1]) {
            return k;
        }
    }
    return core->terms;
}
