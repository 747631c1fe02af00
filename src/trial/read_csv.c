#include "trial/read_csv.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "trial/csv_reading.h"
#include "trial/encoding.h"

/* --- fields --- */

static bool means_missing(const char *text, size_t length)
{
    return length == 0 || (length == 1 && text[0] == '.') ||
           (length == 2 && text[0] == 'N' && text[1] == 'A');
}

static bool same_as_last(const qx_csv_column *column, const char *text, size_t length)
{
    return column->last != NULL && column->last_length == length &&
           memcmp(column->last, text, length) == 0;
}

/* Stores the label of one field; false if it cannot be one. */
static bool
put_label(qx_csv_reading *r, qx_csv_column *column, const qx_csv_field *field, size_t row)
{
    char room[QX_LABEL_BYTES_MOST];
    const char *text = field->text;
    size_t length = field->length;
    if (length > QX_LABEL_BYTES_MOST) {
        QX_CSV_COMPLAIN(r,
                        field->at,
                        "expected a label of at most 1000 bytes",
                        "%s has a label of %zu bytes",
                        column->wish->name,
                        length);
        return false;
    }
    if (field->doubled) {
        length = qx_csv_undouble(field, room);
        text = room;
    }
    if (means_missing(text, length)) {
        return true;
    }
    if (same_as_last(column, text, length)) {
        column->code[row] = column->last_code;
        return true;
    }
    const size_t number = qx_map_add(column->labels, text, length);
    if (number == QX_MAP_NONE) {
        qx_csv_no_memory(r);
        return false;
    }
    column->last = field->doubled ? NULL : field->text;
    column->last_length = length;
    column->last_code = (uint32_t)number;
    column->code[row] = (uint32_t)number;
    return true;
}

/* A comma where a point belongs is the usual slip: says what was meant. */
static void
tell_number(qx_csv_reading *r, const qx_csv_column *column, const qx_csv_field *field)
{
    char shown[QX_SHOWN_ROOM];
    char meant[QX_SHOWN_ROOM];
    char expected[QX_SHOWN_ROOM + 16] = "expected a number, or nothing if it is missing";
    double value = 0;
    qx_shown_bytes(field->text, field->length, shown);
    qx_shown_bytes(field->text, field->length, meant);
    char *comma = strchr(meant, ',');
    if (comma != NULL && r->scan.separator == ',') {
        *comma = '.';
        if (qx_decimal_read(meant, strlen(meant), '.', &value, NULL)) {
            (void)snprintf(expected, sizeof expected, "expected %s", meant);
        }
    }
    QX_CSV_COMPLAIN(
        r, field->at, expected, "%s \"%s\" is not a number", column->wish->name, shown);
}

static bool put_number(qx_csv_reading *r,
                       qx_csv_column *column,
                       const qx_csv_field *field,
                       size_t row)
{
    if (means_missing(field->text, field->length)) {
        return true;
    }
    double *value = &column->value[row];
    qx_decimal *exact = &column->exact[row];
    if (qx_decimal_read(field->text, field->length, '.', value, exact)) {
        return true;
    }
    if (r->scan.separator == ';' &&
        qx_decimal_read(field->text, field->length, ',', value, exact)) {
        return true;
    }
    *value = (double)NAN;
    tell_number(r, column, field);
    return false;
}

/* --- rows --- */

static bool all_empty(const qx_csv_record *record)
{
    const size_t kept = record->count < QX_FIELDS_MOST ? record->count : QX_FIELDS_MOST;
    for (size_t i = 0; i < kept; i++) {
        if (record->field[i].length > 0) {
            return false;
        }
    }
    return record->fault == QX_CSV_FINE;
}

static bool count_fits(qx_csv_reading *r, const qx_csv_record *record)
{
    if (record->count == r->header_count || record->fault != QX_CSV_FINE) {
        return record->fault == QX_CSV_FINE;
    }
    const qx_place at = {.line = record->line, .column = 1};
    const bool comma = record->count > r->header_count && r->scan.separator == ',';
    QX_CSV_COMPLAIN(
        r,
        at,
        comma ? "expected as many as the header has; a comma inside a field needs "
                "quotes, and decimals a point"
              : "expected as many as the header has",
        "the row has %zu field%s, the header %zu",
        record->count,
        record->count == 1 ? "" : "s",
        r->header_count);
    return false;
}

/* Stores the wanted ones of the first `count` fields; the others are missing. */
static bool
put_fields(qx_csv_reading *r, const qx_csv_record *record, size_t count, size_t row)
{
    bool good = true;
    for (size_t i = 0; i < r->column_count; i++) {
        qx_csv_column *column = &r->column[i];
        const bool label = column->wish->kind == QX_COLUMN_LABEL;
        if (label) {
            column->code[row] = QX_MISSING_CODE;
        } else {
            column->value[row] = (double)NAN;
        }
        if (column->field < count) {
            const qx_csv_field *field = &record->field[column->field];
            const bool fine = label ? put_label(r, column, field, row)
                                    : put_number(r, column, field, row);
            good = good && fine;
        }
    }
    return good;
}

static void read_rows(qx_csv_reading *r)
{
    while (r->failed == QX_OK && !r->lost && qx_csv_next(&r->scan, r->record)) {
        const qx_csv_record *record = r->record;
        qx_csv_tell_fault(r, record);
        r->lost = record->fault == QX_CSV_TOO_LONG;
        if (r->lost || all_empty(record)) {
            continue;
        }
        const bool shape = count_fits(r, record);
        /* Fields behind a fault may stand in the wrong column: they are not read. */
        const size_t count = record->fault == QX_CSV_FINE ? record->count : 0;
        const bool fields = put_fields(r, record, count, r->rows);
        r->bad[r->rows] = !shape || !fields;
        r->line[r->rows] = (uint32_t)record->line;
        r->rows++;
    }
}

/* --- the whole --- */

static void *column_memory(qx_csv_reading *r, size_t size)
{
    void *memory = qx_arena_alloc(r->arena, r->room, size);
    if (memory == NULL) {
        qx_csv_no_memory(r);
    }
    return memory;
}

/* Room for as many rows as there are lines: nothing grows while reading. */
static void make_room(qx_csv_reading *r)
{
    r->room = qx_csv_lines(r->scan.bytes + r->scan.at, r->scan.length - r->scan.at);
    if (r->room >= QX_MISSING_CODE) {
        const qx_place top = {.line = 1, .column = 1};
        QX_CSV_COMPLAIN(r, top, "expected a smaller file", "the file has too many rows");
        r->lost = true;
        return;
    }
    r->line = column_memory(r, sizeof *r->line);
    r->bad = column_memory(r, sizeof *r->bad);
    for (size_t i = 0; i < r->column_count && r->failed == QX_OK; i++) {
        qx_csv_column *column = &r->column[i];
        if (column->field == QX_FIELDS_MOST) {
            continue;
        }
        if (column->wish->kind == QX_COLUMN_LABEL) {
            column->code = column_memory(r, sizeof *column->code);
            column->labels = qx_map_new(r->arena);
            if (column->labels == NULL) {
                qx_csv_no_memory(r);
            }
        } else {
            column->value = column_memory(r, sizeof *column->value);
            column->exact = column_memory(r, sizeof *column->exact);
        }
    }
}

/* Columns that are not in the file leave the list. */
static void drop_absent(qx_csv_reading *r)
{
    size_t kept = 0;
    for (size_t i = 0; i < r->column_count; i++) {
        if (r->column[i].field != QX_FIELDS_MOST) {
            r->column[kept] = r->column[i];
            kept++;
        }
    }
    r->column_count = kept;
}

static bool finish_column(qx_csv_reading *r, const qx_csv_column *from, qx_column *to)
{
    to->name = qx_arena_copy(r->arena, from->wish->name);
    to->kind = from->wish->kind;
    to->place = from->field + 1;
    to->code = from->code;
    to->value = from->value;
    to->exact = from->exact;
    if (to->name == NULL) {
        return false;
    }
    if (to->kind == QX_COLUMN_NUMBER) {
        return true;
    }
    to->level_count = qx_map_count(from->labels);
    const char **level = qx_arena_alloc(r->arena, to->level_count, sizeof *level);
    for (size_t i = 0; level != NULL && i < to->level_count; i++) {
        level[i] = qx_map_key(from->labels, i);
    }
    to->level = level;
    return level != NULL;
}

static qx_table *finish(qx_csv_reading *r)
{
    qx_table *table = qx_arena_alloc(r->arena, 1, sizeof *table);
    qx_column *columns = qx_arena_alloc(r->arena, r->column_count, sizeof *columns);
    const char *file = qx_arena_copy(r->arena, r->file);
    bool fine = table != NULL && columns != NULL && file != NULL;
    for (size_t i = 0; fine && i < r->column_count; i++) {
        fine = finish_column(r, &r->column[i], &columns[i]);
    }
    if (!fine) {
        qx_csv_no_memory(r);
        return NULL;
    }
    table->arena = r->arena;
    table->file = file;
    table->rows = r->rows;
    table->column_count = r->column_count;
    table->column = columns;
    table->line = r->line;
    table->separator = r->scan.separator;
    return table;
}

static qx_table *read_all(qx_csv_reading *r)
{
    if (!qx_csv_head(r)) {
        return NULL;
    }
    make_room(r);
    drop_absent(r);
    const bool heads = !r->lost;
    /* With a column missing the rows are read all the same, for their own problems. */
    r->lost = r->failed != QX_OK;
    const size_t before = qx_problems_count(r->problems);
    read_rows(r);
    if (r->rows == 0 && qx_problems_count(r->problems) == before) {
        const qx_place top = {.line = 1, .column = 1};
        QX_CSV_COMPLAIN(
            r, top, "expected a row for each thing measured", "the file has no rows");
        return NULL;
    }
    for (size_t row = 0; !heads && row < r->rows; row++) {
        r->bad[row] = true;
    }
    return r->failed == QX_OK && !r->lost ? finish(r) : NULL;
}

static qx_status
prepare(qx_csv_reading *r, size_t wish_count, const qx_column_wish wish[])
{
    QX_NEW(r->cx, r->record, 1);
    QX_NEW(r->cx, r->column, wish_count);
    r->column_count = wish_count;
    for (size_t i = 0; i < wish_count; i++) {
        r->column[i].wish = &wish[i];
    }
    return QX_OK;
}

static qx_status
parse(qx_csv_reading *r, size_t wish_count, const qx_column_wish wish[], qx_table **table)
{
    size_t start = 0;
    if (!qx_encoding_check(r->problems,
                           r->file,
                           r->scan.bytes,
                           r->scan.length,
                           "expected a header and a row for each thing measured",
                           &start,
                           &r->failed)) {
        return r->failed;
    }
    QX_TRY(prepare(r, wish_count, wish));
    *table = read_all(r);
    return r->failed;
}

qx_status qx_csv_parse(qx_ctx *cx,
                       const char *file,
                       const char *bytes,
                       size_t length,
                       size_t wish_count,
                       const qx_column_wish wish[],
                       qx_problems *problems,
                       qx_table **out,
                       bool **bad)
{
    qx_csv_reading r = {.cx = cx, .file = file, .problems = problems};
    r.scan = qx_csv_begin(bytes, length);
    r.arena = qx_arena_new();
    if (r.arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the data of %s", file);
    }
    const size_t before = qx_problems_count(problems);
    qx_table *table = NULL;
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, parse(&r, wish_count, wish, &table));
    if (status != QX_OK || table == NULL) {
        qx_arena_free(r.arena);
        *out = NULL;
        status = status == QX_OK ? QX_E_INPUT : status;
        return qx_fail(cx, status, "the data in %s could not be read", file);
    }
    *out = table;
    if (bad != NULL) {
        *bad = r.bad;
    }
    return qx_problems_count(problems) == before
               ? QX_OK
               : qx_fail(cx, QX_E_INPUT, "the data in %s have problems", file);
}
