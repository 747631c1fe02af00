#include "findings/covariance_of.h"

#include <math.h>
#include <string.h>

#include "base/decimal.h"
#include "findings/field_trend.h"

/* --- dates --- */

/* Dates that lie in one season each take the season's place and leave nothing to compare. */
static qx_status check_seasons(const qx_work *w)
{
    const qx_frame *f = &w->data.frame;
    uint32_t *season; /* of a date + 1 */
    if (w->data.season == QX_NO_COLUMN) {
        return QX_OK;
    }
    QX_NEW(w->cx, season, f->factor[w->data.date].level_count);
    for (size_t i = 0; i < f->n; i++) {
        const uint32_t now = f->factor[w->data.season].code[i] + 1;
        uint32_t *before = &season[f->factor[w->data.date].code[i]];
        if (*before != 0 && *before != now) {
            return QX_OK;
        }
        *before = now;
    }
    return qx_fail(
        w->cx,
        QX_E_INPUT,
        "no %s occurs in two seasons, so that seasons and dates cannot be told "
        "apart; expected the same dates in each, counted from a common start "
        "(days after full bloom)",
        f->factor[w->data.date].name);
}

/* Is there one distance only between the dates of one unit? */
static qx_status one_distance(const qx_work *w, const qx_factor *series, bool *out)
{
    size_t *last; /* row + 1 of a series before this one */
    size_t *before;
    double distance = NAN;
    *out = true;
    QX_NEW(w->cx, last, series->level_count);
    QX_NEW(w->cx, before, w->data.n);
    for (size_t i = 0; i < w->data.n && *out; i++) {
        for (size_t j = last[series->code[i]]; j > 0 && *out; j = before[j - 1]) {
            const double d = fabs(w->data.time[i] - w->data.time[j - 1]);
            *out = isnan(distance) || d == distance;
            distance = d;
        }
        before[i] = last[series->code[i]];
        last[series->code[i]] = i + 1;
    }
    return QX_OK;
}

/* Takes the random term of a factor out of the choice. */
static qx_status leave_out(qx_work *w, size_t factor)
{
    qx_choice *c = &w->choice;
    qx_random_term *random;
    size_t *unit;
    size_t kept = 0;
    QX_NEW_IN(w->cx, w->arena, random, c->random_count);
    QX_NEW_IN(w->cx, w->arena, unit, c->random_count);
    for (size_t i = 0; i < c->random_count; i++) {
        if (c->random[i].factor != factor) {
            random[kept] = c->random[i];
            unit[kept++] = c->random_unit[i];
        }
    }
    c->random = w->spec.random = random;
    c->random_unit = unit;
    c->random_count = w->spec.random_count = kept;
    return QX_OK;
}

static qx_status add_dates(qx_work *w)
{
    const qx_frame_unit *lowest = &w->data.unit[w->data.unit_count - 1];
    const char *name = w->protocol->unit[lowest->unit].name;
    bool one = false;
    if (w->data.date == QX_NO_COLUMN) {
        return QX_OK;
    }
    QX_TRY(check_seasons(w));
    if (!lowest->by_date) {
        return qx_note(w->cx,
                       "No %s was measured on more than one date: the dates are compared "
                       "between different ones.",
                       name);
    }
    w->covariance.series = lowest[-1].factor;
    w->covariance.time = w->data.time;
    w->covariance.series_name = w->variate->dates;
    w->structured = true;
    QX_TRY(one_distance(w, &w->data.frame.factor[w->covariance.series], &one));
    if (one) {
        QX_TRY(leave_out(w, w->covariance.series));
        return qx_note(
            w->cx,
            "The dates of a %s are all equally far apart: how much one differs "
            "from another throughout and how alike its dates are cannot be "
            "told apart; the correlation stands for both.",
            name);
    }
    return QX_OK;
}

/* --- residuals by season --- */

static qx_status add_residuals(qx_work *w)
{
    const size_t season = w->data.season;
    if (!w->protocol->analysis.residual_by_season) {
        return QX_OK;
    }
    if (season == QX_NO_COLUMN || w->data.frame.factor[season].level_count < 2) {
        return qx_note(w->cx,
                       "The data of %s are of one season: there is one residual.",
                       w->variate->name);
    }
    w->covariance.residual_by = season;
    w->structured = true;
    return QX_OK;
}

qx_status qx_covariance_of(qx_work *w)
{
    qx_status status;
    w->covariance = QX_COVARIANCE_NONE;
    QX_SCRATCH(w->cx, status, add_dates(w));
    QX_TRY(status);
    QX_TRY(add_residuals(w));
    if (w->structured) {
        w->spec.covariance = &w->covariance;
    }
    QX_SCRATCH(w->cx, status, qx_field_trend_of(w));
    return status;
}

/* --- what came out --- */

static qx_status tell_dates(qx_work *w, const qx_correlation *c)
{
    char rho[QX_NUMBER_ROOM];
    char ends[2][QX_NUMBER_ROOM];
    const qx_frame_unit *lowest = &w->data.unit[w->data.unit_count - 1];
    const char *unit = w->protocol->unit[lowest->unit].name;
    qx_number_fixed(c->estimate, 2, rho);
    qx_number_fixed(c->lower, 2, ends[0]);
    qx_number_fixed(c->upper, 2, ends[1]);
    if (c->at_limit) {
        return qx_note(w->cx,
                       "What one %s shows on one date it shows on the next as well: the "
                       "correlation of its dates is at the end of what can be estimated "
                       "(%s).",
                       unit,
                       rho);
    }
    if (!(c->p < w->alpha)) {
        return qx_note(w->cx,
                       "Whether neighbouring dates of a %s are more alike than distant "
                       "ones cannot be told from these data (correlation %s, interval %s "
                       "to %s).",
                       unit,
                       rho,
                       ends[0],
                       ends[1]);
    }
    return qx_note(
        w->cx,
        "Neighbouring dates of a %s are %s than distant ones: one shortest step "
        "apart they have a correlation of %s (interval %s to %s), which falls "
        "with the distance in time.",
        unit,
        c->estimate < 0.0 ? "less alike" : "more alike",
        rho,
        ends[0],
        ends[1]);
}

static qx_status add_check(qx_work *w)
{
    qx_check_line *line;
    const size_t count = w->result->check_count;
    if (isnan(w->fit->residual_lrt)) {
        return QX_OK;
    }
    QX_NEW_IN(w->cx, w->arena, line, count + 1);
    if (count > 0) {
        memcpy(line, w->result->check, count * sizeof *line);
    }
    line[count] = (qx_check_line){.check = "residual by season",
                                  .value = w->fit->residual_lrt,
                                  .p = w->fit->residual_lrt_p,
                                  .num_df = w->fit->residual_lrt_df,
                                  .den_df = NAN,
                                  .lower = NAN,
                                  .upper = NAN};
    w->result->check = line;
    w->result->check_count = count + 1;
    return QX_OK;
}

qx_status qx_correlations_of(qx_work *w)
{
    const qx_lmm *fit = w->fit;
    qx_correlation_line *line;
    QX_NEW_IN(w->cx, w->arena, line, fit->correlation_count);
    for (size_t i = 0; i < fit->correlation_count; i++) {
        const qx_correlation *c = &fit->correlation[i];
        line[i] = (qx_correlation_line){.name = qx_arena_copy(w->arena, c->name),
                                        .estimate = c->estimate,
                                        .lower = c->lower,
                                        .upper = c->upper,
                                        .lrt = c->lrt,
                                        .p = c->p,
                                        .at_limit = c->at_limit,
                                        .broken = c->broken};
        if (line[i].name == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the correlations");
        }
        if (c->broken) {
            QX_TRY(
                qx_note(w->cx,
                        "The interval of the correlation by %s runs from the lowest to "
                        "the highest value that agrees with the data, but some values "
                        "between do not agree: the data fit two kinds of likeness.",
                        line[i].name));
        }
    }
    if (fit->correlation_count > 0 && w->covariance.series != QX_NO_COLUMN) {
        QX_TRY(tell_dates(w, &fit->correlation[0]));
    }
    w->result->correlation = line;
    w->result->correlation_count = fit->correlation_count;
    QX_TRY(qx_field_trend_tell(w));
    return add_check(w);
}
