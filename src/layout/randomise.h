/* layout/randomise.h - chance: levels of one stratum on its placed things.
 *
 * Reproducible: the same spec and seed give the same layout on every machine and version of
 * the program, as long as the version is the same. What it stands for:
 *
 *   version 1  Stratum s (units with treatments, parents before children, counted from 0)
 *              has stream s of the seed (qx_rng_stream). Combinations are numbered with the
 *              last treatment running fastest. Shuffle: group by group in the order of
 *              their first thing, the list 0 0 .. 1 1 .. (each `held / combinations` times)
 *              is shuffled (Fisher-Yates) onto the group's things in their order. Latin:
 *              group by group, one square (latin_square.h), rows and columns by number.
 *
 *   version 2  Version 1, and what it did not know. Only layouts with one of these rules are
 *              of version 2; all others are still of version 1.
 *              Added control: combinations are numbered among those that stand. Wished
 *              numbers: the list holds them as often. Guards: things that are treated take
 *              the place of all things. Unequal: the largest remainders; which combinations
 *              they fall to, and all places, by chance. Incomplete blocks, rows and columns:
 *              the best that search.h finds from stream 64 + s, then by stream s: names of
 *              the combinations (among those wished equally often), sets, blocks or rows and
 *              columns inside a set, places inside a block (draw_incomplete.c,
 *              draw_rowcol.c). Augmented: draw_augmented.c. Restrictions: restrict.h.
 *
 *   version 3  Version 2, and rows and columns with gaps, with checks or with even neighbours
 *              along the rows, and blocks with checks and gaps. Plan from stream 64 + s
 *              (draw_gaps.c, even_lines.c, search.h), then by stream s: names, rectangles,
 *              rows and columns with gaps at the same places among each other; columns that
 *              make neighbours even are mirrored or not.
 *
 * A change of any of this, of rng.h's generator or of its shuffle is a new version, and the
 * old one must stay able to replay (CHANGELOG).
 *
 * Inner header of the folder. */
#ifndef QX_LAYOUT_RANDOMISE_H
#define QX_LAYOUT_RANDOMISE_H

#include "layout/place.h"
#include "layout/plan.h"

#define QX_RANDOMISE_VERSION 3 /* the newest */

/* Fills level[thing * treatment_count + treatment] for stratum number `s` of the plan.
 * QX_E_NOMEM, QX_E_ARG (a stratum without a rule). Cost: O(things). */
qx_status qx_randomise(qx_ctx *cx,
                       const qx_plan *plan,
                       const qx_places *places,
                       size_t s,
                       uint64_t seed,
                       uint32_t level[]);

/* The first version that knows the rules of this plan. */
uint32_t qx_randomise_version(const qx_plan *plan);

#endif
