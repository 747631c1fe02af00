/* trial/csv_scan.h - CSV text (RFC 4180) to records of fields, without copying.
 *
 * Line ends are LF, CRLF or CR. A field in quotes may hold separators, line ends and
 * doubled quotes. Blanks around a field are not part of it. Empty lines are passed over.
 * A record keeps its first fault; the scanner then goes on with the next line, so that the
 * faults of later lines are seen too. Cost: linear, whatever the bytes are: after the
 * first quote that is never closed, quotes count only inside their line. */
#ifndef QX_TRIAL_CSV_SCAN_H
#define QX_TRIAL_CSV_SCAN_H

#include <stdbool.h>
#include <stddef.h>

#include "base/problems.h"
#include "trial/read_csv.h"

#define QX_LINE_BYTES_MOST ((size_t)1 << 20) /* longest record */

typedef struct qx_csv_field {
    const char *text; /* in the file, without its quotes and outer blanks */
    size_t length;
    bool doubled; /* holds "" for each quote */
    qx_place at;  /* first byte, quotes included */
} qx_csv_field;

typedef enum {
    QX_CSV_FINE,
    QX_CSV_UNCLOSED,    /* the quote at `fault_at` is never closed */
    QX_CSV_AFTER_QUOTE, /* text behind a closing quote */
    QX_CSV_INNER_QUOTE, /* a quote inside a field that does not begin with one */
    QX_CSV_TOO_LONG     /* more than QX_LINE_BYTES_MOST: the rest cannot be read */
} qx_csv_fault;

typedef struct qx_csv_record {
    size_t line;  /* of its first byte */
    size_t count; /* fields; the first QX_FIELDS_MOST are kept */
    qx_csv_field field[QX_FIELDS_MOST];
    qx_csv_fault fault;
    qx_place fault_at;
} qx_csv_record;

typedef struct qx_csv_scan {
    const char *bytes;
    size_t length;
    char separator;
    size_t at;         /* next byte */
    size_t line;       /* of the next byte, from 1 */
    size_t line_start; /* first byte of that line */
    size_t limit;      /* the record may not go beyond */
    bool within_line;  /* quotes are closed on their line or not at all */
} qx_csv_scan;

/* Begins at the first byte (after a byte-order mark). */
qx_csv_scan qx_csv_begin(const char *bytes, size_t length);

/* The next record that is not an empty line; false at the end. */
bool qx_csv_next(qx_csv_scan *scan, qx_csv_record *record);

/* Place of field `field` (from 0) of the record that begins on `line`, which must not be
 * before the last one found; the beginning of the line when it has fewer fields. */
qx_place qx_csv_find(qx_csv_scan *scan, qx_csv_record *record, size_t line, size_t field);

/* At least as many as there are records: lines that are not empty. */
size_t qx_csv_lines(const char *bytes, size_t length);

#endif
