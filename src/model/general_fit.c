#include "model/general_fit.h"

#include <math.h>
#include <string.h>

#include "model/containment.h"
#include "numeric/chol.h"

static const double LOG_TWO_PI = 1.8378770664093454836;

typedef struct refit {
    qx_lmm *fit;
    struct qx_general_fit *own;
    double *beta; /* p: least squares */
} refit;

/* Orthonormal columns of X, r = My and the coefficients of least squares. */
static qx_status
project(qx_ctx *cx, const double y[], const refit *w, qx_mat Q, double r[])
{
    const qx_lmm *fit = w->fit;
    for (size_t j = 0; j < fit->p; j++) {
        QX_AT(Q, j, j) = 1.0;
        qx_qr_apply(&fit->design.qr, 'n', &QX_AT(Q, 0, j));
    }
    for (size_t i = 0; i < fit->n; i++) {
        r[i] = y[i] / fit->inner->scale;
    }
    qx_qr_apply(&fit->design.qr, 't', r);
    memcpy(w->beta, r, fit->p * sizeof *w->beta);
    memset(r, 0, fit->p * sizeof *r);
    qx_qr_apply(&fit->design.qr, 'n', r);
    return qx_chol_solve_lower(
        cx, 't', fit->inner->r_transposed, qx_mat_of(w->beta, fit->p, 1));
}

/* Variances of the fit that is replaced, of y / scale; correlations at nil. */
static void start_from(const refit *w, double theta[])
{
    const struct qx_lmm_inner *in = w->fit->inner;
    const qx_parts *parts = &w->own->general.parts;
    for (size_t i = 0; i < parts->count; i++) {
        theta[i] = parts->part[i].kind == QX_PART_UNIT       ? in->gamma[i] * in->sigma2
                   : parts->part[i].kind == QX_PART_RESIDUAL ? in->sigma2
                                                             : 0.0;
    }
}

static qx_status optimise(qx_ctx *cx,
                          const qx_lmm_spec *spec,
                          const double y[],
                          refit *w,
                          double r[],
                          qx_descent_end *end)
{
    struct qx_general_fit *own = w->own;
    const qx_lmm *fit = w->fit;
    qx_parts parts;
    qx_mat Q;
    QX_TRY(qx_general_parts(cx, spec, fit, &parts));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), fit->n, fit->p, &Q));
    QX_TRY(project(cx, y, w, Q, r));
    QX_TRY(qx_general_make(cx, fit->arena, &parts, Q, r, &own->general));
    QX_TRY(qx_general_room(cx, fit->arena, &own->general, &own->at));
    QX_NEW_IN(cx, fit->arena, own->theta, own->general.m);
    start_from(w, own->theta);
    QX_TRY(qx_general_search(cx, &own->general, &own->at, NULL, own->theta, end));
    own->f = own->at.f;
    return QX_OK;
}

/* Residual variance over all rows: the measure of inner->sigma2. */
static double mean_residual(const struct qx_general_fit *own)
{
    const qx_parts *parts = &own->general.parts;
    double sum = 0.0;
    for (size_t i = 0; i < parts->n; i++) {
        const size_t level = parts->level_of != NULL ? parts->level_of[i] : 0;
        sum += own->theta[parts->at[QX_PART_RESIDUAL] + level];
    }
    return sum / (double)parts->n;
}

/* out = R^-1 M R'^-1 / sigma2: from the columns of Q to those of X. */
static qx_status to_columns(qx_ctx *cx, const struct qx_lmm_inner *in, qx_mat M)
{
    for (int side = 0; side < 2; side++) {
        QX_TRY(qx_chol_solve_lower(cx, 't', in->r_transposed, M));
        for (size_t j = 0; j < M.cols; j++) {
            for (size_t i = 0; i < j; i++) {
                const double keep = QX_AT(M, i, j);
                QX_AT(M, i, j) = QX_AT(M, j, i);
                QX_AT(M, j, i) = keep;
            }
        }
    }
    for (size_t j = 0; j < M.cols; j++) {
        for (size_t i = 0; i <= j; i++) {
            const double mean = 0.5 * (QX_AT(M, i, j) + QX_AT(M, j, i)) / in->sigma2;
            QX_AT(M, i, j) = QX_AT(M, j, i) = mean;
        }
    }
    return QX_OK;
}

/* out = phi M phi */
static qx_status between_phi(qx_ctx *cx, qx_mat phi, qx_mat M, qx_mat out)
{
    qx_mat half;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), M.rows, M.cols, &half));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, phi, M, 0.0, half));
    return qx_mat_multiply(cx, 'n', 'n', 1.0, half, phi, 0.0, out);
}

static qx_status fixed_part(qx_ctx *cx, refit *w)
{
    struct qx_lmm_inner *in = w->fit->inner;
    const qx_general_point *at = &w->own->at;
    const size_t p = w->fit->p;
    in->parts = w->own->general.m;
    QX_NEW_IN(cx, w->fit->arena, in->derivative, in->parts);
    QX_TRY(qx_mat_new(cx, w->fit->arena, p, p, &in->phi));
    qx_mat_copy(in->phi, at->phi);
    QX_TRY(to_columns(cx, in, in->phi));
    for (size_t k = 0; k < in->parts; k++) {
        QX_TRY(qx_mat_new(cx, w->fit->arena, p, p, &in->derivative[k]));
        QX_TRY(between_phi(cx, at->phi, at->P[k], in->derivative[k]));
        QX_TRY(to_columns(cx, in, in->derivative[k]));
    }
    in->adjusted = in->phi;
    QX_TRY(qx_chol_solve_lower(cx, 't', in->r_transposed, qx_mat_of(at->d, p, 1)));
    for (size_t j = 0; j < p; j++) {
        in->beta[j] = w->beta[j] + at->d[j];
    }
    return QX_OK;
}

/* --- small samples --- */

static qx_status adjust(qx_ctx *cx, refit *w)
{
    struct qx_lmm_inner *in = w->fit->inner;
    const size_t p = w->fit->p;
    qx_mat bias;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), p, p, &bias));
    QX_TRY(qx_mat_new(cx, w->fit->arena, p, p, &in->adjusted));
    QX_TRY(qx_general_bias(cx, &w->own->general, &w->own->at, in->spread, bias));
    QX_TRY(between_phi(cx, w->own->at.phi, bias, in->adjusted));
    QX_TRY(to_columns(cx, in, in->adjusted));
    for (size_t i = 0; i < p * p; i++) {
        in->adjusted.at[i] = in->phi.at[i] + 2.0 * in->adjusted.at[i];
    }
    return QX_OK;
}

static qx_status prepare_df(qx_ctx *cx, refit *w)
{
    struct qx_lmm_inner *in = w->fit->inner;
    QX_TRY(qx_mat_new(cx, w->fit->arena, in->parts, in->parts, &in->spread));
    switch (w->fit->df) {
    case QX_KENWARD_ROGER:
        QX_TRY(qx_general_spread(cx, w->own, false, in->spread));
        return adjust(cx, w);
    case QX_SATTERTHWAITE:
        return qx_general_spread(cx, w->own, true, in->spread);
    case QX_CONTAINMENT:
        if (in->containment == NULL) { /* no units above: all in the residual stratum */
            QX_NEW_IN(cx, w->fit->arena, in->containment, w->fit->p);
            for (size_t j = 0; j < w->fit->p; j++) {
                in->containment[j] = (double)(w->fit->n - w->fit->p);
            }
        }
        return qx_general_spread(cx, w->own, false, in->spread);
    }
    return qx_fail(cx, QX_E_ARG, "there is no such method of degrees of freedom");
}

/* --- what is published --- */

static qx_status name_of(qx_ctx *cx,
                         const qx_lmm_spec *spec,
                         qx_lmm *fit,
                         const qx_part *part,
                         const char **out)
{
    const qx_covariance *c = spec->covariance;
    const char *name = "residual";
    switch (part->kind) {
    case QX_PART_FIELD:
        name = c->field_name;
        break;
    case QX_PART_SERIES:
        name = c->series_name;
        break;
    case QX_PART_ROW:
        name = c->row_name;
        break;
    case QX_PART_PLACE:
        name = c->place_name;
        break;
    case QX_PART_RESIDUAL:
    case QX_PART_UNIT:
        break;
    }
    if (part->kind == QX_PART_RESIDUAL && c->residual_by != QX_NO_COLUMN) {
        const qx_factor *by = &spec->frame->factor[c->residual_by];
        *out = qx_arena_printf(fit->arena, "residual %s", by->level[part->level]);
    } else {
        *out = qx_arena_copy(fit->arena, name);
    }
    return *out != NULL ? QX_OK : qx_fail(cx, QX_E_NOMEM, "no memory for a name");
}

static void set_correlation(const qx_part *part, double rho, qx_correlation *out)
{
    const char *name = out->name;
    *out = (qx_correlation){.name = name,
                            .estimate = rho,
                            .lower = NAN,
                            .upper = NAN,
                            .lrt = NAN,
                            .p = NAN,
                            .at_limit = rho <= part->low || rho >= part->high};
}

/* The field's correlations mean nothing without its variance. */
static bool unknown_field(const refit *w, const qx_part *part)
{
    const size_t field = w->own->general.parts.at[QX_PART_FIELD];
    return (part->kind == QX_PART_ROW || part->kind == QX_PART_PLACE) &&
           !(w->own->theta[field] > 0.0);
}

/* Components: random terms as they are numbered, the field, the residuals last. */
static qx_status publish(qx_ctx *cx, const qx_lmm_spec *spec, refit *w)
{
    qx_lmm *fit = w->fit;
    struct qx_general_fit *own = w->own;
    const qx_parts *parts = &own->general.parts;
    const double square = fit->inner->scale * fit->inner->scale;
    const size_t field = spec->covariance->field ? 1 : 0;
    qx_component *component;
    qx_correlation *correlation;
    size_t correlations = 0;
    fit->component_count = fit->random_count + field + parts->levels;
    QX_NEW_IN(cx, fit->arena, component, fit->component_count);
    QX_NEW_IN(cx, fit->arena, correlation, parts->count);
    QX_NEW_IN(cx, fit->arena, own->component, parts->count);
    QX_NEW_IN(cx, fit->arena, own->correlation, parts->count);
    memcpy(component, fit->component, fit->random_count * sizeof *component);
    for (size_t i = 0; i < parts->count; i++) {
        const qx_part *part = &parts->part[i];
        const bool variance = qx_part_is_variance(part->kind);
        own->component[i] = QX_NO_COLUMN;
        own->correlation[i] = QX_NO_COLUMN;
        if (!variance) {
            own->correlation[i] = correlations;
            QX_TRY(name_of(cx, spec, fit, part, &correlation[correlations].name));
            set_correlation(part,
                            unknown_field(w, part) ? (double)NAN : own->theta[i],
                            &correlation[correlations++]);
            continue;
        }
        own->component[i] = part->kind == QX_PART_UNIT ? fit->inner->component_of[i]
                            : part->kind == QX_PART_FIELD
                                ? fit->random_count
                                : fit->random_count + field + part->level;
        qx_component *c = &component[own->component[i]];
        const char *name = c->name;
        if (part->kind != QX_PART_UNIT) {
            QX_TRY(name_of(cx, spec, fit, part, &name));
        }
        *c = (qx_component){.name = name,
                            .variance = own->theta[i] * square,
                            .sd = sqrt(own->theta[i]) * fit->inner->scale,
                            .unconstrained = own->theta[i] * square,
                            .lower = NAN,
                            .upper = NAN,
                            .lrt = NAN,
                            .p = NAN,
                            .at_zero = own->theta[i] == 0.0};
    }
    fit->component = component;
    fit->correlation = correlation;
    fit->correlation_count = correlations;
    return QX_OK;
}

/* R Py: what is left in each row beside the units and the field. */
static qx_status conditional(qx_ctx *cx, const refit *w, double r[])
{
    const qx_general *g = &w->own->general;
    const size_t first = g->parts.at[QX_PART_RESIDUAL];
    for (size_t s = 0; s < g->sets; s++) {
        const qx_arena_mark mark = qx_arena_get_mark(qx_ctx_scratch(cx));
        const size_t k = g->start[s + 1] - g->start[s];
        qx_mat V;
        double *e;
        QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, k, &V));
        QX_NEW(cx, e, k);
        for (size_t l = 0; l < g->parts.levels; l++) {
            qx_parts_first(
                &g->parts, w->own->theta, first + l, k, g->row + g->start[s], V);
            qx_mat_vector(
                'n', w->own->theta[first + l], V, w->own->at.py + g->start[s], 1.0, e);
        }
        for (size_t a = 0; a < k; a++) {
            r[g->row[g->start[s] + a]] = e[a];
        }
        qx_arena_rewind(qx_ctx_scratch(cx), mark);
    }
    return QX_OK;
}

static void describe(refit *w, const qx_descent_end *end)
{
    qx_lmm *fit = w->fit;
    const struct qx_lmm_inner *in = fit->inner;
    const double df = (double)(fit->n - fit->p);
    fit->converged = end->converged;
    fit->iterations = end->iterations;
    fit->reml_criterion =
        w->own->f + df * (LOG_TWO_PI + 2.0 * log(in->scale)) + 2.0 * in->log_r;
    fit->log_likelihood = -0.5 * fit->reml_criterion;
    fit->residual_ss = NAN;
}

static qx_status
refit_all(qx_ctx *cx, const qx_lmm_spec *spec, const double y[], qx_lmm *fit, double r[])
{
    refit w = {.fit = fit};
    qx_descent_end end;
    QX_NEW_IN(cx, fit->arena, w.own, 1);
    QX_NEW(cx, w.beta, fit->p);
    QX_TRY(optimise(cx, spec, y, &w, r, &end));
    if (!isfinite(w.own->f)) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "no covariance of the kind that was asked for fits these data");
    }
    fit->inner->sigma2 = mean_residual(w.own);
    QX_TRY(fixed_part(cx, &w));
    QX_TRY(prepare_df(cx, &w));
    QX_TRY(publish(cx, spec, &w));
    QX_TRY(conditional(cx, &w, r));
    describe(&w, &end);
    fit->inner->general = w.own;
    return QX_OK;
}

qx_status qx_general_refit(
    qx_ctx *cx, const qx_lmm_spec *spec, const double y[], qx_lmm *fit, double r[])
{
    qx_status status;
    if (!(fit->inner->sigma2 > 0.0)) {
        return QX_OK;
    }
    QX_SCRATCH(cx, status, refit_all(cx, spec, y, fit, r));
    return status;
}
