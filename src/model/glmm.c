#include "model/glmm.h"

#include <math.h>
#include <string.h>

#include "model/glmm_inner.h"

/* A second search: where it begins, how far it goes, and the gain that makes it the one. */
static const double SECOND_LOW = 0.1, SECOND_HIGH = 1.0;
static const double SECOND_PRECISION = 1e-8, SECOND_GAIN = 1e-6;
/* Rows named in a message. */
enum { NAMED = 5 };

/* ---- what is asked --------------------------------------------------------------------- */

static qx_status refuse_values(qx_ctx *cx, const qx_glmm_spec *spec)
{
    size_t row[NAMED] = {0};
    const char *why = "";
    const size_t count = qx_family_refused(
        spec->family, spec->frame->n, spec->k, spec->size, NAMED, row, &why);
    char *list;
    if (count == 0) {
        return QX_OK;
    }
    list = qx_arena_printf(qx_ctx_scratch(cx), "%zu", row[0] + 1);
    for (size_t i = 1; list != NULL && i < count && i < NAMED; i++) {
        list = qx_arena_printf(qx_ctx_scratch(cx), "%s, %zu", list, row[i] + 1);
    }
    return qx_fail(cx,
                   QX_E_INPUT,
                   "%zu value%s cannot be (row%s %s%s): %s",
                   count,
                   count == 1 ? "" : "s",
                   count == 1 ? "" : "s",
                   list == NULL ? "" : list,
                   count > NAMED ? " ..." : "",
                   why);
}

static qx_status check(qx_ctx *cx, const qx_glmm_spec *spec)
{
    if (spec->family == NULL || spec->k == NULL || !(spec->level > 0.0) ||
        !(spec->level < 1.0)) {
        return qx_fail(cx, QX_E_ARG, "a family, a response and a level are needed");
    }
    if (spec->family->serves == QX_SERVES_SHARE && spec->size == NULL) {
        return qx_fail(cx, QX_E_ARG, "shares need to know of how many");
    }
    if (!spec->family->takes(spec->link)) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "the link %s is not for %s responses",
                       qx_link_key(spec->link),
                       spec->family->title);
    }
    if (spec->random_count >= QX_LAPLACE_TERMS_MOST) {
        return qx_fail(cx, QX_E_ARG, "%zu random terms are too many", spec->random_count);
    }
    for (size_t i = 0; spec->times != NULL && i < spec->frame->n; i++) {
        if (!(spec->times[i] > 0.0 && isfinite(spec->times[i]))) {
            return qx_fail(cx,
                           QX_E_ARG,
                           "row %zu stands for no thing; a number above 0 was expected",
                           i + 1);
        }
    }
    return refuse_values(cx, spec);
}

static qx_status copy_numbers(
    qx_ctx *cx, qx_arena *arena, size_t n, const double from[], const double **to)
{
    double *copy;
    *to = NULL;
    if (from == NULL) {
        return QX_OK;
    }
    QX_NEW_IN(cx, arena, copy, n);
    memcpy(copy, from, n * sizeof *copy);
    *to = copy;
    return QX_OK;
}

/* ---- the engine's problem -------------------------------------------------------------- */

/* X (n x p) becomes X T with orthogonal columns of mean square 1. */
static qx_status orthogonalise(qx_ctx *cx, qx_glmm *fit, qx_mat X)
{
    struct qx_glmm_inner *inner = fit->inner;
    const size_t p = fit->p;
    const double size = sqrt((double)X.rows);
    qx_qr qr;
    QX_TRY(qx_mat_new(cx, fit->arena, p, p, &inner->T));
    QX_TRY(qx_qr_factor(cx, fit->arena, X, &qr));
    for (size_t j = 0; j < p; j++) {
        QX_AT(inner->T, j, j) = 1.0;
    }
    inner->X = X;
    if (qr.rank < p) {
        return QX_OK; /* next to collinear: left as it is */
    }
    for (size_t j = 0; j < p; j++) {
        double *column = &QX_AT(inner->T, 0, j);
        column[j] = size;
        for (size_t i = p; i-- > 0;) {
            for (size_t k = i + 1; k < p; k++) {
                column[i] -= QX_AT(qr.R, i, k) * column[k];
            }
            column[i] /= QX_AT(qr.R, i, i);
        }
        double *x = &QX_AT(inner->X, 0, j);
        memset(x, 0, X.rows * sizeof *x);
        x[j] = size;
        qx_qr_apply(&qr, 'n', x);
    }
    return QX_OK;
}

static qx_status make_problem(qx_ctx *cx,
                              const qx_glmm_spec *spec,
                              qx_glmm *fit,
                              const uint32_t *const engine_code[],
                              const size_t levels[])
{
    struct qx_glmm_inner *inner = fit->inner;
    qx_laplace_random *random;
    QX_NEW_IN(cx, fit->arena, random, fit->m);
    for (size_t k = 0; k < fit->m; k++) {
        random[k] = (qx_laplace_random){.code = engine_code[k], .level_count = levels[k]};
        if (inner->rows.copies != NULL && k + 1 == fit->m) {
            random[k].level_count = inner->rows.n;
        }
    }
    inner->problem = (qx_laplace_problem){.n = inner->rows.n,
                                          .p = fit->p,
                                          .d = 1,
                                          .s = fit->family->parameters,
                                          .even = fit->family->parameters,
                                          .X = inner->X,
                                          .random_count = fit->m,
                                          .random = random,
                                          .likelihood = fit->family->rows,
                                          .quadrature = spec->quadrature,
                                          .penalise = spec->penalise};
    return qx_laplace_plan_make(cx, fit->arena, &inner->problem, &inner->plan);
}

/* Has any row more than one thing? One that is or is not shows no spread of shares. */
static bool several_things(const qx_glmm *fit)
{
    for (size_t i = 0; fit->inner->size != NULL && i < fit->n; i++) {
        if (fit->inner->size[i] > 1.0) {
            return true;
        }
    }
    return fit->inner->size == NULL;
}

/* What the data cannot show is held at nil: terms that cannot be told apart from another, a
 * spread of shares of single things. */
static qx_status hold_unseen(qx_ctx *cx, qx_glmm *fit)
{
    struct qx_glmm_inner *inner = fit->inner;
    const bool spread = fit->family->parameters > 0;
    bool any = false, *held;
    QX_NEW_IN(cx, fit->arena, held, fit->length);
    for (size_t k = 0; k < fit->m; k++) {
        held[fit->p + k] = inner->doubled[k];
        any = any || inner->doubled[k];
    }
    if (spread && !several_things(fit)) {
        any = held[fit->length - 1] = true;
        QX_TRY(qx_note(cx,
                       "Each row has one thing that is or is not: extra variation "
                       "cannot be seen in these data."));
    }
    inner->held = any ? held : NULL;
    return QX_OK;
}

static qx_status prepare(qx_ctx *cx, const qx_glmm_spec *spec, qx_glmm *fit)
{
    struct qx_glmm_inner *inner = fit->inner;
    const uint32_t *code[QX_LAPLACE_TERMS_MOST], *engine_code[QX_LAPLACE_TERMS_MOST];
    size_t levels[QX_LAPLACE_TERMS_MOST] = {0};
    bool *doubled;
    qx_mat X;
    QX_TRY(copy_numbers(cx, fit->arena, fit->n, spec->k, &inner->k));
    QX_TRY(copy_numbers(cx, fit->arena, fit->n, spec->size, &inner->size));
    QX_TRY(copy_numbers(cx, fit->arena, fit->n, spec->times, &inner->times));
    QX_NEW_IN(cx, fit->arena, doubled, fit->m);
    QX_TRY(qx_glmm_units(cx, spec, fit, code, levels));
    QX_TRY(qx_glmm_doubled(cx, fit, code, levels, doubled));
    inner->doubled = doubled;
    QX_TRY(qx_glmm_join(cx, spec, fit, code, engine_code, &X));
    QX_TRY(orthogonalise(cx, fit, X));
    QX_TRY(make_problem(cx, spec, fit, engine_code, levels));
    QX_TRY(hold_unseen(cx, fit));
    return qx_glmm_data(cx, fit->arena, fit, inner->k, &inner->data);
}

/* ---- the fit --------------------------------------------------------------------------- */

/* A spread and the variation of small units explain much the same, and there can be two tops:
 * the search is made again from where the other one would be. */
static qx_status search_again(qx_ctx *cx, qx_glmm *fit, const qx_laplace_options *full)
{
    struct qx_glmm_inner *inner = fit->inner;
    const qx_laplace_options quick = {
        .fixed = full->fixed, .precision = SECOND_PRECISION, .no_curvature = true};
    const bool nil = inner->fit.x[fit->length - 1] == 0.0;
    qx_laplace_fit other;
    double *x;
    QX_NEW(cx, x, fit->length);
    memcpy(x, inner->fit.x, fit->length * sizeof *x);
    for (size_t k = 0; k < fit->m; k++) {
        x[fit->p + k] = inner->doubled[k] ? 0.0 : nil ? SECOND_LOW : SECOND_HIGH;
    }
    x[fit->length - 1] = nil ? SECOND_HIGH : SECOND_LOW;
    QX_TRY(qx_glmm_maximise(
        cx, fit->arena, inner, fit->family, &inner->data, x, &quick, &other));
    if (other.value > inner->fit.value + SECOND_GAIN) {
        memcpy(x, other.x, fit->length * sizeof *x);
        QX_TRY(qx_glmm_maximise(
            cx, fit->arena, inner, fit->family, &inner->data, x, full, &inner->fit));
    }
    return QX_OK;
}

static qx_status run(qx_ctx *cx, const qx_glmm_spec *spec, qx_glmm *fit)
{
    struct qx_glmm_inner *inner = fit->inner;
    qx_laplace_options options = {.precision = spec->quick ? QX_GLMM_QUICK : 0.0,
                                  .no_curvature = spec->no_covariance};
    inner->quick = spec->quick;
    QX_TRY(qx_design_make(
        cx, fit->arena, spec->frame, spec->term_count, spec->term, &fit->design));
    fit->p = fit->design.p;
    fit->length = fit->p + fit->m + fit->family->parameters;
    QX_TRY(prepare(cx, spec, fit));
    options.fixed = inner->held;
    QX_TRY(qx_glmm_maximise(
        cx, fit->arena, inner, fit->family, &inner->data, NULL, &options, &inner->fit));
    if (fit->family->parameters > 0 && fit->m > 0 &&
        (inner->held == NULL || !inner->held[fit->length - 1])) {
        QX_TRY(search_again(cx, fit, &options));
    }
    return qx_glmm_estimates(cx, spec, fit);
}

/* Family and extra variation that fit together. */
static qx_status settle(qx_ctx *cx, const qx_glmm_spec *spec, qx_glmm *fit)
{
    const qx_family *wide = NULL;
    if (spec->extra == QX_EXTRA_MODELLED && spec->family->modelled_by != NULL) {
        wide = qx_family_find(spec->family->modelled_by);
    }
    fit->family = wide != NULL ? wide : spec->family;
    fit->extra = spec->extra;
    if (fit->family->parameters > 0 && spec->extra != QX_EXTRA_MODELLED &&
        spec->extra != QX_EXTRA_NONE) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "%s responses have a spread of their own; no other extra "
                       "variation goes with it",
                       spec->family->title);
    }
    if (fit->family->parameters > 0) {
        fit->extra = QX_EXTRA_MODELLED;
    }
    fit->link = spec->link;
    fit->level = spec->level;
    fit->n = spec->frame->n;
    fit->m = spec->random_count + (fit->extra == QX_EXTRA_UNIT ? 1 : 0);
    return QX_OK;
}

qx_status qx_glmm_fit(qx_ctx *cx, const qx_glmm_spec *spec, qx_glmm **out)
{
    qx_status status;
    qx_glmm *fit;
    QX_TRY(check(cx, spec));
    qx_arena *arena = qx_arena_new();
    if (arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a fit");
    }
    fit = qx_arena_alloc(arena, 1, sizeof *fit);
    struct qx_glmm_inner *inner = qx_arena_alloc(arena, 1, sizeof *inner);
    if (fit == NULL || inner == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory for a fit");
    }
    fit->arena = arena;
    fit->inner = inner;
    status = settle(cx, spec, fit);
    if (status == QX_OK) {
        QX_SCRATCH(cx, status, run(cx, spec, fit));
    }
    if (status != QX_OK) {
        qx_arena_free(arena);
        return status;
    }
    *out = fit;
    return QX_OK;
}

void qx_glmm_free(qx_glmm *fit)
{
    if (fit != NULL) {
        qx_arena_free(fit->arena);
    }
}
