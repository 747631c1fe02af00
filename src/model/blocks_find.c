/* Which columns hang together. */
#include "model/blocks.h"

/* Columns below which one dense matrix is quicker than several small ones. */
#define DENSE_MOST 100

static size_t root_of(size_t parent[], size_t k)
{
    while (parent[k] != k) {
        parent[k] = parent[parent[k]];
        k = parent[k];
    }
    return k;
}

/* parent[k]: some column of the same set; after that, set[k] numbers the sets. */
static qx_status join(qx_ctx *cx,
                      const qx_profile *f,
                      const uint32_t *const code[],
                      size_t set[],
                      size_t *count)
{
    size_t *parent;
    size_t *number;
    QX_NEW(cx, parent, f->q);
    QX_NEW(cx, number, f->q);
    for (size_t k = 0; k < f->q; k++) {
        parent[k] = k;
    }
    for (size_t i = 0; i < f->n; i++) {
        const size_t first = root_of(parent, f->start[0] + code[0][i]);
        for (size_t t = 1; t < f->m; t++) {
            parent[root_of(parent, f->start[t] + code[t][i])] = first;
        }
    }
    *count = 0;
    for (size_t k = 0; k < f->q; k++) {
        const size_t root = root_of(parent, k);
        if (number[root] == 0) {
            number[root] = ++*count;
        }
        set[k] = number[root] - 1;
    }
    return QX_OK;
}

/* Places of the columns, by set and inside it by term; place[k] of column k. */
static qx_status arrange(qx_ctx *cx,
                         qx_arena *arena,
                         const qx_profile *f,
                         const size_t set[],
                         struct qx_blocks *b,
                         size_t place[])
{
    size_t *start, *column, *term, *offset, *next;
    QX_NEW_IN(cx, arena, start, b->count + 1);
    QX_NEW_IN(cx, arena, offset, b->count + 1);
    QX_NEW_IN(cx, arena, column, f->q);
    QX_NEW_IN(cx, arena, term, f->q);
    QX_NEW(cx, next, b->count);
    for (size_t k = 0; k < f->q; k++) {
        start[set[k] + 1]++;
    }
    for (size_t s = 0; s < b->count; s++) {
        const size_t size = start[s + 1];
        start[s + 1] += start[s];
        offset[s + 1] = offset[s] + size * size;
        next[s] = start[s];
    }
    for (size_t t = 0; t < f->m; t++) {
        for (size_t k = f->start[t]; k < f->start[t + 1]; k++) {
            place[k] = next[set[k]]++;
            column[place[k]] = k;
            term[place[k]] = t;
        }
    }
    b->start = start;
    b->column = column;
    b->term = term;
    b->offset = offset;
    return QX_OK;
}

static qx_status find(qx_ctx *cx,
                      qx_arena *arena,
                      const qx_profile *f,
                      const uint32_t *const code[],
                      bool always,
                      const struct qx_blocks **out)
{
    struct qx_blocks *b;
    size_t *set, *place;
    double *G;
    QX_NEW(cx, set, f->q);
    QX_NEW(cx, place, f->q);
    QX_NEW_IN(cx, arena, b, 1);
    QX_TRY(join(cx, f, code, set, &b->count));
    if (b->count < 2 && !always) {
        return QX_OK;
    }
    QX_TRY(arrange(cx, arena, f, set, b, place));
    QX_NEW_IN(cx, arena, G, b->offset[b->count]);
    for (size_t i = 0; i < f->n; i++) {
        const size_t s = set[f->start[0] + code[0][i]];
        const size_t size = b->start[s + 1] - b->start[s];
        double *square = G + b->offset[s];
        for (size_t t = 0; t < f->m; t++) {
            const size_t row = place[f->start[t] + code[t][i]] - b->start[s];
            for (size_t l = 0; l < f->m; l++) {
                const size_t col = place[f->start[l] + code[l][i]] - b->start[s];
                square[row + col * size] += 1.0;
            }
        }
    }
    b->G = G;
    *out = b;
    return QX_OK;
}

qx_status qx_blocks_find(qx_ctx *cx,
                         qx_arena *arena,
                         const qx_profile *profile,
                         const uint32_t *const code[],
                         bool always,
                         const struct qx_blocks **out)
{
    qx_status status;
    *out = NULL;
    if (profile->m == 0 || (profile->q <= DENSE_MOST && !always)) {
        return QX_OK;
    }
    QX_SCRATCH(cx, status, find(cx, arena, profile, code, always, out));
    return status;
}

static qx_status cubes(qx_ctx *cx,
                       size_t n,
                       size_t m,
                       const size_t levels[],
                       const uint32_t *const code[],
                       double *out)
{
    qx_profile f = {.n = n, .m = m};
    size_t *start, *set, *size;
    size_t count = 0;
    QX_NEW(cx, start, m + 1);
    for (size_t t = 0; t < m; t++) {
        start[t + 1] = start[t] + levels[t];
    }
    f.start = start;
    f.q = start[m];
    *out = (double)f.q * (double)f.q * (double)f.q;
    if (f.q <= DENSE_MOST || m == 0) {
        return QX_OK;
    }
    QX_NEW(cx, set, f.q);
    QX_NEW(cx, size, f.q);
    QX_TRY(join(cx, &f, code, set, &count));
    for (size_t k = 0; k < f.q; k++) {
        size[set[k]]++;
    }
    *out = 0.0;
    for (size_t s = 0; s < count; s++) {
        *out += (double)size[s] * (double)size[s] * (double)size[s];
    }
    return QX_OK;
}

qx_status qx_blocks_cubes(qx_ctx *cx,
                          size_t n,
                          size_t m,
                          const size_t levels[],
                          const uint32_t *const code[],
                          double *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, cubes(cx, n, m, levels, code, out));
    return status;
}
