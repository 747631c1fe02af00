#include "model/plan.h"

#include <string.h>

#include "model/lm.h"
#include "model/spectral.h"

/* Strata of the layout, where it has them: the search then needs no matrices. */
static qx_status find_strata(qx_ctx *cx, qx_lmm_plan *plan)
{
    struct qx_spectral *spectral;
    if (plan->profile.m == 0 || plan->profile.q > QX_SPECTRAL_MOST ||
        plan->profile.reduced != NULL) {
        return QX_OK;
    }
    QX_TRY(qx_spectral_make(cx, plan->arena, &plan->profile, &spectral));
    plan->spectral = spectral;
    plan->profile.spectral = spectral->commute ? spectral : NULL;
    return QX_OK;
}

static qx_status make_profile(qx_ctx *cx, qx_lmm_plan *plan)
{
    const qx_lmm_spec *spec = &plan->spec;
    size_t levels[QX_RANDOM_MOST] = {0};
    qx_profile all;
    size_t m = 0;
    for (size_t i = 0; i < spec->random_count; i++) {
        const qx_factor *f = &spec->frame->factor[spec->random[i].factor];
        plan->code[i] = f->code;
        levels[i] = f->level_count;
    }
    QX_TRY(qx_plan_profile(cx, plan, spec->random_count, levels, &all));
    QX_TRY(qx_plan_tell_apart(cx, plan, &all));
    for (size_t i = 0; i < spec->random_count; i++) {
        if (plan->own[i]) {
            plan->code[m] = plan->code[i];
            levels[m] = levels[i];
            plan->component_of[m++] = i;
        }
    }
    plan->profile = all;
    if (m < spec->random_count) {
        QX_TRY(qx_plan_profile(cx, plan, m, levels, &plan->profile));
    }
    return find_strata(cx, plan);
}

static qx_status copy_spec(qx_ctx *cx, qx_lmm_plan *plan, const qx_lmm_spec *spec)
{
    qx_random_term *random;
    QX_NEW_IN(cx, plan->arena, random, spec->random_count);
    plan->spec = *spec;
    plan->spec.y = NULL;
    for (size_t i = 0; i < spec->random_count; i++) {
        random[i] = spec->random[i];
        random[i].name = qx_arena_copy(plan->arena, spec->random[i].name);
        if (random[i].name == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for a component's name");
        }
    }
    plan->spec.random = random;
    return QX_OK;
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

static qx_status make(qx_ctx *cx, qx_lmm_plan *plan, const qx_lmm_spec *spec)
{
    QX_TRY(check_spec(cx, spec));
    QX_TRY(copy_spec(cx, plan, spec));
    QX_TRY(qx_lm_plan(cx, plan));
    plan->spec.term = plan->design.term;
    if (spec->random_count == 0) {
        return QX_OK;
    }
    QX_NEW_IN(cx, plan->arena, plan->own, spec->random_count);
    QX_NEW_IN(cx, plan->arena, plan->component_of, spec->random_count);
    QX_NEW_IN(cx, plan->arena, plan->code, spec->random_count);
    return make_profile(cx, plan);
}

qx_status
qx_lmm_plan_parts(qx_ctx *cx, qx_arena *arena, const qx_lmm_spec *spec, qx_lmm_plan **out)
{
    qx_lmm_plan *plan;
    qx_status status;
    QX_NEW_IN(cx, arena, plan, 1);
    plan->arena = arena;
    QX_SCRATCH(cx, status, make(cx, plan, spec));
    QX_TRY(status);
    *out = plan;
    return QX_OK;
}

qx_status qx_lmm_plan_new(qx_ctx *cx, const qx_lmm_spec *spec, qx_lmm_plan **out)
{
    qx_arena *arena = qx_arena_new();
    if (arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a plan");
    }
    const qx_status status = qx_lmm_plan_parts(cx, arena, spec, out);
    if (status != QX_OK) {
        qx_arena_free(arena);
        return status;
    }
    return QX_OK;
}

void qx_lmm_plan_free(qx_lmm_plan *plan)
{
    if (plan != NULL) {
        qx_arena_free(plan->arena);
    }
}
