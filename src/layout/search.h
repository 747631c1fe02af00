/* layout/search.h - treatments on plots so that their differences are as exact as they can
 * be: interchange of plots and threshold accepting.
 *
 * The plots and their blockings are given and orthogonal to each other in the sense that
 *
 *     C = R - sum_f s_f sum_b n_fb n_fb' / k_fb
 *
 * with signs s_f = +1 (blocks; rows; columns) or -1 (what rows and columns of several
 * rectangles hold twice: the rectangles; the whole for a single one). n_fb counts the
 * treatments in block b of blocking f, k_fb is its size.
 *
 * Treatments i on plot p and j on plot q change places: with d = e_j - e_i,
 *
 *     C' = C - (a d' + d a'),   a = sum_f s_f ( n_fb/k_fb - n_fc/k_fc
 *                                              + (1/k_fb + 1/k_fc) d / 2 )
 *
 * over the blockings that have p in a block b and q in another, c. Where rows and columns have
 * gaps, C = X'MX with M = I - P, and a = -(X'M(e_p - e_q) + (M_pp + M_qq - 2 M_pq) d / 2).
 * With G = (C + M)^-1
 * (M: the mean of each family of treatments) and H = G^2 the change of the criterion
 * tr G = sum 1/eigenvalue follows from six sparse quadratic forms (Woodbury 1950):
 *
 *     rho = (1 - a'Gd)^2 - a'Ga d'Gd                              = det C' / det C
 *     tr G' - tr G = ( d'Gd a'Ha + 2 (1 - a'Gd) a'Hd + a'Ga d'Hd ) / rho
 *
 * so that a try costs O(k^2) and a change O(v^2). Tries are accepted while they make tr G
 * worse by less than a threshold that falls to zero (Dueck & Scheuer 1990): no exp or log
 * enters, and no BLAS, so that the same seed gives the same layout on every machine. Several
 * starts, the best is kept; the work is counted, not timed.
 *
 * Source: Woodbury 1950, Memorandum Report 42, Statistical Research Group, Princeton; John &
 *         Williams 1995, Cyclic and Computer Generated Designs, ch. 3 (interchange; from
 *         memory); Dueck & Scheuer 1990, J Comput Phys 90:161-175. */
#ifndef QX_LAYOUT_SEARCH_H
#define QX_LAYOUT_SEARCH_H

#include "layout/criteria.h"
#include "numeric/rng.h"

#define QX_SEARCH_TREATMENTS_MOST ((size_t)1200) /* two v x v matrices of doubles */

typedef struct qx_search {
    size_t plots, treatments;
    const uint32_t
        *family;         /* of each treatment: only inside a family are they compared and
                               change places; NULL: all in one */
    size_t family_count; /* 1 with NULL */
    size_t blocking_count;
    qx_blocking blocking[QX_BLOCKINGS_MOST];
    double sign[QX_BLOCKINGS_MOST];
    const double
        *left; /* plots x plots: M = I - P where the blockings are not orthogonal (gaps),
                  which then only give the starts their scale; NULL: as above */
    size_t set_count;
    const uint32_t
        *set;        /* of each plot: places are changed inside a set only; NULL: all */
    bool good_start; /* the start is a construction worth polishing (construct.h) */
    size_t hits;     /* that many starts with the same best end the search; 0: never */
    double target;   /* tr G that no layout can go below; 0 if not known */
    double work;     /* multiplications to spend at most; QX_SEARCH_WORK is usual */
} qx_search;

#define QX_SEARCH_WORK 4e8 /* under a second on a machine of 2020 */

/* Improves `treatment` (plots entries; a start that holds what must be held, such as equal
 * replication and complete sets). *trace: tr of the inverse of C on differences, INFINITY
 * if the best found is not connected. Errors: NOMEM, CANCELLED, ARG (too many treatments).*/
QX_API qx_status qx_search_run(qx_ctx *cx,
                               const qx_search *problem,
                               qx_rng *rng,
                               uint32_t treatment[],
                               double *trace);

#endif
