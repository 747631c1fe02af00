#include "layout/kind.h"

#include <string.h>

#include "layout/randomise.h"

static const qx_layout_kind *const kinds[] = {
#define X(key) &qx_kind_##key,
#include "layout/kinds.def"
#undef X
};

size_t qx_kind_count(void)
{
    return QX_COUNT(kinds);
}

const qx_layout_kind *qx_kind_get(size_t i)
{
    return i < QX_COUNT(kinds) ? kinds[i] : NULL;
}

const qx_layout_kind *qx_kind_find(const char *key)
{
    for (size_t i = 0; i < QX_COUNT(kinds); i++) {
        if (strcmp(kinds[i]->key, key) == 0) {
            return kinds[i];
        }
    }
    return NULL;
}

const qx_layout_kind *qx_kind_suiting(const qx_plan *plan)
{
    for (size_t i = 0; i < QX_COUNT(kinds); i++) {
        if (kinds[i]->suits(plan)) {
            return kinds[i];
        }
    }
    return NULL;
}

const qx_layout_kind *qx_kind_beneath(const qx_plan *plan)
{
    for (size_t i = 0; i < QX_COUNT(kinds); i++) {
        if (!kinds[i]->adds && kinds[i]->suits(plan)) {
            return kinds[i];
        }
    }
    return NULL;
}

qx_status qx_kind_check_strata(qx_ctx *cx, const qx_plan *plan, qx_complaints *to)
{
    for (size_t s = 0; s < plan->stratum_count; s++) {
        QX_TRY(qx_stratum_check(cx, plan, &plan->stratum[s], to));
    }
    return QX_OK;
}

qx_status qx_kind_describe_beneath(qx_ctx *cx,
                                   const qx_plan *plan,
                                   const qx_drawn *drawn,
                                   qx_text *out)
{
    const qx_layout_kind *kind = qx_kind_beneath(plan);
    QX_ASSERT(kind != NULL); /* strips take whatever the others leave */
    return kind == NULL ? QX_OK : kind->describe(cx, plan, drawn, out);
}

qx_status qx_kind_build_strata(qx_ctx *cx,
                               const qx_plan *plan,
                               const qx_places *places,
                               uint64_t seed,
                               uint32_t level[])
{
    for (size_t s = 0; s < plan->stratum_count; s++) {
        QX_TRY(qx_randomise(cx, plan, places, s, seed, level));
    }
    return QX_OK;
}
