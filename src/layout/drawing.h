/* layout/drawing.h - one stratum while chance works on it.
 *
 * A drawer makes what does not depend on chance alone (a search, a list) in its plan step,
 * once; its draw step puts a combination on every plot and may be called again when the
 * result is not admissible (restrict.h). Plots are the treated things in their order.
 *
 * Inner header of the folder. */
#ifndef QX_LAYOUT_DRAWING_H
#define QX_LAYOUT_DRAWING_H

#include "layout/place.h"
#include "layout/plan.h"
#include "numeric/rng.h"

typedef struct qx_drawing {
    qx_ctx *cx;
    const qx_plan *plan;
    const qx_places *places;
    const qx_stratum *stratum;
    qx_rng rng;            /* of the chance that the analysis rests on */
    qx_rng search;         /* of the search, which it does not */
    const uint32_t *level; /* things x treatments: strata above are there already */
    size_t plots;
    size_t *plot; /* number of the placed thing */
    size_t group_count;
    size_t *group;       /* of each plot, numbered by first appearance */
    size_t *combination; /* out: of each plot */
    size_t *design;      /* plan step to draw step: combination of each plot */
    size_t *part;        /* plan step to draw step: set or family of each plot */
    size_t part_count;
    bool families;     /* parts are families: each names its combinations anew */
    bool columns_stay; /* rows and columns: their order makes neighbours even */
} qx_drawing;

/* The treated things of the stratum into plot and group; room for the rest. */
qx_status qx_drawing_list(qx_drawing *d);

/* Codes of the plots by the things above them of `count` units (0: all in one). */
qx_status qx_drawing_codes(
    qx_drawing *d, size_t count, const size_t unit[], size_t code[], size_t *codes);

/* Number of a row or column inside its parent, from 0. */
size_t qx_drawing_line(const qx_drawing *d, size_t plot, size_t line);

/* How often of `n` each combination stands, in proportion to the wishes: the whole part, and
 * one more for those with the largest rest, the first of them first. */
void qx_drawing_share_out(const qx_stratum *s, size_t n, size_t times[]);

/* A random order of the combinations among those wished equally often (checks among checks):
 * to[from]. */
qx_status qx_drawing_relabel(qx_drawing *d, size_t to[]);

/* --- the drawers: draw_*.c --- */

qx_status qx_draw_shuffles(qx_drawing *d);
qx_status qx_draw_squares(qx_drawing *d);
qx_status qx_draw_unequal(qx_drawing *d);
qx_status qx_plan_incomplete(qx_drawing *d);
qx_status qx_draw_incomplete(qx_drawing *d);
qx_status qx_plan_rowcol(qx_drawing *d);
qx_status qx_draw_rowcol(qx_drawing *d);
qx_status qx_draw_augmented(qx_drawing *d);

/* --- parts of rows and columns --- */

struct qx_lines;

/* draw_gaps.c: a plan where trees are left out or checks are repeated, into `design`. */
qx_status qx_plan_gaps(qx_drawing *d);

/* draw_rowcol.c: the best that the search finds from `design`. */
qx_status qx_rowcol_search(qx_drawing *d, const struct qx_lines *l, bool good);

/* even_lines.c: a plan whose neighbours along the rows are even, into `design`. */
qx_status qx_plan_even_lines(qx_drawing *d);

#endif
