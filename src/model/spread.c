#include "model/spread.h"

#include <math.h>

#include "model/grouped.h"
#include "numeric/dist.h"
#include "numeric/sums.h"

/* Squares of distances below this share of all are rounding. */
static const double ROUNDING = 1e-26;

static const qx_check_value nothing = {NAN, NAN, NAN, NAN};

/* Values become their distances from the median of their group. */
static void to_distances(const qx_grouped *g)
{
    for (size_t i = 0; i < g->groups; i++) {
        double *x = g->value + g->start[i];
        const size_t size = qx_grouped_size(g, i);
        if (size == 0) {
            continue;
        }
        const double low = x[(size - 1) / 2];
        const double median = low + (x[size / 2] - low) / 2.0;
        for (size_t k = 0; k < size; k++) {
            x[k] = fabs(x[k] - median);
        }
    }
}

static qx_check_value one_way(const qx_grouped *g)
{
    qx_check_value out = nothing;
    const double mean = qx_mean(g->n, g->value);
    double between = 0.0, within = 0.0;
    for (size_t i = 0; i < g->groups; i++) {
        const size_t size = qx_grouped_size(g, i);
        if (size > 0) {
            const double d = qx_mean(size, g->value + g->start[i]) - mean;
            between += (double)size * d * d;
            within += qx_sum_of_squares(size, g->value + g->start[i]);
        }
    }
    out.num_df = (double)(g->filled - 1);
    out.den_df = (double)(g->n - g->filled);
    /* Equal distances differ by rounding alone: there is nothing to compare with. */
    if (within > ROUNDING * (between + (double)g->n * mean * mean)) {
        out.value = (between / out.num_df) / (within / out.den_df);
        out.p = qx_f_p(out.value, out.num_df, out.den_df, QX_UPPER);
    }
    return out;
}

static qx_status brown_forsythe(qx_ctx *cx,
                                size_t n,
                                const double x[],
                                size_t groups,
                                const uint32_t group[],
                                qx_check_value *out)
{
    qx_grouped g;
    QX_TRY(qx_grouped_make(cx, n, x, groups, group, &g));
    *out = nothing;
    if (g.filled >= 2 && g.filled < n) {
        to_distances(&g);
        *out = one_way(&g);
    }
    return QX_OK;
}

qx_status qx_brown_forsythe(qx_ctx *cx,
                            size_t n,
                            const double x[],
                            size_t groups,
                            const uint32_t group[],
                            qx_check_value *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, brown_forsythe(cx, n, x, groups, group, out));
    return status;
}

static qx_check_value bartlett_of(const qx_grouped *g)
{
    qx_check_value out = nothing;
    double df = 0.0, squares = 0.0, logs = 0.0, inverses = 0.0;
    for (size_t i = 0; i < g->groups; i++) {
        const size_t size = qx_grouped_size(g, i);
        if (size == 0) {
            continue;
        }
        const double v = (double)size - 1.0;
        const double ss = qx_sum_of_squares(size, g->value + g->start[i]);
        if (!(v > 0.0) || !(ss > 0.0)) {
            return out;
        }
        df += v;
        squares += ss;
        logs += v * log(ss / v);
        inverses += 1.0 / v;
    }
    out.num_df = (double)(g->filled - 1);
    const double correction = 1.0 + (inverses - 1.0 / df) / (3.0 * out.num_df);
    out.value = (df * log(squares / df) - logs) / correction;
    out.p = qx_chisq_p(fmax(0.0, out.value), out.num_df, QX_UPPER);
    return out;
}

static qx_status bartlett(qx_ctx *cx,
                          size_t n,
                          const double x[],
                          size_t groups,
                          const uint32_t group[],
                          qx_check_value *out)
{
    qx_grouped g;
    QX_TRY(qx_grouped_make(cx, n, x, groups, group, &g));
    *out = g.filled >= 2 ? bartlett_of(&g) : nothing;
    return QX_OK;
}

qx_status qx_bartlett(qx_ctx *cx,
                      size_t n,
                      const double x[],
                      size_t groups,
                      const uint32_t group[],
                      qx_check_value *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, bartlett(cx, n, x, groups, group, out));
    return status;
}
