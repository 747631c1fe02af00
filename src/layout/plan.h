/* layout/plan.h - what follows from a spec before chance comes in: the order of the units,
 * how many there are, and for each unit that carries treatments where its levels are drawn.
 *
 * Notation: path(u) is the set of all units above u and u itself. Every unit counts things
 * per parent (per cell of crossed parents), so that
 *
 *     total(u)    = product of count(a) over a in path(u)
 *     held(u, g)  = total(u) / total(g)              things of u in one g, g above u
 *
 * A stratum is a unit with treatments. Its combinations (all, or those that an added control
 * leaves) are drawn inside one of its groups, which are found by going up from the unit:
 *
 *   1. the parent (the cell of crossed parents), if it holds every combination as often as it
 *      was wished;
 *   2. past a parent that holds a single thing and has no treatments of its own;
 *   3. the whole trial, if nothing stands above; as equally as the number allows;
 *   4. rows and columns that cross, one thing in each cell: a Latin square if they are as
 *      many as the combinations, else a row-column layout by search;
 *   5. a parent that cannot hold every combination: incomplete blocks by search, complete
 *      inside the smallest unit above that can hold all of them;
 *   6. checks among the levels: augmented blocks, or rows and columns with checks;
 *   7. things that are left out: blocks, or rows and columns, of what there is.
 *
 * With guards only every (guards + 1)th thing of a unit inside its parent is treated, and
 * only these are counted.
 *
 * Inner header of the folder: kinds read it, nobody else does. */
#ifndef QX_LAYOUT_PLAN_H
#define QX_LAYOUT_PLAN_H

#include "layout/layout.h"
#include "layout/wishes.h"

#define QX_WHOLE_TRIAL      ((size_t)-1)
#define QX_UNITS_MOST       64
#define QX_PLACED_MOST      ((size_t)1000000) /* things of all units together */
#define QX_LATIN_ORDER_MOST ((size_t)50)      /* see latin_square.h for the cost */

typedef enum {
    QX_RULE_SHUFFLE, /* every combination as often as wished in every group */
    QX_RULE_LATIN,   /* every combination once in every row and every column of a group */
    QX_RULE_UNEQUAL, /* the whole trial is one group and no multiple of the combinations */
    QX_RULE_INCOMPLETE, /* groups that cannot hold every combination equally often */
    QX_RULE_ROWCOL, /* the same for rows and columns at once; with gaps or checks too */
    QX_RULE_AUGMENTED, /* checks in every group, everything else once */
    QX_RULE_NONE       /* the units cannot hold the levels */
} qx_rule;

typedef struct qx_stratum {
    size_t unit;
    size_t treatment_count; /* treatments on this unit, in the spec's order */
    size_t *treatment;
    size_t combinations; /* to be drawn; SIZE_MAX if their number overflows */
    const size_t
        *cell; /* of each its number among all, last treatment fastest; NULL: all */
    const size_t *share; /* how often each, or in what proportion; NULL: once */
    size_t share_sum;    /* combinations, if `share` is NULL */
    size_t checks;       /* augmented: combinations that are checks */
    const bool *check;   /* augmented: which; else NULL */
    size_t guards;       /* untreated things after each treated one */
    size_t left_out;     /* things that would be treated and are left out; blocks are then
                            uneven, `held` is the most */
    qx_rule rule;
    size_t group_count;              /* units whose things form a group together: 0 (whole
                                        trial), 1, or the crossed parents of a cell */
    size_t group[QX_LAYOUT_PARENTS]; /* their unit numbers */
    size_t held;                     /* treated things of the unit in one group */
    size_t set;                   /* incomplete, rows and columns: smallest unit above the
                                        groups that holds every combination as wished, or
                                        QX_WHOLE_TRIAL */
    size_t set_held;              /* treated things in one set */
    size_t rows, columns;         /* unit numbers of rows that cross columns */
    size_t row_held, column_held; /* rows and columns in one group */
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

/* Is any treatment put on the unit? */
bool qx_plan_treated(const qx_plan *plan, size_t unit);

/* a * b, or SIZE_MAX when it does not fit or one of them did not. */
size_t qx_times(size_t a, size_t b);

/* Adds the stratum of a unit with treatments to the plan (plan_strata.c). */
qx_status qx_stratum_make(qx_ctx *cx, qx_arena *arena, qx_plan *plan, size_t unit);

/* Can n things tell so many combinations apart when so many blocks are taken out? */
bool qx_connectable(size_t things, size_t blocks, size_t combinations);

/* `cell` lies in two crossed units and holds one thing of the stratum: a Latin square or a
 * rectangle for it? Sets group, rows, columns and the rule (plan_crossed.c). */
void qx_stratum_cross(const qx_plan *plan, qx_stratum *s, size_t cell);

/* Treated things among `count` things of the stratum's unit inside one parent, and whether
 * the thing with this number (from 1) is one of them. */
size_t qx_stratum_treated(const qx_stratum *s, size_t count);
bool qx_stratum_treats(const qx_stratum *s, size_t number);

/* Things of the stratum's unit that are treated, in the whole trial. */
size_t qx_stratum_things(const qx_plan *plan, const qx_stratum *s);

/* Units of the path of `u` as things are told: larger ones first, itself last. Gives their
 * number; `out` has QX_UNITS_MOST entries. */
size_t qx_plan_path(const qx_plan *plan, size_t u, size_t out[]);

/* Things of `u` in one `g`; g stands above u, or is QX_WHOLE_TRIAL. */
size_t qx_plan_held(const qx_plan *plan, size_t u, size_t g);

/* "pinch x angle" in `arena`; NULL: no memory. */
const char *qx_stratum_names(qx_arena *arena, const qx_plan *plan, const qx_stratum *s);

/* "block", "cell of row and column" or "trial" in `arena`; NULL: no memory. */
const char *qx_stratum_group(qx_arena *arena, const qx_plan *plan, const qx_stratum *s);

#endif
