/* store/stored.h - the newest values as the file holds them, before they become a table.
 *
 * A line is one thing in one season on one date. What has no date has a line without one;
 * qx_stored_read puts it into the first dated row of its thing and season if there is one,
 * for there the plain data would have it too.
 *
 * Inner header of the folder. */
#ifndef QX_STORE_STORED_H
#define QX_STORE_STORED_H

#include "base/array.h"
#include "base/map.h"
#include "layout/layout.h"
#include "store/db.h"
#include "store/quantity.h"

/* A thing as the file holds it. */
typedef struct qx_stored_thing {
    int64_t id;
    const char *key, *parent_key;
    size_t unit;
    bool by_row; /* only its row tells it */
} qx_stored_thing;

typedef struct qx_stored_line {
    size_t thing;
    size_t season; /* level number, or QX_NONE */
    size_t date;   /* number in `dates`, or QX_NONE */
} qx_stored_line;

typedef struct qx_stored {
    qx_ctx *cx;
    qx_db *db;
    const qx_protocol *p;
    const qx_layout *layout;
    qx_arena *arena; /* of the table */
    qx_quantities quantities;
    qx_array things;     /* qx_stored_thing, by id */
    qx_map *keys;        /* key of a thing to its number */
    qx_map *ids;         /* id to number */
    uint32_t **place;    /* unit by thing: placed thing + 1, 0 where it is not placed */
    qx_map *label_names; /* columns of labels that the layout does not know */
    const char ***label; /* of each: by thing, NULL where there is none */
    const char **position[2]; /* row and place that were recorded: by thing, or NULL */
    qx_map *dates;            /* dates as stored */
    qx_map *line_keys;        /* qx_stored_line to its number */
    qx_array lines;           /* qx_stored_line */
    qx_array values;   /* const char *: quantity_count for each line; NULL: not seen,
                                 "": seen without a value */
    size_t row_count;  /* of the table to come */
    const size_t *row; /* line of each */
} qx_stored;

/* Reads everything; cx, db, p, layout and arena are set. The arrays live in scratch. A file
 * of an older schema is read as it is. Errors: those of db.h; QX_E_INPUT for observations
 * that do not fit the protocol. */
qx_status qx_stored_read(qx_stored *r);

qx_status qx_stored_no_memory(const qx_stored *r);
qx_status qx_stored_damaged(const qx_stored *r);

const qx_stored_thing *qx_stored_thing_at(const qx_stored *r, size_t thing);

/* Value of a quantity on a line; NULL: missing. Borrowed. */
const char *qx_stored_value(const qx_stored *r, size_t line, size_t quantity);

/* Was the quantity looked at on this line? */
bool qx_stored_seen(const qx_stored *r, size_t line, size_t quantity);

#endif
