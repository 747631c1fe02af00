/* The header: which column is where, and what is wrong with it. */
#include <string.h>

#include "base/text.h"
#include "trial/csv_reading.h"

void qx_csv_keep(qx_csv_reading *r, qx_status status)
{
    if (status != QX_OK && r->failed == QX_OK) {
        r->failed = status;
    }
}

void qx_csv_no_memory(qx_csv_reading *r)
{
    qx_csv_keep(r, qx_fail(r->cx, QX_E_NOMEM, "no memory for the data of %s", r->file));
}

size_t qx_csv_undouble(const qx_csv_field *field, char room[])
{
    size_t n = 0;
    for (size_t i = 0; i < field->length; i++) {
        room[n] = field->text[i];
        n++;
        if (field->text[i] == '"') {
            i++; /* the second of the two */
        }
    }
    return n;
}

void qx_csv_tell_fault(qx_csv_reading *r, const qx_csv_record *record)
{
    switch (record->fault) {
    case QX_CSV_UNCLOSED:
        QX_CSV_COMPLAIN(r,
                        record->fault_at,
                        "expected a closing quote",
                        "the quote that opens here is never closed");
        break;
    case QX_CSV_AFTER_QUOTE:
        QX_CSV_COMPLAIN(r,
                        record->fault_at,
                        "expected the next field, and quotes inside quotes doubled",
                        "text follows the closing quote");
        break;
    case QX_CSV_INNER_QUOTE:
        QX_CSV_COMPLAIN(
            r,
            record->fault_at,
            "expected the whole field in quotes, and the quotes inside doubled",
            "a quote stands inside a field");
        break;
    case QX_CSV_TOO_LONG:
        QX_CSV_COMPLAIN(r,
                        record->fault_at,
                        "expected a line for each thing measured, of at most 1 MiB",
                        "line %zu is too long to be a row of data",
                        record->line);
        break;
    case QX_CSV_FINE:
        break;
    }
}

/* Name at the head of a column, in the table's arena. */
static const char *head_name(qx_csv_reading *r, const qx_csv_field *field)
{
    char room[QX_LABEL_BYTES_MOST];
    const char *text = field->text;
    size_t length = field->length;
    if (length > QX_LABEL_BYTES_MOST) {
        QX_CSV_COMPLAIN(
            r, field->at, "expected a short name", "the name of a column is too long");
        length = 0;
    }
    if (field->doubled && length > 0) {
        const qx_csv_field whole = {.text = text, .length = length};
        length = qx_csv_undouble(&whole, room);
        text = room;
    }
    const char *name = qx_arena_text(r->arena, text, length);
    if (name == NULL) {
        qx_csv_no_memory(r);
        return "";
    }
    return name;
}

static bool wished(const qx_csv_reading *r, const char *name)
{
    for (size_t i = 0; i < r->column_count; i++) {
        if (strcmp(r->column[i].wish->name, name) == 0) {
            return true;
        }
    }
    return false;
}

static bool
in_header(const qx_csv_reading *r, const char *const names[], const char *name)
{
    for (size_t i = 0; i < r->header_count; i++) {
        if (strcmp(names[i], name) == 0) {
            return true;
        }
    }
    return false;
}

/* A column that nobody asked for; what it may have been meant for, if that is not there. */
static void note_unused(qx_csv_reading *r, const char *const names[], size_t i)
{
    const char **wanted =
        qx_arena_alloc(qx_ctx_scratch(r->cx), r->column_count, sizeof *wanted);
    size_t count = 0;
    char shown[QX_SHOWN_ROOM], near[QX_SHOWN_ROOM];
    if (wanted == NULL) {
        qx_csv_no_memory(r);
        return;
    }
    for (size_t k = 0; k < r->column_count; k++) {
        if (!in_header(r, names, r->column[k].wish->name)) {
            wanted[count++] = r->column[k].wish->name;
        }
    }
    const char *nearest = qx_text_nearest(names[i], wanted, count);
    qx_csv_keep(
        r,
        qx_problem_note(r->problems,
                        r->file,
                        r->record->field[i].at,
                        "column %s is not named in the protocol and is not used%s%s",
                        qx_shown(names[i], shown),
                        nearest == NULL ? "" : "; the nearest name is ",
                        nearest == NULL ? "" : qx_shown(nearest, near)));
}

/* A column that nobody asked for is told and left alone; one that stands there twice can
 * only be right once. */
static void check_heads(qx_csv_reading *r, const char *const names[])
{
    const qx_csv_record *record = r->record;
    for (size_t i = 0; i < r->header_count; i++) {
        char shown[QX_SHOWN_ROOM];
        bool twice = false;
        for (size_t j = 0; j < i && !twice; j++) {
            twice = names[i][0] != '\0' && strcmp(names[i], names[j]) == 0;
        }
        qx_shown(names[i], shown);
        if (twice) {
            QX_CSV_COMPLAIN(r,
                            record->field[i].at,
                            "expected every column once",
                            "column \"%s\" is there twice",
                            shown);
        } else if (names[i][0] != '\0' && !wished(r, names[i])) {
            note_unused(r, names, i);
        }
    }
}

static void tell_missing_column(qx_csv_reading *r,
                                const qx_column_wish *wish,
                                const char *const names[])
{
    const qx_place at = {.line = r->record->line, .column = 1};
    const char *nearest = qx_text_nearest(wish->name, names, r->header_count);
    if (nearest != NULL && wished(r, nearest)) {
        nearest = NULL;
    }
    char shown[QX_SHOWN_ROOM];
    char expected[QX_SHOWN_ROOM + 64] = "expected it in the header";
    if (nearest != NULL) {
        static const char is_it[] = "expected it in the header; the nearest there is ";
        qx_shown(nearest, shown);
        memcpy(expected, is_it, sizeof is_it - 1);
        memcpy(expected + sizeof is_it - 1, shown, strlen(shown) + 1);
    }
    QX_CSV_COMPLAIN(r, at, expected, "there is no column \"%s\"", wish->name);
    r->lost = true;
}

static void find_columns(qx_csv_reading *r, const char *const names[])
{
    for (size_t i = 0; i < r->column_count; i++) {
        qx_csv_column *column = &r->column[i];
        column->field = QX_FIELDS_MOST;
        for (size_t j = r->header_count; j > 0; j--) {
            if (strcmp(names[j - 1], column->wish->name) == 0) {
                column->field = j - 1;
            }
        }
        if (column->field == QX_FIELDS_MOST && column->wish->needed) {
            tell_missing_column(r, column->wish, names);
        }
    }
}

static bool tabs_in(const qx_csv_field *field)
{
    return memchr(field->text, '\t', field->length) != NULL;
}

bool qx_csv_head(qx_csv_reading *r)
{
    const qx_place top = {.line = 1, .column = 1};
    if (!qx_csv_next(&r->scan, r->record)) {
        QX_CSV_COMPLAIN(
            r, top, "expected a header and rows", "the file holds only empty lines");
        return false;
    }
    const qx_csv_record *record = r->record;
    qx_csv_tell_fault(r, record);
    if (record->fault != QX_CSV_FINE) {
        return false;
    }
    if (record->count > QX_FIELDS_MOST) {
        QX_CSV_COMPLAIN(
            r, top, "expected at most 1000", "the file has %zu columns", record->count);
        return false;
    }
    if (record->count == 1 && tabs_in(&record->field[0])) {
        QX_CSV_COMPLAIN(r,
                        top,
                        "expected commas, or semicolons with decimal commas",
                        "the columns are separated by tabs");
        return false;
    }
    r->header_count = record->count;
    const char **names = qx_arena_alloc(r->arena, record->count, sizeof *names);
    if (names == NULL) {
        qx_csv_no_memory(r);
        return false;
    }
    for (size_t i = 0; i < record->count; i++) {
        names[i] = head_name(r, &record->field[i]);
    }
    check_heads(r, names);
    find_columns(r, names);
    return r->failed == QX_OK;
}
