#include "tasks/change_layout.h"

#include <string.h>

#include "base/array.h"
#include "base/file.h"
#include "store/layout_change.h"
#include "trial/read_csv.h"
#include "trial/shown.h"

/* What a row said that one thing got. */
typedef struct said {
    size_t row; /* number + 1; 0: none has said anything */
    size_t level;
} said;

typedef struct changing {
    qx_ctx *cx;
    const qx_change_wish *wish;
    qx_problems *problems;
    qx_trial_file *file;
    qx_protocol *protocol;
    qx_layout *layout; /* as carried out so far */
    qx_table *table;
    const qx_column **unit;      /* unit_count; NULL: no such column */
    const qx_column **treatment; /* treatment_count */
    said *said;                  /* of each thing and treatment */
    qx_array changes;            /* qx_layout_change */
} changing;

/* --- reading --- */

static qx_status read_done(changing *c, const char *bytes, size_t length)
{
    const qx_protocol *p = c->protocol;
    const size_t count = p->unit_count + p->treatment_count;
    qx_column_wish *wish;
    QX_NEW(c->cx, wish, count);
    for (size_t u = 0; u < p->unit_count; u++) {
        wish[u] = (qx_column_wish){p->unit[u].name, QX_COLUMN_LABEL, false};
    }
    for (size_t t = 0; t < p->treatment_count; t++) {
        wish[p->unit_count + t] =
            (qx_column_wish){p->treatment[t].name, QX_COLUMN_LABEL, false};
    }
    QX_TRY(qx_csv_parse(
        c->cx, c->wish->done, bytes, length, count, wish, c->problems, &c->table, NULL));
    QX_NEW(c->cx, c->unit, p->unit_count);
    QX_NEW(c->cx, c->treatment, p->treatment_count);
    for (size_t u = 0; u < p->unit_count; u++) {
        c->unit[u] = qx_table_find(c->table, p->unit[u].name);
    }
    for (size_t t = 0; t < p->treatment_count; t++) {
        c->treatment[t] = qx_table_find(c->table, p->treatment[t].name);
    }
    return QX_OK;
}

static qx_place place_of(const changing *c, size_t row);

/* Somebody must say what was done: a treatment's column is there, with a level in each row. */
static qx_status check_told(const changing *c)
{
    const qx_protocol *p = c->protocol;
    bool any = false;
    for (size_t t = 0; t < p->treatment_count; t++) {
        any = any || c->treatment[t] != NULL;
    }
    if (!any) {
        const qx_place top = {.line = 1, .column = 1};
        return qx_problem_add(
            c->problems,
            c->wish->done,
            top,
            "expected a column with the name of each treatment that was done otherwise",
            "the file does not say what was done: it has no column of a treatment");
    }
    for (size_t row = 0; row < c->table->rows; row++) {
        bool told = false;
        for (size_t t = 0; t < p->treatment_count; t++) {
            told = told || (c->treatment[t] != NULL &&
                            c->treatment[t]->code[row] != QX_MISSING_CODE);
        }
        if (!told) {
            QX_TRY(qx_problem_add(c->problems,
                                  c->wish->done,
                                  place_of(c, row),
                                  "expected the level that it got, or the row left out",
                                  "the row does not say what was done"));
        }
    }
    return QX_OK;
}

static const char *text_at(const qx_column *column, size_t row)
{
    return column == NULL || column->code[row] == QX_MISSING_CODE
               ? NULL
               : column->level[column->code[row]];
}

static qx_place place_of(const changing *c, size_t row)
{
    return (qx_place){.line = c->table->line[row], .column = 1};
}

/* --- which thing a row means --- */

/* Does the thing, and all above it, have the labels that the row gives? */
static bool
has_labels(const changing *c, size_t thing, size_t row) /* NOLINT(misc-no-recursion) */
{
    const qx_placed *placed = &c->layout->placed[thing];
    const char *label = text_at(c->unit[placed->unit], row);
    bool fits = label == NULL || strcmp(label, placed->label) == 0;
    for (size_t k = 0; fits && k < c->protocol->unit[placed->unit].parent_count; k++) {
        fits = has_labels(c, placed->parent[k], row);
    }
    return fits;
}

/* The one thing of this unit that the row names; QX_NONE after a complaint. */
static qx_status find_thing(changing *c, size_t unit, size_t row, size_t *out)
{
    size_t found = 0;
    *out = QX_NONE;
    for (size_t i = 0; i < c->layout->placed_count; i++) {
        if (c->layout->placed[i].unit == unit && has_labels(c, i, row)) {
            found++;
            *out = i;
        }
    }
    if (found == 1) {
        return QX_OK;
    }
    *out = QX_NONE;
    return qx_problem_add(c->problems,
                          c->wish->done,
                          place_of(c, row),
                          "expected the labels of one thing of the layout and of what it "
                          "stands in",
                          found == 0 ? "no %s has these labels"
                                     : "more than one %s has these labels",
                          c->protocol->unit[unit].name);
}

/* --- what it got --- */

static qx_status
tell_contradiction(changing *c, size_t t, size_t row, size_t cell, size_t level)
{
    const qx_treatment *treatment = &c->protocol->treatment[t];
    const qx_placed *thing = &c->layout->placed[cell / c->layout->treatment_count];
    return qx_problem_add(c->problems,
                          c->wish->done,
                          place_of(c, row),
                          "expected one level of a treatment for one thing",
                          "%s %s got %s %s here, but %s on line %zu",
                          c->protocol->unit[thing->unit].name,
                          thing->label,
                          treatment->name,
                          treatment->level[level],
                          treatment->level[c->said[cell].level],
                          (size_t)c->table->line[c->said[cell].row - 1]);
}

static qx_status take_treatment(changing *c, size_t t, size_t row)
{
    const qx_treatment *treatment = &c->protocol->treatment[t];
    const char *text = text_at(c->treatment[t], row);
    char shown[QX_SHOWN_ROOM];
    size_t thing;
    if (text == NULL) {
        return QX_OK;
    }
    const size_t level =
        qx_level_find(treatment->level_count, treatment->level, text, strlen(text));
    if (level == QX_NONE) {
        return qx_problem_add(c->problems,
                              c->wish->done,
                              place_of(c, row),
                              "expected one of the protocol's levels",
                              "%s \"%s\" is not known",
                              treatment->name,
                              qx_shown(text, shown));
    }
    QX_TRY(find_thing(c, treatment->on, row, &thing));
    if (thing == QX_NONE) {
        return QX_OK;
    }
    const size_t cell = thing * c->layout->treatment_count + t;
    if (c->said[cell].row != 0) {
        return c->said[cell].level == level ? QX_OK
                                            : tell_contradiction(c, t, row, cell, level);
    }
    c->said[cell] = (said){row + 1, level};
    if (c->layout->level[cell] == level) {
        return QX_OK;
    }
    qx_layout_change *change = qx_array_push(&c->changes);
    if (change == NULL) {
        return qx_fail(c->cx, QX_E_NOMEM, "no memory for the changes");
    }
    *change = (qx_layout_change){.placed = thing, .treatment = t, .level = level};
    return QX_OK;
}

static qx_status take_rows(changing *c)
{
    for (size_t row = 0; row < c->table->rows; row++) {
        for (size_t t = 0; t < c->protocol->treatment_count; t++) {
            QX_TRY(take_treatment(c, t, row));
        }
    }
    return QX_OK;
}

static qx_status change(changing *c)
{
    qx_bytes bytes = {0};
    QX_TRY(qx_trial_file_open(c->cx, c->wish->trial, QX_TO_RECORD, &c->file));
    QX_TRY(qx_trial_file_protocol(c->cx, c->file, c->problems, &c->protocol));
    QX_TRY(qx_trial_file_layout(c->cx, c->file, c->protocol, &c->layout));
    QX_TRY(
        qx_file_read(c->cx, c->layout->arena, c->wish->done, QX_DATA_BYTES_MOST, &bytes));
    QX_TRY(read_done(c, bytes.bytes, bytes.length));
    c->changes = (qx_array)QX_ARRAY(c->layout->arena, sizeof(qx_layout_change));
    QX_NEW(c->cx, c->said, c->layout->placed_count * c->layout->treatment_count);
    QX_TRY(check_told(c));
    QX_TRY(take_rows(c));
    if (qx_problems_count(c->problems) > 0) {
        return qx_fail(c->cx, QX_E_INPUT, "%s has problems", c->wish->done);
    }
    return c->changes.count == 0 ? QX_OK
                                 : qx_layout_changes_add(c->cx,
                                                         c->file,
                                                         c->protocol,
                                                         c->changes.count,
                                                         c->changes.items,
                                                         c->wish->by,
                                                         c->wish->reason);
}

qx_status qx_change_layout(qx_ctx *cx,
                           const qx_change_wish *wish,
                           qx_problems *problems,
                           size_t *changes)
{
    changing c = {.cx = cx, .wish = wish, .problems = problems};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, change(&c));
    *changes = status == QX_OK ? c.changes.count : 0;
    qx_table_free(c.table);
    qx_layout_free(c.layout);
    qx_protocol_free(c.protocol);
    qx_trial_file_close(c.file);
    return status == QX_OK ? qx_trial_file_note_log(cx, wish->trial) : status;
}
