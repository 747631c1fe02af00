/* numeric/range_table.h - the studentised range of k means for many questions at once.
 *
 * A family of k means asks for tens of probabilities and quantiles. What they share, the
 * tail for a known standard deviation, P(range of k standard normals > w), is tabled once
 * on a grid of w and interpolated by a polynomial through sixteen neighbours: the tail
 * itself near 0, where its logarithm has complex singularities, the logarithm beyond
 * (relative error below 1e-9, and below 3e-10 for probabilities under 0.99, up to 100
 * means). Each question is then one short sum over the estimated standard deviation
 * (numeric/scale_mean.h).
 *
 * On a grid with step h, Phi(z - w) is again a value of the grid, and with whole k
 *
 *   Phi(z)^(k-1) - {Phi(z) - Phi(z-w)}^(k-1) = Phi(z-w) sum_i Phi(z)^i {...}^(k-2-i)
 *
 * keeps its digits without logarithms: a table costs some 50 microseconds.
 * Formula and accuracy of single values: numeric/range.c. */
#ifndef QX_NUMERIC_RANGE_TABLE_H
#define QX_NUMERIC_RANGE_TABLE_H

#include "base/ctx.h"

typedef struct qx_range_table {
    size_t k;               /* means */
    double step;            /* of the grid of w */
    size_t count;           /* nodes, the first at w = -QX_RANGE_TABLE_MARGIN steps */
    const double *tail;     /* count */
    const double *log_tail; /* count */
    struct qx_range_asked *asked; /* what was asked before; one thread at a time */
} qx_range_table;

#define QX_RANGE_TABLE_MARGIN 8
#define QX_RANGE_TABLE_MOST   1000 /* means */

/* k: 2 ... QX_RANGE_TABLE_MOST, else QX_E_ARG. The table lives in `arena`, which may be the
 * scratch of cx: nothing is rewound past it. */
QX_API qx_status qx_range_table_make(qx_ctx *cx,
                                     qx_arena *arena,
                                     size_t k,
                                     qx_range_table *out);

/* Tables that several families of one analysis share, made when first asked for. */
#define QX_RANGE_TABLES_KEPT 8
typedef struct qx_range_tables {
    qx_arena *arena; /* of the tables; not the scratch, which may be rewound between */
    size_t count;
    qx_range_table table[QX_RANGE_TABLES_KEPT];
} qx_range_tables;

/* The table of k, kept or made; beyond QX_RANGE_TABLES_KEPT the oldest makes room. *out is
 * a copy and valid as long as the arena. Errors: as qx_range_table_make. */
QX_API qx_status qx_range_tables_get(qx_ctx *cx,
                                     qx_range_tables *tables,
                                     size_t k,
                                     qx_range_table *out);

/* P(Q > q) with df >= 1 (or INFINITY); NAN outside. Probabilities below 1e-30 may be told
 * as 0. */
QX_API double qx_range_table_p(const qx_range_table *table, double q, double df);

/* The q with P(Q > q) = p, 0 < p < 1; NAN outside. */
QX_API double qx_range_table_q(const qx_range_table *table, double p, double df);

#endif
