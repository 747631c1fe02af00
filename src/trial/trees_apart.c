/* Do neighbours in the orchard keep what the layout promised of them? */
#include <math.h>

#include "layout/wishes.h"
#include "trial/trees_place.h"
#include "trial/trees_runs.h"

/* Places are whole numbers that were read as double. */
#define NEXT 1.5

size_t
qx_thing_above(const qx_protocol *p, const qx_layout *layout, size_t thing, size_t unit)
{
    while (layout->placed[thing].unit != unit) {
        const qx_unit *u = &p->unit[layout->placed[thing].unit];
        size_t next = QX_NONE;
        for (size_t k = 0; k < u->parent_count; k++) {
            next = qx_unit_reaches(p, unit, u->parent[k]) ? k : next;
        }
        if (next == QX_NONE) {
            return QX_NONE;
        }
        thing = layout->placed[thing].parent[next];
    }
    return thing;
}

/* Do both have the same levels of all treatments on `unit` that are to be kept apart? */
static bool
alike(const qx_protocol *p, const qx_layout *l, size_t unit, size_t a, size_t b)
{
    const size_t x = qx_thing_above(p, l, a, unit), y = qx_thing_above(p, l, b, unit);
    if (x == QX_NONE || y == QX_NONE || x == y) {
        return false;
    }
    for (size_t t = 0; t < l->treatment_count; t++) {
        const uint32_t level = l->level[x * l->treatment_count + t];
        if (p->treatment[t].on == unit && p->wishes->apart[t] &&
            (level == QX_NO_LEVEL || level != l->level[y * l->treatment_count + t])) {
            return false;
        }
    }
    return true;
}

static bool beside(const qx_stand *a, const qx_stand *b)
{
    return a->row == b->row && fabs(a->place - b->place) < NEXT;
}

static bool pair_keeps(const qx_protocol *p, const qx_layout *l, size_t a, size_t b)
{
    for (size_t t = 0; t < l->treatment_count; t++) {
        if (p->wishes->apart[t] && alike(p, l, p->treatment[t].on, a, b)) {
            return false;
        }
    }
    return true;
}

bool qx_trees_keep_apart(const qx_protocol *protocol, const qx_layout *layout)
{
    if (protocol->wishes == NULL || protocol->wishes->apart == NULL ||
        layout->stand == NULL) {
        return true;
    }
    for (size_t a = 0; a < layout->placed_count; a++) {
        for (size_t b = a + 1; !isnan(layout->stand[a].row) && b < layout->placed_count;
             b++) {
            if (layout->placed[a].unit == layout->placed[b].unit &&
                beside(&layout->stand[a], &layout->stand[b]) &&
                !pair_keeps(protocol, layout, a, b)) {
                return false;
            }
        }
    }
    return true;
}
