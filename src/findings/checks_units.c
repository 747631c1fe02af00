#include "findings/checks_units.h"

#include <math.h>

#include "findings/checks.h"
#include "findings/unit_words.h"
#include "model/normality.h"
#include "model/spread.h"
#include "model/unit_residual.h"
#include "numeric/dist.h"

#define UNITS_LISTED 5

/* Fewer than these say nothing about a distribution. */
#define SHAPE_UNITS_LEAST 6
#define SHAPE_DF_LEAST    4.0

/* Everything of one random unit. */
typedef struct stratum {
    size_t unit;      /* frame unit number */
    const char *path; /* of the unit */
    const qx_factor *factor;
    qx_unit_residuals r;
} stratum;

static qx_status push(qx_work *w, const stratum *s, qx_array *checks, qx_check_line line)
{
    qx_check_line *to = qx_array_push(checks);
    if (to == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for the checks");
    }
    line.stratum = s->path;
    *to = line;
    return QX_OK;
}

static bool allowed(qx_work *w, qx_status status)
{
    if (status == QX_OK) {
        return true;
    }
    qx_ctx_forgive(w->cx);
    return false;
}

/* Unit with the largest |value|, or count. */
static size_t largest(size_t count, const double value[])
{
    size_t best = count;
    for (size_t k = 0; k < count; k++) {
        if (isfinite(value[k]) && (best == count || fabs(value[k]) > fabs(value[best]))) {
            best = k;
        }
    }
    return best;
}

static qx_status odd_unit(qx_work *w, const stratum *s, qx_array *checks)
{
    const size_t k = largest(s->r.count, s->r.studentised);
    if (k == s->r.count) {
        return QX_OK;
    }
    const double df = s->r.df - 1.0;
    const double t = s->r.studentised[k];
    const double p = fmin(1.0, (double)s->r.count * qx_t_two_sided(t, df));
    qx_check_line line = {.check = "odd unit",
                          .value = t,
                          .p = p,
                          .num_df = NAN,
                          .den_df = df,
                          .lower = NAN,
                          .upper = NAN};
    QX_TRY(qx_unit_words(w, s->unit, k, &line.unit));
    if (p < QX_CHECK_ALPHA) {
        line.advice = qx_arena_printf(
            w->arena,
            "One %s stands apart from the others as a whole: %s. Go and look at it: a "
            "wrong "
            "label, a sick or damaged plant, another soil? A slip is corrected with a "
            "reason; a unit is left out only for a cause that has nothing to do with its "
            "treatment, and the findings are then told with and without it.",
            w->protocol->unit[w->data.unit[s->unit].unit].name,
            line.unit);
        if (line.advice == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the advice of a check");
        }
    }
    return push(w, s, checks, line);
}

static qx_status shape(qx_work *w, const stratum *s, qx_array *checks)
{
    double *r;
    size_t n = 0;
    qx_check_value v;
    QX_NEW(w->cx, r, s->r.count);
    for (size_t k = 0; k < s->r.count; k++) {
        if (isfinite(s->r.standardised[k])) {
            r[n++] = s->r.standardised[k];
        }
    }
    if (n < SHAPE_UNITS_LEAST || n > QX_SHAPIRO_WILK_MOST || s->r.df < SHAPE_DF_LEAST ||
        !allowed(w, qx_shapiro_wilk(w->cx, n, r, &v))) {
        return QX_OK;
    }
    return push(
        w,
        s,
        checks,
        (qx_check_line){
            .check = "shapiro-wilk units",
            .value = v.value,
            .p = v.p,
            .num_df = NAN,
            .den_df = NAN,
            .lower = NAN,
            .upper = NAN,
            .advice =
                v.p < QX_CHECK_ALPHA
                    ? "The units themselves are not quite normal: one or a few stand far "
                      "out, or they fall into groups (two rootstocks, two soils?). Look "
                      "at "
                      "the odd units first; a known grouping belongs into the protocol "
                      "as "
                      "a block."
                    : NULL});
}

/* Numbers of the cells of the treatments that do not change inside a unit of this kind;
 * *cells is 1 when there is none. */
static qx_status
cells_of_units(qx_work *w, const stratum *s, uint32_t cell[], size_t *cells)
{
    const qx_frame *f = &w->data.frame;
    uint32_t *level;
    *cells = 1;
    QX_NEW(w->cx, level, s->r.count);
    for (size_t t = 0; t < w->protocol->treatment_count; t++) {
        const size_t factor = w->data.treatment[t];
        bool whole = factor != QX_NO_COLUMN;
        for (size_t k = 0; k < s->r.count; k++) {
            level[k] = UINT32_MAX;
        }
        for (size_t i = 0; whole && i < w->data.n; i++) {
            uint32_t *at = &level[s->factor->code[i]];
            whole = *at == UINT32_MAX || *at == f->factor[factor].code[i];
            *at = f->factor[factor].code[i];
        }
        if (!whole || *cells * f->factor[factor].level_count > s->r.count) {
            continue;
        }
        for (size_t k = 0; k < s->r.count; k++) {
            cell[k] = cell[k] * (uint32_t)f->factor[factor].level_count + level[k];
        }
        *cells *= f->factor[factor].level_count;
    }
    return QX_OK;
}

static qx_status spread(qx_work *w, const stratum *s, qx_array *checks)
{
    uint32_t *cell;
    size_t cells;
    qx_check_value v;
    QX_NEW(w->cx, cell, s->r.count);
    QX_TRY(cells_of_units(w, s, cell, &cells));
    for (size_t k = 0; k < s->r.count; k++) {
        if (!isfinite(s->r.standardised[k])) {
            return QX_OK;
        }
    }
    if (cells < 2 || 2 * cells > s->r.count ||
        !allowed(
            w,
            qx_brown_forsythe(w->cx, s->r.count, s->r.standardised, cells, cell, &v)) ||
        isnan(v.p)) {
        return QX_OK;
    }
    return push(
        w,
        s,
        checks,
        (qx_check_line){.check = "brown-forsythe units",
                        .value = v.value,
                        .p = v.p,
                        .num_df = v.num_df,
                        .den_df = v.den_df,
                        .lower = NAN,
                        .upper = NAN,
                        .advice =
                            v.p < QX_CHECK_ALPHA
                                ? "Units of some treatments differ more among themselves "
                                  "than those of others. Look whether the spread grows "
                                  "with the mean (then transform), or whether one "
                                  "treatment took in some units only: that is a finding "
                                  "of its own."
                                : NULL});
}

/* Cook 1977: a move of beta beyond its 50 % region. */
static qx_status influence(qx_work *w, const stratum *s, qx_array *checks)
{
    const size_t k = largest(s->r.count, s->r.cook);
    const double rest = (double)(w->fit->n - w->fit->p);
    if (k == s->r.count || !(rest > 0.0)) {
        return QX_OK;
    }
    qx_check_line line = {.check = "influence",
                          .value = s->r.cook[k],
                          .p = NAN,
                          .num_df = (double)w->fit->p,
                          .den_df = rest,
                          .lower = NAN,
                          .upper = NAN};
    QX_TRY(qx_unit_words(w, s->unit, k, &line.unit));
    if (line.value > qx_f_q(0.5, (double)w->fit->p, rest, QX_LOWER)) {
        line.advice = qx_arena_printf(
            w->arena,
            "The findings lean on %s: without it the means move by more than half of "
            "their uncertainty. Make sure that its records are right, analyse once "
            "without it, and tell both.",
            line.unit);
        if (line.advice == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the advice of a check");
        }
    }
    return push(w, s, checks, line);
}

/* The oddest units, largest first. */
static qx_status list_units(qx_work *w, const stratum *s, qx_array *list)
{
    size_t order[UNITS_LISTED + 1];
    size_t count = 0;
    for (size_t k = 0; k < s->r.count; k++) {
        if (!isfinite(s->r.studentised[k])) {
            continue;
        }
        size_t at = count < UNITS_LISTED ? count++ : UNITS_LISTED;
        while (at > 0 &&
               fabs(s->r.studentised[k]) > fabs(s->r.studentised[order[at - 1]])) {
            order[at] = order[at - 1];
            at--;
        }
        order[at] = k;
    }
    for (size_t i = 0; i < count; i++) {
        const size_t k = order[i];
        qx_unit_line *line = qx_array_push(list);
        if (line == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the residuals of units");
        }
        *line = (qx_unit_line){.stratum = s->path,
                               .studentised = s->r.studentised[k],
                               .standardised = s->r.standardised[k],
                               .cook = s->r.cook[k],
                               .leverage = s->r.leverage[k]};
        QX_TRY(qx_unit_words(w, s->unit, k, &line->unit));
    }
    return QX_OK;
}

static qx_status one_stratum(qx_work *w, size_t i, qx_array *checks, qx_array *list)
{
    const size_t unit = w->choice.random_unit[i];
    stratum s = {.unit = unit, .path = w->choice.random[i].name};
    s.factor = &w->data.frame.factor[w->choice.random[i].factor];
    QX_TRY(qx_unit_residuals_make(
        w->cx, w->temporary, w->fit, w->choice.random[i].factor, &s.r));
    QX_TRY(odd_unit(w, &s, checks));
    QX_TRY(shape(w, &s, checks));
    QX_TRY(spread(w, &s, checks));
    QX_TRY(influence(w, &s, checks));
    return list_units(w, &s, list);
}

qx_status qx_unit_checks_of(qx_work *w, qx_array *checks)
{
    qx_array list = QX_ARRAY(w->arena, sizeof(qx_unit_line));
    for (size_t i = 0; i < w->choice.random_count; i++) {
        qx_status status;
        if (w->choice.random_unit[i] == QX_NONE) {
            continue; /* rows and places of the field are no units */
        }
        QX_SCRATCH(w->cx, status, one_stratum(w, i, checks, &list));
        QX_TRY(status);
    }
    w->result->unit_line = list.items;
    w->result->unit_line_count = list.count;
    return QX_OK;
}
