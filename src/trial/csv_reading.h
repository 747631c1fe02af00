/* trial/csv_reading.h - what the parts of the CSV reader share (inner header).
 *
 * csv_scan.c   bytes to records
 * csv_head.c   the header: which column is where, and what is wrong with it
 * read_csv.c   the rows, and the whole */
#ifndef QX_TRIAL_CSV_READING_H
#define QX_TRIAL_CSV_READING_H

#include "base/ctx.h"
#include "base/map.h"
#include "base/problems.h"
#include "trial/csv_scan.h"
#include "trial/read_csv.h"
#include "trial/shown.h"
#include "trial/table.h"

/* A wanted column while it is filled. */
typedef struct qx_csv_column {
    const qx_column_wish *wish;
    size_t field; /* position in the file, from 0; QX_FIELDS_MOST: not there */
    qx_map *labels;
    uint32_t *code;
    double *value;
    qx_decimal *exact;
    const char *last; /* the label before, in the file: rows of one unit stand together */
    size_t last_length;
    uint32_t last_code;
} qx_csv_column;

typedef struct qx_csv_reading {
    qx_ctx *cx;
    qx_arena *arena; /* the table's */
    const char *file;
    qx_problems *problems;
    qx_status failed;
    qx_csv_scan scan;
    qx_csv_record *record;
    size_t header_count;
    size_t column_count;
    qx_csv_column *column;
    size_t room; /* rows that fit */
    size_t rows;
    uint32_t *line;
    bool *bad;
    bool lost; /* the rows as such cannot be read */
} qx_csv_reading;

#define QX_CSV_COMPLAIN(r, at, expected, ...)                                            \
    qx_csv_keep((r),                                                                     \
                qx_problem_add((r)->problems, (r)->file, (at), (expected), __VA_ARGS__))

void qx_csv_keep(qx_csv_reading *r, qx_status status);
void qx_csv_no_memory(qx_csv_reading *r);

/* Undoubles quotes into `room`, which holds at least field->length bytes. */
size_t qx_csv_undouble(const qx_csv_field *field, char room[]);

/* Tells what is wrong with the shape of a record, if anything is. */
void qx_csv_tell_fault(qx_csv_reading *r, const qx_csv_record *record);

/* Reads the header and finds the wanted columns; false when there are no rows to read. */
bool qx_csv_head(qx_csv_reading *r);

#endif
