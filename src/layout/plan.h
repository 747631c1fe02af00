/* layout/plan.h - what follows from a spec before chance comes in: the order of the units,
 * how many there are, and for each unit that carries treatments where its levels are drawn.
 *
 * Notation: path(u) is the set of all units above u and u itself. Every unit counts things
 * per parent (per cell of crossed parents), so that
 *
 *     total(u)    = product of count(a) over a in path(u)
 *     held(u, g)  = total(u) / total(g)              things of u in one g, g above u
 *
 * A stratum is a unit with treatments. Its combinations are drawn inside one of its groups,
 * which are found by going up from the unit:
 *
 *   1. the parent (the cell of crossed parents), if it holds every combination equally often;
 *   2. past a parent that holds a single thing and has no treatments of its own;
 *   3. the whole trial, if nothing stands above;
 *   4. rows and columns that cross, one thing in each cell: a Latin square.
 *
 * Inner header of the folder: kinds read it, nobody else does. */
#ifndef QX_LAYOUT_PLAN_H
#define QX_LAYOUT_PLAN_H

#include "layout/layout.h"

#define QX_WHOLE_TRIAL      ((size_t)-1)
#define QX_UNITS_MOST       64
#define QX_PLACED_MOST      ((size_t)1000000) /* things of all units together */
#define QX_LATIN_ORDER_MOST ((size_t)50)      /* see latin_square.h for the cost */

typedef enum {
    QX_RULE_SHUFFLE, /* every combination equally often in every group */
    QX_RULE_LATIN,   /* every combination once in every row and every column of a group */
    QX_RULE_NONE     /* the units cannot hold the levels */
} qx_rule;

typedef struct qx_stratum {
    size_t unit;
    size_t treatment_count; /* treatments on this unit, in the spec's order */
    size_t *treatment;
    size_t combinations; /* product of their levels; SIZE_MAX if it overflows */
    qx_rule rule;
    size_t group_count;              /* units whose things form a group together: 0 (whole
                                        trial), 1, or the crossed parents of a cell */
    size_t group[QX_LAYOUT_PARENTS]; /* their unit numbers */
    size_t held;                     /* things of the unit in one group */
    size_t rows, columns;            /* unit numbers of a Latin square */
    size_t row_held, column_held;    /* rows and columns in one group */
} qx_stratum;

typedef struct qx_plan {
    const qx_layout_spec *spec; /* borrowed */
    size_t *order; /* unit numbers, parents before children; spec->unit_count */
    bool *above;   /* above[u * unit_count + a]: a stands above u, or is u */
    bool *placed;  /* unit is placed: neither sampled nor below a sampled one */
    size_t *total; /* things of each unit; SIZE_MAX if it overflows */
    size_t stratum_count;
    qx_stratum *stratum; /* in the order of the units */
} qx_plan;

/* One complaint is passed on and counted. */
typedef struct qx_complaints {
    qx_layout_complaint *complain; /* may be NULL */
    void *listener;
    size_t count;
} qx_complaints;

/* Passes one complaint on. `treatment` or `unit` may be SIZE_MAX. */
void qx_complaint(qx_complaints *to,
                  size_t unit,
                  size_t treatment,
                  const char *wrong,
                  const char *expected);

/* The plan in `arena`. NULL in *out when the units themselves are impossible (circles,
 * numbers that do not exist, too many things): complained of in `to`. QX_E_NOMEM. */
qx_status qx_plan_make(qx_ctx *cx,
                       qx_arena *arena,
                       const qx_layout_spec *spec,
                       qx_complaints *to,
                       qx_plan **out);

/* Does unit `a` stand above `u` (or is it)? */
bool qx_plan_above(const qx_plan *plan, size_t u, size_t a);

/* Things of `u` in one `g`; g stands above u, or is QX_WHOLE_TRIAL. */
size_t qx_plan_held(const qx_plan *plan, size_t u, size_t g);

/* "pinch x angle" in `arena`; NULL: no memory. */
const char *qx_stratum_names(qx_arena *arena, const qx_plan *plan, const qx_stratum *s);

/* "block", "cell of row and column" or "trial" in `arena`; NULL: no memory. */
const char *qx_stratum_group(qx_arena *arena, const qx_plan *plan, const qx_stratum *s);

#endif
