/* Which terms are nested in everything, and what is left (model/nest.h). */
#include "model/nest.h"

/* The units of one stage: rows, then the units of each level in turn. */
typedef struct stage {
    size_t m;
    const size_t *levels; /* m */
    bool *live;           /* m: terms not yet taken out */
    size_t n, sets;
    const uint32_t *set;   /* n: set of equal rows of X */
    const uint32_t **code; /* m, n each */
} stage;

/* Does term t tell everything else of the stage? */
static qx_status lowest_is(qx_ctx *cx, const stage *s, size_t t, bool *out)
{
    QX_TRY(qx_alike_tells(cx, s->n, s->levels[t], s->code[t], s->set, out));
    for (size_t k = 0; k < s->m && *out; k++) {
        if (k != t && s->live[k]) {
            QX_TRY(qx_alike_tells(cx, s->n, s->levels[t], s->code[t], s->code[k], out));
        }
    }
    return QX_OK;
}

/* The term nested in everything, or m. The one with the most levels is asked first. */
static qx_status find_lowest(qx_ctx *cx, const stage *s, size_t *out)
{
    size_t t = s->m;
    bool found = false;
    for (size_t k = 0; k < s->m; k++) {
        if (s->live[k] && (t == s->m || s->levels[k] >= s->levels[t])) {
            t = k;
        }
    }
    *out = s->m;
    if (t < s->m) {
        QX_TRY(lowest_is(cx, s, t, &found));
        *out = found ? t : s->m;
    }
    return QX_OK;
}

/* The stage becomes one of the sets of `a`; the new arrays are in `arena`. */
static qx_status climb(qx_ctx *cx, qx_arena *arena, stage *s, const qx_alike *a)
{
    const uint32_t *first;
    uint32_t *set;
    QX_TRY(qx_alike_first(cx, qx_ctx_scratch(cx), a, &first));
    QX_NEW_IN(cx, arena, set, a->count);
    for (size_t u = 0; u < a->count; u++) {
        set[u] = s->set[first[u]];
    }
    for (size_t k = 0; k < s->m; k++) {
        if (s->live[k]) {
            uint32_t *code;
            QX_NEW_IN(cx, arena, code, a->count);
            for (size_t u = 0; u < a->count; u++) {
                code[u] = s->code[k][first[u]];
            }
            s->code[k] = code;
        }
    }
    s->n = a->count;
    s->set = set;
    return QX_OK;
}

/* Items of the stage that agree in X and all terms that are left. */
static qx_status agree(qx_ctx *cx, qx_arena *arena, const stage *s, qx_alike *out)
{
    size_t last = s->m;
    qx_alike a;
    for (size_t k = 0; k < s->m; k++) {
        last = s->live[k] ? k : last;
    }
    QX_TRY(qx_alike_all(cx, qx_ctx_scratch(cx), s->n, &a));
    QX_TRY(qx_alike_and(
        cx, last == s->m ? arena : qx_ctx_scratch(cx), &a, s->sets, s->set, &a));
    for (size_t k = 0; k < s->m; k++) {
        if (s->live[k]) {
            qx_arena *where = k == last ? arena : qx_ctx_scratch(cx);
            QX_TRY(qx_alike_and(cx, where, &a, s->levels[k], s->code[k], &a));
        }
    }
    *out = a;
    return QX_OK;
}

/* Takes term t out: its units become the stage. */
static qx_status
take_out(qx_ctx *cx, qx_arena *arena, stage *s, size_t t, qx_nest *nest, qx_alike *a)
{
    qx_nest_level *l = &nest->level[nest->depth++];
    QX_TRY(qx_alike_all(cx, qx_ctx_scratch(cx), s->n, a));
    QX_TRY(qx_alike_and(cx, arena, a, s->levels[t], s->code[t], a));
    QX_TRY(climb(cx, arena, s, a));
    s->live[t] = false;
    l->term = t;
    l->units = s->n;
    l->level = s->code[t];
    return QX_OK;
}

static qx_status sizes(qx_ctx *cx, qx_arena *arena, qx_nest *nest)
{
    uint32_t *size;
    QX_NEW_IN(cx, arena, size, nest->cells);
    for (size_t i = 0; i < nest->n; i++) {
        size[nest->cell_of[i]]++;
    }
    nest->size = size;
    return QX_OK;
}

/* Cells of one parent and size. */
static qx_status classes(qx_ctx *cx, qx_arena *arena, size_t parents, qx_nest *nest)
{
    const uint32_t *parent = nest->level[0].parent, *first;
    qx_alike a = {nest->cells, nest->cells, NULL};
    uint32_t *of_parent, *identity;
    double *size, *count;
    uint32_t most = 0;
    for (size_t c = 0; c < nest->cells; c++) {
        most = nest->size[c] > most ? nest->size[c] : most;
    }
    if (nest->depth > 0) {
        a = (qx_alike){nest->cells, parents, parent};
        QX_TRY(qx_alike_and(cx, arena, &a, (size_t)most + 1, nest->size, &a));
    } else {
        QX_NEW_IN(cx, arena, identity, nest->cells);
        for (size_t c = 0; c < nest->cells; c++) {
            identity[c] = (uint32_t)c;
        }
        a.of = parent = identity;
    }
    QX_TRY(qx_alike_first(cx, qx_ctx_scratch(cx), &a, &first));
    QX_NEW_IN(cx, arena, of_parent, a.count);
    QX_NEW_IN(cx, arena, size, a.count);
    QX_NEW_IN(cx, arena, count, a.count);
    for (size_t k = 0; k < a.count; k++) {
        of_parent[k] = parent[first[k]];
        size[k] = (double)nest->size[first[k]];
    }
    for (size_t c = 0; c < nest->cells; c++) {
        count[a.of[c]] += 1.0;
    }
    nest->classes = a.count;
    nest->class_of = a.of;
    nest->class_parent = of_parent;
    nest->class_size = size;
    nest->class_count = count;
    return QX_OK;
}

/* What stays: the atoms and their codes. */
static qx_status keep_core(qx_ctx *cx, qx_arena *arena, const stage *s, qx_nest *nest)
{
    size_t *core;
    QX_NEW_IN(cx, arena, core, s->m);
    QX_NEW_IN(cx, arena, nest->code, s->m);
    for (size_t k = 0; k < s->m; k++) {
        if (s->live[k]) {
            core[nest->core_count] = k;
            nest->code[nest->core_count++] = s->code[k];
        }
    }
    nest->core = core;
    nest->atoms = s->n;
    nest->set = s->set;
    return QX_OK;
}

static qx_status make(qx_ctx *cx, qx_arena *arena, stage *s, bool flat, qx_nest *nest)
{
    qx_alike a;
    size_t t = s->m;
    if (!flat) {
        QX_TRY(find_lowest(cx, s, &t));
    }
    if (t == s->m) {
        QX_TRY(agree(cx, arena, s, &a));
        QX_TRY(climb(cx, arena, s, &a));
    } else {
        QX_TRY(take_out(cx, arena, s, t, nest, &a));
    }
    nest->cell_of = a.of;
    nest->cells = a.count;
    while (nest->depth > 0 && nest->depth < QX_NEST_MOST) {
        QX_TRY(find_lowest(cx, s, &t));
        if (t == s->m) {
            break;
        }
        QX_TRY(take_out(cx, arena, s, t, nest, &a));
        nest->level[nest->depth - 2].parent = a.of;
    }
    if (nest->depth > 0) {
        QX_TRY(agree(cx, arena, s, &a));
        QX_TRY(climb(cx, arena, s, &a));
        nest->level[nest->depth - 1].parent = a.of;
    }
    QX_TRY(keep_core(cx, arena, s, nest));
    QX_TRY(sizes(cx, arena, nest));
    return classes(cx, arena, nest->depth > 1 ? nest->level[1].units : nest->atoms, nest);
}

qx_status qx_nest_make(qx_ctx *cx,
                       qx_arena *arena,
                       const qx_alike *x,
                       size_t m,
                       const size_t levels[],
                       const uint32_t *const code[],
                       bool flat,
                       qx_nest *out)
{
    stage s = {.m = m, .levels = levels, .n = x->n, .sets = x->count, .set = x->of};
    qx_nest nest = {.n = x->n};
    qx_status status;
    QX_NEW_IN(cx, arena, s.live, m);
    QX_NEW_IN(cx, arena, s.code, m);
    for (size_t k = 0; k < m; k++) {
        s.live[k] = true;
        s.code[k] = code[k];
    }
    QX_SCRATCH(cx, status, make(cx, arena, &s, flat, &nest));
    QX_TRY(status);
    *out = nest;
    return QX_OK;
}
