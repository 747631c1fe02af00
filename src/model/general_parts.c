/* The parameters of a covariance that a spec asks for, as model/covariance.h takes them. */
#include <math.h>

#include "model/general_fit.h"

static const qx_factor *factor_of(const qx_lmm_spec *spec, size_t factor)
{
    return &spec->frame->factor[factor];
}

static qx_status
add_part(qx_ctx *cx, qx_parts *parts, qx_part list[], qx_part_kind kind, qx_part part)
{
    if (parts->count == QX_DESCENT_MOST) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "a model may have at most %d variances and correlations",
                       QX_DESCENT_MOST);
    }
    if (parts->at[kind] == QX_NO_COLUMN) {
        parts->at[kind] = parts->count;
    }
    part.kind = kind;
    list[parts->count++] = part;
    return QX_OK;
}

/* Distances that are whole numbers of steps allow a correlation below nil. */
static bool whole_steps(size_t n, const double time[])
{
    for (size_t i = 0; i < n; i++) {
        if (time[i] != floor(time[i])) {
            return false;
        }
    }
    return true;
}

static qx_status add_correlations(
    qx_ctx *cx, const qx_covariance *c, size_t n, qx_parts *parts, qx_part list[])
{
    const qx_part rho = {.low = -QX_RHO_MOST, .high = QX_RHO_MOST};
    if (c->series != QX_NO_COLUMN) {
        qx_part part = rho;
        part.low = whole_steps(n, c->time) ? rho.low : 0.0;
        QX_TRY(add_part(cx, parts, list, QX_PART_SERIES, part));
    }
    if (c->field) {
        QX_TRY(add_part(cx, parts, list, QX_PART_FIELD, (qx_part){.high = INFINITY}));
        if (c->row != NULL) {
            QX_TRY(add_part(cx, parts, list, QX_PART_ROW, rho));
        }
        if (c->place != NULL) {
            QX_TRY(add_part(cx, parts, list, QX_PART_PLACE, rho));
        }
    }
    return QX_OK;
}

static qx_status
make(qx_ctx *cx, const qx_lmm_spec *spec, const qx_lmm *fit, qx_parts *parts)
{
    const qx_covariance *c = spec->covariance;
    const bool by = c->residual_by != QX_NO_COLUMN;
    qx_part *list;
    QX_NEW_IN(cx, fit->arena, list, QX_DESCENT_MOST);
    *parts = (qx_parts){.n = fit->n, .part = list};
    for (size_t k = 0; k < QX_COUNT(parts->at); k++) {
        parts->at[k] = QX_NO_COLUMN;
    }
    for (size_t k = 0; k < fit->inner->profile.m; k++) {
        const qx_random_term *term = &spec->random[fit->inner->component_of[k]];
        const qx_part unit = {.code = factor_of(spec, term->factor)->code,
                              .high = INFINITY};
        QX_TRY(add_part(cx, parts, list, QX_PART_UNIT, unit));
    }
    parts->levels = by ? factor_of(spec, c->residual_by)->level_count : 1;
    parts->level_of = by ? factor_of(spec, c->residual_by)->code : NULL;
    for (size_t l = 0; l < parts->levels; l++) {
        const qx_part residual = {.level = l, .high = INFINITY};
        QX_TRY(add_part(cx, parts, list, QX_PART_RESIDUAL, residual));
    }
    if (c->series != QX_NO_COLUMN) {
        parts->series = factor_of(spec, c->series)->code;
        parts->time = c->time;
    }
    if (c->field) {
        parts->row = c->row;
        parts->place = c->place;
    }
    return add_correlations(cx, c, fit->n, parts, list);
}

/* Two rows of one series on one date would be the same thing twice; a series that crosses
 * levels of the residual has no variance of its own. */
static qx_status check_series(qx_ctx *cx, const qx_parts *parts)
{
    size_t *last; /* row + 1 */
    size_t *order;
    QX_NEW(cx, last, parts->n);
    QX_NEW(cx, order, parts->n);
    for (size_t i = 0; parts->series != NULL && i < parts->n; i++) {
        const uint32_t s = parts->series[i];
        for (size_t j = last[s]; j > 0; j = order[j - 1]) {
            if (parts->time[j - 1] == parts->time[i]) {
                return qx_fail(
                    cx,
                    QX_E_INPUT,
                    "observations %zu and %zu are of the same unit on the same "
                    "date; expected one for each unit and date",
                    j,
                    i + 1);
            }
        }
        if (last[s] > 0 && parts->level_of != NULL &&
            parts->level_of[last[s] - 1] != parts->level_of[i]) {
            return qx_fail(cx,
                           QX_E_INPUT,
                           "observations %zu and %zu are of one unit and its dates, but "
                           "their residual variations differ; expected one for the unit",
                           last[s],
                           i + 1);
        }
        order[i] = last[s];
        last[s] = i + 1;
    }
    return QX_OK;
}

qx_status
qx_general_parts(qx_ctx *cx, const qx_lmm_spec *spec, const qx_lmm *fit, qx_parts *out)
{
    qx_status status;
    QX_TRY(make(cx, spec, fit, out));
    QX_SCRATCH(cx, status, check_series(cx, out));
    return status;
}
