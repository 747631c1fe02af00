#include "model/lmm.h"

#include <math.h>

#include "model/components.h"
#include "model/confounded.h"
#include "model/containment.h"
#include "model/information.h"
#include "model/kenward.h"
#include "model/lm.h"
#include "model/reml.h"
#include "model/rows.h"
#include "model/satterthwaite.h"
#include "numeric/chol.h"
#include "numeric/sums.h"

static const double LOG_TWO_PI = 1.8378770664093454836;
/* A random term that adds less than this share of its own size to the others' covariances
 * cannot be told apart from them (inner products of 0/1 matrices: 1e-15 when it cannot). */
static const double SAME_COVARIANCE = 1e-9;

/* Orthonormal columns of X: the Householder vectors applied to the unit vectors. */
static qx_status thin_q(qx_ctx *cx, const qx_lmm *fit, qx_mat *out)
{
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), fit->n, fit->p, out));
    for (size_t j = 0; j < fit->p; j++) {
        QX_AT(*out, j, j) = 1.0;
        qx_qr_apply(&fit->design.qr, 'n', &QX_AT(*out, 0, j));
    }
    return QX_OK;
}

/* Residual of column `i` of the Gram matrix after those in `kept` (their factor is in L,
 * row by row); the row of `i` is left in L. */
static double
left_over(qx_mat gram, size_t i, size_t count, const size_t kept[], qx_mat L)
{
    double square = QX_AT(gram, i, i);
    for (size_t a = 0; a < count; a++) {
        double sum = QX_AT(gram, i, kept[a]);
        for (size_t b = 0; b < a; b++) {
            sum -= QX_AT(L, count, b) * QX_AT(L, a, b);
        }
        QX_AT(L, count, a) = sum / QX_AT(L, a, a);
        square -= QX_AT(L, count, a) * QX_AT(L, count, a);
    }
    return square;
}

/* tr(M G_i M G_j) for i, j < m and tr(M G_i) in the last row and column: the norms of the
 * profile where all ratios are nil. */
static qx_status gram_of(qx_ctx *cx, const qx_profile *f, qx_mat gram)
{
    qx_profile_point at;
    double *nil;
    QX_NEW(cx, nil, f->m);
    QX_TRY(qx_profile_room(cx, qx_ctx_scratch(cx), f, &at));
    QX_TRY(qx_profile_evaluate(cx, f, nil, &at));
    for (size_t i = 0; i < f->m; i++) {
        for (size_t j = 0; j < f->m; j++) {
            QX_AT(gram, i, j) = QX_AT(at.norm, i, j);
        }
        QX_AT(gram, i, f->m) = QX_AT(gram, f->m, i) = at.trace[i];
    }
    return QX_OK;
}

/* Which random terms have a covariance of their own, seen through M: a Gram-Schmidt
 * process on M, M G_m M, ... M G_1 M with inner product tr(AB), the smallest unit first,
 * so that of two units that always go together the larger is given up. `whole`: the fixed
 * terms take up all that M could see of the term. */
static qx_status tell_apart(qx_ctx *cx, const qx_profile *f, bool own[], bool whole[])
{
    qx_mat gram, L;
    size_t kept[QX_RANDOM_MOST + 1];
    size_t count = 1;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->m + 1, f->m + 1, &gram));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->m + 1, f->m + 1, &L));
    QX_TRY(gram_of(cx, f, gram));
    QX_AT(gram, f->m, f->m) = (double)(f->n - f->p);
    kept[0] = f->m;
    QX_AT(L, 0, 0) = sqrt(QX_AT(gram, f->m, f->m));
    for (size_t i = f->m; i-- > 0;) {
        const double square = left_over(gram, i, count, kept, L);
        whole[i] = !(QX_AT(gram, i, i) > SAME_COVARIANCE * (double)f->n);
        own[i] = square > SAME_COVARIANCE * (double)f->n &&
                 square > SAME_COVARIANCE * QX_AT(gram, i, i);
        if (own[i]) {
            QX_AT(L, count, count) = sqrt(square);
            kept[count++] = i;
        }
    }
    return QX_OK;
}

/* What is said and kept of a term without a variance of its own. */
static qx_status
give_up(qx_ctx *cx, qx_lmm *fit, const qx_profile *all, size_t i, bool whole)
{
    const size_t levels = all->start[i + 1] - all->start[i];
    fit->component[i].variance = NAN;
    if (!whole) {
        return qx_note(cx,
                       "The variation between %s cannot be told apart from that of other "
                       "units in these data: it has no estimate of its own.",
                       fit->component[i].name);
    }
    QX_TRY(qx_confounded_add(
        cx, fit, qx_mat_part(all->C, all->start[i], 0, levels, fit->p)));
    return qx_note(cx,
                   "No %s is a replicate of another: treatments take up all the "
                   "differences between them. What rests on these differences is "
                   "estimated, but has no standard error and no test.",
                   fit->component[i].name);
}

/* Which random terms have a covariance of their own, noting those that have not. */
static qx_status choose_terms(qx_ctx *cx, qx_lmm *fit, const qx_profile *all, bool own[])
{
    bool whole[QX_RANDOM_MOST] = {false};
    qx_status status;
    QX_SCRATCH(cx, status, tell_apart(cx, all, own, whole));
    QX_TRY(status);
    for (size_t i = 0; i < fit->random_count; i++) {
        if (!own[i]) {
            QX_TRY(give_up(cx, fit, all, i, whole[i]));
        }
    }
    return QX_OK;
}

static qx_status make_profile(qx_ctx *cx,
                              const qx_lmm_spec *spec,
                              qx_lmm *fit,
                              qx_mat Q,
                              const double r[],
                              const uint32_t **code)
{
    struct qx_lmm_inner *in = fit->inner;
    size_t levels[QX_RANDOM_MOST];
    bool own[QX_RANDOM_MOST] = {false};
    qx_profile all;
    size_t m = 0;
    for (size_t i = 0; i < spec->random_count; i++) {
        const qx_factor *f = &spec->frame->factor[spec->random[i].factor];
        code[i] = f->code;
        levels[i] = f->level_count;
    }
    QX_TRY(qx_profile_make(cx, fit->arena, spec->random_count, levels, code, Q, r, &all));
    QX_TRY(choose_terms(cx, fit, &all, own));
    for (size_t i = 0; i < spec->random_count; i++) {
        if (own[i]) {
            code[m] = code[i];
            levels[m] = levels[i];
            in->component_of[m++] = i;
        }
    }
    if (m == spec->random_count) {
        in->profile = all;
        return QX_OK;
    }
    return qx_profile_make(cx, fit->arena, m, levels, code, Q, r, &in->profile);
}

/* gamma, the evaluated point and sigma2. */
static qx_status estimate(qx_ctx *cx, qx_lmm *fit, bool exhausted)
{
    struct qx_lmm_inner *in = fit->inner;
    const double df = (double)(fit->n - fit->p);
    qx_descent_end end = {.converged = true};
    bool told = false;
    QX_NEW_IN(cx, fit->arena, in->gamma, in->profile.m);
    QX_TRY(qx_profile_room(cx, fit->arena, &in->profile, &in->at));
    if (exhausted || in->profile.m == 0) {
        QX_TRY(qx_profile_evaluate(cx, &in->profile, in->gamma, &in->at));
    } else {
        QX_TRY(qx_reml_fit(cx, &in->profile, NULL, &in->at, in->gamma, &end));
        if (qx_reml_without_residual(&end, in->profile.m, in->gamma)) {
            QX_TRY(qx_profile_evaluate(cx, &in->profile, in->gamma, &in->at));
            QX_TRY(qx_note(cx,
                           "The response has no variation beyond what the treatments and "
                           "the units explain: nothing can be tested."));
            exhausted = told = true;
        }
    }
    fit->converged = end.converged;
    fit->iterations = end.iterations;
    in->sigma2 = exhausted || !(in->at.ypy > 0.0) ? 0.0 : in->at.ypy / df;
    if (exhausted && !told) {
        return qx_note(cx,
                       "The response has no variation beyond what the treatments "
                       "explain: nothing can be tested.");
    }
    return QX_OK;
}

static void describe(qx_lmm *fit)
{
    struct qx_lmm_inner *in = fit->inner;
    const double df = (double)(fit->n - fit->p);
    const double square = in->scale * in->scale;
    for (size_t k = 0; k < in->profile.m; k++) {
        qx_component *c = &fit->component[in->component_of[k]];
        c->variance = in->gamma[k] * in->sigma2 * square;
        if (in->gamma[k] > 0.0 && !(in->sigma2 > 0.0)) {
            c->variance = NAN; /* its ratio to nil is known, not its size */
        }
        c->at_zero = in->gamma[k] == 0.0;
    }
    fit->component[fit->random_count].variance = in->sigma2 * square;
    fit->reml_criterion = NAN;
    if (in->sigma2 > 0.0) {
        fit->reml_criterion =
            df * (LOG_TWO_PI + log(in->sigma2) + 2.0 * log(in->scale) + 1.0) +
            in->at.log_a + 2.0 * in->log_r;
    }
    fit->log_likelihood = -0.5 * fit->reml_criterion;
    fit->residual_ss = NAN;
}

/* beta := beta - R^-1 C'u; r becomes y - X beta - Z u. */
static qx_status
settle_beta(qx_ctx *cx, qx_lmm *fit, const uint32_t *const code[], qx_mat Q, double r[])
{
    struct qx_lmm_inner *in = fit->inner;
    const qx_profile *f = &in->profile;
    double *u, *shift;
    QX_NEW(cx, u, f->q);
    QX_NEW(cx, shift, fit->p);
    QX_TRY(qx_profile_random(cx, f, &in->at, u));
    qx_mat_vector('t', 1.0, f->C, u, 0.0, shift);
    qx_mat_vector('n', 1.0, Q, shift, 1.0, r);
    for (size_t k = 0; k < f->m; k++) {
        for (size_t i = 0; i < fit->n; i++) {
            r[i] -= u[f->start[k] + code[k][i]];
        }
    }
    QX_TRY(qx_chol_solve_lower(cx, 't', in->r_transposed, qx_mat_of(shift, fit->p, 1)));
    for (size_t j = 0; j < fit->p; j++) {
        in->beta[j] -= shift[j];
    }
    return QX_OK;
}

static qx_status prepare_df(qx_ctx *cx, qx_lmm *fit, const uint32_t *const code[])
{
    QX_TRY(qx_information_make(cx, fit));
    switch (fit->df) {
    case QX_KENWARD_ROGER:
        return qx_kenward_prepare(cx, fit);
    case QX_SATTERTHWAITE:
        return qx_satterthwaite_prepare(cx, fit);
    case QX_CONTAINMENT:
        QX_TRY(qx_information_expected(cx, fit));
        return qx_containment_prepare(cx, fit, code);
    }
    return qx_fail(cx, QX_E_ARG, "there is no such method of degrees of freedom");
}

static qx_status mixed(qx_ctx *cx, const qx_lmm_spec *spec, qx_lmm *fit, double r[])
{
    const uint32_t *code[QX_RANDOM_MOST];
    qx_mat Q;
    QX_NEW_IN(cx, fit->arena, fit->inner->component_of, spec->random_count);
    QX_TRY(thin_q(cx, fit, &Q));
    QX_TRY(make_profile(cx, spec, fit, Q, r, code));
    QX_TRY(estimate(cx, fit, qx_lm_exhausted(fit->n, r)));
    QX_TRY(settle_beta(cx, fit, code, Q, r));
    QX_TRY(prepare_df(cx, fit, code));
    describe(fit);
    return QX_OK;
}

/* A p x p matrix in units of the data: sigma2 scale^2 times the unit one. */
static qx_status in_data_units(qx_ctx *cx, const qx_lmm *fit, qx_mat unit, qx_mat *out)
{
    const double s2 = fit->inner->sigma2 * fit->inner->scale * fit->inner->scale;
    QX_TRY(qx_mat_new(cx, fit->arena, fit->p, fit->p, out));
    for (size_t j = 0; j < fit->p; j++) {
        for (size_t i = 0; i < fit->p; i++) {
            QX_AT(*out, i, j) = s2 * QX_AT(unit, i, j);
        }
    }
    return QX_OK;
}

static qx_status
publish(qx_ctx *cx, const qx_lmm_spec *spec, qx_lmm *fit, const double r[])
{
    const struct qx_lmm_inner *in = fit->inner;
    const double mean = qx_mean(fit->n, spec->y) + spec->shift;
    double *beta, *fitted, *residual;
    QX_NEW_IN(cx, fit->arena, beta, fit->p);
    QX_NEW_IN(cx, fit->arena, fitted, fit->n);
    QX_NEW_IN(cx, fit->arena, residual, fit->n);
    for (size_t j = 0; j < fit->p; j++) {
        beta[j] = in->beta[j] * in->scale;
    }
    qx_mat_vector('n', 1.0, fit->design.X, beta, 0.0, fitted);
    for (size_t i = 0; i < fit->n; i++) {
        fitted[i] += spec->shift;
        residual[i] = r[i] * in->scale;
    }
    fit->beta = beta;
    fit->fitted = fitted;
    fit->residual = residual;
    fit->residual_df = (double)(fit->n - fit->p);
    fit->cv_percent =
        mean > 0.0 ? 100.0 * sqrt(in->sigma2) * (in->scale / mean) : (double)NAN;
    QX_TRY(in_data_units(cx, fit, in->phi, &fit->phi));
    return in_data_units(cx, fit, in->adjusted, &fit->phi_adjusted);
}

static qx_status check_spec(qx_ctx *cx, const qx_lmm_spec *spec)
{
    if (spec->random_count > QX_RANDOM_MOST) {
        return qx_fail(
            cx, QX_E_SHAPE, "a model may have at most %d random terms", QX_RANDOM_MOST);
    }
    for (size_t i = 0; i < spec->random_count; i++) {
        if (spec->random[i].factor >= spec->frame->factor_count) {
            return qx_fail(cx, QX_E_SHAPE, "random term %zu names no factor", i);
        }
    }
    return QX_OK;
}

static qx_status fit_all(qx_ctx *cx, const qx_lmm_spec *spec, qx_lmm *fit)
{
    double *r;
    QX_TRY(check_spec(cx, spec));
    QX_NEW_IN(cx, fit->arena, fit->inner, 1);
    QX_NEW_IN(cx, fit->arena, fit->component, spec->random_count + 1);
    QX_NEW(cx, r, spec->frame->n);
    fit->random_count = spec->random_count;
    fit->component_count = spec->random_count + 1;
    fit->shift = spec->shift;
    fit->df = spec->df;
    fit->inner->level = spec->level;
    for (size_t i = 0; i < fit->component_count; i++) {
        const char *name = i < spec->random_count ? spec->random[i].name : "residual";
        fit->component[i] = (qx_component){.name = qx_arena_copy(fit->arena, name),
                                           .lower = NAN,
                                           .upper = NAN,
                                           .lrt = NAN,
                                           .p = NAN};
        if (fit->component[i].name == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for a component's name");
        }
    }
    QX_TRY(qx_lm_solve(cx, spec, fit, r));
    if (spec->random_count == 0) {
        QX_TRY(qx_lm_finish(cx, spec, fit, r));
    } else {
        QX_TRY(mixed(cx, spec, fit, r));
    }
    return publish(cx, spec, fit, r);
}

qx_status qx_lmm_fit(qx_ctx *cx, const qx_lmm_spec *spec, qx_lmm **out)
{
    qx_arena *arena = qx_arena_new();
    qx_lmm *fit = arena != NULL ? qx_arena_alloc(arena, 1, sizeof *fit) : NULL;
    qx_status status;
    if (fit == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory for a fit");
    }
    fit->arena = arena;
    QX_SCRATCH(cx, status, fit_all(cx, spec, fit));
    if (status != QX_OK) {
        qx_arena_free(arena);
        return status;
    }
    *out = fit;
    return QX_OK;
}

void qx_lmm_free(qx_lmm *fit)
{
    if (fit != NULL) {
        qx_arena_free(fit->arena);
    }
}
