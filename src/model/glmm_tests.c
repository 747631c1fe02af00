/* model/glmm_tests.c - estimates on the link scale, tests of hypotheses by a second fit,
 * intervals of components. */
#include <math.h>
#include <string.h>

#include "model/glmm_inner.h"
#include "numeric/chol.h"
#include "numeric/dist.h"
#include "numeric/qr.h"

static qx_status refuse_restricted(qx_ctx *cx, const qx_glmm *fit)
{
    if (fit->inner->restricted) {
        return qx_fail(
            cx, QX_E_ARG, "a fit under a hypothesis serves refits and simulation only");
    }
    return QX_OK;
}

qx_status
qx_glmm_contrast(qx_ctx *cx, const qx_glmm *fit, const double row[], qx_estimate *out)
{
    QX_TRY(refuse_restricted(cx, fit));
    const double variance = qx_glmm_covariance(fit, row, row);
    *out = (qx_estimate){.estimate = qx_dot(fit->p, row, fit->beta),
                         .se = variance >= 0.0 ? sqrt(variance) : (double)NAN,
                         .df = fit->df};
    return QX_OK;
}

double qx_glmm_covariance(const qx_glmm *fit, const double a[], const double b[])
{
    double sum = 0.0;
    for (size_t j = 0; j < fit->p; j++) {
        for (size_t i = 0; b[j] != 0.0 && i < fit->p; i++) {
            sum += a[i] == 0.0 ? 0.0 : a[i] * QX_AT(fit->covariance, i, j) * b[j];
        }
    }
    return sum;
}

qx_status qx_null_space(qx_ctx *cx, qx_arena *arena, qx_mat L, bool whole, qx_mat *out)
{
    const size_t p = L.cols, r = L.rows;
    qx_mat turned;
    qx_qr qr;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), p, r, &turned));
    for (size_t i = 0; i < r; i++) {
        for (size_t j = 0; j < p; j++) {
            QX_AT(turned, j, i) = QX_AT(L, i, j);
        }
    }
    QX_TRY(qx_qr_factor(cx, qx_ctx_scratch(cx), turned, &qr));
    if (qr.rank < r || r > p) {
        return qx_fail(cx, QX_E_RANK, "the rows of a hypothesis depend on each other");
    }
    QX_TRY(qx_mat_new(cx, arena, p, whole ? p : p - r, out));
    for (size_t j = 0; j < out->cols; j++) {
        QX_AT(*out, j < p - r ? r + j : j - (p - r), j) = 1.0;
        qx_qr_apply(&qr, 'n', &QX_AT(*out, 0, j));
    }
    return QX_OK;
}

/* ---- the fit under a hypothesis -------------------------------------------------------- */

/* The engine's columns under L beta = 0. */
static qx_status
restricted_columns(qx_ctx *cx, const qx_glmm *fit, qx_mat L, qx_glmm *under)
{
    const struct qx_glmm_inner *from = fit->inner;
    struct qx_glmm_inner *inner = under->inner;
    const bool whole = from->problem.penalise;
    qx_mat LT;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), L.rows, fit->p, &LT));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, L, from->T, 0.0, LT));
    QX_TRY(qx_null_space(cx, under->arena, LT, whole, &inner->N));
    QX_TRY(qx_mat_new(cx, under->arena, from->X.rows, inner->N.cols, &inner->X));
    return qx_mat_multiply(cx, 'n', 'n', 1.0, from->X, inner->N, 0.0, inner->X);
}

/* With a penalty the columns of the hypothesis stay in it, their coefficients held at nil:
 * the penalty is then the same function under both. */
static qx_status hold_columns(qx_ctx *cx, const qx_glmm *fit, size_t r, qx_glmm *under)
{
    const struct qx_glmm_inner *from = fit->inner;
    struct qx_glmm_inner *inner = under->inner;
    const size_t columns = inner->X.cols;
    bool *held;
    QX_NEW_IN(cx, under->arena, held, columns + fit->m + fit->family->parameters);
    for (size_t j = fit->p - r; from->problem.penalise && j < columns; j++) {
        held[j] = true;
    }
    for (size_t j = 0; from->held != NULL && j < fit->length - fit->p; j++) {
        held[columns + j] = from->held[fit->p + j];
    }
    inner->held = held;
    return QX_OK;
}

/* From the estimates of the whole model: gamma laid on the null space; what was at nil
 * may leave it. */
static qx_status
start_under(qx_ctx *cx, const qx_glmm *fit, const qx_glmm *under, double **out)
{
    const struct qx_glmm_inner *from = fit->inner, *inner = under->inner;
    const size_t columns = inner->X.cols, rest = fit->length - fit->p;
    double *x;
    QX_NEW(cx, x, columns + rest);
    for (size_t j = 0; j < columns; j++) {
        x[j] = inner->held[j] ? 0.0 : qx_dot(fit->p, &QX_AT(inner->N, 0, j), from->fit.x);
    }
    for (size_t j = 0; j < rest; j++) {
        const double value = from->fit.x[fit->p + j];
        x[columns + j] = inner->held[columns + j] ? value : fmax(value, 0.2);
    }
    *out = x;
    return QX_OK;
}

static qx_status restrict_fit(qx_ctx *cx, const qx_glmm *fit, qx_mat L, qx_glmm *under)
{
    struct qx_glmm_inner *inner = under->inner;
    double *start = NULL;
    QX_TRY(restricted_columns(cx, fit, L, under));
    under->p = inner->X.cols;
    under->length = under->p + fit->m + fit->family->parameters;
    QX_TRY(hold_columns(cx, fit, L.rows, under));
    inner->problem.p = under->p;
    inner->problem.X = inner->X;
    QX_TRY(qx_laplace_plan_make(cx, under->arena, &inner->problem, &inner->plan));
    QX_TRY(start_under(cx, fit, under, &start));
    const qx_laplace_options options = {.fixed = inner->held,
                                        .precision = inner->quick ? QX_GLMM_QUICK : 0.0,
                                        .no_curvature = true};
    QX_TRY(qx_glmm_maximise(cx,
                            under->arena,
                            inner,
                            fit->family,
                            &inner->data,
                            start,
                            &options,
                            &inner->fit));
    under->beta = inner->fit.x;
    under->sd = &inner->fit.x[under->p];
    under->psi = fit->family->parameters > 0 ? under->sd[fit->m] : 0.0;
    under->eta = under->fitted = NULL;
    under->effect = NULL;
    under->component = NULL;
    under->log_likelihood = inner->fit.value - inner->fit.penalty;
    under->converged = inner->fit.converged;
    under->iterations = inner->fit.iterations;
    return QX_OK;
}

qx_status qx_glmm_restrict(qx_ctx *cx, const qx_glmm *fit, qx_mat L, qx_glmm **out)
{
    qx_status status;
    QX_TRY(refuse_restricted(cx, fit));
    if (L.cols != fit->p || L.rows == 0) {
        return qx_fail(cx, QX_E_SHAPE, "a hypothesis has rows of %zu columns", fit->p);
    }
    qx_arena *arena = qx_arena_new();
    qx_glmm *under = arena == NULL ? NULL : qx_arena_alloc(arena, 1, sizeof *under);
    struct qx_glmm_inner *inner =
        under == NULL ? NULL : qx_arena_alloc(arena, 1, sizeof *inner);
    if (inner == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory for a fit");
    }
    *under = *fit;
    *inner = *fit->inner;
    under->arena = arena;
    under->inner = inner;
    inner->restricted = true;
    QX_SCRATCH(cx, status, restrict_fit(cx, fit, L, under));
    if (status != QX_OK) {
        qx_arena_free(arena);
        return status;
    }
    *out = under;
    return QX_OK;
}

/* ---- tests ----------------------------------------------------------------------------- */

/* (L b)'(L C L')^-1 (L b); NAN where L C L' is not positive definite. */
static qx_status wald(qx_ctx *cx, const qx_glmm *fit, qx_mat L, double *out)
{
    qx_mat LC, V;
    double *lb, *copy;
    *out = NAN;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), L.rows, fit->p, &LC));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), L.rows, L.rows, &V));
    QX_NEW(cx, lb, L.rows);
    QX_NEW(cx, copy, L.rows);
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, L, fit->covariance, 0.0, LC));
    QX_TRY(qx_mat_multiply(cx, 'n', 't', 1.0, LC, L, 0.0, V));
    qx_mat_vector('n', 1.0, L, fit->beta, 0.0, lb);
    memcpy(copy, lb, L.rows * sizeof *copy);
    if (qx_chol_factor(cx, V) != QX_OK) {
        qx_ctx_forgive(cx);
        return qx_ctx_status(cx);
    }
    QX_TRY(qx_chol_solve(cx, V, qx_mat_of(copy, L.rows, 1)));
    *out = qx_dot(L.rows, lb, copy);
    return QX_OK;
}

static qx_status test_rows(qx_ctx *cx, const qx_glmm *fit, qx_mat L, qx_glmm_test *out)
{
    qx_glmm *under = NULL;
    const double df = (double)L.rows;
    qx_glmm_test t = {.num_df = df, .den_df = INFINITY, .f = NAN};
    t.method = "likelihood ratio";
    QX_TRY(qx_glmm_restrict(cx, fit, L, &under));
    /* With a penalty that of both counts. */
    t.chisq = fmax(0.0, 2.0 * (fit->inner->fit.value - under->inner->fit.value));
    t.converged = under->converged;
    qx_glmm_free(under);
    QX_TRY(wald(cx, fit, L, &t.wald));
    t.p = qx_chisq_p(t.chisq, df, QX_UPPER);
    t.wald_p = qx_chisq_p(t.wald, df, QX_UPPER);
    if (fit->extra == QX_EXTRA_SCALED) {
        t.method = "quasi-likelihood F";
        t.den_df = fit->df;
        t.f = t.chisq / df / fit->dispersion;
        t.p = qx_f_p(t.f, df, fit->df, QX_UPPER);
        t.wald_p = qx_f_p(t.wald / df, df, fit->df, QX_UPPER);
    } else if (fit->inner->problem.penalise) {
        t.method = "penalised likelihood ratio";
    }
    *out = t;
    return QX_OK;
}

qx_status qx_glmm_test_rows(qx_ctx *cx, const qx_glmm *fit, qx_mat L, qx_glmm_test *out)
{
    qx_status status;
    QX_TRY(refuse_restricted(cx, fit));
    QX_SCRATCH(cx, status, test_rows(cx, fit, L, out));
    return status;
}

qx_status qx_glmm_profile_components(qx_ctx *cx, qx_glmm *fit)
{
    const struct qx_glmm_inner *inner = fit->inner;
    QX_TRY(refuse_restricted(cx, fit));
    for (size_t k = 0; k < fit->m; k++) {
        qx_component *c = &fit->component[k];
        qx_laplace_profile profile;
        if (inner->doubled[k]) {
            continue;
        }
        QX_TRY(qx_laplace_profile_sd(
            cx, inner->plan, &inner->data, &inner->fit, k, fit->level, &profile));
        c->lower = profile.lower * profile.lower;
        c->upper = profile.upper * profile.upper;
        c->lrt = profile.lrt;
        c->p = profile.p;
    }
    return QX_OK;
}
