/* model/grouped.h - values laid out group by group; for the tests of assumptions here. */
#ifndef QX_MODEL_GROUPED_H
#define QX_MODEL_GROUPED_H

#include <stddef.h>
#include <stdint.h>

#include "base/ctx.h"

typedef struct qx_grouped {
    size_t n;
    size_t groups;       /* all numbers, empty groups included */
    size_t filled;       /* groups with values */
    const size_t *start; /* groups + 1: where each begins in `value` */
    double *value;       /* n, ascending inside each group */
} qx_grouped;

/* Sorts x into groups, in scratch memory that the caller holds.
 * QX_E_ARG (a group number not below `groups`), QX_E_NOMEM. Cost O(n log n). */
qx_status qx_grouped_make(qx_ctx *cx,
                          size_t n,
                          const double x[],
                          size_t groups,
                          const uint32_t group[],
                          qx_grouped *out);

/* Values in group g. */
size_t qx_grouped_size(const qx_grouped *grouped, size_t g);

#endif
