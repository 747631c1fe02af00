#include "findings/field_trend.h"

#include <math.h>
#include <string.h>

#include "base/decimal.h"
#include "base/text.h"

static const double LOG_TWO_PI = 1.8378770664093454836;

/* One candidate as a spec of its own. */
typedef struct candidate {
    qx_field_trend trend;
    qx_covariance covariance;
    qx_random_term *random;
    size_t *unit;
    qx_lmm_spec spec;
} candidate;

static bool has_rows(qx_field_trend t)
{
    return t == QX_FIELD_ROWS || t == QX_FIELD_ROWS_AND_PLACES;
}

static bool has_places(qx_field_trend t)
{
    return t == QX_FIELD_PLACES || t == QX_FIELD_ROWS_AND_PLACES;
}

/* Do two factors divide the rows of data alike? */
static qx_status
same_division(qx_ctx *cx, size_t n, const qx_factor *a, const qx_factor *b, bool *same)
{
    uint32_t *partner; /* 1 + the level of b */
    *same = a->level_count == b->level_count;
    QX_NEW(cx, partner, a->level_count);
    for (size_t i = 0; *same && i < n; i++) {
        *same = partner[a->code[i]] == 0 || partner[a->code[i]] == b->code[i] + 1;
        partner[a->code[i]] = b->code[i] + 1;
    }
    return QX_OK;
}

/* May rows (or places) vary by themselves: more than one, not each observation, not a unit
 * or fixed term of the model already? */
static qx_status may_vary(const qx_work *w, size_t factor, bool *out)
{
    const qx_frame *f = &w->data.frame;
    const qx_factor *own = &f->factor[factor];
    bool same = false;
    *out = own->level_count > 1 && own->level_count < f->n;
    for (size_t k = 0; *out && k < w->data.unit_count; k++) {
        QX_TRY(
            same_division(w->cx, f->n, own, &f->factor[w->data.unit[k].factor], &same));
        *out = !same;
    }
    return QX_OK;
}

static qx_status make_candidate(qx_work *w, qx_field_trend trend, candidate *c)
{
    const size_t count = w->spec.random_count;
    const qx_unit *unit = &w->protocol->unit[qx_protocol_placed_unit(w->protocol)];
    size_t first = 0;
    *c = (candidate){.trend = trend, .covariance = w->covariance, .spec = w->spec};
    QX_NEW_IN(w->cx, w->arena, c->random, count + 2);
    QX_NEW_IN(w->cx, w->arena, c->unit, count + 2);
    if (has_rows(trend)) {
        c->unit[first] = QX_NONE;
        c->random[first++] = (qx_random_term){unit->row_column, w->data.row_factor};
    }
    if (has_places(trend)) {
        c->unit[first] = QX_NONE;
        c->random[first++] = (qx_random_term){unit->place_column, w->data.place_factor};
    }
    for (size_t i = 0; i < count; i++) {
        c->random[first + i] = w->choice.random[i];
        c->unit[first + i] = w->choice.random_unit[i];
    }
    c->spec.random = c->random;
    c->spec.random_count = first + count;
    if (trend == QX_FIELD_NEIGHBOURS) {
        const bool one_row = w->data.frame.factor[w->data.row_factor].level_count == 1;
        const bool one_place =
            w->data.frame.factor[w->data.place_factor].level_count == 1;
        c->covariance.field = true;
        c->covariance.row = one_row ? NULL : w->data.field_row;
        c->covariance.place = one_place ? NULL : w->data.field_place;
        c->covariance.row_name = unit->row_column;
        c->covariance.place_name = unit->place_column;
        c->covariance.field_name =
            qx_arena_printf(w->arena, "%s:%s", unit->row_column, unit->place_column);
        if (c->covariance.field_name == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for a name");
        }
    }
    return QX_OK;
}

/* The spec points into the candidate: set when it has come to rest. */
static const qx_lmm_spec *spec_of(const qx_work *w, candidate *c)
{
    const bool own = c->covariance.field || w->spec.covariance != NULL;
    c->spec.covariance = own ? &c->covariance : NULL;
    return &c->spec;
}

/* -2 log restricted likelihood of a fit with one variance (least squares). */
static double criterion_of(const qx_lmm *fit)
{
    const double s2 = fit->residual_ss / fit->residual_df;
    double log_r = 0.0;
    if (isfinite(fit->reml_criterion)) {
        return fit->reml_criterion;
    }
    for (size_t j = 0; j < fit->p; j++) {
        log_r += log(fabs(QX_AT(fit->design.qr.R, j, fit->design.qr.kept[j])));
    }
    return fit->residual_df * (LOG_TWO_PI + log(s2) + 1.0) + 2.0 * log_r;
}

/* Fits in a context of its own: its notes are about a model that may not be taken. */
static qx_status try_candidate(qx_work *w, candidate *c, qx_field_line *line)
{
    qx_ctx *aside = qx_ctx_new();
    qx_lmm *fit = NULL;
    *line =
        (qx_field_line){.trend = qx_field_trend_word(c->trend), .reml_criterion = NAN};
    if (aside == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory to look for a field trend");
    }
    const qx_status status = qx_lmm_fit(aside, spec_of(w, c), &fit);
    if (status == QX_OK) {
        line->parameters = fit->component_count + fit->correlation_count;
        if (fit->converged) {
            line->reml_criterion = criterion_of(fit);
        }
        qx_lmm_free(fit);
    }
    qx_ctx_free(aside);
    return status == QX_E_NOMEM
               ? qx_fail(w->cx, QX_E_NOMEM, "no memory to look for a field trend")
               : QX_OK;
}

/* Which trends the data allow and the protocol asks for; none always. */
static qx_status list_trends(qx_work *w, qx_field_trend list[], size_t *count)
{
    const qx_field_trend asked = w->protocol->analysis.field_trend;
    const qx_factor *row = &w->data.frame.factor[w->data.row_factor];
    const qx_factor *place = &w->data.frame.factor[w->data.place_factor];
    bool rows, places;
    QX_TRY(may_vary(w, w->data.row_factor, &rows));
    QX_TRY(may_vary(w, w->data.place_factor, &places));
    const bool possible[] = {[QX_FIELD_NONE] = true,
                             [QX_FIELD_AUTO] = false,
                             [QX_FIELD_ROWS] = rows,
                             [QX_FIELD_PLACES] = places,
                             [QX_FIELD_ROWS_AND_PLACES] = rows && places,
                             [QX_FIELD_NEIGHBOURS] =
                                 row->level_count > 1 || place->level_count > 1};
    *count = 0;
    for (size_t t = 0; t < QX_COUNT(possible); t++) {
        const bool wanted =
            asked == QX_FIELD_AUTO || t == QX_FIELD_NONE || t == (size_t)asked;
        if (possible[t] && wanted) {
            list[(*count)++] = (qx_field_trend)t;
        }
    }
    if (asked != QX_FIELD_AUTO && !possible[asked]) {
        return qx_note(
            w->cx,
            "These data have no field trend by %s: there is one only, or it is "
            "a unit of the trial already.",
            qx_field_trend_word(asked));
    }
    return QX_OK;
}

static double akaike(const qx_field_line *line)
{
    return line->reml_criterion + 2.0 * (double)line->parameters;
}

static void take(qx_work *w, const candidate *c)
{
    w->choice.random = w->spec.random = c->random;
    w->choice.random_unit = c->unit;
    w->choice.random_count = w->spec.random_count = c->spec.random_count;
    w->covariance = c->covariance;
    if (c->covariance.field || w->spec.covariance != NULL) {
        w->spec.covariance = &w->covariance;
    }
    w->structured = w->structured || c->trend != QX_FIELD_NONE;
}

qx_status qx_field_trend_of(qx_work *w)
{
    qx_field_trend trend[QX_FIELD_NEIGHBOURS + 1];
    candidate *c;
    qx_field_line *line;
    size_t count;
    size_t best = 0;
    if (w->data.row_factor == QX_NO_COLUMN) {
        return QX_OK;
    }
    QX_TRY(list_trends(w, trend, &count));
    QX_NEW_IN(w->cx, w->arena, line, count);
    QX_NEW(w->cx, c, count);
    for (size_t t = 0; t < count; t++) {
        QX_TRY(make_candidate(w, trend[t], &c[t]));
        QX_TRY(try_candidate(w, &c[t], &line[t]));
        const bool better = w->protocol->analysis.field_trend == QX_FIELD_AUTO
                                ? isnan(line[best].reml_criterion) ||
                                      akaike(&line[t]) < akaike(&line[best])
                                : t > 0;
        best = t > 0 && better ? t : best;
    }
    line[best].chosen = true;
    take(w, &c[best]);
    w->result->field = line;
    w->result->field_count = count;
    return QX_OK;
}

/* "none 120.4 with 2, rows 118.3 with 3": criteria and numbers of variances. */
static const char *list_criteria(qx_work *w)
{
    qx_text *text = qx_text_new(w->arena);
    for (size_t t = 0; text != NULL && t < w->result->field_count; t++) {
        const qx_field_line *line = &w->result->field[t];
        char number[QX_NUMBER_ROOM];
        qx_text_printf(text,
                       "%s%s %s",
                       t > 0 ? "; " : "",
                       line->trend,
                       isfinite(line->reml_criterion)
                           ? qx_number_fixed(line->reml_criterion, 2, number)
                           : "could not be fitted");
        if (isfinite(line->reml_criterion)) {
            qx_text_printf(text, " (%zu)", line->parameters);
        }
    }
    return text == NULL || qx_text_failed(text) ? NULL : qx_text_get(text);
}

static const qx_correlation *correlation_named(const qx_work *w, const char *name)
{
    for (size_t i = 0; i < w->fit->correlation_count; i++) {
        if (strcmp(w->fit->correlation[i].name, name) == 0) {
            return &w->fit->correlation[i];
        }
    }
    return NULL;
}

/* "0.85 from row to row, 0.93 from place to place". */
static const char *list_correlations(qx_work *w)
{
    const char *const name[] = {w->covariance.row_name, w->covariance.place_name};
    const char *text = "";
    for (size_t k = 0; k < 2; k++) {
        const qx_correlation *c = correlation_named(w, name[k]);
        char number[QX_NUMBER_ROOM];
        if (c != NULL && text != NULL && !isnan(c->estimate)) {
            text = qx_arena_printf(w->arena,
                                   "%s%s%s from %s to %s",
                                   text,
                                   text[0] != '\0' ? ", " : "",
                                   qx_number_fixed(c->estimate, 2, number),
                                   name[k],
                                   name[k]);
        }
    }
    return text;
}

static qx_status tell_chosen(qx_work *w, const char *trend, const char *unit)
{
    const qx_unit *placed = &w->protocol->unit[qx_protocol_placed_unit(w->protocol)];
    if (strcmp(trend, "none") == 0) {
        return qx_note(w->cx,
                       "No trend was seen in the field: each %s is as unlike its "
                       "neighbours as any other.",
                       unit);
    }
    if (strcmp(trend, "neighbours") == 0) {
        const char *numbers = list_correlations(w);
        if (numbers == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for a sentence");
        }
        return qx_note(w->cx,
                       "A %s is like its neighbours: the field has better and worse "
                       "parts, correlated %s. Treatments are compared with these parts "
                       "allowed for.",
                       unit,
                       numbers);
    }
    const bool rows = strcmp(trend, "places") != 0;
    const bool places = strcmp(trend, "rows") != 0;
    return qx_note(w->cx,
                   "The %ss in the same %s%s%s were alike: %s may differ, and treatments "
                   "are compared with this allowed for.",
                   unit,
                   rows ? placed->row_column : placed->place_column,
                   rows && places ? " and in the same " : "",
                   rows && places ? placed->place_column : "",
                   rows && places ? "rows and places"
                   : rows         ? "rows"
                                  : "places");
}

qx_status qx_field_trend_tell(qx_work *w)
{
    const qx_unit *placed;
    const char *criteria;
    for (size_t t = 0; t < w->result->field_count; t++) {
        const qx_field_line *line = &w->result->field[t];
        if (!line->chosen) {
            continue;
        }
        placed = &w->protocol->unit[qx_protocol_placed_unit(w->protocol)];
        QX_TRY(tell_chosen(w, line->trend, placed->name));
        if (w->protocol->analysis.field_trend != QX_FIELD_AUTO) {
            return QX_OK;
        }
        criteria = list_criteria(w);
        if (criteria == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for a sentence");
        }
        return qx_note(w->cx,
                       "Field trends were weighed by minus twice the log restricted "
                       "likelihood plus two for each variance and correlation (their "
                       "number in brackets): %s.",
                       criteria);
    }
    return QX_OK;
}
