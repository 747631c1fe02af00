#include "trial/join.h"

#include <stdio.h>
#include <string.h>

#include "base/map.h"
#include "base/text.h"
#include "trial/level_code.h"
#include "trial/shown.h"
#include "trial/structure.h"
#include "trial/unit_order.h"

#define NOWHERE UINT32_MAX /* a row's unit that has no label or is not known */

typedef struct joining {
    qx_ctx *cx;
    const qx_protocol *p;
    const qx_layout *layout;
    const qx_table *in;
    qx_problems *problems;
    qx_status failed;
    bool *bad;         /* rows with problems; may be NULL */
    bool lacking;      /* a column of labels is missing */
    qx_map *places;    /* "unit/parents/label" to number among placed things */
    uint32_t *numbers; /* of each key of `places`: the placed thing */
    uint32_t **at;     /* unit by row: placed thing, NULL where the data do not say */
} joining;

static void keep(joining *j, qx_status status)
{
    if (status != QX_OK && j->failed == QX_OK) {
        j->failed = status;
    }
}

static qx_place line_of(const joining *j, size_t row)
{
    const qx_place at = {.line = j->in->line != NULL ? j->in->line[row] : 0};
    return at;
}

static void mark_row(joining *j, size_t row)
{
    if (j->bad != NULL) {
        j->bad[row] = true;
    }
}

#define COMPLAIN(j, row, expected, ...)                                                  \
    do {                                                                                 \
        keep((j),                                                                        \
             qx_problem_add((j)->problems,                                               \
                            (j)->in->file,                                               \
                            line_of((j), (row)),                                         \
                            (expected),                                                  \
                            __VA_ARGS__));                                               \
        mark_row((j), (row));                                                            \
    } while (0)

static const qx_column *label_column(const qx_table *table, const char *name)
{
    const qx_column *column = qx_table_find(table, name);
    return column != NULL && column->kind == QX_COLUMN_LABEL ? column : NULL;
}

/* A crossed unit without a column, one in each cell, is told by its parents alone: its
 * label counts as empty. */
static bool told_by_parents(const joining *j, size_t unit)
{
    const qx_unit *u = &j->p->unit[unit];
    return u->parent_count > 1 && (u->count == QX_NONE || u->count == 1) &&
           label_column(j->in, u->name) == NULL;
}

/* --- the layout by its labels --- */

/* Room for the numbers of a unit and its parents, and separators. */
#define PREFIX_ROOM ((QX_LAYOUT_PARENTS + 1) * 11 + 1)

/* "unit/parent/parent/": what a label has to be unique inside. */
static size_t prefix_of(size_t unit,
                        size_t parent_count,
                        const uint32_t parent[],
                        char out[PREFIX_ROOM])
{
    int n = snprintf(out, PREFIX_ROOM, "%u/", (unsigned)unit);
    for (size_t i = 0; i < parent_count; i++) {
        n += snprintf(out + n, PREFIX_ROOM - (size_t)n, "%u/", (unsigned)parent[i]);
    }
    return (size_t)n;
}

static size_t key_of(const char *prefix, size_t length, const char *label, char out[])
{
    const size_t label_length = strlen(label);
    memcpy(out, prefix, length);
    memcpy(out + length, label, label_length + 1);
    return length + label_length;
}

static size_t longest_label(const joining *j)
{
    size_t most = 0;
    for (size_t i = 0; i < j->layout->placed_count; i++) {
        const size_t length = strlen(j->layout->placed[i].label);
        most = length > most ? length : most;
    }
    for (size_t c = 0; c < j->in->column_count; c++) {
        for (size_t i = 0; i < j->in->column[c].level_count; i++) {
            const size_t length = strlen(j->in->column[c].level[i]);
            most = length > most ? length : most;
        }
    }
    return most;
}

static qx_status index_layout(joining *j, char *key)
{
    const qx_layout *layout = j->layout;
    j->places = qx_map_new(qx_ctx_scratch(j->cx));
    if (j->places == NULL) {
        return qx_fail(j->cx, QX_E_NOMEM, "no memory for the layout's labels");
    }
    QX_NEW(j->cx, j->numbers, layout->placed_count);
    for (size_t i = 0; i < layout->placed_count; i++) {
        const qx_placed *placed = &layout->placed[i];
        if (placed->unit >= j->p->unit_count) {
            return qx_fail(
                j->cx, QX_E_SHAPE, "the layout has units that the protocol lacks");
        }
        char prefix[PREFIX_ROOM];
        const size_t parents = j->p->unit[placed->unit].parent_count;
        const size_t length = prefix_of(placed->unit, parents, placed->parent, prefix);
        const char *label = told_by_parents(j, placed->unit) ? "" : placed->label;
        const size_t bytes = key_of(prefix, length, label, key);
        const size_t number = qx_map_add(j->places, key, bytes);
        if (number == QX_MAP_NONE) {
            return qx_fail(j->cx, QX_E_NOMEM, "no memory for the layout's labels");
        }
        j->numbers[number] = (uint32_t)i;
    }
    return QX_OK;
}

/* --- a row's labels to placed things --- */

/* The nearest label inside the same parents, for the message. */
static const char *
nearest_label(joining *j, size_t unit, const uint32_t parent[], const char *label)
{
    const qx_layout *layout = j->layout;
    const size_t parents = j->p->unit[unit].parent_count;
    const char **known =
        qx_arena_alloc(qx_ctx_scratch(j->cx), layout->placed_count, sizeof *known);
    size_t count = 0;
    for (size_t i = 0; known != NULL && i < layout->placed_count; i++) {
        const qx_placed *placed = &layout->placed[i];
        if (placed->unit == unit &&
            memcmp(placed->parent, parent, parents * sizeof *parent) == 0) {
            known[count] = placed->label;
            count++;
        }
    }
    if (known == NULL) {
        keep(j, qx_fail(j->cx, QX_E_NOMEM, "no memory for a message"));
        return NULL;
    }
    const char *nearest = qx_text_nearest(label, known, count);
    return nearest != NULL ? nearest : count > 0 ? known[0] : NULL;
}

/* "block 2", "block 2, tree 5", "row 1 and place 3": the things above, larger ones first; ""
 * for none, NULL: no memory. */
static const char *parents_told(joining *j, size_t unit, const uint32_t parent[])
{
    qx_arena *arena = qx_ctx_scratch(j->cx);
    const qx_unit *u = &j->p->unit[unit];
    const char *text = "";
    char shown[QX_SHOWN_ROOM];
    for (size_t i = 0; text != NULL && i < u->parent_count; i++) {
        const qx_placed *placed = &j->layout->placed[parent[i]];
        const char *above = "";
        for (const qx_placed *at = placed; above != NULL && u->parent_count == 1 &&
                                           j->p->unit[at->unit].parent_count == 1;) {
            at = &j->layout->placed[at->parent[0]];
            above = qx_arena_printf(arena,
                                    "%s %s, %s",
                                    j->p->unit[at->unit].name,
                                    qx_shown(at->label, shown),
                                    above);
        }
        text = above == NULL ? NULL
                             : qx_arena_printf(arena,
                                               "%s%s%s%s %s",
                                               text,
                                               i > 0 ? " and " : "",
                                               above,
                                               j->p->unit[placed->unit].name,
                                               qx_shown(placed->label, shown));
    }
    return text;
}

/* Where else a thing with this label stands, if it stands in one other place: "; tree \"7\"
 * stands in block 2"; "" otherwise. NULL: no memory. */
static const char *stands_elsewhere(joining *j, size_t unit, const char *label)
{
    const qx_placed *found = NULL;
    size_t count = 0;
    char shown[QX_SHOWN_ROOM];
    for (size_t i = 0; i < j->layout->placed_count; i++) {
        const qx_placed *placed = &j->layout->placed[i];
        if (placed->unit == unit && strcmp(placed->label, label) == 0) {
            found = placed;
            count++;
        }
    }
    if (count != 1) {
        return "";
    }
    const char *where = parents_told(j, unit, found->parent);
    return where == NULL ? NULL
                         : qx_arena_printf(qx_ctx_scratch(j->cx),
                                           "; %s \"%s\" stands in %s",
                                           j->p->unit[unit].name,
                                           qx_shown(label, shown),
                                           where);
}

static void tell_unknown(
    joining *j, size_t unit, size_t row, const uint32_t parent[], const char *label)
{
    const qx_arena_mark mark = qx_arena_get_mark(qx_ctx_scratch(j->cx));
    const bool stored = qx_problems_count(j->problems) < QX_PROBLEMS_MOST;
    const bool inside = j->p->unit[unit].parent_count > 0;
    const char *nearest = stored ? nearest_label(j, unit, parent, label) : NULL;
    const char *where = stored ? parents_told(j, unit, parent) : "";
    const char *else_where = stored && inside ? stands_elsewhere(j, unit, label) : "";
    char shown[QX_SHOWN_ROOM];
    char near[QX_SHOWN_ROOM];
    const char *expected =
        nearest == NULL
            ? "expected a label of the layout"
            : qx_arena_printf(qx_ctx_scratch(j->cx),
                              "expected a label of the layout, such as \"%s\"%s",
                              qx_shown(nearest, near),
                              else_where == NULL ? "" : else_where);
    if (where == NULL || else_where == NULL || expected == NULL) {
        keep(j, qx_fail(j->cx, QX_E_NOMEM, "no memory for a message"));
    } else {
        COMPLAIN(j,
                 row,
                 expected,
                 "the layout has no %s \"%s\"%s%s",
                 j->p->unit[unit].name,
                 qx_shown(label, shown),
                 where[0] == '\0' ? "" : " in ",
                 where);
    }
    qx_arena_rewind(qx_ctx_scratch(j->cx), mark);
}

/* The placed thing of one row: NOWHERE without a label, or when the parents are nowhere.
 * `column` is NULL for a unit that its parents tell. */
static uint32_t
locate(joining *j, size_t unit, size_t row, const qx_column *column, char *key)
{
    uint32_t parent[QX_LAYOUT_PARENTS];
    const qx_unit *u = &j->p->unit[unit];
    if (column != NULL && column->code[row] == QX_MISSING_CODE) {
        return NOWHERE;
    }
    for (size_t i = 0; i < u->parent_count; i++) {
        parent[i] = j->at[u->parent[i]][row];
        if (parent[i] == NOWHERE) {
            return NOWHERE;
        }
    }
    const char *label = column != NULL ? column->level[column->code[row]] : "";
    char prefix[PREFIX_ROOM];
    const size_t length = prefix_of(unit, u->parent_count, parent, prefix);
    const size_t number = qx_map_find(j->places, key, key_of(prefix, length, label, key));
    if (number == QX_MAP_NONE) {
        tell_unknown(j, unit, row, parent, label);
        return NOWHERE;
    }
    return j->numbers[number];
}

static qx_status locate_unit(joining *j, size_t unit, char *key)
{
    const qx_unit *u = &j->p->unit[unit];
    const qx_column *column = label_column(j->in, u->name);
    bool known = column != NULL || told_by_parents(j, unit);
    for (size_t i = 0; i < u->parent_count; i++) {
        known = known && j->at[u->parent[i]] != NULL;
    }
    if (!known || qx_unit_sampled(j->p, unit)) {
        return QX_OK;
    }
    QX_NEW(j->cx, j->at[unit], j->in->rows);
    for (size_t row = 0; row < j->in->rows; row++) {
        j->at[unit][row] = locate(j, unit, row, column, key);
    }
    return j->failed;
}

/* --- treatments --- */

static void
check_level(joining *j, size_t t, size_t row, uint32_t given, const qx_column *column)
{
    const qx_treatment *treatment = &j->p->treatment[t];
    if (column == NULL || column->code[row] == QX_MISSING_CODE) {
        return;
    }
    const char *label = column->level[column->code[row]];
    const uint32_t told =
        qx_label_level(label, j->in->separator, treatment->level_count, treatment->level);
    if (told == given) {
        return;
    }
    char shown[QX_SHOWN_ROOM];
    char want[QX_SHOWN_ROOM];
    char expected[QX_SHOWN_ROOM + 48];
    (void)snprintf(expected,
                   sizeof expected,
                   "expected \"%s\", or the column left out",
                   qx_shown(treatment->level[given], want));
    COMPLAIN(j,
             row,
             expected,
             "%s is \"%s\" here, but the layout gave this %s another",
             treatment->name,
             qx_shown(label, shown),
             j->p->unit[treatment->on].name);
}

/* Codes of one treatment by row: the layout's where the row's unit is known, else the
 * data's own. */
static qx_status level_codes(joining *j, size_t t, uint32_t code[])
{
    const qx_treatment *treatment = &j->p->treatment[t];
    const uint32_t *at = j->at[treatment->on];
    const qx_column *column = label_column(j->in, treatment->name);
    for (size_t row = 0; row < j->in->rows; row++) {
        code[row] = QX_MISSING_CODE;
        const uint32_t placed = at == NULL ? NOWHERE : at[row];
        if (placed != NOWHERE) {
            const uint32_t level =
                j->layout->level[placed * j->layout->treatment_count + t];
            code[row] = level == QX_NO_LEVEL ? QX_MISSING_CODE : level;
            if (level != QX_NO_LEVEL) {
                check_level(j, t, row, level, column);
            }
        } else if (column != NULL && column->code[row] != QX_MISSING_CODE) {
            code[row] = qx_label_level(column->level[column->code[row]],
                                       j->in->separator,
                                       treatment->level_count,
                                       treatment->level);
        }
    }
    return j->failed;
}

static void tell_untold(joining *j, size_t t)
{
    const qx_treatment *treatment = &j->p->treatment[t];
    const qx_place top = {.line = 1, .column = 1};
    if (j->at[treatment->on] != NULL || label_column(j->in, treatment->name) != NULL) {
        return;
    }
    j->lacking = true;
    size_t path[QX_NAMES_MOST];
    const size_t length = qx_unit_path(j->p, treatment->on, path);
    size_t missing = treatment->on;
    for (size_t i = length; i > 0; i--) {
        missing = j->at[path[i - 1]] == NULL ? path[i - 1] : missing;
    }
    keep(
        j,
        qx_problem_add(j->problems,
                       j->in->file,
                       top,
                       "expected the labels of the layout in it",
                       "there is no column \"%s\", so that the layout cannot tell the %s "
                       "of a row",
                       j->p->unit[missing].name,
                       treatment->name));
}

/* --- the table with them --- */

static qx_status add_treatment(joining *j, qx_arena *arena, size_t t, qx_column *to)
{
    const qx_treatment *treatment = &j->p->treatment[t];
    uint32_t *code = NULL;
    QX_NEW_IN(j->cx, arena, code, j->in->rows);
    QX_TRY(level_codes(j, t, code));
    const qx_column *before = label_column(j->in, treatment->name);
    *to =
        (qx_column){.kind = QX_COLUMN_LABEL, .place = before == NULL ? 0 : before->place};
    to->name = qx_arena_copy(arena, treatment->name);
    to->level_count = treatment->level_count;
    to->code = code;
    if (to->name == NULL) {
        return qx_fail(j->cx, QX_E_NOMEM, "no memory for the data");
    }
    return qx_levels_copy(
        j->cx, arena, treatment->level_count, treatment->level, &to->level);
}

static qx_status
write_columns(joining *j, qx_arena *arena, qx_column *columns, size_t *count)
{
    for (size_t i = 0; i < j->in->column_count; i++) {
        if (qx_protocol_find_treatment(j->p, j->in->column[i].name) == QX_NONE) {
            QX_TRY(qx_column_copy(
                j->cx, arena, j->in->rows, &j->in->column[i], &columns[*count]));
            (*count)++;
        }
    }
    for (size_t t = 0; t < j->p->treatment_count; t++) {
        tell_untold(j, t);
        QX_TRY(add_treatment(j, arena, t, &columns[*count]));
        (*count)++;
    }
    return j->failed;
}

static qx_status write_table(joining *j, qx_arena *arena, qx_table **out)
{
    qx_table *table = NULL;
    qx_column *columns = NULL;
    QX_NEW_IN(j->cx, arena, table, 1);
    QX_NEW_IN(j->cx, arena, columns, j->in->column_count + j->p->treatment_count);
    *table = (qx_table){.arena = arena,
                        .rows = j->in->rows,
                        .column = columns,
                        .separator = j->in->separator};
    QX_TRY(write_columns(j, arena, columns, &table->column_count));
    if (j->in->line != NULL) {
        uint32_t *line = NULL;
        QX_NEW_IN(j->cx, arena, line, j->in->rows);
        memcpy(line, j->in->line, j->in->rows * sizeof *line);
        table->line = line;
    }
    table->file = qx_arena_copy(arena, j->in->file != NULL ? j->in->file : "");
    if (table->file == NULL) {
        return qx_fail(j->cx, QX_E_NOMEM, "no memory for the data");
    }
    *out = table;
    return QX_OK;
}

static qx_status join(joining *j, qx_arena *arena, qx_table **out)
{
    char *key = NULL;
    if (j->layout->treatment_count != j->p->treatment_count) {
        return qx_fail(j->cx, QX_E_SHAPE, "the layout was made from another protocol");
    }
    QX_NEW(j->cx, key, PREFIX_ROOM + longest_label(j) + 1);
    QX_NEW(j->cx, j->at, j->p->unit_count);
    QX_TRY(index_layout(j, key));
    for (size_t i = 0; i < j->p->unit_count; i++) {
        QX_TRY(locate_unit(j, j->p->unit_order[i], key));
    }
    return write_table(j, arena, out);
}

static qx_status join_whole(joining *j, qx_table **out)
{
    qx_arena *arena = qx_arena_new();
    if (arena == NULL) {
        return qx_fail(j->cx, QX_E_NOMEM, "no memory for the data");
    }
    const size_t before = qx_problems_count(j->problems);
    qx_table *table = NULL;
    qx_status status = QX_OK;
    QX_SCRATCH(j->cx, status, join(j, arena, &table));
    if (status == QX_OK && qx_problems_count(j->problems) > before) {
        status = qx_fail(j->cx, QX_E_INPUT, "the data do not fit the layout");
    }
    if (table == NULL || (status != QX_OK && (j->bad == NULL || j->lacking))) {
        qx_arena_free(arena);
        return status;
    }
    *out = table;
    return status;
}

qx_status qx_table_join_layout(qx_ctx *cx,
                               const qx_protocol *protocol,
                               const qx_layout *layout,
                               const qx_table *in,
                               qx_problems *problems,
                               qx_table **out)
{
    joining j = {
        .cx = cx, .p = protocol, .layout = layout, .in = in, .problems = problems};
    return join_whole(&j, out);
}

qx_status qx_table_join_marked(qx_ctx *cx,
                               const qx_protocol *protocol,
                               const qx_layout *layout,
                               const qx_table *in,
                               qx_problems *problems,
                               bool bad[],
                               qx_table **out)
{
    joining j = {
        .cx = cx, .p = protocol, .layout = layout, .in = in, .problems = problems};
    j.bad = bad;
    return join_whole(&j, out);
}
