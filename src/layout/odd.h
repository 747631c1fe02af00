/* layout/odd.h - trees whose size is unlike that of the others, or of their neighbours.
 *
 *   among all        z = 0.6745 (s - med) / MAD,   s = log size; odd when |z| > 3.5
 *                    (Iglewicz & Hoaglin 1993, How to Detect and Handle Outliers, ASQC)
 *   among neighbours the same of s minus the median of the nearest ones: a tree may be of
 *                    ordinary size and still unlike all that stand around it
 *
 * MAD: median absolute deviation from the median. Where it is zero (more than half of the
 * trees have one size) no tree is called odd. Logarithms, since trunk areas spread in
 * proportion to their size. An odd tree is named, never left out by itself. */
#ifndef QX_LAYOUT_ODD_H
#define QX_LAYOUT_ODD_H

#include "base/ctx.h"

#define QX_ODD_LIMIT     3.5
#define QX_ODD_NEIGHBOUR 8 /* nearest trees that are looked at */

typedef struct qx_oddness {
    double among_all;        /* z; NAN without a size or a spread */
    double among_neighbours; /* NAN with fewer than 3 neighbours that have a size */
} qx_oddness;

/* count trees at (x_m, y_m) with size > 0 or NAN; out: count. QX_E_ARG, QX_E_NOMEM.
 * Cost: O(count^2). */
QX_API qx_status qx_odd_trees(qx_ctx *cx,
                              size_t count,
                              const double x_m[],
                              const double y_m[],
                              const double size[],
                              qx_oddness out[]);

#endif
