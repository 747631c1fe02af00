#include <string.h>

#include "layout/search_state.h"

/* --- memory and lists --- */

size_t qx_searching_set(const qx_searching *s, size_t plot)
{
    return s->in->set == NULL ? 0 : s->in->set[plot];
}

size_t qx_searching_sets(const qx_searching *s)
{
    return s->in->set == NULL ? 1 : s->in->set_count;
}

static qx_status list_members(qx_searching *s, size_t f)
{
    const qx_blocking *blocking = &s->in->blocking[f];
    QX_NEW(s->cx, s->start[f], blocking->count + 2);
    QX_NEW(s->cx, s->member[f], s->n);
    for (size_t p = 0; p < s->n; p++) {
        s->start[f][blocking->block[p] + 2]++;
    }
    for (size_t b = 0; b < blocking->count; b++) {
        s->start[f][b + 2] += s->start[f][b + 1];
    }
    for (size_t p = 0; p < s->n; p++) {
        s->member[f][s->start[f][blocking->block[p] + 1]++] = (uint32_t)p;
    }
    return QX_OK;
}

static qx_status list_sets(qx_searching *s)
{
    const size_t sets = qx_searching_sets(s);
    QX_NEW(s->cx, s->set_start, sets + 2);
    QX_NEW(s->cx, s->set_plot, s->n);
    for (size_t p = 0; p < s->n; p++) {
        s->set_start[qx_searching_set(s, p) + 2]++;
    }
    for (size_t k = 0; k < sets; k++) {
        s->set_start[k + 2] += s->set_start[k + 1];
    }
    for (size_t p = 0; p < s->n; p++) {
        const size_t k = qx_searching_set(s, p);
        s->set_plot[s->set_start[k + 1]++] = (uint32_t)p;
    }
    return QX_OK;
}

qx_status qx_searching_prepare(qx_searching *s)
{
    QX_NEW(s->cx, s->at, s->n);
    QX_NEW(s->cx, s->start, s->in->blocking_count);
    QX_NEW(s->cx, s->member, s->in->blocking_count);
    for (size_t f = 0; f < s->in->blocking_count; f++) {
        QX_TRY(list_members(s, f));
    }
    QX_TRY(list_sets(s));
    QX_NEW(s->cx, s->G, s->v * s->v);
    QX_NEW(s->cx, s->H, s->v * s->v);
    QX_NEW(s->cx, s->value, s->v);
    QX_NEW(s->cx, s->touched, s->v);
    QX_NEW(s->cx, s->ga, s->v);
    QX_NEW(s->cx, s->gd, s->v);
    QX_NEW(s->cx, s->ha, s->v);
    QX_NEW(s->cx, s->hd, s->v);
    return QX_OK;
}

uint32_t qx_searching_family(const qx_searching *s, size_t t)
{
    return s->in->family == NULL ? 0 : s->in->family[t];
}

/* C = X'MX. */
static void information_left(qx_searching *s)
{
    for (size_t p = 0; p < s->n; p++) {
        double *row = s->G + s->at[p] * s->v;
        for (size_t q = 0; q < s->n; q++) {
            row[s->at[q]] += s->in->left[p * s->n + q];
        }
    }
}

void qx_searching_information(qx_searching *s)
{
    const size_t v = s->v;
    memset(s->G, 0, v * v * sizeof *s->G);
    if (s->in->left != NULL) {
        information_left(s);
        return;
    }
    for (size_t p = 0; p < s->n; p++) {
        s->G[s->at[p] * (v + 1)] += 1;
    }
    for (size_t f = 0; f < s->in->blocking_count; f++) {
        for (size_t b = 0; b < s->in->blocking[f].count; b++) {
            const size_t from = s->start[f][b];
            const size_t to = s->start[f][b + 1];
            const double share = s->in->sign[f] / (double)(to - from);
            for (size_t x = from; x < to; x++) {
                double *row = s->G + s->at[s->member[f][x]] * v;
                for (size_t y = from; y < to; y++) {
                    row[s->at[s->member[f][y]]] -= share;
                }
            }
        }
    }
}

/* --- a change --- */

static void touch(qx_searching *s, size_t t, double by)
{
    if (s->value[t] == 0) {
        s->touched[s->touched_count++] = t;
    }
    s->value[t] += by;
    if (s->value[t] == 0) {
        s->value[t] = 1e-300; /* stays listed once; vanishes beside anything else */
    }
}

static void gather_block(qx_searching *s, size_t f, size_t block, double by)
{
    for (size_t x = s->start[f][block]; x < s->start[f][block + 1]; x++) {
        touch(s, s->at[s->member[f][x]], by);
    }
}

/* The same from M: every treatment may be touched. */
static bool gather_left(qx_searching *s, size_t p, size_t q)
{
    const double *at_p = s->in->left + p * s->n;
    const double *at_q = s->in->left + q * s->n;
    const double half = (at_p[p] + at_q[q] - 2 * at_p[q]) / 2;
    for (size_t x = 0; x < s->n; x++) {
        if (at_p[x] != at_q[x]) {
            touch(s, s->at[x], at_q[x] - at_p[x]);
        }
    }
    touch(s, s->at[q], -half);
    touch(s, s->at[p], half);
    s->spent += (double)s->n;
    return true;
}

/* The vector a of the change of p and q. False if no block changes. */
bool qx_searching_gather(qx_searching *s, size_t p, size_t q)
{
    double half = 0;
    s->touched_count = 0;
    if (s->in->left != NULL) {
        return gather_left(s, p, q);
    }
    for (size_t f = 0; f < s->in->blocking_count; f++) {
        const size_t b = s->in->blocking[f].block[p];
        const size_t c = s->in->blocking[f].block[q];
        if (b == c) {
            continue;
        }
        const double sign = s->in->sign[f];
        const double kb = (double)(s->start[f][b + 1] - s->start[f][b]);
        const double kc = (double)(s->start[f][c + 1] - s->start[f][c]);
        gather_block(s, f, b, sign / kb);
        gather_block(s, f, c, -sign / kc);
        half += sign * (1 / kb + 1 / kc) / 2;
    }
    if (s->touched_count > 0) {
        touch(s, s->at[q], half);
        touch(s, s->at[p], -half);
    }
    return s->touched_count > 0;
}

void qx_searching_forget(qx_searching *s)
{
    for (size_t x = 0; x < s->touched_count; x++) {
        s->value[s->touched[x]] = 0;
    }
    s->touched_count = 0;
}

bool qx_searching_pick(qx_searching *s, size_t *p, size_t *q)
{
    *p = (size_t)qx_rng_below(s->rng, s->n);
    const size_t set = qx_searching_set(s, *p);
    const size_t from = s->set_start[set];
    const size_t count = s->set_start[set + 1] - from;
    *q = s->set_plot[from + qx_rng_below(s->rng, count)];
    return *p != *q;
}
