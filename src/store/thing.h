/* store/thing.h - the numbers of things in the trial file, made when first met.
 *
 * Inner header of the folder. */
#ifndef QX_STORE_THING_H
#define QX_STORE_THING_H

#include "base/array.h"
#include "base/map.h"
#include "store/db.h"
#include "store/spots.h"

typedef struct qx_things {
    qx_map *known;   /* keys met so far */
    qx_array number; /* int64_t: the number of each */
} qx_things;

/* For one transaction, in `arena`. QX_E_NOMEM. */
qx_status qx_things_begin(qx_ctx *cx, qx_arena *arena, qx_things *out);

/* The number of the thing that `unit` is in `row`; made with its places and labels if it is
 * new. The spot is not NONE. */
qx_status qx_thing_of(qx_ctx *cx,
                      qx_db *db,
                      qx_things *things,
                      const qx_spots *spots,
                      size_t unit,
                      size_t row,
                      int64_t *out);

/* The same if it is there already; 0 if it is not. Nothing is made. */
qx_status qx_thing_find(
    qx_ctx *cx, qx_db *db, const qx_spots *spots, size_t unit, size_t row, int64_t *out);

/* Has another file brought things of `unit` that only their rows tell into the same parent
 * and season, on the same date? */
qx_status qx_thing_has_rival(qx_ctx *cx,
                             qx_db *db,
                             const qx_spots *spots,
                             size_t unit,
                             size_t row,
                             const char *season,
                             const char *date,
                             bool *out);

#endif
