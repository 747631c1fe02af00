/* findings/family.h - the differences of one family of means, from rows to verdicts. */
#ifndef QX_FINDINGS_FAMILY_H
#define QX_FINDINGS_FAMILY_H

#include "base/array.h"
#include "findings/cells.h"

typedef struct qx_pair_family {
    const char *term;
    const qx_cells *cells;
    size_t member_count;
    const size_t *member; /* cells that are compared with each other */
    size_t named;   /* factors of a cell that tell first from second (the first ones) */
    size_t control; /* member number of the control, or QX_NO_COLUMN */
    size_t unit;    /* frame unit that is the replicate of these means */
} qx_pair_family;

/* Adds the family's differences to `out` (qx_difference items), class by class where there
 * are classes. `letters` (class_count x member_count texts, class by class) may be NULL;
 * entries stay NULL where there are none. */
qx_status qx_family_compare(qx_work *w,
                            const qx_pair_family *family,
                            qx_array *out,
                            const char *letters[]);

#endif
