#include "trial/unit_order.h"

#include <string.h>

#include "base/text.h"

/* Parents first, else in the file's order (Kahn 1962, Comm ACM 5:558-562). Units in or
 * below a circle are left out. Gives the number of units placed. */
static size_t order_units(const qx_protocol *p, size_t order[], bool placed[])
{
    size_t count = 0;
    bool more = true;
    while (more) {
        more = false;
        for (size_t u = 0; u < p->unit_count; u++) {
            bool ready = !placed[u];
            for (size_t i = 0; ready && i < p->unit[u].parent_count; i++) {
                ready = placed[p->unit[u].parent[i]];
            }
            if (ready) {
                placed[u] = true;
                order[count] = u;
                count++;
                more = true;
            }
        }
    }
    return count;
}

/* The first parent that is not placed: every unit left over has one. */
static size_t left_parent(const qx_protocol *p, const bool placed[], size_t u)
{
    for (size_t i = 0; i < p->unit[u].parent_count; i++) {
        if (!placed[p->unit[u].parent[i]]) {
            return p->unit[u].parent[i];
        }
    }
    return QX_NONE;
}

static void tell_circle(qx_reading *r, const bool placed[], size_t start, bool told[])
{
    qx_text *way = qx_text_new(qx_ctx_scratch(r->cx));
    if (way == NULL) {
        qx_reading_keep(r, qx_fail(r->cx, QX_E_NOMEM, "no memory for a message"));
        return;
    }
    qx_text_add(way, r->unit[start].name);
    size_t u = start;
    do {
        told[u] = true;
        u = left_parent(r->p, placed, u);
        qx_text_add(way, " within ");
        qx_text_add(way, r->unit[u].name);
    } while (u != start);
    if (qx_text_failed(way)) {
        qx_reading_keep(r, qx_fail(r->cx, QX_E_NOMEM, "no memory for a message"));
        return;
    }
    QX_COMPLAIN(r,
                qx_reading_place(r->unit_node[start], "within"),
                "expected larger units to hold smaller ones",
                "\"%s\" stands within itself: %s",
                r->unit[start].name,
                qx_text_get(way));
}

/* Every unit that is left over leads up to a circle: each circle is told once. */
static void tell_circles(qx_reading *r, const bool placed[])
{
    bool told[QX_NAMES_MOST] = {false};
    for (size_t u = 0; u < r->p->unit_count; u++) {
        if (placed[u]) {
            continue;
        }
        bool seen[QX_NAMES_MOST] = {false};
        size_t at = u;
        while (!seen[at]) {
            seen[at] = true;
            at = left_parent(r->p, placed, at);
        }
        if (!told[at]) {
            tell_circle(r, placed, at, told);
        }
    }
}

static size_t
add_above(const qx_protocol *p, size_t unit, bool seen[], size_t out[], size_t count)
{
    for (size_t i = 0; i < p->unit[unit].parent_count; i++) {
        const size_t parent = p->unit[unit].parent[i];
        if (!seen[parent]) {
            seen[parent] = true; /* each unit is entered once: the cost is linear */
            count = add_above(p, parent, seen, out, count);
        }
    }
    out[count] = unit;
    return count + 1;
}

size_t qx_unit_path(const qx_protocol *p, size_t unit, size_t out[])
{
    bool seen[QX_NAMES_MOST] = {false};
    seen[unit] = true;
    return add_above(p, unit, seen, out, 0);
}

size_t qx_unit_total(const qx_protocol *p, size_t unit)
{
    size_t path[QX_NAMES_MOST];
    const size_t length = qx_unit_path(p, unit, path);
    size_t total = 1;
    for (size_t i = 0; i < length; i++) {
        const qx_unit *above = &p->unit[path[i]];
        const size_t count =
            above->count == QX_NONE && above->parent_count > 1 ? 1 : above->count;
        if (count == QX_NONE) {
            return 0;
        }
        total = total > SIZE_MAX / count ? SIZE_MAX : total * count;
    }
    return total;
}

static void write_path(qx_reading *r, size_t unit)
{
    size_t path[QX_NAMES_MOST];
    const size_t length = qx_unit_path(r->p, unit, path);
    qx_text *text = qx_text_new(r->arena);
    for (size_t i = 0; text != NULL && i < length; i++) {
        qx_text_add(text, i > 0 ? ":" : "");
        qx_text_add(text, r->unit[path[i]].name);
    }
    if (text == NULL || qx_text_failed(text)) {
        qx_reading_keep(r, qx_fail(r->cx, QX_E_NOMEM, "no memory for the protocol"));
        return;
    }
    r->unit[unit].path = qx_text_get(text);
}

/* Units that cross stand beside each other: none may hold the other. The first pair of a
 * unit that does is told. */
static void check_crossing(qx_reading *r, size_t u)
{
    const qx_unit *unit = &r->unit[u];
    bool fits = true;
    for (size_t i = 0; i < unit->parent_count; i++) {
        for (size_t j = 0; fits && j < unit->parent_count; j++) {
            fits = i == j || !qx_unit_reaches(r->p, unit->parent[i], unit->parent[j]);
            if (!fits) {
                QX_COMPLAIN(r,
                            qx_reading_place(r->unit_node[u], "within"),
                            "expected the smaller one alone, or two units that cross",
                            "\"%s\" cannot be within \"%s\" and \"%s\" at once: the one "
                            "holds the other",
                            unit->name,
                            r->unit[unit->parent[i]].name,
                            r->unit[unit->parent[j]].name);
            }
        }
    }
}

bool qx_units_arrange(qx_reading *r)
{
    bool placed[QX_NAMES_MOST] = {false};
    const size_t count = r->p->unit_count;
    size_t *order = qx_reading_new(r, count, sizeof *order);
    if (order == NULL) {
        return false;
    }
    if (order_units(r->p, order, placed) < count) {
        tell_circles(r, placed);
        return false;
    }
    r->p->unit_order = order;
    for (size_t u = 0; u < count; u++) {
        write_path(r, u);
        check_crossing(r, u);
    }
    return true;
}
