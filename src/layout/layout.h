/* layout/layout.h - units in the orchard and the treatments that chance gave them.
 *
 * Input: the units (nested or crossed) with their counts, and the treatments with the unit
 * that each is put on. Output: every unit placed, its label, and its levels. This floor
 * knows no protocol and no model; trial/structure.h turns a protocol into a spec. */
#ifndef QX_LAYOUT_LAYOUT_H
#define QX_LAYOUT_LAYOUT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/ctx.h"

#define QX_LAYOUT_PARENTS 4
#define QX_NO_LEVEL       UINT32_MAX

typedef struct qx_layout_unit {
    const char *name;
    size_t parent_count;
    size_t
        parent[QX_LAYOUT_PARENTS]; /* unit numbers; parents may come later in the list */
    size_t count; /* per parent, or per cell of crossed parents; 1 if not given */
    bool sample;  /* sampled while recording: not placed in the layout */
} qx_layout_unit;

typedef struct qx_layout_treatment {
    const char *name;
    size_t level_count;
    const char *const *level;
    size_t on; /* unit number */
} qx_layout_treatment;

struct qx_layout_wishes; /* layout/wishes.h */

typedef struct qx_layout_spec {
    size_t unit_count;
    const qx_layout_unit *unit;
    size_t treatment_count;
    const qx_layout_treatment *treatment;
    const struct qx_layout_wishes *wishes; /* NULL: none */
} qx_layout_spec;

typedef struct qx_placed {
    uint32_t unit;                      /* unit number */
    uint32_t parent[QX_LAYOUT_PARENTS]; /* numbers of placed things above it */
    uint32_t number;                    /* 1, 2, ... inside its parent */
    const char *label;                  /* unique inside the parent */
} qx_placed;

/* Where a thing really stands and how large it is, from a list of trees; NAN where not. */
typedef struct qx_stand {
    double row, place;
    double size; /* trunk area, cm2 */
} qx_stand;

typedef struct qx_layout {
    qx_arena *arena;      /* owns everything */
    const char *kind;     /* key of layout/kinds.def: "crd", "blocks", "incomplete" ... */
    const char *describe; /* the sentence for the report */
    uint64_t seed;
    uint32_t version; /* of the randomisation: the first that knows this layout's rules,
                            so that files of older programs are drawn again as they were */
    size_t placed_count; /* parents before children */
    const qx_placed *placed;
    size_t treatment_count;
    const uint32_t *level; /* placed_count x treatment_count, row-major; QX_NO_LEVEL where
                               the treatment is not put on that unit */
    const qx_stand *stand; /* placed_count; NULL without a list of trees */
} qx_layout;

/* Chooses the kind that suits the units, checks, randomises. QX_E_INPUT with a message in
 * the user's words when the units cannot hold the levels. */
QX_API qx_status qx_layout_make(qx_ctx *cx,
                                const qx_layout_spec *spec,
                                uint64_t seed,
                                qx_layout **out);

/* All that is wrong with a spec, each as a sentence with what would fit; the callback is
 * called once for each. Gives the number of problems. */
typedef void qx_layout_complaint(void *listener,
                                 size_t unit,
                                 size_t treatment,
                                 const char *wrong,
                                 const char *expected);
QX_API size_t qx_layout_problems(qx_ctx *cx,
                                 const qx_layout_spec *spec,
                                 qx_layout_complaint *complain,
                                 void *listener);

QX_API void qx_layout_free(qx_layout *layout);

#endif
