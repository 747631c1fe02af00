#include "trial/read_csv.h"

#include <math.h>
#include <string.h>

#include "base/map.h"
#include "base/text.h"
#include "trial/csv_scan.h"
#include "trial/encoding.h"
#include "trial/shown.h"

/* A wanted column while it is filled. */
typedef struct filling {
    const qx_column_wish *wish;
    size_t field; /* position in the file, from 0; QX_FIELDS_MOST: not there */
    qx_map *labels;
    uint32_t *code;
    double *value;
    qx_decimal *exact;
    const char *last; /* the label before, in the file: rows of one unit stand together */
    size_t last_length;
    uint32_t last_code;
} filling;

typedef struct reading {
    qx_ctx *cx;
    qx_arena *arena; /* the table's */
    const char *file;
    qx_problems *problems;
    qx_status failed;
    qx_csv_scan scan;
    qx_csv_record *record;
    size_t header_count;
    size_t column_count;
    filling *column;
    size_t room; /* rows that fit */
    size_t rows;
    uint32_t *line;
    bool *bad;
    bool lost; /* the rows as such cannot be read */
} reading;

static void keep(reading *r, qx_status status)
{
    if (status != QX_OK && r->failed == QX_OK) {
        r->failed = status;
    }
}

#define COMPLAIN(r, at, expected, ...)                                                   \
    keep((r), qx_problem_add((r)->problems, (r)->file, (at), (expected), __VA_ARGS__))

static void no_memory(reading *r)
{
    keep(r, qx_fail(r->cx, QX_E_NOMEM, "no memory for the data of %s", r->file));
}

/* --- fields --- */

static bool means_missing(const char *text, size_t length)
{
    return length == 0 || (length == 1 && text[0] == '.') ||
           (length == 2 && text[0] == 'N' && text[1] == 'A');
}

/* Undoubles quotes into `room`, which holds at least field->length bytes. */
static size_t undouble(const qx_csv_field *field, char room[])
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

static bool same_as_last(const filling *column, const char *text, size_t length)
{
    return column->last != NULL && column->last_length == length &&
           memcmp(column->last, text, length) == 0;
}

/* Stores the label of one field; false if it cannot be one. */
static bool put_label(reading *r, filling *column, const qx_csv_field *field, size_t row)
{
    char room[QX_LABEL_BYTES_MOST];
    const char *text = field->text;
    size_t length = field->length;
    if (length > QX_LABEL_BYTES_MOST) {
        COMPLAIN(r,
                 field->at,
                 "expected a label of at most 1000 bytes",
                 "%s has a label of %zu bytes",
                 column->wish->name,
                 length);
        return false;
    }
    if (field->doubled) {
        length = undouble(field, room);
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
        no_memory(r);
        return false;
    }
    column->last = field->doubled ? NULL : field->text;
    column->last_length = length;
    column->last_code = (uint32_t)number;
    column->code[row] = (uint32_t)number;
    return true;
}

/* A comma where a point belongs is the usual slip: says what was meant. */
static void tell_number(reading *r, const filling *column, const qx_csv_field *field)
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
            memcpy(expected, "expected ", 9);
            memcpy(expected + 9, meant, strlen(meant) + 1);
        }
    }
    COMPLAIN(
        r, field->at, expected, "%s \"%s\" is not a number", column->wish->name, shown);
}

static bool put_number(reading *r, filling *column, const qx_csv_field *field, size_t row)
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

static void tell_fault(reading *r, const qx_csv_record *record)
{
    switch (record->fault) {
    case QX_CSV_UNCLOSED:
        COMPLAIN(r,
                 record->fault_at,
                 "expected a closing quote",
                 "the quote that opens here is never closed");
        break;
    case QX_CSV_AFTER_QUOTE:
        COMPLAIN(r,
                 record->fault_at,
                 "expected the next field, and quotes inside quotes doubled",
                 "text follows the closing quote");
        break;
    case QX_CSV_INNER_QUOTE:
        COMPLAIN(r,
                 record->fault_at,
                 "expected the whole field in quotes, and the quotes inside doubled",
                 "a quote stands inside a field");
        break;
    case QX_CSV_TOO_LONG:
        COMPLAIN(r,
                 record->fault_at,
                 "expected a line for each thing measured, of at most 1 MiB",
                 "line %zu is too long to be a row of data",
                 record->line);
        break;
    case QX_CSV_FINE:
        break;
    }
}

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

static bool count_fits(reading *r, const qx_csv_record *record)
{
    if (record->count == r->header_count || record->fault != QX_CSV_FINE) {
        return record->fault == QX_CSV_FINE;
    }
    const qx_place at = {.line = record->line, .column = 1};
    const bool comma = record->count > r->header_count && r->scan.separator == ',';
    COMPLAIN(r,
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
static bool put_fields(reading *r, const qx_csv_record *record, size_t count, size_t row)
{
    bool good = true;
    for (size_t i = 0; i < r->column_count; i++) {
        filling *column = &r->column[i];
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

static void read_rows(reading *r)
{
    while (r->failed == QX_OK && !r->lost && qx_csv_next(&r->scan, r->record)) {
        const qx_csv_record *record = r->record;
        tell_fault(r, record);
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

/* --- header --- */

/* Name at the head of a column, in the table's arena. */
static const char *head_name(reading *r, const qx_csv_field *field)
{
    char room[QX_LABEL_BYTES_MOST];
    const char *text = field->text;
    size_t length = field->length;
    if (length > QX_LABEL_BYTES_MOST) {
        COMPLAIN(
            r, field->at, "expected a short name", "the name of a column is too long");
        length = 0;
    }
    if (field->doubled && length > 0) {
        const qx_csv_field whole = {.text = text, .length = length};
        length = undouble(&whole, room);
        text = room;
    }
    const char *name = qx_arena_text(r->arena, text, length);
    if (name == NULL) {
        no_memory(r);
        return "";
    }
    return name;
}

static bool wished(const reading *r, const char *name)
{
    for (size_t i = 0; i < r->column_count; i++) {
        if (strcmp(r->column[i].wish->name, name) == 0) {
            return true;
        }
    }
    return false;
}

/* A column that nobody asked for is told and left alone; one that stands there twice can
 * only be right once. */
static void check_heads(reading *r, const char *const names[])
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
            COMPLAIN(r,
                     record->field[i].at,
                     "expected every column once",
                     "column \"%s\" is there twice",
                     shown);
        } else if (names[i][0] != '\0' && !wished(r, names[i])) {
            keep(r,
                 qx_problem_note(r->problems,
                                 r->file,
                                 record->field[i].at,
                                 "column %s is not named in the protocol and is not used",
                                 shown));
        }
    }
}

static void
tell_missing_column(reading *r, const qx_column_wish *wish, const char *const names[])
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
    COMPLAIN(r, at, expected, "there is no column \"%s\"", wish->name);
    r->lost = true;
}

static void find_columns(reading *r, const char *const names[])
{
    for (size_t i = 0; i < r->column_count; i++) {
        filling *column = &r->column[i];
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

static bool read_header(reading *r)
{
    const qx_place top = {.line = 1, .column = 1};
    if (!qx_csv_next(&r->scan, r->record)) {
        COMPLAIN(r, top, "expected a header and rows", "the file holds only empty lines");
        return false;
    }
    const qx_csv_record *record = r->record;
    tell_fault(r, record);
    if (record->fault != QX_CSV_FINE) {
        return false;
    }
    if (record->count > QX_FIELDS_MOST) {
        COMPLAIN(
            r, top, "expected at most 1000", "the file has %zu columns", record->count);
        return false;
    }
    if (record->count == 1 && tabs_in(&record->field[0])) {
        COMPLAIN(r,
                 top,
                 "expected commas, or semicolons with decimal commas",
                 "the columns are separated by tabs");
        return false;
    }
    r->header_count = record->count;
    const char **names = qx_arena_alloc(r->arena, record->count, sizeof *names);
    if (names == NULL) {
        no_memory(r);
        return false;
    }
    for (size_t i = 0; i < record->count; i++) {
        names[i] = head_name(r, &record->field[i]);
    }
    check_heads(r, names);
    find_columns(r, names);
    return r->failed == QX_OK;
}

/* --- the whole --- */

static void *column_memory(reading *r, size_t size)
{
    void *memory = qx_arena_alloc(r->arena, r->room, size);
    if (memory == NULL) {
        no_memory(r);
    }
    return memory;
}

/* Room for as many rows as there are lines: nothing grows while reading. */
static void make_room(reading *r)
{
    r->room = qx_csv_lines(r->scan.bytes + r->scan.at, r->scan.length - r->scan.at);
    if (r->room >= QX_MISSING_CODE) {
        const qx_place top = {.line = 1, .column = 1};
        COMPLAIN(r, top, "expected a smaller file", "the file has too many rows");
        r->lost = true;
        return;
    }
    r->line = column_memory(r, sizeof *r->line);
    r->bad = column_memory(r, sizeof *r->bad);
    for (size_t i = 0; i < r->column_count && r->failed == QX_OK; i++) {
        filling *column = &r->column[i];
        if (column->field == QX_FIELDS_MOST) {
            continue;
        }
        if (column->wish->kind == QX_COLUMN_LABEL) {
            column->code = column_memory(r, sizeof *column->code);
            column->labels = qx_map_new(r->arena);
            if (column->labels == NULL) {
                no_memory(r);
            }
        } else {
            column->value = column_memory(r, sizeof *column->value);
            column->exact = column_memory(r, sizeof *column->exact);
        }
    }
}

/* Columns that are not in the file leave the list. */
static void drop_absent(reading *r)
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

static bool finish_column(reading *r, const filling *from, qx_column *to)
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

static qx_table *finish(reading *r)
{
    qx_table *table = qx_arena_alloc(r->arena, 1, sizeof *table);
    qx_column *columns = qx_arena_alloc(r->arena, r->column_count, sizeof *columns);
    const char *file = qx_arena_copy(r->arena, r->file);
    bool fine = table != NULL && columns != NULL && file != NULL;
    for (size_t i = 0; fine && i < r->column_count; i++) {
        fine = finish_column(r, &r->column[i], &columns[i]);
    }
    if (!fine) {
        no_memory(r);
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

static qx_table *read_all(reading *r)
{
    if (!read_header(r)) {
        return NULL;
    }
    make_room(r);
    drop_absent(r);
    const bool heads = !r->lost;
    if (r->failed == QX_OK && r->room == 0) {
        const qx_place top = {.line = 1, .column = 1};
        COMPLAIN(
            r, top, "expected a row for each thing measured", "the file has no rows");
        return NULL;
    }
    /* With a column missing the rows are read all the same, for their own problems. */
    r->lost = r->failed != QX_OK;
    read_rows(r);
    return r->failed == QX_OK && heads && !r->lost ? finish(r) : NULL;
}

static qx_status prepare(reading *r, size_t wish_count, const qx_column_wish wish[])
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
parse(reading *r, size_t wish_count, const qx_column_wish wish[], qx_table **table)
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
    reading r = {.cx = cx, .file = file, .problems = problems};
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
