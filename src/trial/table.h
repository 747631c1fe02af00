/* trial/table.h - observations as typed columns.
 *
 * One row for each thing measured. A label column is dictionary-coded (4 bytes a row), a
 * number column holds the double and the exact decimal a person typed. Missing (empty, NA
 * and .) is QX_MISSING_CODE or NAN. Memory is proportional to the data: 1,000,000 rows of
 * five columns need some 80 MB. */
#ifndef QX_TRIAL_TABLE_H
#define QX_TRIAL_TABLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/decimal.h"

#define QX_MISSING_CODE UINT32_MAX

typedef enum { QX_COLUMN_LABEL, QX_COLUMN_NUMBER } qx_column_kind;

typedef struct qx_column {
    const char *name;
    qx_column_kind kind;
    size_t level_count;       /* label: distinct labels */
    const char *const *level; /* label: in the order of first appearance */
    const uint32_t *code;     /* label: rows entries */
    const double *value;      /* number: rows entries */
    const qx_decimal *exact;  /* number: rows entries */
    size_t place;             /* column of the file, from 1; 0 if not from a file */
} qx_column;

typedef struct qx_table {
    qx_arena *arena; /* owns everything */
    const char *file;
    size_t rows;
    size_t column_count;
    const qx_column *column;
    const uint32_t *line; /* line of each row in the file; NULL if not from a file */
    char separator; /* of the file: ',' or ';' (then with decimal comma); 0 if none */
} qx_table;

void qx_table_free(qx_table *table); /* NULL is accepted */
const qx_column *qx_table_find(const qx_table *table, const char *name); /* or NULL */

struct qx_ctx;

/* Copies of texts and of a whole column into `arena`. QX_E_NOMEM. */
qx_status qx_levels_copy(struct qx_ctx *cx,
                         qx_arena *arena,
                         size_t count,
                         const char *const level[],
                         const char *const **out);
qx_status qx_column_copy(struct qx_ctx *cx,
                         qx_arena *arena,
                         size_t rows,
                         const qx_column *from,
                         qx_column *to);

#endif
