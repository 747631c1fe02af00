#include "model/exact.h"

#include <math.h>
#include <string.h>

#include "numeric/dist.h"

#define DRAWS_DEFAULT 100000
/* Tables gone through at the most: about a second. */
static const double TABLES_MOST = 2e6;
/* Relative room for "no more likely": probabilities of equal tables differ by rounding. */
static const double EQUAL = 1e-7;

typedef struct margins {
    size_t r, c;
    double *row, *col; /* sums */
    double all;
    double base;     /* log of the constant of all tables */
    double observed; /* sum of log factorials of the observed cells */
} margins;

static double log_factorial(double x)
{
    return qx_lgamma(x + 1.0);
}

static qx_status read_margins(qx_ctx *cx, const double count[], margins *m)
{
    QX_NEW(cx, m->row, m->r);
    QX_NEW(cx, m->col, m->c);
    for (size_t i = 0; i < m->r; i++) {
        for (size_t j = 0; j < m->c; j++) {
            const double x = count[i * m->c + j];
            if (!(x >= 0.0 && x == floor(x) && x < 1e9)) {
                return qx_fail(cx,
                               QX_E_ARG,
                               "cell %zu of row %zu of a table is not a whole number",
                               j + 1,
                               i + 1);
            }
            m->row[i] += x;
            m->col[j] += x;
            m->all += x;
            m->observed += log_factorial(x);
        }
    }
    if (!(m->all > 0.0)) {
        return qx_fail(cx, QX_E_INPUT, "there is nothing in the table");
    }
    m->base = -log_factorial(m->all);
    for (size_t i = 0; i < m->r; i++) {
        m->base += log_factorial(m->row[i]);
    }
    for (size_t j = 0; j < m->c; j++) {
        m->base += log_factorial(m->col[j]);
    }
    return QX_OK;
}

/* At most so many tables: ways to fill all rows but the last without looking at columns. */
static double tables_at_most(const margins *m)
{
    double log_ways = 0.0;
    for (size_t i = 0; i + 1 < m->r; i++) {
        log_ways += qx_lchoose(m->row[i] + (double)m->c - 1.0, (double)m->c - 1.0);
    }
    return exp(log_ways);
}

/* Going through: cell after cell of rows 0 ... r - 2; the last row is what columns leave. */
typedef struct search {
    const margins *m;
    double *left;  /* c: what columns still hold */
    double *rest;  /* r x c: what a row still holds before its cell */
    double *cell;  /* r x c */
    double *sum;   /* r x c + 1: log factorials of the cells before */
    size_t *i, *j; /* (r - 1) c: row and column of each cell */
    double p, count;
} search;

static void one_table(search *s, double sum)
{
    const margins *m = s->m;
    for (size_t j = 0; j < m->c; j++) {
        sum += log_factorial(s->left[j]);
    }
    s->count += 1.0;
    if (sum >= m->observed - EQUAL) {
        s->p += exp(m->base - sum);
    }
}

/* The least and most that a cell may hold so that the rest of its row still fits. */
static void bounds(const search *s, size_t at, double *least, double *most)
{
    const size_t j = s->j[at];
    double room = 0.0;
    for (size_t k = j + 1; k < s->m->c; k++) {
        room += s->left[k];
    }
    *least = fmax(0.0, s->rest[at] - room);
    *most = fmin(s->rest[at], s->left[j]);
}

static void go_through(search *s)
{
    const size_t cells = (s->m->r - 1) * s->m->c;
    size_t at = 0;
    bool down = true;
    if (cells == 0) {
        one_table(s, 0.0);
        return;
    }
    s->rest[0] = s->m->row[0];
    for (;;) {
        double least, most;
        if (down) {
            bounds(s, at, &least, &most);
            s->cell[at] = least - 1.0;
        } else {
            s->left[s->j[at]] += s->cell[at];
        }
        bounds(s, at, &least, &most);
        s->cell[at] += 1.0;
        if (s->cell[at] > most) {
            if (at == 0) {
                return;
            }
            at--;
            down = false;
            continue;
        }
        s->left[s->j[at]] -= s->cell[at];
        s->sum[at + 1] = s->sum[at] + log_factorial(s->cell[at]);
        if (at + 1 == cells) {
            one_table(s, s->sum[at + 1]);
            down = false;
        } else {
            s->rest[at + 1] =
                s->j[at + 1] == 0 ? s->m->row[s->i[at + 1]] : s->rest[at] - s->cell[at];
            at++;
            down = true;
        }
    }
}

static qx_status all_tables(qx_ctx *cx, const margins *m, qx_exact *out)
{
    search s = {.m = m};
    QX_NEW(cx, s.left, m->c);
    QX_NEW(cx, s.rest, m->r * m->c);
    QX_NEW(cx, s.cell, m->r * m->c);
    QX_NEW(cx, s.sum, m->r * m->c + 1);
    QX_NEW(cx, s.i, m->r * m->c);
    QX_NEW(cx, s.j, m->r * m->c);
    for (size_t i = 0, at = 0; i < m->r; i++) {
        for (size_t j = 0; j < m->c; j++, at++) {
            s.i[at] = i;
            s.j[at] = j;
        }
    }
    memcpy(s.left, m->col, m->c * sizeof *s.left);
    go_through(&s);
    *out = (qx_exact){.p = fmin(1.0, s.p), .exact = true, .arrangements = s.count};
    return QX_OK;
}

/* A table with the same margins: the things of all rows, their classes shuffled. */
static qx_status
drawn_tables(qx_ctx *cx, const margins *m, size_t draws, uint64_t seed, qx_exact *out)
{
    const size_t all = (size_t)m->all;
    qx_rng rng = qx_rng_seeded(seed);
    size_t *thing, above = 0, k = 0;
    double *cell;
    QX_NEW(cx, thing, all);
    QX_NEW(cx, cell, m->c);
    for (size_t j = 0; j < m->c; j++) {
        for (size_t x = (size_t)m->col[j]; x > 0; x--) {
            thing[k++] = j;
        }
    }
    for (size_t d = 0; d < draws; d++) {
        double sum = 0.0;
        qx_rng_shuffle(&rng, all, thing);
        k = 0;
        for (size_t i = 0; i < m->r; i++) {
            memset(cell, 0, m->c * sizeof *cell);
            for (size_t x = (size_t)m->row[i]; x > 0; x--) {
                cell[thing[k++]] += 1.0;
            }
            for (size_t j = 0; j < m->c; j++) {
                sum += log_factorial(cell[j]);
            }
        }
        above += sum >= m->observed - EQUAL;
    }
    out->p = (1.0 + (double)above) / (1.0 + (double)draws);
    out->se = sqrt(out->p * (1.0 - out->p) / (double)draws);
    out->exact = false;
    out->arrangements = (double)draws;
    return QX_OK;
}

static qx_status table(qx_ctx *cx,
                       margins *m,
                       const double count[],
                       size_t draws,
                       uint64_t seed,
                       qx_exact *out)
{
    QX_TRY(read_margins(cx, count, m));
    return tables_at_most(m) <= TABLES_MOST
               ? all_tables(cx, m, out)
               : drawn_tables(cx, m, draws == 0 ? DRAWS_DEFAULT : draws, seed, out);
}

qx_status qx_exact_table(qx_ctx *cx,
                         size_t r,
                         size_t c,
                         const double count[],
                         size_t draws,
                         uint64_t seed,
                         qx_exact *out)
{
    margins m = {.r = r, .c = c};
    qx_exact got = {0};
    qx_status status;
    if (r == 0 || c == 0) {
        return qx_fail(cx, QX_E_ARG, "a table of no rows or no columns");
    }
    QX_SCRATCH(cx, status, table(cx, &m, count, draws, seed, &got));
    if (status == QX_OK) {
        *out = got;
    }
    return status;
}
