/* The things in the orchard: names first, for `within` may name a unit further down. */
#include <string.h>

#include "trial/reading.h"

/* More of one unit than any orchard holds. */
#define UNITS_MOST 10000000L

static void read_within(qx_reading *r, const qx_node *node, void *target)
{
    qx_unit *unit = target;
    const size_t most =
        qx_read_count(r,
                      node,
                      QX_PARENTS_MOST,
                      "expected a unit, or a list of up to four: [row, column]");
    const qx_node *child = NULL;
    for (size_t i = 0; i < most; i++) {
        child = qx_read_next(node, child);
        const size_t parent = qx_read_unit_name(r, child);
        bool fits = parent != QX_NONE;
        for (size_t j = 0; fits && j < unit->parent_count; j++) {
            fits = unit->parent[j] != parent;
            if (!fits) {
                QX_COMPLAIN(r,
                            child->at,
                            "expected every unit once",
                            "\"%s\" is named twice in \"within\"",
                            r->unit[parent].name);
            }
        }
        if (fits) {
            unit->parent[unit->parent_count] = parent;
            unit->parent_count++;
        }
    }
}

static void read_count(qx_reading *r, const qx_node *node, void *target)
{
    qx_unit *unit = target;
    unit->count = (size_t)qx_read_whole(r, node, 1, UNITS_MOST, 1);
}

static void read_sample(qx_reading *r, const qx_node *node, void *target)
{
    qx_unit *unit = target;
    unit->sample = qx_read_bool(r, node);
}

static void read_columns(qx_reading *r, const qx_node *node, void *target)
{
    enum { COLUMNS_MOST = 16 };
    qx_unit *unit = target;
    const size_t count =
        qx_read_count(r,
                      node,
                      COLUMNS_MOST,
                      "expected a list of up to 16 columns: [recipe, replicate]");
    const char **column = qx_reading_new(r, count, sizeof *column);
    if (column == NULL) {
        return;
    }
    const qx_node *child = NULL;
    for (size_t i = 0; i < count; i++) {
        child = qx_read_next(node, child);
        column[i] = qx_read_text(r, child);
        qx_reading_check_name(r, child->at, column[i]);
        for (size_t j = 0; j < i; j++) {
            if (strcmp(column[i], column[j]) == 0) {
                QX_COMPLAIN(r,
                            child->at,
                            "expected every column once",
                            "column \"%s\" is named twice",
                            column[i]);
            }
        }
    }
    unit->column = column;
    unit->column_count = count;
}

static const char *read_column(qx_reading *r, const qx_node *node)
{
    const char *column = qx_read_text(r, node);
    if (node->kind == QX_NODE_SCALAR) {
        qx_reading_check_name(r, node->at, column);
    }
    return column;
}

static void read_row(qx_reading *r, const qx_node *node, void *target)
{
    qx_unit *unit = target;
    unit->row_column = read_column(r, node);
}

static void read_place(qx_reading *r, const qx_node *node, void *target)
{
    qx_unit *unit = target;
    unit->place_column = read_column(r, node);
}

static void read_position(qx_reading *r, const qx_node *node, void *target)
{
    static const qx_key keys[] = {
        {"row", read_row, QX_KEY_MUST},
        {"place", read_place, QX_KEY_MUST},
    };
    qx_read_keys(r, node, "a position", QX_COUNT(keys), keys, target);
}

static void read_unit(qx_reading *r, size_t u)
{
    static const qx_key keys[] = {
        {"within", read_within, QX_KEY_MAY},
        {"count", read_count, QX_KEY_MAY},
        {"sample", read_sample, QX_KEY_MAY},
        {"columns", read_columns, QX_KEY_MAY},
        {"position", read_position, QX_KEY_MAY},
    };
    const qx_node *node = r->unit_node[u];
    qx_unit *unit = &r->unit[u];
    if (!qx_node_null(node)) {
        qx_read_keys(r, node, "a unit", QX_COUNT(keys), keys, unit);
    }
    if (unit->sample && unit->count != QX_NONE) {
        QX_COMPLAIN(r,
                    qx_reading_place(node, "count"),
                    "expected either a count or sample: true",
                    "\"%s\" is sampled, any number of it, and has a count",
                    unit->name);
    }
}

void qx_read_units(qx_reading *r, const qx_node *section)
{
    const size_t count = qx_reading_entries(r, section, "units");
    r->unit = qx_reading_new(r, count, sizeof *r->unit);
    if (r->unit == NULL) {
        return;
    }
    if (section != NULL && section->kind == QX_NODE_MAP && count == 0) {
        QX_COMPLAIN(r,
                    section->at,
                    "expected at least one, such as tree: {count: 20}",
                    "\"units\" names no unit");
    }
    const qx_node *node = section != NULL ? section->first : NULL;
    for (size_t u = 0; node != NULL && u < count; u++, node = node->next) {
        r->unit_node[u] = node;
        r->unit[u].name = node->key;
        r->unit[u].at = node->key_at;
        r->unit[u].count = QX_NONE;
        r->unit[u].path = node->key;
        qx_reading_check_name(r, node->key_at, node->key);
    }
    r->p->unit = r->unit;
    r->p->unit_count = count;
    for (size_t u = 0; u < count; u++) {
        read_unit(r, u);
    }
}
