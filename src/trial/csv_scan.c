#include "trial/csv_scan.h"

#include <string.h>

static bool line_end(char c)
{
    return c == '\n' || c == '\r';
}

static bool blank(char c)
{
    return c == ' ' || c == '\t';
}

/* The header decides: a ; outside quotes means ; else a comma. */
static char find_separator(const char *bytes, size_t length, size_t at)
{
    bool quoted = false;
    while (at < length && line_end(bytes[at])) {
        at++;
    }
    for (size_t i = at; i < length && i - at <= QX_LINE_BYTES_MOST; i++) {
        if (bytes[i] == '"') {
            quoted = !quoted;
        } else if (!quoted && bytes[i] == ';') {
            return ';';
        } else if (!quoted && line_end(bytes[i])) {
            break;
        }
    }
    return ',';
}

qx_csv_scan qx_csv_begin(const char *bytes, size_t length)
{
    const bool mark = length >= 3 && memcmp(bytes, "\xEF\xBB\xBF", 3) == 0;
    qx_csv_scan scan = {.bytes = bytes, .length = length, .line = 1};
    scan.at = scan.line_start = mark ? 3 : 0;
    scan.separator = find_separator(bytes, length, scan.at);
    return scan;
}

/* Past one line end, CRLF being one. */
static void pass_line_end(qx_csv_scan *scan)
{
    const bool both = scan->bytes[scan->at] == '\r' && scan->at + 1 < scan->length &&
                      scan->bytes[scan->at + 1] == '\n';
    scan->at += both ? 2 : 1;
    scan->line++;
    scan->line_start = scan->at;
}

static qx_place here(const qx_csv_scan *scan)
{
    const qx_place place = {.line = scan->line,
                            .column = scan->at - scan->line_start + 1};
    return place;
}

static void set_fault(qx_csv_record *record, qx_csv_fault fault, qx_place at)
{
    if (record->fault == QX_CSV_FINE) {
        record->fault = fault;
        record->fault_at = at;
    }
}

static void pass_blanks(qx_csv_scan *scan)
{
    while (scan->at < scan->limit && blank(scan->bytes[scan->at]) &&
           scan->bytes[scan->at] != scan->separator) {
        scan->at++;
    }
}

/* To the separator or line end. True if a quote was passed. */
static bool pass_bare(qx_csv_scan *scan)
{
    bool quote = false;
    while (scan->at < scan->limit) {
        const char c = scan->bytes[scan->at];
        if (c == scan->separator || line_end(c)) {
            break;
        }
        quote = quote || c == '"';
        scan->at++;
    }
    return quote;
}

static void read_bare(qx_csv_scan *scan, qx_csv_record *record, qx_csv_field *field)
{
    const size_t start = scan->at;
    field->text = scan->bytes + start;
    if (pass_bare(scan)) {
        set_fault(record, QX_CSV_INNER_QUOTE, field->at);
    }
    size_t end = scan->at;
    while (end > start && blank(scan->bytes[end - 1])) {
        end--;
    }
    field->length = end - start;
}

/* From behind the opening quote to the closing one. False if there is none. */
static bool pass_quoted(qx_csv_scan *scan, qx_csv_field *field)
{
    while (scan->at < scan->limit) {
        const char c = scan->bytes[scan->at];
        if (line_end(c)) {
            if (scan->within_line) {
                return false;
            }
            pass_line_end(scan);
        } else if (c != '"') {
            scan->at++;
        } else if (scan->at + 1 < scan->limit && scan->bytes[scan->at + 1] == '"') {
            field->doubled = true;
            scan->at += 2;
        } else {
            return true;
        }
    }
    return false;
}

/* Gives the line of the opening quote up, and not all that follow. */
static void give_up_line(qx_csv_scan *scan,
                         const qx_csv_scan *opening,
                         qx_csv_record *record,
                         qx_csv_field *field)
{
    const bool within_line = scan->within_line;
    *scan = *opening;
    scan->within_line = within_line;
    set_fault(record, QX_CSV_UNCLOSED, field->at);
    field->length = 0;
    field->doubled = false;
    while (scan->at < scan->limit && !line_end(scan->bytes[scan->at])) {
        scan->at++;
    }
}

static void read_quoted(qx_csv_scan *scan, qx_csv_record *record, qx_csv_field *field)
{
    const qx_csv_scan opening = *scan;
    scan->at++;
    field->text = scan->bytes + scan->at;
    if (!pass_quoted(scan, field)) {
        scan->within_line = true;
        give_up_line(scan, &opening, record, field);
        return;
    }
    field->length = (size_t)(scan->bytes + scan->at - field->text);
    scan->at++;
    pass_blanks(scan);
    const bool closed = scan->at >= scan->limit || line_end(scan->bytes[scan->at]) ||
                        scan->bytes[scan->at] == scan->separator;
    if (!closed && scan->line > opening.line) {
        /* What closed it was the opening quote of a later field: each such quote ends the
         * search of the one before, so that the cost stays linear. */
        give_up_line(scan, &opening, record, field);
    } else if (!closed) {
        set_fault(record, QX_CSV_AFTER_QUOTE, here(scan));
        (void)pass_bare(scan);
    }
}

/* One field; true when another follows in the record. */
static bool read_field(qx_csv_scan *scan, qx_csv_record *record)
{
    qx_csv_field over = {.text = ""}; /* fields that are too many are counted only */
    qx_csv_field *field =
        record->count < QX_FIELDS_MOST ? &record->field[record->count] : &over;
    record->count++;
    *field = (qx_csv_field){.text = "", .at = here(scan)};
    pass_blanks(scan);
    field->at = here(scan);
    if (scan->at < scan->limit && scan->bytes[scan->at] == '"') {
        read_quoted(scan, record, field);
    } else {
        read_bare(scan, record, field);
    }
    if (scan->at < scan->limit && scan->bytes[scan->at] == scan->separator) {
        scan->at++;
        return true;
    }
    return false;
}

bool qx_csv_next(qx_csv_scan *scan, qx_csv_record *record)
{
    while (scan->at < scan->length && line_end(scan->bytes[scan->at])) {
        pass_line_end(scan);
    }
    if (scan->at >= scan->length) {
        return false;
    }
    record->line = scan->line;
    record->count = 0;
    record->fault = QX_CSV_FINE;
    const size_t room = scan->length - scan->at;
    scan->limit = scan->at + (room < QX_LINE_BYTES_MOST ? room : QX_LINE_BYTES_MOST);
    while (read_field(scan, record)) {
    }
    if (scan->at < scan->length && !line_end(scan->bytes[scan->at])) {
        const qx_place start = {.line = record->line, .column = 1};
        record->fault = QX_CSV_TOO_LONG;
        record->fault_at = start;
        scan->at = scan->length;
    } else if (scan->at < scan->length) {
        pass_line_end(scan);
    }
    return true;
}

qx_place qx_csv_find(qx_csv_scan *scan, qx_csv_record *record, size_t line, size_t field)
{
    while (record->line < line && qx_csv_next(scan, record)) {
    }
    if (record->line == line && field < record->count && field < QX_FIELDS_MOST) {
        return record->field[field].at;
    }
    const qx_place start = {.line = line, .column = 1};
    return start;
}

size_t qx_csv_lines(const char *bytes, size_t length)
{
    size_t count = 0;
    bool empty = true;
    for (size_t i = 0; i < length; i++) {
        const bool end = line_end(bytes[i]);
        count += (size_t)(empty && !end);
        empty = end;
    }
    return count;
}
