/* layout/lines.h - rows and columns that cross, as plots: codes, cells, orders by chance.
 *
 * A rectangle (group) has row_held x column_held cells, each with one plot or, where a tree
 * is left out, none. Lines lie inside their rectangle or run through all of them.
 *
 * Inner header of the folder. */
#ifndef QX_LAYOUT_LINES_H
#define QX_LAYOUT_LINES_H

#include "layout/drawing.h"

#define QX_NO_PLOT      ((size_t)-1)
#define QX_GAPS_IN_MOST ((size_t)2500) /* plots beside gaps: n x n doubles, 50 MB */

typedef struct qx_lines {
    size_t *row, *column; /* code of each plot, through the whole trial */
    size_t rows, columns;
    bool row_inside, column_inside; /* inside the rectangle, else through all of them */
    size_t *cell; /* plot of rectangle, row, column; QX_NO_PLOT: left out */
    size_t cells; /* of all rectangles */
} qx_lines;

/* Everything in scratch. QX_E_NOMEM. */
qx_status qx_lines_find(qx_drawing *d, qx_lines *l);

/* Orders of the rows, columns and rectangles that keep the gaps where they are: lines with
 * gaps at the same places (all, without gaps) are shuffled among each other, each such order
 * as likely as any other; lines that run through keep their order in each rectangle.
 *   row     group_count x row_held: number of the line that comes here
 *   column  group_count x column_held
 *   group   group_count */
typedef struct qx_line_orders {
    size_t *row, *column, *group;
} qx_line_orders;

/* QX_E_NOMEM. `columns_stay`: columns keep their order or are mirrored, all at once. */
qx_status qx_lines_shuffle(qx_drawing *d,
                           const qx_lines *l,
                           bool columns_stay,
                           qx_line_orders *out);

/* The plot of `from`'s cell that comes to the plot's own. */
size_t qx_lines_source(const qx_drawing *d,
                       const qx_lines *l,
                       const qx_line_orders *o,
                       size_t plot);

/* M = I - P, plots x plots: what is left of plots when rows and columns are taken out, also
 * where gaps make these lean on each other. Plain loops: the same on every machine. In
 * scratch. QX_E_NOMEM; QX_E_INPUT: more than QX_GAPS_IN_MOST plots. Cost: O(n^2 C). */
qx_status qx_lines_left(qx_drawing *d, const qx_lines *l, double **out);

#endif
