#include "model/strata.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "model/design_rows.h"

/* Columns of length 1 that should lie in a stratum may miss it by this: rounding of n
 * operations. */
static const double IN_STRATUM = 1e-8;

/* Root mean squares below this share of the largest value are its rounding: a few hundred
 * operations of 1e-16 each. */
static const double ROUNDING = 4e-15;

/* A layout whose strata are orthogonal: every pair of units (and the whole) meets with
 * proportional numbers inside the smallest unit that holds both. */
typedef struct layout {
    size_t n, m;              /* rows, random terms */
    const qx_factor **factor; /* m */
    bool *inside;             /* m x m: inside[i + j m], term i lies inside term j */
    double *df;               /* m + 1: dimension of each stratum */
    const char *why;          /* the first thing that is not balanced */
    qx_mat work;              /* n x (m + 1): parts of one vector, one stratum each */
    double *sum;              /* room for level totals */
} layout;

static bool
lies_inside(size_t n, const qx_factor *fine, const qx_factor *coarse, size_t parent[])
{
    for (size_t l = 0; l < fine->level_count; l++) {
        parent[l] = QX_NO_COLUMN;
    }
    for (size_t i = 0; i < n; i++) {
        size_t *at = &parent[fine->code[i]];
        if (*at != QX_NO_COLUMN && *at != coarse->code[i]) {
            return false;
        }
        *at = coarse->code[i];
    }
    return true;
}

/* Does every level have the same number of rows, more than one? */
static qx_status equal_numbers(qx_ctx *cx, size_t n, const qx_factor *f, bool *out)
{
    size_t *count;
    QX_NEW(cx, count, f->level_count);
    for (size_t i = 0; i < n; i++) {
        count[f->code[i]]++;
    }
    *out = f->level_count > 0 && count[0] > 1;
    for (size_t l = 1; l < f->level_count; l++) {
        *out = *out && count[l] == count[0];
    }
    return QX_OK;
}

static void average(const layout *w, const qx_factor *f, const double x[], double out[])
{
    const double share = (double)f->level_count / (double)w->n;
    memset(w->sum, 0, f->level_count * sizeof *w->sum);
    for (size_t i = 0; i < w->n; i++) {
        w->sum[f->code[i]] += x[i];
    }
    for (size_t i = 0; i < w->n; i++) {
        out[i] = w->sum[f->code[i]] * share;
    }
}

/* Splits x into its parts in the strata (columns of w->work); the grand mean is left
 * out. */
static void split(const layout *w, const double x[])
{
    double mean = 0.0;
    for (size_t i = 0; i < w->n; i++) {
        mean += x[i] / (double)w->n;
    }
    double *rest = &QX_AT(w->work, 0, w->m);
    for (size_t i = 0; i < w->n; i++) {
        rest[i] = x[i] - mean;
    }
    for (size_t k = 0; k < w->m; k++) {
        double *part = &QX_AT(w->work, 0, k);
        average(w, w->factor[k], x, part);
        for (size_t i = 0; i < w->n; i++) {
            part[i] -= mean;
        }
        for (size_t c = 0; c < k; c++) {
            for (size_t i = 0; w->inside[k + c * w->m] && i < w->n; i++) {
                part[i] -= QX_AT(w->work, i, c);
            }
        }
        for (size_t i = 0; i < w->n; i++) {
            rest[i] -= part[i];
        }
    }
}

/* Levels of the smallest unit that holds both, 1 for the whole. */
static size_t common_levels(const layout *w, size_t a, size_t b)
{
    size_t levels = 1;
    for (size_t c = 0; c < w->m; c++) {
        if (w->inside[a + c * w->m] && w->inside[b + c * w->m] &&
            w->factor[c]->level_count > levels) {
            levels = w->factor[c]->level_count;
        }
    }
    return levels;
}

static int by_size(const void *a, const void *b)
{
    const uint64_t x = *(const uint64_t *)a;
    const uint64_t y = *(const uint64_t *)b;
    return (x > y) - (x < y);
}

/* Do two units that do not nest meet everywhere inside the smallest that holds both, with
 * the number of rows that equal numbers leave for it? Then the product of their means is
 * the mean over that unit, and nothing of one lies in the stratum of the other. */
static bool meet_evenly(const layout *w, size_t a, size_t b, uint64_t pair[])
{
    const uint64_t a_levels = w->factor[a]->level_count;
    const uint64_t b_levels = w->factor[b]->level_count;
    const uint64_t rows = w->n * common_levels(w, a, b);
    if (rows % (a_levels * b_levels) != 0) {
        return false;
    }
    const uint64_t want = rows / (a_levels * b_levels);
    for (size_t i = 0; i < w->n; i++) {
        pair[i] = w->factor[a]->code[i] * b_levels + w->factor[b]->code[i];
    }
    qsort(pair, w->n, sizeof *pair, by_size);
    for (size_t i = 0; i < w->n;) {
        const size_t first = i;
        while (i < w->n && pair[i] == pair[first]) {
            i++;
        }
        if (i - first != want) {
            return false;
        }
    }
    return true;
}

static qx_status orthogonal(qx_ctx *cx, const layout *w, bool *out)
{
    uint64_t *pair;
    QX_NEW(cx, pair, w->n);
    *out = true;
    for (size_t a = 0; a < w->m; a++) {
        for (size_t b = 0; b < a && *out; b++) {
            *out = w->inside[a + b * w->m] || w->inside[b + a * w->m] ||
                   meet_evenly(w, a, b, pair);
        }
    }
    return QX_OK;
}

/* The nesting of the units and the dimension of each stratum; false: not balanced. */
static qx_status
study_units(qx_ctx *cx, const qx_lmm_spec *spec, layout *w, bool *balanced)
{
    bool *inside = w->inside;
    size_t *parent;
    size_t most = 1;
    QX_NEW(cx, w->factor, w->m);
    w->df[w->m] = (double)w->n - 1.0;
    *balanced = true;
    for (size_t k = 0; k < w->m && *balanced; k++) {
        w->factor[k] = &spec->frame->factor[spec->random[k].factor];
        most = w->factor[k]->level_count > most ? w->factor[k]->level_count : most;
        QX_TRY(equal_numbers(cx, w->n, w->factor[k], balanced));
    }
    w->why = "the units do not all hold the same number of observations";
    if (!*balanced) {
        return QX_OK;
    }
    w->why = "some units leave nothing to compare by themselves";
    QX_NEW(cx, parent, most);
    QX_NEW(cx, w->sum, most);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), w->n, w->m + 1, &w->work));
    for (size_t k = 0; k < w->m; k++) {
        w->df[k] = (double)w->factor[k]->level_count - 1.0;
        for (size_t c = 0; c < w->m; c++) {
            inside[k + c * w->m] =
                c != k && lies_inside(w->n, w->factor[k], w->factor[c], parent);
            *balanced = *balanced && (c < k || !inside[k + c * w->m]);
            w->df[k] -= c < k && inside[k + c * w->m] ? w->df[c] : 0.0;
        }
        w->df[w->m] -= w->df[k];
        *balanced = *balanced && w->df[k] > 0.0;
    }
    *balanced = *balanced && w->df[w->m] > 0.0;
    if (!*balanced) {
        return QX_OK;
    }
    w->why = "units that cross do not meet equally often";
    return orthogonal(cx, w, balanced);
}

/* The stratum that holds all of x (length 1), or m + 1. */
static size_t stratum_holding(const layout *w, const double x[])
{
    split(w, x);
    for (size_t c = 0; c <= w->m; c++) {
        double miss = 0.0;
        for (size_t i = 0; i < w->n; i++) {
            const double d = x[i] - QX_AT(w->work, i, c);
            miss += d * d;
        }
        if (sqrt(miss) < IN_STRATUM) {
            return c;
        }
    }
    return w->m + 1;
}

/* Is the marginal hypothesis of the term the sequential one: do its rows, over the columns
 * of Q, have weight on the term's own columns alone? */
static qx_status term_orthogonal(qx_ctx *cx, const qx_design *d, size_t term, bool *out)
{
    qx_mat L;
    double *x;
    QX_NEW(cx, x, d->p);
    QX_TRY(qx_design_marginal(cx, qx_ctx_scratch(cx), d, term, &L));
    *out = L.rows == d->term_df[term];
    for (size_t r = 0; r < L.rows; r++) {
        double own = 0.0;
        double other = 0.0;
        for (size_t j = 0; j < d->p; j++) { /* x R = row, forward */
            x[j] = QX_AT(L, r, j);
            for (size_t k = 0; k < j; k++) {
                x[j] -= x[k] * QX_AT(d->qr.R, k, d->kept[j]);
            }
            x[j] /= QX_AT(d->qr.R, j, d->kept[j]);
            *(d->term_of[j] == term ? &own : &other) += x[j] * x[j];
        }
        *out = *out && other <= IN_STRATUM * IN_STRATUM * own;
    }
    return QX_OK;
}

typedef struct sums {
    size_t *stratum_of;
    double *ss, *df;        /* by term */
    double *left, *left_df; /* by stratum */
    double *dimension;      /* by stratum */
    bool *inside;           /* random terms, squared */
    const char *why;
} sums;

/* Columns of Q one by one: which stratum holds them, and what of y lies along them. */
static qx_status place_terms(qx_ctx *cx,
                             const layout *w,
                             const qx_design *d,
                             const double effects[],
                             sums *s,
                             bool *balanced)
{
    double *x;
    QX_NEW(cx, x, w->n);
    for (size_t t = 0; t < d->term_count && *balanced; t++) {
        s->stratum_of[t] = w->m;
        if (d->term_df[t] > 0) {
            QX_TRY(term_orthogonal(cx, d, t, balanced));
        }
    }
    for (size_t j = 1; j < d->p && *balanced; j++) {
        const size_t t = d->term_of[j];
        QX_TRY(qx_design_basis(cx, d, j, x));
        const size_t at = stratum_holding(w, x);
        *balanced = at <= w->m && (s->df[t] == 0.0 || s->stratum_of[t] == at);
        s->stratum_of[t] = at;
        s->df[t] += 1.0;
        s->ss[t] += effects[j] * effects[j];
    }
    return QX_OK;
}

/* What is left in each stratum: the parts of the residual My, since the terms' columns lie
 * in one stratum each. */
static void left_over(const layout *w, const qx_design *d, const double r[], sums *s)
{
    split(w, r);
    for (size_t c = 0; c <= w->m; c++) {
        s->left[c] = qx_dot(w->n, &QX_AT(w->work, 0, c), &QX_AT(w->work, 0, c));
        s->left_df[c] = w->df[c];
    }
    for (size_t t = 0; t < d->term_count; t++) {
        s->left_df[s->stratum_of[t]] -= s->df[t];
    }
}

static qx_status
make(qx_ctx *cx, const qx_lmm_spec *spec, const qx_design *d, sums *s, bool *balanced)
{
    layout w = {
        .n = d->n, .m = spec->random_count, .inside = s->inside, .df = s->dimension};
    double *effects, *r;
    QX_NEW(cx, effects, d->p);
    QX_NEW(cx, r, d->n);
    QX_TRY(study_units(cx, spec, &w, balanced));
    s->why = w.why;
    if (!*balanced) {
        return QX_OK;
    }
    s->why = "treatments are not spread evenly over the units";
    QX_TRY(qx_design_split(cx, d, spec->y, NULL, effects, r));
    QX_TRY(place_terms(cx, &w, d, effects, s, balanced));
    if (*balanced) {
        left_over(&w, d, r, s);
    }
    return QX_OK;
}

/* Without random terms there is one stratum, balanced or not. */
static qx_status
one_stratum(qx_ctx *cx, const qx_lmm_spec *spec, const qx_design *d, sums *s)
{
    double *effects, *r;
    QX_NEW(cx, effects, d->p);
    QX_NEW(cx, r, d->n);
    QX_TRY(qx_design_split(cx, d, spec->y, NULL, effects, r));
    for (size_t j = 1; j < d->p; j++) {
        s->df[d->term_of[j]] += 1.0;
        s->ss[d->term_of[j]] += effects[j] * effects[j];
    }
    s->left[0] = qx_dot(d->n, r, r);
    s->left_df[0] = (double)(d->n - d->p);
    s->dimension[0] = (double)d->n - 1.0;
    return QX_OK;
}

/* Sums of squares that are rounding alone are nil. */
static void
clear_rounding(const qx_lmm_spec *spec, const qx_design *d, size_t strata, sums *s)
{
    double most = 0.0;
    for (size_t i = 0; i < d->n; i++) {
        most = fmax(most, fabs(spec->y[i]));
    }
    for (size_t t = 0; t < d->term_count; t++) {
        s->ss[t] = sqrt(s->ss[t] / s->df[t]) <= ROUNDING * most ? 0.0 : s->ss[t];
    }
    for (size_t c = 0; c < strata; c++) {
        s->left[c] =
            sqrt(s->left[c] / s->left_df[c]) <= ROUNDING * most ? 0.0 : s->left[c];
    }
}

qx_status
qx_strata_orthogonal(qx_ctx *cx, const qx_design *design, size_t term, bool *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, term_orthogonal(cx, design, term, out));
    return status;
}

qx_status qx_strata_make(qx_ctx *cx,
                         qx_arena *arena,
                         const qx_lmm_spec *spec,
                         const qx_design *design,
                         qx_strata *out)
{
    const size_t count = spec->random_count + 1;
    qx_strata strata = {.balanced = true, .stratum_count = count};
    qx_stratum_line *line;
    sums s = {0};
    qx_status status;
    QX_NEW_IN(cx, arena, line, count);
    QX_NEW_IN(cx, arena, s.dimension, count);
    QX_NEW_IN(cx, arena, s.inside, spec->random_count * spec->random_count);
    QX_NEW_IN(cx, arena, s.stratum_of, design->term_count);
    QX_NEW_IN(cx, arena, s.ss, design->term_count);
    QX_NEW_IN(cx, arena, s.df, design->term_count);
    QX_NEW_IN(cx, arena, s.left, count);
    QX_NEW_IN(cx, arena, s.left_df, count);
    if (spec->random_count == 0) {
        QX_SCRATCH(cx, status, one_stratum(cx, spec, design, &s));
    } else {
        QX_SCRATCH(cx, status, make(cx, spec, design, &s, &strata.balanced));
    }
    QX_TRY(status);
    clear_rounding(spec, design, count, &s);
    for (size_t c = 0; c < count; c++) {
        const bool last = c == spec->random_count;
        line[c] = (qx_stratum_line){last ? "residual" : spec->random[c].name,
                                    s.left_df[c],
                                    s.left[c],
                                    s.left_df[c] > 0.0 ? s.left[c] / s.left_df[c]
                                                       : (double)NAN};
    }
    strata.left = line;
    strata.why = strata.balanced ? NULL : s.why;
    strata.dimension = s.dimension;
    strata.inside = s.inside;
    strata.stratum_of = s.stratum_of;
    strata.sum_of_squares = s.ss;
    strata.df = s.df;
    *out = strata;
    return QX_OK;
}
