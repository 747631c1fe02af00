#include "model/arrays.h"

#include <math.h>
#include <string.h>

static qx_status
copy_factor(qx_ctx *cx, qx_arena *arena, size_t n, const qx_codes *from, qx_factor *to)
{
    uint32_t *code;
    const char **level;
    const char *name = qx_arena_copy(arena, from->name == NULL ? "" : from->name);
    QX_NEW_IN(cx, arena, code, n);
    QX_NEW_IN(cx, arena, level, from->levels);
    if (from->levels == 0) {
        return qx_fail(cx, QX_E_ARG, "%s has no level", name == NULL ? "" : name);
    }
    for (size_t i = 0; i < n; i++) {
        if (from->code[i] >= from->levels) {
            return qx_fail(cx,
                           QX_E_ARG,
                           "row %zu: %s has code %u, expected 0 to %zu",
                           i + 1,
                           name == NULL ? "" : name,
                           (unsigned)from->code[i],
                           from->levels - 1);
        }
        code[i] = from->code[i];
    }
    for (size_t l = 0; l < from->levels; l++) {
        level[l] = qx_arena_printf(arena, "%zu", l);
        name = level[l] == NULL ? NULL : name;
    }
    *to = (qx_factor){
        .name = name, .level_count = from->levels, .level = level, .code = code};
    return name != NULL ? QX_OK
                        : qx_fail(cx, QX_E_NOMEM, "no memory for the name of a factor");
}

/* Term number t - 1 is the set of bits of t. */
static qx_status make_terms(
    qx_ctx *cx, qx_arena *arena, size_t factors, const qx_factor f[], qx_term **out)
{
    const size_t sets = ((size_t)1 << factors) - 1;
    qx_term *term;
    QX_NEW_IN(cx, arena, term, sets + 1);
    size_t count = 0;
    for (size_t size = 1; size <= factors; size++) { /* main effects first */
        for (size_t set = 1; set <= sets; set++) {
            qx_term one = {.name = "", .number = QX_NO_COLUMN};
            for (size_t k = 0; k < factors; k++) {
                if ((set >> k & 1) != 0) {
                    one.name = qx_arena_printf(arena,
                                               "%s%s%s",
                                               one.name,
                                               one.factor_count > 0 ? ":" : "",
                                               f[k].name);
                    one.factor[one.factor_count++] = k;
                }
                if (one.name == NULL) {
                    return qx_fail(cx, QX_E_NOMEM, "no memory for the terms");
                }
            }
            if (one.factor_count == size) {
                term[count++] = one;
            }
        }
    }
    *out = term;
    return QX_OK;
}

/* Everything in the arena of `own`, which outlives the fit. */
static qx_status fit_arrays(qx_ctx *cx, const qx_arrays *a, qx_arrays_fit *own)
{
    const size_t factors = a->fixed_count + a->random_count;
    qx_factor *factor;
    qx_frame *frame;
    qx_random_term *random;
    qx_term *term = NULL;
    QX_NEW_IN(cx, own->arena, factor, factors);
    QX_NEW_IN(cx, own->arena, frame, 1);
    QX_NEW_IN(cx, own->arena, random, a->random_count);
    for (size_t k = 0; k < factors; k++) {
        const qx_codes *from =
            k < a->fixed_count ? &a->fixed[k] : &a->random[k - a->fixed_count];
        QX_TRY(copy_factor(cx, own->arena, a->n, from, &factor[k]));
        if (k >= a->fixed_count) {
            random[k - a->fixed_count] = (qx_random_term){factor[k].name, k};
        }
    }
    QX_TRY(make_terms(cx, own->arena, a->fixed_count, factor, &term));
    *frame = (qx_frame){.n = a->n, .factor_count = factors, .factor = factor};
    const qx_lmm_spec spec = {.frame = frame,
                              .y = a->y,
                              .term_count = ((size_t)1 << a->fixed_count) - 1,
                              .term = term,
                              .random_count = a->random_count,
                              .random = random,
                              .df = a->df,
                              .level = 0.95};
    return qx_lmm_fit(cx, &spec, &own->fit);
}

qx_status qx_arrays_fit_new(qx_ctx *cx, const qx_arrays *data, qx_arrays_fit **out)
{
    if (data->n == 0 || data->y == NULL) {
        return qx_fail(cx, QX_E_ARG, "there are no rows");
    }
    if (data->fixed_count > QX_ARRAYS_FIXED) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "%zu fixed factors, expected at most %d",
                       data->fixed_count,
                       QX_ARRAYS_FIXED);
    }
    qx_arena *arena = qx_arena_new();
    qx_arrays_fit *own = arena == NULL ? NULL : qx_arena_alloc(arena, 1, sizeof *own);
    if (own == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory for a fit");
    }
    own->arena = arena;
    const qx_status status = fit_arrays(cx, data, own);
    if (status != QX_OK) {
        qx_arrays_fit_free(own);
        return status;
    }
    *out = own;
    return QX_OK;
}

void qx_arrays_fit_free(qx_arrays_fit *fit)
{
    if (fit != NULL) {
        qx_lmm_free(fit->fit);
        qx_arena_free(fit->arena);
    }
}

/* Main effects come first among the terms, so a factor's number is its term's. */
static qx_status
check_factor(qx_ctx *cx, const qx_arrays_fit *fit, size_t factor, size_t *levels)
{
    const qx_design *d = &fit->fit->design;
    if (factor >= d->term_count || d->term[factor].factor_count != 1) {
        return qx_fail(cx, QX_E_ARG, "there is no fixed factor number %zu", factor);
    }
    *levels = d->frame->factor[factor].level_count;
    return QX_OK;
}

static qx_status
mean(qx_ctx *cx, const qx_arrays_fit *fit, size_t factor, size_t level, qx_estimate *out)
{
    double *row;
    bool estimable;
    QX_NEW(cx, row, fit->fit->p);
    QX_TRY(qx_design_mean(cx, &fit->fit->design, 1, &factor, &level, row, &estimable));
    if (!estimable) {
        return qx_fail(cx,
                       QX_E_RANK,
                       "the mean of level %zu cannot be estimated from these data",
                       level);
    }
    return qx_lmm_contrast(cx, fit->fit, row, 1.0, out);
}

qx_status qx_arrays_mean(
    qx_ctx *cx, const qx_arrays_fit *fit, size_t factor, size_t level, qx_estimate *out)
{
    size_t levels = 0;
    qx_status status;
    QX_TRY(check_factor(cx, fit, factor, &levels));
    if (level >= levels) {
        return qx_fail(cx, QX_E_ARG, "level %zu, expected 0 to %zu", level, levels - 1);
    }
    QX_SCRATCH(cx, status, mean(cx, fit, factor, level, out));
    return status;
}

static qx_status estimate_pairs(
    qx_ctx *cx, const qx_arrays_fit *fit, size_t factor, size_t k, qx_comparison out[])
{
    qx_mat rows;
    bool *known;
    double *row;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), fit->fit->p, k, &rows));
    QX_NEW(cx, known, k);
    QX_NEW(cx, row, fit->fit->p);
    for (size_t l = 0, pair = 0; l < k; l++) {
        QX_TRY(qx_design_mean(
            cx, &fit->fit->design, 1, &factor, &l, &QX_AT(rows, 0, l), &known[l]));
        for (size_t m = 0; m < l; m++, pair++) {
            qx_estimate e = {NAN, NAN, NAN};
            for (size_t j = 0; j < fit->fit->p; j++) {
                row[j] = QX_AT(rows, j, l) - QX_AT(rows, j, m);
            }
            if (known[l] && known[m]) {
                QX_TRY(qx_lmm_contrast(cx, fit->fit, row, 0.0, &e));
            }
            out[pair] = (qx_comparison){.estimate = e.estimate, .se = e.se, .df = e.df};
        }
    }
    return QX_OK;
}

qx_status qx_arrays_pairs(qx_ctx *cx,
                          const qx_arrays_fit *fit,
                          size_t factor,
                          qx_adjust adjust,
                          double level,
                          qx_comparison out[])
{
    size_t k = 0;
    qx_status status;
    const qx_mat none = {0};
    QX_TRY(check_factor(cx, fit, factor, &k));
    if (adjust == QX_ADJUST_DUNNETT) {
        return qx_fail(cx, QX_E_ARG, "all pairs are not Dunnett's comparisons");
    }
    QX_SCRATCH(cx, status, estimate_pairs(cx, fit, factor, k, out));
    QX_TRY(status);
    return k < 2 ? QX_OK : qx_compare(cx, adjust, k, level, k * (k - 1) / 2, out, none);
}

static qx_status
test(qx_ctx *cx, const qx_arrays_fit *fit, size_t factor, qx_joint_test *out)
{
    qx_mat rows;
    qx_arena *arena = qx_arena_inside(qx_ctx_scratch(cx));
    if (arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a test");
    }
    QX_TRY(qx_design_marginal(cx, arena, &fit->fit->design, factor, &rows));
    return qx_lmm_test(cx, fit->fit, rows, out);
}

qx_status
qx_arrays_test(qx_ctx *cx, const qx_arrays_fit *fit, size_t factor, qx_joint_test *out)
{
    size_t levels = 0;
    qx_status status;
    QX_TRY(check_factor(cx, fit, factor, &levels));
    QX_SCRATCH(cx, status, test(cx, fit, factor, out));
    return status;
}
