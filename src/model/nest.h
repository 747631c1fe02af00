/* model/nest.h - units inside units, taken out of the likelihood by closed forms. Private to
 * model/.
 *
 * A random term is *nested in everything* when all rows of each of its units agree in X and
 * in the codes of all other terms. Such a term, the lowest first, leaves the model without
 * any matrix: with r the residuals of least squares, a unit with children c (rows, or the
 * units below) and D its covariance,
 *
 *     sigma = sum w_c    b' = sum b_c     rho = 1 / (1 + gamma sigma)
 *     w = 1'D^-1 1 = rho sigma            b = 1'D^-1 r = rho b'
 *     r'D^-1 r = sum q_c - gamma rho b'^2       log|D| = sum log|D_c| - log rho
 *
 * and it looks like one row of weight w from above. What is left are *atoms*: sets that
 * agree in X and in all codes of the terms that stay (the core, model/core.h). Every number
 * is a jet (model/jet.h) over the gammas of the terms taken out, so first and second
 * derivatives are exact.
 *
 * Rows of one lowest unit go on as their number and mean; units of equal size in one parent
 * are alike (a *class*) and go on as their count, mean and sum of squares. An evaluation
 * costs the classes and the units above, not the rows: 200 sites x 50 treatments x 10 trees
 * x 10 branches are 10,000 classes.
 *
 * The structure belongs to the layout, the data to a response.
 * Source: Harville 1977, J Am Stat Assoc 72:320-338 (the likelihood); the recursion is
 * Woodbury's identity for one column, derived in docs/methods/sparse.md. */
#ifndef QX_MODEL_NEST_H
#define QX_MODEL_NEST_H

#include "model/alike.h"
#include "model/jet.h"

#define QX_NEST_MOST QX_JET_VARIABLES /* terms taken out; more stay in the core */

typedef struct qx_nest_level {
    size_t term;            /* random term */
    size_t units;           /* those that have rows */
    const uint32_t *level;  /* units: which level of the term */
    const uint32_t *parent; /* units: unit of the next level, or atom */
} qx_nest_level;

typedef struct qx_nest {
    size_t n;
    size_t depth; /* terms taken out, the lowest first */
    qx_nest_level level[QX_NEST_MOST];
    size_t cells;            /* rows alike in X and all codes */
    const uint32_t *cell_of; /* n */
    const uint32_t *size;    /* cells: rows */
    size_t classes;
    const uint32_t *class_of;     /* cells */
    const uint32_t *class_parent; /* classes: unit of the second level, or atom */
    const double *class_size;     /* classes: rows of each member */
    const double *class_count;    /* classes: members */
    size_t atoms;
    const uint32_t *set;   /* atoms: set of equal rows of X */
    size_t core_count;     /* terms that stay */
    const size_t *core;    /* core_count: their numbers */
    const uint32_t **code; /* core_count: of the atoms */
} qx_nest;

/* Of a response. */
typedef struct qx_nest_data {
    double within;   /* sum of squares of r inside cells */
    double *cell;    /* cells: mean of r */
    double *mean;    /* classes: mean of the members' means */
    double *squares; /* classes: sum of squares of the members' means about it */
} qx_nest_data;

/* Room of a walk, made for up to `depth` variables. */
typedef struct qx_nest_room {
    double *w, *b;                 /* atoms x jet */
    double *sigma[QX_NEST_MOST];   /* units x jet of the levels above the first */
    double *weighed[QX_NEST_MOST]; /* the same: b' */
    double q[QX_JET_MOST];         /* r'D^-1 r */
    double log_d[QX_JET_MOST];     /* log|D| */
} qx_nest_room;

/* The structure of m terms (levels and n codes each) and sets of equal rows of X, in
 * `arena`. With `flat`, no term is taken out (for tests and comparisons). */
qx_status qx_nest_make(qx_ctx *cx,
                       qx_arena *arena,
                       const qx_alike *x,
                       size_t m,
                       const size_t levels[],
                       const uint32_t *const code[],
                       bool flat,
                       qx_nest *out);

qx_status qx_nest_data_make(qx_ctx *cx,
                            qx_arena *arena,
                            const qx_nest *nest,
                            const double r[],
                            qx_nest_data *out);

qx_status
qx_nest_room_make(qx_ctx *cx, qx_arena *arena, const qx_nest *nest, qx_nest_room *out);

/* Weights and sums of all atoms at gamma (one for each random term; data NULL: of a response
 * of zeros), with derivatives in `s` variables: 0 or nest->depth; variable k is the term of level k. Cost: classes and
 * units times s^2. */
void qx_nest_walk(const qx_nest *nest,
                  const qx_nest_data *data,
                  const double gamma[],
                  size_t s,
                  qx_nest_room *room);

/* After a walk: the predicted effect of every unit of the terms taken out, into
 * effect[k] (units of level k), and what is expected of each cell, `cell` (cells), from
 * that of the atoms. QX_E_NOMEM. */
qx_status qx_nest_effects(qx_ctx *cx,
                          const qx_nest *nest,
                          const qx_nest_data *data,
                          const double gamma[],
                          size_t s,
                          const qx_nest_room *room,
                          const double atom[],
                          double *effect[],
                          double cell[]);

#endif
