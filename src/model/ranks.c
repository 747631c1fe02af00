#include "model/ranks.h"

#include <math.h>
#include <stdlib.h>

#include "model/grouped.h"
#include "numeric/dist.h"

typedef struct placed {
    double value;
    size_t at; /* its place among the values given */
} placed;

static int by_value(const void *a, const void *b)
{
    const placed *x = a, *y = b;
    return (x->value > y->value) - (x->value < y->value);
}

/* Ranks of n values, ties in the middle; returns the sum of t^3 - t over tied sets.
 * `work` has room for n. */
static double rank_values(size_t n, const double x[], placed work[], double rank[])
{
    double ties = 0.0;
    size_t last;
    for (size_t i = 0; i < n; i++) {
        work[i] = (placed){x[i], i};
    }
    qsort(work, n, sizeof work[0], by_value);
    for (size_t first = 0; first < n; first = last) {
        last = first + 1;
        while (last < n && !(work[last].value > work[first].value)) {
            last++;
        }
        const double t = (double)(last - first);
        ties += t * t * t - t;
        for (size_t i = first; i < last; i++) {
            rank[work[i].at] = ((double)first + 1.0 + (double)last) / 2.0;
        }
    }
    return ties;
}

static qx_status kruskal_wallis(qx_ctx *cx,
                                size_t n,
                                const double x[],
                                size_t groups,
                                const uint32_t group[],
                                qx_check_value *out)
{
    double *rank;
    placed *work;
    qx_grouped g;
    QX_NEW(cx, rank, n);
    QX_NEW(cx, work, n);
    const double ties = rank_values(n, x, work, rank);
    QX_TRY(qx_grouped_make(cx, n, rank, groups, group, &g));
    *out = (qx_check_value){NAN, NAN, NAN, NAN};
    if (g.filled < 2) {
        return QX_OK;
    }
    const double size = (double)n, middle = (size + 1.0) / 2.0;
    double spread = 0.0;
    for (size_t i = 0; i < groups; i++) {
        double off =
            0.0; /* rank sum less what is expected: small numbers, no cancelling */
        for (size_t k = g.start[i]; k < g.start[i + 1]; k++) {
            off += g.value[k] - middle;
        }
        spread +=
            qx_grouped_size(&g, i) > 0 ? off * off / (double)qx_grouped_size(&g, i) : 0;
    }
    out->num_df = (double)(g.filled - 1);
    const double untied = 1.0 - ties / (size * size * size - size);
    if (untied > 0.0) {
        out->value = 12.0 * spread / (size * (size + 1.0)) / untied;
        out->p = qx_chisq_p(out->value, out->num_df, QX_UPPER);
    }
    return QX_OK;
}

qx_status qx_kruskal_wallis(qx_ctx *cx,
                            size_t n,
                            const double x[],
                            size_t groups,
                            const uint32_t group[],
                            qx_check_value *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, kruskal_wallis(cx, n, x, groups, group, out));
    return status;
}

/* A table of blocks, each `treatments` values long. */
typedef struct table {
    size_t treatments, blocks;
    double *cell;
} table;

static qx_status fill_table(qx_ctx *cx,
                            const double x[],
                            const uint32_t treatment[],
                            const uint32_t block[],
                            table *t)
{
    const size_t cells = t->treatments * t->blocks;
    bool *filled;
    QX_NEW(cx, t->cell, cells);
    QX_NEW(cx, filled, cells);
    for (size_t i = 0; i < cells; i++) {
        if (treatment[i] >= t->treatments || block[i] >= t->blocks) {
            return qx_fail(cx, QX_E_ARG, "value %zu is in no cell of the table", i + 1);
        }
        const size_t at = treatment[i] + block[i] * t->treatments;
        if (filled[at]) {
            return qx_fail(cx, QX_E_ARG, "value %zu is the second in its cell", i + 1);
        }
        filled[at] = true;
        t->cell[at] = x[i];
    }
    return QX_OK;
}

static qx_status friedman(qx_ctx *cx,
                          const double x[],
                          const uint32_t treatment[],
                          const uint32_t block[],
                          table t,
                          qx_check_value *out)
{
    const double k = (double)t.treatments, b = (double)t.blocks;
    double *sum, *rank, ties = 0.0, spread = 0.0;
    placed *work;
    QX_TRY(fill_table(cx, x, treatment, block, &t));
    QX_NEW(cx, sum, t.treatments);
    QX_NEW(cx, rank, t.treatments);
    QX_NEW(cx, work, t.treatments);
    for (size_t i = 0; i < t.blocks; i++) {
        ties += rank_values(t.treatments, t.cell + i * t.treatments, work, rank);
        for (size_t j = 0; j < t.treatments; j++) {
            sum[j] += rank[j] - (k + 1.0) / 2.0;
        }
    }
    for (size_t j = 0; j < t.treatments; j++) {
        spread += sum[j] * sum[j];
    }
    *out = (qx_check_value){NAN, NAN, k - 1.0, NAN};
    const double room = b * k * (k + 1.0) - ties / (k - 1.0);
    if (room > 0.0) {
        out->value = 12.0 * spread / room;
        out->p = qx_chisq_p(out->value, k - 1.0, QX_UPPER);
    }
    return QX_OK;
}

qx_status qx_friedman(qx_ctx *cx,
                      size_t n,
                      const double x[],
                      size_t treatments,
                      const uint32_t treatment[],
                      size_t blocks,
                      const uint32_t block[],
                      qx_check_value *out)
{
    qx_status status;
    if (treatments < 2 || blocks < 2 || n != treatments * blocks) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "Friedman's test needs one value in each of %zu x %zu cells, "
                       "there are %zu values",
                       blocks,
                       treatments,
                       n);
    }
    const table t = {.treatments = treatments, .blocks = blocks};
    QX_SCRATCH(cx, status, friedman(cx, x, treatment, block, t, out));
    return status;
}
