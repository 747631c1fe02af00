#include "layout/layout.h"

#include "layout/kind.h"
#include "layout/randomise.h"

/* Plan and complaints; *plan is NULL when the units themselves are impossible. */
static qx_status examine(qx_ctx *cx,
                         qx_arena *arena,
                         const qx_layout_spec *spec,
                         qx_complaints *to,
                         qx_plan **plan)
{
    QX_TRY(qx_plan_make(cx, arena, spec, to, plan));
    if (*plan == NULL) {
        return QX_OK;
    }
    const qx_layout_kind *kind = qx_kind_suiting(*plan);
    QX_ASSERT(kind != NULL); /* strips take whatever the others leave */
    QX_TRY(kind->check(cx, *plan, to));
    return qx_wishes_check(cx, *plan, to);
}

static qx_status count_problems(qx_ctx *cx, const qx_layout_spec *spec, qx_complaints *to)
{
    qx_plan *plan = NULL;
    return examine(cx, qx_ctx_scratch(cx), spec, to, &plan);
}

size_t qx_layout_problems(qx_ctx *cx,
                          const qx_layout_spec *spec,
                          qx_layout_complaint *complain,
                          void *listener)
{
    qx_complaints to = {.complain = complain, .listener = listener};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, count_problems(cx, spec, &to));
    return status == QX_OK ? to.count : to.count + 1;
}

/* The first complaint, kept for the message of qx_layout_make. */
typedef struct first_complaint {
    qx_arena *arena;
    const char *text;
} first_complaint;

static void keep_first(void *listener,
                       size_t unit,
                       size_t treatment,
                       const char *wrong,
                       const char *expected)
{
    first_complaint *first = listener;
    (void)unit;
    (void)treatment;
    if (first->text == NULL) {
        first->text = qx_arena_printf(first->arena, "%s; %s", wrong, expected);
    }
}

static qx_status
draw(qx_ctx *cx, const qx_plan *plan, uint64_t seed, qx_arena *arena, qx_layout **out)
{
    const qx_layout_kind *kind = qx_kind_suiting(plan);
    const size_t treatments = plan->spec->treatment_count;
    qx_layout *layout = NULL;
    qx_places places = {0};
    uint32_t *level = NULL;
    QX_NEW_IN(cx, arena, layout, 1);
    QX_TRY(qx_place_all(cx, arena, plan, &places));
    QX_NEW_IN(cx, arena, level, places.count * treatments);
    for (size_t i = 0; i < places.count * treatments; i++) {
        level[i] = QX_NO_LEVEL;
    }
    QX_TRY(kind->build(cx, plan, &places, seed, level));
    qx_text *describe = qx_text_new(arena);
    if (describe == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a description");
    }
    const qx_drawn drawn = {&places, level};
    QX_TRY(kind->describe(cx, plan, &drawn, describe));
    if (qx_text_failed(describe)) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a description");
    }
    *layout = (qx_layout){.arena = arena,
                          .kind = kind->key,
                          .describe = qx_text_get(describe),
                          .seed = seed,
                          .version = qx_randomise_version(plan),
                          .placed_count = places.count,
                          .placed = places.placed,
                          .treatment_count = treatments,
                          .level = level};
    *out = layout;
    return QX_OK;
}

static qx_status make(qx_ctx *cx,
                      const qx_layout_spec *spec,
                      uint64_t seed,
                      qx_arena *arena,
                      qx_layout **out)
{
    first_complaint first = {.arena = qx_ctx_scratch(cx)};
    qx_complaints to = {.complain = keep_first, .listener = &first};
    qx_plan *plan = NULL;
    QX_TRY(examine(cx, qx_ctx_scratch(cx), spec, &to, &plan));
    if (to.count > 0 || plan == NULL) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "%s",
                       first.text == NULL ? "the units cannot hold the levels"
                                          : first.text);
    }
    return draw(cx, plan, seed, arena, out);
}

qx_status
qx_layout_make(qx_ctx *cx, const qx_layout_spec *spec, uint64_t seed, qx_layout **out)
{
    qx_arena *arena = qx_arena_new();
    if (arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a layout");
    }
    qx_layout *layout = NULL;
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, make(cx, spec, seed, arena, &layout));
    if (status != QX_OK) {
        qx_arena_free(arena);
        return status;
    }
    *out = layout;
    return QX_OK;
}

void qx_layout_free(qx_layout *layout)
{
    if (layout != NULL) {
        qx_arena_free(layout->arena);
    }
}
