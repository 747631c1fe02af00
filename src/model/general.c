#include "model/general.h"

#include <string.h>

static size_t root_of(size_t parent[], size_t k)
{
    while (parent[k] != k) {
        parent[k] = parent[parent[k]];
        k = parent[k];
    }
    return k;
}

/* Joins the rows that have the same code. */
static qx_status join(qx_ctx *cx, size_t n, const uint32_t code[], size_t parent[])
{
    size_t *first; /* row + 1 that first had a code */
    size_t most = 0;
    for (size_t i = 0; i < n; i++) {
        most = code[i] > most ? code[i] : most;
    }
    QX_NEW(cx, first, most + 1);
    for (size_t i = 0; i < n; i++) {
        if (first[code[i]] == 0) {
            first[code[i]] = i + 1;
        }
        parent[root_of(parent, i)] = root_of(parent, first[code[i]] - 1);
    }
    return QX_OK;
}

static qx_status join_all(qx_ctx *cx, const qx_parts *parts, size_t parent[])
{
    for (size_t i = 0; i < parts->n; i++) {
        parent[i] = parts->at[QX_PART_FIELD] != QX_NO_COLUMN
                        ? 0
                        : i; /* the field holds all rows together */
    }
    for (size_t k = 0; k < parts->count && parts->part[k].kind == QX_PART_UNIT; k++) {
        QX_TRY(join(cx, parts->n, parts->part[k].code, parent));
    }
    return parts->series != NULL ? join(cx, parts->n, parts->series, parent) : QX_OK;
}

/* Rows by set, sets in the order of their first rows. */
static qx_status arrange(qx_ctx *cx, qx_arena *arena, size_t parent[], qx_general *g)
{
    size_t *number, *start, *row, *next, *offset;
    QX_NEW(cx, number, g->n);
    QX_NEW(cx, next, g->n);
    QX_NEW_IN(cx, arena, start, g->n + 1);
    QX_NEW_IN(cx, arena, offset, g->n + 1);
    QX_NEW_IN(cx, arena, row, g->n);
    for (size_t i = 0; i < g->n; i++) {
        const size_t root = root_of(parent, i);
        number[root] = number[root] == 0 ? ++g->sets : number[root];
        start[number[root]]++;
    }
    for (size_t s = 0; s < g->sets; s++) {
        const size_t size = start[s + 1];
        g->largest = size > g->largest ? size : g->largest;
        start[s + 1] += start[s];
        offset[s + 1] = offset[s] + size * size;
        next[s] = start[s];
    }
    for (size_t i = 0; i < g->n; i++) {
        row[next[number[root_of(parent, i)] - 1]++] = i;
    }
    g->start = start;
    g->offset = offset;
    g->row = row;
    return QX_OK;
}

static qx_status
make(qx_ctx *cx, qx_arena *arena, qx_mat Q, const double r[], qx_general *g)
{
    size_t *parent;
    double *by_place;
    QX_NEW(cx, parent, g->n);
    QX_TRY(join_all(cx, &g->parts, parent));
    QX_TRY(arrange(cx, arena, parent, g));
    if (g->largest > QX_GENERAL_ROWS_MOST) {
        return qx_fail(
            cx,
            QX_E_INPUT,
            "%zu observations hang together by their units or places; expected "
            "at most %d for correlated dates or neighbours or a residual "
            "variation of its own for each season: blocks that are fixed "
            "(analysis: {blocks: fixed}) do not tie their units together, and a field "
            "may be analysed in parts",
            g->largest,
            QX_GENERAL_ROWS_MOST);
    }
    QX_NEW_IN(cx, arena, by_place, g->n);
    QX_TRY(qx_mat_new(cx, arena, g->n, g->p, &g->Q));
    for (size_t i = 0; i < g->n; i++) {
        by_place[i] = r[g->row[i]];
        for (size_t j = 0; j < g->p; j++) {
            QX_AT(g->Q, i, j) = QX_AT(Q, g->row[i], j);
        }
    }
    g->r = by_place;
    return QX_OK;
}

qx_status qx_general_make(qx_ctx *cx,
                          qx_arena *arena,
                          const qx_parts *parts,
                          qx_mat Q,
                          const double r[],
                          qx_general *out)
{
    qx_status status;
    *out = (qx_general){.parts = *parts, .n = Q.rows, .p = Q.cols, .m = parts->count};
    QX_SCRATCH(cx, status, make(cx, arena, Q, r, out));
    return status;
}

qx_status
qx_general_room(qx_ctx *cx, qx_arena *arena, const qx_general *g, qx_general_point *out)
{
    *out = (qx_general_point){0};
    QX_NEW_IN(cx, arena, out->theta, g->m);
    QX_NEW_IN(cx, arena, out->gradient, g->m);
    QX_NEW_IN(cx, arena, out->factor, g->offset[g->sets]);
    QX_NEW_IN(cx, arena, out->square, g->offset[g->sets]);
    QX_NEW_IN(cx, arena, out->e, g->p);
    QX_NEW_IN(cx, arena, out->d, g->p);
    QX_NEW_IN(cx, arena, out->py, g->n);
    QX_NEW_IN(cx, arena, out->P, g->m);
    QX_TRY(qx_mat_new(cx, arena, g->n, g->p, &out->A));
    QX_TRY(qx_mat_new(cx, arena, g->p, g->p, &out->F));
    QX_TRY(qx_mat_new(cx, arena, g->p, g->p, &out->phi));
    QX_TRY(qx_mat_new(cx, arena, g->m, g->m, &out->hessian));
    QX_TRY(qx_mat_new(cx, arena, g->m, g->m, &out->expected));
    QX_TRY(qx_mat_new(cx, arena, g->p, g->m, &out->along));
    for (size_t i = 0; i < g->m; i++) {
        QX_TRY(qx_mat_new(cx, arena, g->p, g->p, &out->P[i]));
    }
    return QX_OK;
}
