/* trial/read_csv.h - RFC 4180 CSV (also ; with decimal comma, byte-order mark, CRLF,
 * quoted newlines) to a table of the wanted columns, every problem with line and column.
 *
 * The separator is found from the header line: a ; outside quotes there means ; and a
 * decimal comma may be used; else a comma. Column in a message is the position of the
 * field's first byte + 1, as editors count it. */
#ifndef QX_TRIAL_READ_CSV_H
#define QX_TRIAL_READ_CSV_H

#include <stdbool.h>

#include "base/ctx.h"
#include "base/problems.h"
#include "trial/table.h"

#define QX_DATA_BYTES_MOST  ((size_t)4 << 30)
#define QX_LABEL_BYTES_MOST 1000 /* longest label */
#define QX_FIELDS_MOST      1000 /* columns in a file */

typedef struct qx_column_wish {
    const char *name;
    qx_column_kind kind;
    bool
        needed; /* a problem if it is not there; else its absence is told by the caller */
} qx_column_wish;

/* Reads the wanted columns; others are ignored with a note. Unreadable numbers, rows with
 * too few or too many fields, broken quotes, bytes that are not UTF-8: problems by place.
 * QX_E_INPUT when `problems` grew; if the rows as such could be read, *out is given all the
 * same with `bad[row]` set for rows that had problems (for --accept-good; all rows where a
 * needed column is missing, whose other columns are there to be checked), else NULL.
 * `bad` may be NULL; it lives in the table's arena. */
qx_status qx_csv_parse(qx_ctx *cx,
                       const char *file,
                       const char *bytes,
                       size_t length,
                       size_t wish_count,
                       const qx_column_wish wish[],
                       qx_problems *problems,
                       qx_table **out,
                       bool **bad);

#endif
