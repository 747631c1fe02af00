#include "findings/analyse.h"

#include <math.h>
#include <string.h>

#include "findings/added_control.h"
#include "findings/checks.h"
#include "findings/classical.h"
#include "findings/counts.h"
#include "findings/covariance_of.h"
#include "findings/covariates.h"
#include "findings/dose.h"
#include "findings/grades.h"
#include "findings/looks_of.h"
#include "findings/lost_units.h"
#include "findings/means_of.h"
#include "findings/model_told.h"
#include "findings/observed_cells.h"
#include "findings/refusal.h"
#include "findings/repeats.h"
#include "findings/slopes_of.h"
#include "findings/small_error.h"
#include "findings/tests_of.h"
#include "findings/work.h"

/* Does the engine for continuous values serve this variate? */
static bool analysed_as_normal(const qx_variate *v)
{
    return v->kind == QX_CONTINUOUS ||
           (v->transform != QX_TRANSFORM_NONE &&
            (v->kind == QX_COUNT || v->kind == QX_PROPORTION));
}

/* A result in which nothing is given yet. */
static void empty_result(const qx_variate *v, qx_result *r)
{
    *r = (qx_result){.variate = v->name,
                     .label = v->label,
                     .unit = v->unit,
                     .definition = v,
                     .kind = qx_variate_kind_word(v->kind),
                     .log_likelihood = NAN,
                     .reml_criterion = NAN,
                     .deviance = NAN,
                     .pearson_chisq = NAN,
                     .residual_df = NAN,
                     .cv_percent = NAN,
                     .dispersion = NAN};
}

/* Moves the notes that the steps left on cx into the result. */
static qx_status take_notes(qx_work *w)
{
    const size_t count = qx_ctx_note_count(w->cx);
    const char **note;
    QX_NEW_IN(w->cx, w->arena, note, count);
    for (size_t i = 0; i < count; i++) {
        note[i] = qx_arena_copy(w->arena, qx_ctx_note(w->cx, i));
        if (note[i] == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the notes");
        }
    }
    w->result->note = note;
    w->result->note_count = count;
    qx_ctx_clear(w->cx);
    return QX_OK;
}

/* Why these data cannot be fitted at all, as a note; true if they can. */
static qx_status can_be_fitted(qx_work *w, bool *out)
{
    const qx_variate_frame *d = &w->data;
    *out = false;
    if (d->n == 0) {
        return qx_note(w->cx,
                       "%s has no complete observation: there is nothing to analyse.",
                       w->variate->name);
    }
    if (d->bad_rows > 0) {
        return qx_note(w->cx,
                       "%s cannot be analysed as %s: %zu of %zu values lie outside its "
                       "scale, the first in row %zu; expected %s.",
                       w->variate->name,
                       qx_transform_word(w->variate->transform),
                       d->bad_rows,
                       d->n,
                       d->bad_row,
                       w->variate->transform == QX_TRANSFORM_ARCSINE
                           ? "shares from 0 to 1"
                           : "values inside it, or another transform");
    }
    for (size_t i = 1; i < d->n; i++) {
        if (d->y[i] != d->y[0]) {
            *out = true;
            return QX_OK;
        }
    }
    if (d->class_ != NULL) {
        return qx_note(w->cx,
                       "Every observation of %s is \"%s\": with one class only, nothing "
                       "can be compared.",
                       w->variate->name,
                       w->variate->level[d->class_[0]]);
    }
    return qx_note(
        w->cx,
        "Every observation of %s has the same value: nothing varies, so nothing "
        "can be compared.",
        w->variate->name);
}

static void tell_fit(qx_work *w)
{
    qx_result *r = w->result;
    r->family = "normal";
    r->link = "identity";
    const bool reml = w->choice.random_count > 0 || w->spec.covariance != NULL;
    r->method = reml ? "REML" : "least squares";
    r->log_likelihood = w->fit->log_likelihood;
    r->reml_criterion = w->fit->reml_criterion + qx_covariate_log_det(w);
    if (reml) {
        r->log_likelihood = -0.5 * r->reml_criterion;
    }
    r->residual_df = w->fit->residual_df;
    r->deviance = reml ? (double)NAN : w->fit->residual_ss;
    r->cv_percent = w->fit->cv_percent;
    r->converged = w->fit->converged;
    r->iterations = w->fit->iterations;
}

static qx_status findings_of_fit(qx_work *w, qx_lmm *fit)
{
    w->fit = fit;
    w->design = &fit->design;
    w->estimator = (qx_estimator){.kind = &qx_estimator_normal,
                                  .fit = fit,
                                  .design = &fit->design,
                                  .class_count = 1};
    if (w->brief) { /* nobody reads the rest */
        QX_TRY(qx_names_of_model(w));
        QX_TRY(qx_tests_of(w));
        QX_TRY(qx_means_of(w));
        return qx_added_control_planned(w);
    }
    QX_TRY(qx_lmm_profile_components(w->cx, fit, w->level));
    QX_TRY(qx_names_of_model(w));
    tell_fit(w);
    if (fit->exhausted != QX_VARIES) {
        QX_TRY(qx_tell_repeats(w));
    } else if (!fit->converged) {
        QX_TRY(qx_note(w->cx,
                       "The fit did not settle: take these numbers with caution and "
                       "look at the data for odd values."));
    }
    if (!w->structured) {
        QX_TRY(qx_strata_make(w->cx, w->arena, &w->spec, &fit->design, &w->strata));
    }
    QX_TRY(qx_classical_of(w));
    QX_TRY(qx_variance_of(w));
    QX_TRY(qx_coefficients_of(w));
    QX_TRY(qx_tests_of(w));
    QX_TRY(qx_tell_small_error(w));
    QX_TRY(qx_means_of(w));
    QX_TRY(qx_simple_effects_of(w));
    QX_TRY(qx_observed_cells_of(w));
    QX_TRY(qx_contrasts_of(w));
    QX_TRY(qx_slopes_of(w));
    QX_TRY(qx_dose_of(w));
    QX_TRY(qx_checks_of(w));
    QX_TRY(qx_correlations_of(w));
    QX_TRY(qx_added_control_of(w));
    return qx_warn_of_interactions(w);
}

/* Dates, residuals by season and field trend. */
static qx_status spec_completed(qx_work *w, bool *possible)
{
    return qx_tell_refusal(w, qx_covariance_of(w), possible);
}

/* Fits and reads the fit. */
static qx_status fit_and_read(qx_work *w)
{
    qx_lmm *fit = NULL;
    bool possible;
    QX_TRY(qx_tell_refusal(w, qx_lmm_fit(w->cx, &w->spec, &fit), &possible));
    if (!possible) {
        return QX_OK;
    }
    const qx_status read = findings_of_fit(w, fit);
    qx_lmm_free(fit);
    return read;
}

static qx_path path_of(qx_arithmetic arithmetic)
{
    switch (arithmetic) {
    case QX_ARITHMETIC_DENSE:
        return QX_PATH_DENSE;
    case QX_ARITHMETIC_SPARSE:
        return QX_PATH_SPARSE;
    case QX_ARITHMETIC_AUTO:
        return QX_PATH_AUTO;
    }
    return QX_PATH_AUTO;
}

/* Treatments of which one level alone is in the data. */
static qx_status tell_single(qx_work *w)
{
    const size_t most = w->protocol->treatment_count;
    const char **name, **level;
    QX_NEW_IN(w->cx, w->arena, name, most);
    QX_NEW_IN(w->cx, w->arena, level, most);
    for (size_t t = 0; t < most; t++) {
        const size_t at = w->data.treatment[t];
        const qx_factor *factor = at == QX_NO_COLUMN ? NULL : &w->data.frame.factor[at];
        if (factor != NULL && factor->level_count == 1) {
            name[w->result->single_count] = w->protocol->treatment[t].name;
            level[w->result->single_count++] = factor->level[0];
        }
    }
    w->result->single = name;
    w->result->single_level = level;
    return QX_OK;
}

static qx_status analyse_frame(qx_work *w, size_t v)
{
    bool possible;
    w->result->used = w->data.n;
    w->result->missing = w->data.missing;
    w->result->without = w->data.without;
    for (size_t i = 0; w->data.size != NULL && i < w->data.n; i++) {
        w->result->mean_size += w->data.size[i] / (double)w->data.n;
    }
    QX_TRY(can_be_fitted(w, &possible));
    if (!possible) {
        return QX_OK;
    }
    QX_TRY(tell_single(w));
    QX_TRY(qx_choose(w->cx, w->arena, w->protocol, v, &w->data, &w->choice));
    w->spec = qx_choice_spec(&w->choice, &w->data, w->level);
    if (!analysed_as_normal(w->variate)) {
        return qx_variate_has_classes(w->variate) ? qx_grades_of(w) : qx_counts_of(w);
    }
    w->spec.path = path_of(w->protocol->analysis.arithmetic);
    QX_TRY(spec_completed(w, &possible));
    if (!possible) {
        return QX_OK;
    }
    return fit_and_read(w);
}

static qx_status begin(qx_ctx *cx,
                       qx_arena *arena,
                       const qx_protocol *protocol,
                       size_t v,
                       qx_result *result,
                       qx_work *w)
{
    const qx_variate *variate = &protocol->variate[v];
    *w = (qx_work){.cx = cx,
                   .arena = arena,
                   .temporary = qx_arena_inside(qx_ctx_scratch(cx)),
                   .protocol = protocol,
                   .variate = variate,
                   .level = protocol->analysis.level,
                   .alpha = 1.0 - protocol->analysis.level,
                   .margin = NAN,
                   .result = result};
    empty_result(variate, result);
    if (w->temporary == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the analysis of %s", variate->name);
    }
    w->settled.arena = w->settled.ranges.arena = w->temporary;
    return QX_OK;
}

static qx_status one_result(qx_ctx *cx,
                            qx_findings *f,
                            size_t v,
                            const qx_look_history *history,
                            qx_result *result)
{
    qx_work w;
    QX_TRY(begin(cx, f->arena, f->protocol, v, result, &w));
    w.table = f->table;
    QX_TRY(qx_frame_of(cx, f->arena, f->protocol, f->table, v, &w.data));
    QX_TRY(qx_looks_of(&w, f->layout, history));
    QX_TRY(qx_lost_units_of(&w, f->layout));
    QX_TRY(analyse_frame(&w, v));
    QX_TRY(qx_looks_error_of(&w, history));
    return take_notes(&w);
}

/* The frame with other values: their numbers alone, or the classes that they name. */
static qx_status with_values(qx_work *w, const qx_variate_frame *frame, const double y[])
{
    w->data = *frame;
    w->data.raw = w->data.scaled = w->data.y = y;
    w->data.shift = 0.0;
    if (frame->k != NULL) {
        w->data.k = y;
    }
    if (frame->size != NULL) {
        double *share;
        QX_NEW_IN(w->cx, w->temporary, share, frame->n);
        for (size_t i = 0; i < frame->n; i++) {
            share[i] = y[i] / frame->size[i];
        }
        w->data.raw = w->data.scaled = w->data.y = share;
    }
    if (frame->class_ != NULL) {
        uint32_t *class_;
        QX_NEW_IN(w->cx, w->temporary, class_, frame->n);
        for (size_t i = 0; i < frame->n; i++) {
            class_[i] = (uint32_t)y[i];
        }
        w->data.class_ = class_;
    }
    return QX_OK;
}

static qx_status again(qx_ctx *cx,
                       qx_arena *arena,
                       const qx_protocol *protocol,
                       size_t v,
                       const qx_variate_frame *frame,
                       const double y[],
                       qx_result *result)
{
    qx_work w;
    QX_TRY(begin(cx, arena, protocol, v, result, &w));
    w.brief = true;
    QX_TRY(with_values(&w, frame, y));
    QX_TRY(analyse_frame(&w, v));
    qx_ctx_clear(cx); /* notes: nobody reads them */
    return QX_OK;
}

qx_status qx_analyse_again(qx_ctx *cx,
                           qx_arena *arena,
                           const qx_protocol *protocol,
                           size_t v,
                           const qx_variate_frame *frame,
                           const double y[],
                           qx_result *result)
{
    qx_status status;
    QX_SCRATCH(cx, status, again(cx, arena, protocol, v, frame, y, result));
    return status;
}

static qx_status all_results(qx_ctx *cx, const qx_look_history history[], qx_findings *f)
{
    qx_result *result;
    QX_NEW_IN(cx, f->arena, result, f->protocol->variate_count);
    f->result = result;
    f->result_count = f->protocol->variate_count;
    for (size_t v = 0; v < f->result_count; v++) {
        qx_status status;
        qx_ctx_progress(cx, "analysing", v, f->result_count);
        if (qx_ctx_cancelled(cx)) {
            return qx_fail(
                cx, QX_E_CANCELLED, "stopped before %s", f->protocol->variate[v].name);
        }
        QX_SCRATCH(
            cx,
            status,
            one_result(cx, f, v, history == NULL ? NULL : &history[v], &result[v]));
        QX_TRY(status);
    }
    return QX_OK;
}

qx_status qx_analyse(qx_ctx *cx,
                     const qx_protocol *protocol,
                     const qx_table *table,
                     const struct qx_layout *layout,
                     qx_findings **out)
{
    return qx_analyse_looks(cx, protocol, table, layout, NULL, out);
}

qx_status qx_analyse_looks(qx_ctx *cx,
                           const qx_protocol *protocol,
                           const qx_table *table,
                           const struct qx_layout *layout,
                           const qx_look_history history[],
                           qx_findings **out)
{
    qx_arena *arena = qx_arena_new();
    if (arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the findings");
    }
    qx_findings *f = qx_arena_alloc(arena, 1, sizeof *f);
    if (f == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory for the findings");
    }
    *f = (qx_findings){
        .arena = arena, .protocol = protocol, .table = table, .layout = layout};
    const qx_status status = all_results(cx, history, f);
    if (status != QX_OK) {
        qx_arena_free(arena);
        return status;
    }
    *out = f;
    return QX_OK;
}
