#include "findings/lost_units.h"

#include <string.h>

#include "findings/looks_of.h"
#include "findings/unit_words.h"
#include "layout/layout.h"
#include "trial/unit_order.h"

#define NAMED_MOST 8

/* Numbers of the placed thing and of all above it, by unit; QX_NONE where there is none. */
static void things_above(const qx_protocol *protocol,
                         const struct qx_layout *layout,
                         size_t thing,
                         size_t of[QX_NAMES_MOST])
{
    const qx_placed *p = &layout->placed[thing];
    of[p->unit] = thing;
    for (size_t k = 0; k < protocol->unit[p->unit].parent_count; k++) {
        things_above(protocol, layout, p->parent[k], of);
    }
}

/* "tree T103 of block 2", as unit_words.h names the units of the data. */
static qx_status
name_of(qx_work *w, const struct qx_layout *layout, size_t thing, const char **out)
{
    size_t path[QX_NAMES_MOST], of[QX_NAMES_MOST];
    const size_t length = qx_unit_path(w->protocol, layout->placed[thing].unit, path);
    *out = "";
    for (size_t u = 0; u < QX_NAMES_MOST; u++) {
        of[u] = QX_NONE;
    }
    things_above(w->protocol, layout, thing, of);
    for (size_t i = length; i-- > 0 && *out != NULL;) {
        const char *unit = w->protocol->unit[path[i]].name;
        const qx_column *column = qx_table_find(w->table, unit);
        if (of[path[i]] == QX_NONE || column == NULL || column->kind != QX_COLUMN_LABEL) {
            continue;
        }
        *out = qx_arena_printf(w->temporary,
                               "%s%s%s %s",
                               *out,
                               **out == '\0' ? "" : " of ",
                               unit,
                               layout->placed[of[path[i]]].label);
    }
    return *out != NULL ? QX_OK
                        : qx_fail(w->cx, QX_E_NOMEM, "no memory for the name of a unit");
}

static bool is_among(const char *name, size_t count, const char *const list[])
{
    for (size_t i = 0; i < count; i++) {
        if (strcmp(list[i], name) == 0) {
            return true;
        }
    }
    return false;
}

/* The units without a value as a list, and how many were found by their names. */
static qx_status list_lost(qx_work *w,
                           const struct qx_layout *layout,
                           size_t k,
                           const char **list,
                           size_t *found)
{
    const qx_frame_unit *unit = &w->data.unit[k];
    const char **seen;
    QX_NEW(w->cx, seen, unit->count);
    for (size_t l = 0; l < unit->count; l++) {
        QX_TRY(qx_unit_words(w, k, l, &seen[l]));
    }
    *list = "";
    *found = 0;
    for (size_t i = 0; i < layout->placed_count; i++) {
        const char *name;
        if (layout->placed[i].unit != unit->unit) {
            continue;
        }
        QX_TRY(name_of(w, layout, i, &name));
        if (is_among(name, unit->count, seen) || (*found)++ >= NAMED_MOST) {
            continue;
        }
        *list = qx_arena_printf(
            w->temporary, "%s%s%s", *list, **list == '\0' ? "" : ", ", name);
        if (*list == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for a sentence");
        }
    }
    return QX_OK;
}

qx_status qx_lost_units_of(qx_work *w, const struct qx_layout *layout)
{
    size_t planned = 0, found = 0;
    const char *list = "";
    if (layout == NULL || w->data.n == 0) {
        return QX_OK;
    }
    const size_t k = qx_lowest_placed(w, layout, &planned);
    if (k == QX_NO_COLUMN || w->data.unit[k].count >= planned) {
        return QX_OK;
    }
    const size_t lost = planned - w->data.unit[k].count;
    QX_TRY(list_lost(w, layout, k, &list, &found));
    const bool named_all = found == lost; /* else the data call units otherwise */
    return qx_note(
        w->cx,
        "The layout has %zu of the unit %s; %zu of them %s no value of %s%s%s%s.",
        planned,
        w->protocol->unit[w->data.unit[k].unit].name,
        lost,
        lost == 1 ? "has" : "have",
        w->variate->name,
        named_all ? ": " : "",
        named_all ? list : "",
        named_all && found > NAMED_MOST ? " and others" : "");
}
