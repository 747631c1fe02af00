#include "model/grouped.h"

#include <stdlib.h>

static int ascending(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

size_t qx_grouped_size(const qx_grouped *grouped, size_t g)
{
    return grouped->start[g + 1] - grouped->start[g];
}

qx_status qx_grouped_make(qx_ctx *cx,
                          size_t n,
                          const double x[],
                          size_t groups,
                          const uint32_t group[],
                          qx_grouped *out)
{
    size_t *start, *next;
    double *value;
    QX_NEW(cx, start, groups + 1);
    QX_NEW(cx, next, groups + 1);
    QX_NEW(cx, value, n);
    for (size_t i = 0; i < n; i++) {
        if (group[i] >= groups) {
            return qx_fail(
                cx, QX_E_ARG, "value %zu is in a group that is not there", i + 1);
        }
        start[group[i] + 1]++;
    }
    *out = (qx_grouped){.n = n, .groups = groups, .start = start, .value = value};
    for (size_t g = 0; g < groups; g++) {
        out->filled += start[g + 1] > 0 ? 1U : 0U;
        start[g + 1] += start[g];
        next[g] = start[g];
    }
    for (size_t i = 0; i < n; i++) {
        value[next[group[i]]++] = x[i];
    }
    for (size_t g = 0; g < groups; g++) {
        qsort(value + start[g], qx_grouped_size(out, g), sizeof value[0], ascending);
    }
    return QX_OK;
}
