#include "findings/classical.h"

#include <math.h>

#include "base/array.h"
#include "base/decimal.h"
#include "model/anova.h"

static const char *stratum_path(const qx_work *w, size_t s)
{
    return s < w->choice.random_count ? w->choice.random[s].name
                                      : w->choice.residual_path;
}

/* Own name of the stratum's unit: "tree". */
static const char *stratum_unit(const qx_work *w, size_t s)
{
    const size_t k =
        s < w->choice.random_count ? w->choice.random_unit[s] : w->choice.residual_unit;
    return w->protocol->unit[w->data.unit[k].unit].name;
}

/* Why there is no table, or NULL. */
static qx_status why_not(qx_work *w, const char **out)
{
    const qx_design *d = &w->fit->design;
    *out = NULL;
    if (w->structured) {
        *out = "dates, places or seasons have a covariance of their own";
        return QX_OK;
    }
    if (w->data.frame.number_count > 0) {
        *out = "a covariate is in the model, so that no unit weighs like another";
        return QX_OK;
    }
    if (w->choice.random_count > 0) {
        *out = w->strata.why;
        return QX_OK;
    }
    for (size_t t = 0; t < d->term_count; t++) {
        bool orthogonal = true;
        if (d->term_df[t] > 0) {
            QX_TRY(qx_strata_orthogonal(w->cx, d, t, &orthogonal));
        }
        if (!orthogonal) {
            *out = "treatments are not spread evenly over the units";
            return QX_OK;
        }
    }
    return QX_OK;
}

/* "residual + 4 block:tree + 12 block", and the effect of a term that is tested there. */
static qx_status
expected(qx_work *w, const qx_anova *a, const qx_anova_line *line, const char **out)
{
    const size_t count = a->stratum_count;
    const char *text = "residual";
    for (size_t k = count - 1; k-- > 0;) {
        const double weight = a->weight[line->stratum + k * count]; /* rows: whole */
        if (weight > 0.0 && text != NULL) {
            text = qx_arena_printf(
                w->arena, "%s + %zu %s", text, (size_t)weight, stratum_path(w, k));
        }
    }
    if (line->term != QX_NO_COLUMN && text != NULL) {
        text = qx_arena_printf(
            w->arena, "%s + effect of %s", text, w->choice.term[line->term].name);
    }
    *out = text;
    return text != NULL
               ? QX_OK
               : qx_fail(w->cx, QX_E_NOMEM, "no memory for expected mean squares");
}

static qx_status take_lines(qx_work *w, const qx_anova *a, qx_classical *out)
{
    qx_classical_line *line;
    QX_NEW_IN(w->cx, w->arena, line, a->line_count);
    for (size_t i = 0; i < a->line_count; i++) {
        const qx_anova_line *from = &a->line[i];
        const bool left = from->term == QX_NO_COLUMN;
        line[i] = (qx_classical_line){.unit = stratum_path(w, from->stratum),
                                      .source = left ? "residual"
                                                     : w->choice.term[from->term].name,
                                      .df = from->df,
                                      .sum_of_squares = from->sum_of_squares,
                                      .mean_square = from->mean_square,
                                      .error_df = from->error_df,
                                      .f = from->f,
                                      .p = from->p};
        QX_TRY(expected(w, a, from, &line[i].expected));
    }
    out->line = line;
    out->line_count = a->line_count;
    return QX_OK;
}

static qx_status take_components(qx_work *w, const qx_anova *a, qx_classical *out)
{
    qx_classical_component *c;
    char value[QX_NUMBER_ROOM];
    QX_NEW_IN(w->cx, w->arena, c, a->stratum_count);
    for (size_t s = 0; s < a->stratum_count; s++) {
        const bool last = s + 1 == a->stratum_count;
        c[s] = (qx_classical_component){last ? "residual" : stratum_path(w, s),
                                        a->component[s]};
        if (!last && w->fit->component[s].at_zero && c[s].variance < 0.0) {
            QX_TRY(qx_note(w->cx,
                           "The mean squares alone would put the variance of %s at %s: "
                           "its units are more alike than chance makes them. It is taken "
                           "as zero.",
                           c[s].term,
                           qx_number_spoken(c[s].variance, 3, value)));
        }
    }
    out->component = c;
    out->component_count = a->stratum_count;
    return QX_OK;
}

/* ---- efficiency ----------------------------------------------------------------------- */

/* What may be pooled: strata, then blocks that stand in the fixed part. */
typedef struct pool {
    size_t count;
    double *df, *mean_square, *treated;
    size_t *number; /* stratum, or stratum_count + fixed block term */
} pool;

/* Does a stratum divide the orchard? Seasons and dates of the same units do not. */
static bool divides(const qx_work *w, size_t s)
{
    const qx_frame_unit *unit =
        &w->data.unit[s < w->choice.random_count ? w->choice.random_unit[s]
                                                 : w->choice.residual_unit];
    return !unit->by_season && !unit->by_date;
}

static bool lies_inside(const qx_work *w, size_t fine, size_t coarse)
{
    const size_t m = w->choice.random_count;
    return coarse < m && coarse != fine && divides(w, coarse) &&
           (fine == m || w->strata.inside[fine + coarse * m]);
}

/* Does nothing stand between the two? */
static bool next_above(const qx_work *w, size_t fine, size_t coarse)
{
    for (size_t j = 0; j < w->choice.random_count; j++) {
        if (j != coarse && lies_inside(w, fine, j) && lies_inside(w, j, coarse)) {
            return false;
        }
    }
    return lies_inside(w, fine, coarse);
}

/* Blocks of the fixed part lie in a stratum but were not put there by the question. */
static void add_stratum(const qx_work *w, size_t s, pool *p)
{
    double treated = 0.0, blocks = 0.0;
    for (size_t t = 0; t < w->choice.term_count; t++) {
        if (w->strata.df[t] > 0.0 && w->strata.stratum_of[t] == s) {
            *(t < w->choice.block_terms ? &blocks : &treated) += w->strata.df[t];
        }
    }
    p->df[p->count] = w->strata.dimension[s] - blocks;
    p->mean_square[p->count] = w->strata.left[s].mean_square;
    p->treated[p->count] = treated;
    p->number[p->count++] = s;
}

static void add_fixed_block(const qx_work *w, size_t t, pool *p)
{
    p->df[p->count] = w->strata.df[t];
    p->mean_square[p->count] = w->strata.sum_of_squares[t] / w->strata.df[t];
    p->treated[p->count] = 0.0;
    p->number[p->count++] = w->strata.stratum_count + t;
}

static qx_status name_pool(qx_work *w, const pool *p, const char **out)
{
    *out = "";
    for (size_t i = 1; i < p->count; i++) {
        const size_t s = p->number[i];
        const char *one = s < w->strata.stratum_count
                              ? stratum_path(w, s)
                              : w->choice.term[s - w->strata.stratum_count].name;
        *out = qx_arena_printf(w->arena, "%s%s%s", *out, i > 1 ? ", " : "", one);
        if (*out == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the relative efficiency");
        }
    }
    return QX_OK;
}

static qx_status tell(qx_work *w, const pool *p, bool split, qx_array *list)
{
    const qx_efficiency e = qx_efficiency_of(p->count, p->df, p->mean_square, p->treated);
    if (!isfinite(e.relative)) {
        return QX_OK;
    }
    qx_efficiency_line *line = qx_array_push(list);
    if (line == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for the relative efficiency");
    }
    *line = (qx_efficiency_line){.of = stratum_path(w, p->number[0]),
                                 .unit = stratum_unit(w, p->number[0]),
                                 .split = split,
                                 .relative = e.relative,
                                 .corrected = e.corrected,
                                 .df_with = e.df_with,
                                 .df_without = e.df_without};
    return name_pool(w, p, &line->without);
}

static bool treated(const qx_work *w, size_t s)
{
    for (size_t t = 0; t < w->choice.term_count; t++) {
        if (qx_choice_is_treatment_term(&w->choice, t) && w->strata.df[t] > 0.0 &&
            w->strata.stratum_of[t] == s) {
            return true;
        }
    }
    return false;
}

/* A unit at a time, then all of them together. */
static qx_status above(qx_work *w, size_t s, pool *p, qx_array *list)
{
    size_t parts = 0;
    for (size_t k = 0; k < w->choice.random_count; k++) {
        parts += lies_inside(w, s, k) ? 1 : 0;
        if (!next_above(w, s, k)) {
            continue;
        }
        p->count = 0;
        add_stratum(w, s, p);
        add_stratum(w, k, p);
        QX_TRY(tell(w, p, false, list));
        if (treated(w, k)) {
            p->count = 0;
            add_stratum(w, k, p);
            add_stratum(w, s, p);
            QX_TRY(tell(w, p, true, list));
        }
    }
    for (size_t t = 0; t < w->choice.block_terms; t++) {
        if (w->strata.df[t] > 0.0 && w->strata.stratum_of[t] == s) {
            parts++;
            p->count = 0;
            add_stratum(w, s, p);
            add_fixed_block(w, t, p);
            QX_TRY(tell(w, p, false, list));
        }
    }
    p->count = 0;
    add_stratum(w, s, p);
    for (size_t k = 0; k < w->choice.random_count; k++) {
        if (lies_inside(w, s, k)) {
            add_stratum(w, k, p);
        }
    }
    for (size_t t = 0; t < w->choice.block_terms; t++) {
        if (w->strata.df[t] > 0.0 && w->strata.stratum_of[t] == s) {
            add_fixed_block(w, t, p);
        }
    }
    return parts > 1 ? tell(w, p, false, list) : QX_OK;
}

static qx_status efficiencies(qx_work *w, qx_array *list)
{
    const size_t most = w->strata.stratum_count + w->choice.block_terms;
    pool p = {0};
    QX_NEW(w->cx, p.df, most);
    QX_NEW(w->cx, p.mean_square, most);
    QX_NEW(w->cx, p.treated, most);
    QX_NEW(w->cx, p.number, most);
    for (size_t s = 0; s < w->strata.stratum_count; s++) {
        if (treated(w, s) && divides(w, s)) {
            QX_TRY(above(w, s, &p, list));
        }
    }
    return QX_OK;
}

/* ---- all of it ------------------------------------------------------------------------ */

static qx_status give(qx_work *w, qx_classical *out)
{
    qx_array list = QX_ARRAY(w->arena, sizeof(qx_efficiency_line));
    qx_anova anova;
    QX_TRY(qx_anova_make(
        w->cx, w->temporary, &w->spec, &w->fit->design, &w->strata, &anova));
    QX_TRY(take_lines(w, &anova, out));
    QX_TRY(take_components(w, &anova, out));
    QX_TRY(efficiencies(w, &list));
    out->efficiency = list.items;
    out->efficiency_count = list.count;
    return QX_OK;
}

qx_status qx_classical_of(qx_work *w)
{
    qx_classical *out;
    qx_status status;
    QX_NEW_IN(w->cx, w->arena, out, 1);
    QX_TRY(why_not(w, &out->why));
    if (out->why != NULL) {
        out->why = qx_arena_printf(w->arena,
                                   "There is no classical table: %s. The mixed model "
                                   "needs no balance; its tests stand.",
                                   out->why);
        if (out->why == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the classical table");
        }
    } else {
        QX_SCRATCH(w->cx, status, give(w, out));
        QX_TRY(status);
    }
    w->result->classical = out;
    return QX_OK;
}
