/* Upper bounds of the A-efficiency from the sizes alone. Derivations:
 *
 * Trace. The e are eigenvalues of I - sum_b n_b n_b' / k_b scaled by R, so that their sum is
 * v - sum_i sum_b n_ib^2 / (r_i k_b). Each treatment's part is least when its plots go one
 * by one where the next costs least (convex, separable). "Loss" below is what is missing
 * from v - 1. The harmonic mean is at most the arithmetic one.
 *
 * Spread. Equal r and k, binary. Off its diagonal N N' has whole numbers with mean
 * l = r(k-1)/(v-1); N N' = (r-l) I + l J + D where D has zero row sums, hence
 * sum (e - c)^2 = tr D^2 / (rk)^2 >= v(v-1) a(1-a) / (rk)^2, a the fraction of l. A layout
 * that is not binary loses 2/(rk) of its trace at the least.
 *
 * Rank. N has rank b at most, so that v - b factors are 1 whatever the layout; the loss falls
 * on the other b - 1 and is worth least when spread evenly. When the blocks fall into s sets
 * that each hold every treatment, s - 1 more rows of N depend on the others. */
#include <math.h>

#include "layout/criteria.h"

typedef struct sizes {
    size_t plots, treatments;
    const size_t *replicates;
    size_t blocks;
    size_t *size;   /* of each block */
    size_t *filled; /* work */
} sizes;

static bool all_equal(size_t n, const size_t x[])
{
    for (size_t i = 1; i < n; i++) {
        if (x[i] != x[0]) {
            return false;
        }
    }
    return true;
}

/* Least sum_b x_b^2 / k_b with sum x_b = r. */
static double least_part(const sizes *s, size_t r)
{
    double part = 0;
    for (size_t b = 0; b < s->blocks; b++) {
        s->filled[b] = 0;
    }
    for (size_t n = 0; n < r; n++) {
        size_t best = 0;
        double least = (double)INFINITY;
        for (size_t b = 0; b < s->blocks; b++) {
            const double cost = (double)(2 * s->filled[b] + 1) / (double)s->size[b];
            if (s->size[b] > 0 && cost < least) {
                least = cost;
                best = b;
            }
        }
        s->filled[best]++;
        part += least;
    }
    return part;
}

static double loss_of(const sizes *s)
{
    double loss = -1;
    size_t last = 0;
    double part = 0;
    for (size_t t = 0; t < s->treatments; t++) {
        if (t == 0 || s->replicates[t] != last) {
            last = s->replicates[t];
            part = least_part(s, last) / (double)last;
        }
        loss += part;
    }
    return fmax(loss, 0);
}

static double spread_bound(const sizes *s, double mean)
{
    const size_t k = s->size[0];
    const size_t r = s->replicates[0];
    const double v = (double)s->treatments;
    const double m = v - 1;
    const double rk = (double)r * (double)k;
    const double rest = (double)(r * (k - 1) % (s->treatments - 1)) / m;
    const double S = v * m * rest * (1 - rest) / (rk * rk);
    if (s->treatments < 3 || S <= 0) {
        return mean;
    }
    const double d = sqrt(S / (m * (m - 1)));
    if (d >= mean) {
        return mean;
    }
    const double binary = m / (1 / (mean + (m - 1) * d) + (m - 1) / (mean - d));
    return fmax(binary, mean - 2 / (rk * m));
}

static double rank_bound(const sizes *s, double loss, size_t rank)
{
    const double m = (double)(s->treatments - 1);
    const double few = (double)(rank - 1);
    if (rank - 1 >= s->treatments - 1 || loss >= few) {
        return 1;
    }
    return few == 0 ? 1 : m / (m - few + few / (1 - loss / few));
}

/* Blocks of `inner` each inside one block of `outer`? */
static bool
nested(size_t plots, const qx_blocking *inner, size_t *first, const uint32_t *in)
{
    for (size_t b = 0; b < inner->count; b++) {
        first[b] = SIZE_MAX;
    }
    for (size_t i = 0; i < plots; i++) {
        const uint32_t b = inner->block[i];
        first[b] = first[b] == SIZE_MAX ? in[i] : first[b];
        if (first[b] != in[i]) {
            return false;
        }
    }
    return true;
}

static void count_sizes(size_t plots, const qx_blocking *blocking, size_t size[])
{
    for (size_t b = 0; b < blocking->count; b++) {
        size[b] = 0;
    }
    for (size_t i = 0; i < plots; i++) {
        size[blocking->block[i]]++;
    }
}

/* Sets of blocks that hold every treatment: those of a blocking as large as v. */
static qx_status sets_of(qx_ctx *cx,
                         const sizes *s,
                         size_t f,
                         size_t blocking_count,
                         const qx_blocking blocking[],
                         size_t *sets)
{
    *sets = 1;
    for (size_t g = 0; g < blocking_count; g++) {
        size_t *size = NULL;
        size_t *first = NULL;
        QX_NEW(cx, size, blocking[g].count);
        QX_NEW(cx, first, blocking[f].count);
        count_sizes(s->plots, &blocking[g], size);
        if (g != f && blocking[g].count > 0 && size[0] == s->treatments &&
            all_equal(blocking[g].count, size) &&
            nested(s->plots, &blocking[f], first, blocking[g].block)) {
            *sets = blocking[g].count;
        }
    }
    return QX_OK;
}

/* Does every block of one meet every block of the other in proportion to their sizes? */
static qx_status orthogonal(
    qx_ctx *cx, size_t plots, const qx_blocking *a, const qx_blocking *b, bool *out)
{
    size_t *cell = NULL;
    size_t *sa = NULL;
    size_t *sb = NULL;
    QX_NEW(cx, cell, a->count * b->count);
    QX_NEW(cx, sa, a->count);
    QX_NEW(cx, sb, b->count);
    count_sizes(plots, a, sa);
    count_sizes(plots, b, sb);
    for (size_t i = 0; i < plots; i++) {
        cell[a->block[i] * b->count + b->block[i]]++;
    }
    *out = true;
    for (size_t i = 0; i < a->count && *out; i++) {
        for (size_t j = 0; j < b->count && *out; j++) {
            *out = cell[i * b->count + j] * plots == sa[i] * sb[j];
        }
    }
    return QX_OK;
}

static qx_status one_way(qx_ctx *cx,
                         sizes *s,
                         size_t f,
                         size_t blocking_count,
                         const qx_blocking blocking[],
                         double *loss,
                         double *bound)
{
    const double m = (double)(s->treatments - 1);
    s->blocks = blocking[f].count;
    QX_NEW(cx, s->size, s->blocks);
    QX_NEW(cx, s->filled, s->blocks);
    count_sizes(s->plots, &blocking[f], s->size);
    *loss = loss_of(s);
    *bound = fmin(*bound, (m - *loss) / m);
    if (all_equal(s->blocks, s->size) && all_equal(s->treatments, s->replicates) &&
        s->size[0] <= s->treatments) {
        *bound = fmin(*bound, spread_bound(s, (m - *loss) / m));
    }
    size_t sets = 1;
    QX_TRY(sets_of(cx, s, f, blocking_count, blocking, &sets));
    *bound = fmin(*bound, rank_bound(s, *loss, s->blocks - sets + 1));
    return QX_OK;
}

static qx_status bound_of(qx_ctx *cx,
                          sizes *s,
                          size_t blocking_count,
                          const qx_blocking blocking[],
                          double *out)
{
    double loss[QX_BLOCKINGS_MOST] = {0};
    double bound = 1;
    const double m = (double)(s->treatments - 1);
    for (size_t f = 0; f < blocking_count; f++) {
        QX_TRY(one_way(cx, s, f, blocking_count, blocking, &loss[f], &bound));
    }
    for (size_t f = 0; f < blocking_count; f++) {
        for (size_t g = 0; g < f; g++) {
            bool both = false;
            QX_TRY(orthogonal(cx, s->plots, &blocking[f], &blocking[g], &both));
            if (both) {
                bound = fmin(bound, (m - loss[f] - loss[g]) / m);
            }
        }
    }
    *out = bound;
    return QX_OK;
}

qx_status qx_criteria_bound(qx_ctx *cx,
                            size_t plots,
                            size_t treatments,
                            const size_t replicates[],
                            size_t blocking_count,
                            const qx_blocking blocking[],
                            double *out)
{
    sizes s = {.plots = plots, .treatments = treatments, .replicates = replicates};
    if (treatments == 0 || blocking_count > QX_BLOCKINGS_MOST) {
        return qx_fail(cx, QX_E_ARG, "no treatments, or too many blockings");
    }
    if (treatments == 1) {
        *out = (double)NAN;
        return QX_OK;
    }
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, bound_of(cx, &s, blocking_count, blocking, out));
    return status;
}
