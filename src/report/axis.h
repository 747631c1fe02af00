/* report/axis.h - round numbers along an axis: steps of 1, 2 or 5 times a power of ten,
 * as many as their labels leave room for. */
#ifndef QX_REPORT_AXIS_H
#define QX_REPORT_AXIS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "report/scale.h"

#define QX_TICKS_MOST 12

typedef struct qx_axis {
    double low, high; /* first and last tick: the extent lies between them */
    size_t count;
    double tick[QX_TICKS_MOST];
    const char *label[QX_TICKS_MOST];
} qx_axis;

/* Ticks for what `extent` holds over `length` paper units, labels side by side if `across`.
 * An extent of one value is widened; an empty one goes from 0 to 1. False: no memory. */
bool qx_axis_make(
    qx_arena *arena, qx_extent extent, double length, bool across, qx_axis *out);

#endif
