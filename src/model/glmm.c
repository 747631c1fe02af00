#include "model/glmm.h"

#include <math.h>
#include <string.h>

#include "model/glmm_inner.h"

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

/* ---- units ----------------------------------------------------------------------------- */

/* Do two codes part the rows alike? map: scratch of level_count of a. */
static bool same_parts(
    size_t n, const uint32_t a[], const uint32_t b[], size_t map_a[], size_t map_b[])
{
    for (size_t i = 0; i < n; i++) {
        if (map_a[a[i]] == 0 && map_b[b[i]] == 0) {
            map_a[a[i]] = b[i] + (size_t)1;
            map_b[b[i]] = a[i] + (size_t)1;
        }
        if (map_a[a[i]] != b[i] + (size_t)1 || map_b[b[i]] != a[i] + (size_t)1) {
            return false;
        }
    }
    return true;
}

/* Of two units that always go together the larger is given up. */
static qx_status find_doubled(qx_ctx *cx,
                              qx_glmm *fit,
                              const uint32_t *const code[],
                              const size_t levels[],
                              bool doubled[])
{
    for (size_t a = 0; a < fit->m; a++) {
        for (size_t b = a + 1; b < fit->m && !doubled[a]; b++) {
            size_t *map_a, *map_b;
            QX_NEW(cx, map_a, levels[a]);
            QX_NEW(cx, map_b, levels[b]);
            doubled[a] = same_parts(fit->n, code[a], code[b], map_a, map_b);
        }
        if (doubled[a]) {
            QX_TRY(qx_note(cx,
                           "The variation between %s cannot be told apart from that of "
                           "other units in these data: it has no estimate of its own.",
                           fit->component[a].name));
        }
    }
    return QX_OK;
}

/* Codes and names of the m random terms, that of QX_EXTRA_UNIT last. */
static qx_status list_units(qx_ctx *cx,
                            const qx_glmm_spec *spec,
                            qx_glmm *fit,
                            const uint32_t *code[],
                            size_t levels[])
{
    QX_NEW_IN(cx, fit->arena, fit->component, fit->m);
    for (size_t k = 0; k < fit->m; k++) {
        const bool own = k == spec->random_count;
        const char *name = own ? spec->unit_name : spec->random[k].name;
        fit->component[k] =
            (qx_component){.lower = NAN, .upper = NAN, .lrt = NAN, .p = NAN};
        fit->component[k].name = qx_arena_copy(fit->arena, name == NULL ? "unit" : name);
        if (fit->component[k].name == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for a name");
        }
        if (own) {
            uint32_t *rows;
            QX_NEW(cx, rows, fit->n);
            for (size_t i = 0; i < fit->n; i++) {
                rows[i] = (uint32_t)i;
            }
            code[k] = rows;
            levels[k] = fit->n;
        } else {
            code[k] = spec->frame->factor[spec->random[k].factor].code;
            levels[k] = spec->frame->factor[spec->random[k].factor].level_count;
        }
    }
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

/* Terms that cannot be told apart from another are held at nil. */
static qx_status hold_doubled(qx_ctx *cx, qx_glmm *fit)
{
    struct qx_glmm_inner *inner = fit->inner;
    bool any = false, *held;
    QX_NEW_IN(cx, fit->arena, held, fit->length);
    for (size_t k = 0; k < fit->m; k++) {
        held[fit->p + k] = inner->doubled[k];
        any = any || inner->doubled[k];
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
    QX_TRY(list_units(cx, spec, fit, code, levels));
    QX_TRY(find_doubled(cx, fit, code, levels, doubled));
    inner->doubled = doubled;
    QX_TRY(qx_glmm_join(cx, spec, fit, code, engine_code, &X));
    QX_TRY(orthogonalise(cx, fit, X));
    QX_TRY(make_problem(cx, spec, fit, engine_code, levels));
    QX_TRY(hold_doubled(cx, fit));
    return qx_glmm_data(cx, fit->arena, fit, inner->k, &inner->data);
}

/* ---- the fit --------------------------------------------------------------------------- */

static qx_status run(qx_ctx *cx, const qx_glmm_spec *spec, qx_glmm *fit)
{
    struct qx_glmm_inner *inner = fit->inner;
    const qx_laplace_options options = {
        .fixed = NULL, .precision = 0.0, .no_curvature = spec->no_covariance};
    qx_laplace_options held = options;
    QX_TRY(qx_design_make(
        cx, fit->arena, spec->frame, spec->term_count, spec->term, &fit->design));
    fit->p = fit->design.p;
    fit->length = fit->p + fit->m + fit->family->parameters;
    QX_TRY(prepare(cx, spec, fit));
    held.fixed = inner->held;
    QX_TRY(qx_glmm_maximise(
        cx, fit->arena, inner, fit->family, &inner->data, NULL, &held, &inner->fit));
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
