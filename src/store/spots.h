/* store/spots.h - which thing each row of a data file stands for, unit by unit.
 *
 *   PLACED    a thing of the layout: its label is given and known inside its parent; or the
 *             file has no column of its labels, and it is the only one there with the row's
 *             treatments (or the only one there)
 *   LABELLED  not in the layout (sampled, or told by `columns`): its own labels, or the
 *             levels of the treatments put on it, inside what it stands in
 *   ROW       nothing tells it from its like; the file and the row stand for it. Only for
 *             the unit that something is measured on, never for one above it
 *   NONE      the row says nothing about this unit, or what it says does not fit
 *
 * The key of a spot is the same whenever the same thing is meant, in every file:
 * "p17" for a placed thing, else the key of what it stands in, the unit, and what tells it.
 *
 * Inner header of the folder. */
#ifndef QX_STORE_SPOTS_H
#define QX_STORE_SPOTS_H

#include "base/ctx.h"
#include "base/text.h"
#include "layout/layout.h"
#include "trial/protocol.h"
#include "trial/table.h"

typedef enum { QX_SPOT_NONE, QX_SPOT_PLACED, QX_SPOT_LABELLED, QX_SPOT_ROW } qx_spot_kind;

typedef struct qx_spot {
    qx_spot_kind kind;
    uint32_t placed; /* PLACED: number in the layout */
} qx_spot;

typedef struct qx_spots {
    const qx_protocol *protocol;
    const qx_layout *layout;
    const qx_table *table;
    const char *digest;    /* of the file, 64 digits */
    qx_spot **spot;        /* unit_count lists of rows spots */
    const qx_column **own; /* unit_count: the column of the unit's labels, or NULL */
} qx_spots;

/* Everything in `arena`. The table has been checked against the protocol (trial/check.h).
 * QX_E_NOMEM. Cost: O(rows x units) and a look-up in each parent. */
qx_status qx_spots_find(qx_ctx *cx,
                        qx_arena *arena,
                        const qx_protocol *protocol,
                        const qx_layout *layout,
                        const qx_table *table,
                        const char *digest,
                        qx_spots *out);

/* Adds the key of unit `unit` in `row`; the spot is not NONE. */
void qx_spot_key(const qx_spots *spots, size_t unit, size_t row, qx_text *out);

/* The same of what it stands in; nothing for an outermost unit. */
void qx_spot_parent_key(const qx_spots *spots, size_t unit, size_t row, qx_text *out);

/* Is the treatment's level given in this row? */
bool qx_spot_has_level(const qx_spots *spots, size_t treatment, size_t row);

/* Is there a label of the unit (its own, or one of its `columns`) in this row? */
bool qx_spot_has_label(const qx_spots *spots, size_t unit, size_t row);

/* "block 1, tree 2, shoot 2024-1" in `arena`; NULL: no memory. */
const char *
qx_spot_words(qx_arena *arena, const qx_spots *spots, size_t unit, size_t row);

#endif
