/* model/core.h - the equations of the terms that do not leave a likelihood by closed forms:
 * fixed columns and the random terms of the core, one sparse system. Private to model/.
 *
 * With E = [X Z] over the atoms of model/nest.h (each a row of X and one code for each core
 * term), W their weights, b their weighed sums and lambda the root of each column's gamma,
 *
 *     C = E'WE      h = E'b      S = diag(1 for X, lambda for Z)
 *     S C S + diag(0, I) = L L'                       (numeric/spchol.h)
 *     M = S (L L')^-1 S      mu = M h                 (fixed and random effects)
 *     log|V| + log|X'V^-1X| = log|D| + log|L L'|      y'Py = q - h'mu
 *
 * (Henderson's equations scaled by lambda, so that gamma = 0 is inside; Henderson 1950, Ann
 * Math Stat 21:309-310; Bates et al. 2015, J Stat Softw 67(1).) A lambda of zero is put at
 * LAMBDA_LEAST: every entry of the factor is exact relative to its own size, so the limits
 * of M / lambda^2 come out to full precision.
 *
 * C and h are jets over the gammas of the nested terms. C is summed in two steps: atoms into
 * *items* (sets of rows of X; pairs of a set and a code; pairs of codes), then each item into
 * its entries. The cost of the first is atoms times pairs of terms, whatever X looks like.
 *
 * Columns: those of X first, then the core terms one after the other. */
#ifndef QX_MODEL_CORE_H
#define QX_MODEL_CORE_H

#include "model/nest.h"
#include "numeric/spchol.h"

typedef struct qx_core {
    size_t p, size; /* columns of X, of E */
    size_t terms;
    const size_t *start; /* terms + 1: first column of each core term */
    const qx_nest *nest;
    qx_mat X; /* sets x p: the different rows of X */
    qx_sparse pattern;
    size_t tables;         /* kinds of items */
    const uint32_t **item; /* tables: item of each atom, counted in the table */
    const size_t *offset;  /* tables: its first item among all */
    size_t items;
    size_t entries;       /* item to entry of C */
    const uint32_t *from; /* entries: item */
    const uint32_t *to;   /* entries: place in the pattern */
    const double *times;  /* entries: coefficient */
    const qx_spchol *analysis;
    bool dense;        /* so small or so full that one dense matrix is quicker */
    double solve_cost; /* multiplications of one right-hand side, sparse */
} qx_core;

/* Values of C and h with their derivatives, and the factor at one gamma. */
typedef struct qx_core_room {
    size_t s;       /* variables of the jets below */
    double *sums;   /* items x jet */
    double *C;      /* jet x pattern: [c * entries of the pattern + e] */
    double *h;      /* jet x size */
    double *scale;  /* size: 1 or lambda */
    double *scaled; /* pattern */
    double *mu;     /* size: M h */
    double *root;   /* size: mu / scale */
    double log_det; /* log|L L'| */
    double h_mu;
    qx_spchol *factor; /* not when dense: */
    qx_mat K;          /* its factor */
} qx_core_room;

/* X: the different rows of X (sets x p; kept). Terms have levels[core number] columns.
 * `sparse`: never one dense matrix (for tests and on request).
 * QX_E_NOMEM; QX_E_SHAPE when there are more entries than can be numbered. */
qx_status qx_core_make(qx_ctx *cx,
                       qx_arena *arena,
                       const qx_nest *nest,
                       qx_mat X,
                       const size_t levels[],
                       bool sparse,
                       qx_core *out);

qx_status
qx_core_room_make(qx_ctx *cx, qx_arena *arena, const qx_core *core, qx_core_room *out);

/* Everything of the room after a walk with s variables; lambda (size - p) of the columns
 * of Z. QX_E_NOT_PD, QX_E_NUMERIC. */
qx_status qx_core_solve(qx_ctx *cx,
                        const qx_core *core,
                        const qx_nest_room *walk,
                        size_t s,
                        const double lambda[],
                        qx_core_room *room);

/* Values of C: its derivative number c of the jet (0: C itself). */
const double *qx_core_values(const qx_core *core, const qx_core_room *room, size_t c);

/* B := (L L')^-1 B, and B := S B. */
qx_status qx_core_apply(qx_ctx *cx, const qx_core_room *room, qx_mat B);
void qx_core_scale(const qx_core_room *room, qx_mat B);

/* Multiplications of the factor. */
double qx_core_factor_cost(const qx_core *core);

/* Core term of a column, or `terms` for a column of X. */
size_t qx_core_term_of(const qx_core *core, size_t column);

#endif
