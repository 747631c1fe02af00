/* store/recording.h - a recording on its way, for observations.c (which stores) and
 * observations_check.c (which refuses).
 *
 * Inner header of the folder. */
#ifndef QX_STORE_RECORDING_H
#define QX_STORE_RECORDING_H

#include "base/array.h"
#include "store/cell.h"
#include "store/observations.h"
#include "store/quantity.h"
#include "store/spots.h"
#include "store/thing.h"

/* Calendar dates and numbers cannot be put in one order. */
typedef enum {
    QX_DATES_UNKNOWN,
    QX_DATES_NONE,
    QX_DATES_NUMBERS,
    QX_DATES_CALENDAR
} qx_date_kind;

typedef struct qx_recording {
    qx_ctx *cx;
    qx_db *db;
    const qx_record_order *order;
    qx_problems *problems;
    qx_arena *arena; /* of the receipt */
    qx_quantities quantities;
    qx_date_kind *dates; /* of each quantity: of what is stored */
    qx_spots *spots;     /* of each part */
    qx_things things;
    qx_array corrections; /* qx_correction */
    qx_map *repeats;      /* numbers of the values that were there already */
    qx_receipt receipt;
    int64_t import;
    size_t done; /* rows, for the progress */
} qx_recording;

/* What is stored of one quantity of one thing, in one season and on one date. */
typedef struct qx_newest {
    int64_t id;
    int64_t revision; /* 0: nothing stored yet */
    int64_t import;
    const char *value; /* NULL: missing; in the receipt's arena */
} qx_newest;

qx_status
qx_record_newest(qx_recording *r, const qx_cell *c, int64_t thing, qx_newest *out);

const qx_data_part *qx_part_of(const qx_recording *r, const qx_cell *c);

/* A problem of the cell's row, which becomes bad. NULL for no memory. */
qx_status qx_record_complain(qx_recording *r,
                             const qx_cell *c,
                             const char *expected,
                             const char *wrong);

/* Before anything is stored: does each value tell what it is about? */
qx_status qx_record_check_part(qx_recording *r, size_t part);

/* Inside the transaction, before a row is stored: has each share its count, from the row or as
 * stored before, and is it no more than that? */
qx_status qx_record_check_shares(qx_recording *r, size_t part, size_t row);

/* Inside the transaction: has another file brought things like this one, which only its row
 * tells; are its dates of the kind of those that are there? A problem makes the row bad. */
qx_status qx_record_check_rival(qx_recording *r, const qx_cell *c);
qx_status qx_record_check_kind(qx_recording *r, const qx_cell *c);

#endif
