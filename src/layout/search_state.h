/* layout/search_state.h - what the parts of the search share.
 *
 *   search.c         starts and thresholds
 *   search_lists.c   plots of blocks and sets, the vector a of a change
 *   search_spread.c  cheap: squared spread of the eigenvalues, O(k) a try and a change
 *   search_exact.c   exact: trace of the inverse, O(k^2) a try and O(v^2) a change
 *
 * Inner header of the search. */
#ifndef QX_LAYOUT_SEARCH_STATE_H
#define QX_LAYOUT_SEARCH_STATE_H

#include "layout/search.h"

#define QX_SEARCH_SINGULAR 1e-9 /* det C'/det C or a pivot below: a difference is lost */

typedef struct qx_searching {
    qx_ctx *cx;
    const qx_search *in;
    qx_rng *rng;
    size_t v, n;
    uint32_t *at;   /* treatment of each plot */
    size_t **start; /* blocking: first member of each block in `member`; count + 1 */
    uint32_t **member;
    size_t *set_start; /* plots of each set, in set_plot */
    uint32_t *set_plot;
    double *G, *H; /* v x v; the cheap part keeps C in G */
    double *value; /* v: the vector a while it is gathered; zero outside of its entries */
    size_t *touched; /* its entries */
    size_t touched_count;
    double *ga, *gd, *ha, *hd; /* v each: products of a change */
    double ridge, mean_r, trace;
    double spent;
    size_t changes; /* since G was formed anew */
} qx_searching;

/* Room and lists, all in scratch. */
qx_status qx_searching_prepare(qx_searching *s);

uint32_t qx_searching_family(const qx_searching *s, size_t treatment);
size_t qx_searching_set(const qx_searching *s, size_t plot);
size_t qx_searching_sets(const qx_searching *s);

/* The vector a of the change of plots p and q into value/touched. False if no block
 * changes. Forget it afterwards. */
bool qx_searching_gather(qx_searching *s, size_t p, size_t q);
void qx_searching_forget(qx_searching *s);

/* Two different plots of one set; false: the same one was drawn twice. */
bool qx_searching_pick(qx_searching *s, size_t *p, size_t *q);

/* C into G, without ridge or means. */
void qx_searching_information(qx_searching *s);

/* Exact: G and H of the layout as it is; false when C is singular on differences. */
bool qx_exact_form(qx_searching *s);

/* Changes p and q if tr G then rises by less than `threshold`; true if it did. */
bool qx_exact_attempt(qx_searching *s, size_t p, size_t q, double threshold);

/* Rounding gathers in the updates: forms G anew now and then. False: singular. */
bool qx_exact_refresh(qx_searching *s);

/* Cheap: random tries with thresholds that fall to zero, `tries` in all. */
void qx_spread_run(qx_searching *s, size_t tries);

#endif
