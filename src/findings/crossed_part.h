/* findings/crossed_part.h - the factorial beside an added control.
 *
 * An added control is one combination whose levels occur with nothing else: with products
 * none, x, y and doses 0, 1, 2 the combination (none, 0), while x and y are crossed with 1
 * and 2. Over the whole grid no main effect can be estimated, for the grid holds (none, 1)
 * and (x, 0). Over the part that is crossed everything can:
 *
 *     mean of x        (x1 + x2) / 2                     cells' means, equal weights
 *     test of product  x1 + x2 = y1 + y2
 *     control against the rest   c - (x1 + x2 + y1 + y2) / 4
 *
 * Rows over the columns of the model are made for these. Levels of factors that are crossed
 * with the control too are averaged over, or held, as everywhere.
 * Source: Cochran & Cox 1957, Experimental Designs, sec. 3.42-3.44 (single degrees of
 * freedom and parts of a treatment sum of squares); from memory.
 *
 * Not here: what is made of the rows (added_control.h). */
#ifndef QX_FINDINGS_CROSSED_PART_H
#define QX_FINDINGS_CROSSED_PART_H

#include "findings/cells.h"

typedef struct qx_added {
    size_t count;                        /* factors that meet in the control; 0: none */
    size_t factor[QX_TERM_FACTORS_MOST]; /* frame factor numbers */
    size_t level[QX_TERM_FACTORS_MOST];  /* of the control */
    size_t rest;                         /* combinations of their other levels */
} qx_added;

/* Looks for an added control in the data: levels of two or more treatments that share
 * their rows, while all combinations of the other levels are there. */
qx_status qx_added_find(qx_work *w, qx_added *out);

/* Does the term have all (`all`) or some of the factors that meet in the control? */
bool qx_added_in(const qx_added *a, const qx_term *term, bool all);

/* The cells of these factors in the crossed part, each averaged over the crossed part of
 * the other factors of the control. In scratch memory of w->cx. */
qx_status qx_part_cells(
    qx_work *w, const qx_added *a, size_t count, const size_t factor[], qx_cells *out);

/* Rows (num x p) of the hypothesis "the term is nil" in the crossed part; num is 0 when a
 * factor has one level there. *estimable is false when some row cannot be estimated. */
qx_status qx_part_hypothesis(
    qx_work *w, const qx_added *a, const qx_term *term, qx_mat *out, bool *estimable);

/* The control less the average of the crossed part: one row with no factors; else rows of
 * the hypothesis that this difference does not change with the levels of `factor`, none of
 * which meets in the control. */
qx_status qx_part_against_control(qx_work *w,
                                  const qx_added *a,
                                  size_t count,
                                  const size_t factor[],
                                  qx_mat *out,
                                  bool *estimable);

#endif
