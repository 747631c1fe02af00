/* model/frame.h - the columns of one analysis: factors, numbers and the response.
 *
 * n rows, all complete (rows with anything missing were left out before). Everything is
 * borrowed: whoever makes the frame owns its arrays. */
#ifndef QX_MODEL_FRAME_H
#define QX_MODEL_FRAME_H

#include <stddef.h>
#include <stdint.h>

#include "base/attr.h"

#define QX_TERM_FACTORS_MOST 8
#define QX_NO_COLUMN         ((size_t)-1)

typedef struct qx_factor {
    const char *name; /* "angle" or, for a random term, the path "block:tree" */
    size_t level_count;
    const char *const *level; /* texts in the protocol's order; NULL for units */
    const double *score;      /* the levels as numbers, or NULL */
    const char *const *label; /* units: what each is called, or NULL: told by number */
    const uint32_t *code;     /* n entries, 0 ... level_count - 1 */
} qx_factor;

typedef struct qx_number {
    const char *name;
    const double *value; /* n entries, finite */
} qx_number;

typedef struct qx_frame {
    size_t n;
    size_t factor_count;
    const qx_factor *factor;
    size_t number_count;
    const qx_number *number;
} qx_frame;

/* A fixed term: an interaction of factors, possibly with one covariate. */
typedef struct qx_term {
    const char *name; /* "pinch:angle", "trunk_area" */
    size_t factor_count;
    size_t factor[QX_TERM_FACTORS_MOST]; /* frame factor numbers, order of the name */
    size_t number;                       /* frame number, or QX_NO_COLUMN */
} qx_term;

#endif
