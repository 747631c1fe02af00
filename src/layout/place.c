#include "layout/place.h"

#include <string.h>

typedef struct placing {
    const qx_plan *plan;
    qx_arena *arena;
    qx_placed *placed;
    size_t *first;
    size_t *things;
    size_t count;
} placing;

static const qx_layout_unit *unit_of(const qx_plan *plan, size_t unit)
{
    return &plan->spec->unit[unit];
}

size_t
qx_place_above(const qx_plan *plan, const qx_places *places, size_t thing, size_t above)
{
    while (places->placed[thing].unit != above) {
        const qx_placed *at = &places->placed[thing];
        const qx_layout_unit *unit = unit_of(plan, at->unit);
        size_t next = thing;
        for (size_t i = 0; i < unit->parent_count; i++) {
            if (qx_plan_above(plan, unit->parent[i], above)) {
                next = at->parent[i];
                break;
            }
        }
        QX_ASSERT(next != thing);
        if (next == thing) {
            return thing;
        }
        thing = next;
    }
    return thing;
}

/* Do the things a and b stand in the same thing of every unit above both? */
static bool agree(const placing *p, size_t a, size_t b)
{
    const qx_places places = {p->count, p->placed, p->first, p->things};
    const size_t unit_a = p->placed[a].unit;
    const size_t unit_b = p->placed[b].unit;
    for (size_t u = 0; u < p->plan->spec->unit_count; u++) {
        if (qx_plan_above(p->plan, unit_a, u) && qx_plan_above(p->plan, unit_b, u) &&
            qx_place_above(p->plan, &places, a, u) !=
                qx_place_above(p->plan, &places, b, u)) {
            return false;
        }
    }
    return true;
}

/* `count` things of `unit` in one cell of its parents. False: no memory. */
static bool fill_cell(placing *p, size_t unit, const size_t parent[])
{
    const qx_layout_unit *about = unit_of(p->plan, unit);
    for (size_t k = 1; k <= about->count; k++) {
        qx_placed *thing = &p->placed[p->count];
        thing->unit = (uint32_t)unit;
        for (size_t i = 0; i < about->parent_count; i++) {
            thing->parent[i] = (uint32_t)parent[i];
        }
        thing->number = (uint32_t)k;
        thing->label = qx_arena_printf(p->arena, "%zu", k);
        if (thing->label == NULL) {
            return false;
        }
        p->count++;
    }
    return true;
}

static bool fits(const placing *p, const size_t parent[], size_t at)
{
    for (size_t i = 0; i < at; i++) {
        if (!agree(p, parent[i], parent[at])) {
            return false;
        }
    }
    return true;
}

/* The parents' things run like the wheels of a counter, the last one fastest; a combination
 * that does not agree is left at the first wheel where that is seen. False: no memory. */
static bool fill_unit(placing *p, size_t unit)
{
    const qx_layout_unit *about = unit_of(p->plan, unit);
    const size_t wheels = about->parent_count;
    size_t parent[QX_LAYOUT_PARENTS] = {0};
    size_t step[QX_LAYOUT_PARENTS] = {0};
    size_t at = 0;
    if (wheels == 0) {
        return fill_cell(p, unit, parent);
    }
    for (;;) {
        if (step[at] == p->things[about->parent[at]]) {
            if (at == 0) {
                return true;
            }
            at--;
            continue;
        }
        parent[at] = p->first[about->parent[at]] + step[at]++;
        if (!fits(p, parent, at)) {
            continue;
        }
        if (at + 1 < wheels) {
            step[++at] = 0;
        } else if (!fill_cell(p, unit, parent)) {
            return false;
        }
    }
}

qx_status qx_place_all(qx_ctx *cx, qx_arena *arena, const qx_plan *plan, qx_places *out)
{
    const size_t units = plan->spec->unit_count;
    placing p = {.plan = plan, .arena = arena};
    size_t all = 0;
    for (size_t u = 0; u < units; u++) {
        all += plan->placed[u] ? plan->total[u] : 0;
    }
    QX_NEW_IN(cx, arena, p.placed, all);
    QX_NEW_IN(cx, arena, p.first, units);
    QX_NEW_IN(cx, arena, p.things, units);
    for (size_t i = 0; i < units; i++) {
        const size_t u = plan->order[i];
        p.first[u] = p.count;
        if (qx_ctx_cancelled(cx)) {
            return qx_fail(cx, QX_E_CANCELLED, "stopped while placing the units");
        }
        if (plan->placed[u] && !fill_unit(&p, u)) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for the units of the layout");
        }
        p.things[u] = p.count - p.first[u];
        QX_ASSERT(!plan->placed[u] || p.things[u] == plan->total[u]);
    }
    *out = (qx_places){p.count, p.placed, p.first, p.things};
    return QX_OK;
}
