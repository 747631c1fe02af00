#include "layout/criteria.h"

#include <math.h>
#include <string.h>

#include "numeric/dense.h"
#include "numeric/eigen.h"

/* A pivot or an eigenvalue below this share of its start is a zero: what is left of it is
 * rounding, some 1e-15 times the number of blocks. */
#define ZERO 1e-9

typedef struct asked {
    qx_ctx *cx;
    size_t plots, treatments;
    const uint32_t *treatment;
    size_t blocking_count;
    const qx_blocking *blocking;
    size_t *replicates;
} asked;

static qx_status check(asked *a)
{
    if (a->blocking_count > QX_BLOCKINGS_MOST) {
        return qx_fail(a->cx, QX_E_ARG, "more than %d blockings", QX_BLOCKINGS_MOST);
    }
    QX_NEW(a->cx, a->replicates, a->treatments);
    for (size_t i = 0; i < a->plots; i++) {
        if (a->treatment[i] >= a->treatments) {
            return qx_fail(a->cx, QX_E_ARG, "plot %zu has no such treatment", i);
        }
        a->replicates[a->treatment[i]]++;
        for (size_t f = 0; f < a->blocking_count; f++) {
            if (a->blocking[f].block[i] >= a->blocking[f].count) {
                return qx_fail(a->cx, QX_E_ARG, "plot %zu has no such block", i);
            }
        }
    }
    for (size_t t = 0; t < a->treatments; t++) {
        if (a->replicates[t] == 0) {
            return qx_fail(a->cx, QX_E_ARG, "treatment %zu has no plot", t);
        }
    }
    return QX_OK;
}

/* [Z X]'[Z X] with Z the mean and all blockings. */
static void fill_crossprod(const asked *a, size_t blocks, qx_mat W)
{
    size_t column[QX_BLOCKINGS_MOST + 2];
    for (size_t i = 0; i < a->plots; i++) {
        size_t n = 0;
        size_t offset = 1;
        column[n++] = 0;
        for (size_t f = 0; f < a->blocking_count; f++) {
            column[n++] = offset + a->blocking[f].block[i];
            offset += a->blocking[f].count;
        }
        column[n++] = blocks + a->treatment[i];
        for (size_t x = 0; x < n; x++) {
            for (size_t y = 0; y < n; y++) {
                QX_AT(W, column[x], column[y]) += 1;
            }
        }
    }
}

/* Sweeps the blocks out of the cross-products, the largest pivots as they come: what is
 * left beside them is C. Columns that the others already span have no pivot left. */
static void sweep_blocks(qx_mat W, size_t blocks, const double start[])
{
    for (size_t k = 0; k < blocks; k++) {
        const double pivot = QX_AT(W, k, k);
        if (pivot <= ZERO * start[k]) {
            continue;
        }
        for (size_t j = k + 1; j < W.cols; j++) {
            const double factor = QX_AT(W, k, j) / pivot;
            if (factor == 0) {
                continue;
            }
            for (size_t i = k + 1; i < W.rows; i++) {
                QX_AT(W, i, j) -= QX_AT(W, i, k) * factor;
            }
        }
    }
}

/* C, v x v, in scratch. */
static qx_status information(const asked *a, qx_mat *C)
{
    size_t blocks = 1;
    for (size_t f = 0; f < a->blocking_count; f++) {
        blocks += a->blocking[f].count;
    }
    qx_mat W = {0};
    double *start = NULL;
    QX_TRY(qx_mat_new(a->cx,
                      qx_ctx_scratch(a->cx),
                      blocks + a->treatments,
                      blocks + a->treatments,
                      &W));
    QX_NEW(a->cx, start, blocks);
    fill_crossprod(a, blocks, W);
    for (size_t k = 0; k < blocks; k++) {
        start[k] = QX_AT(W, k, k);
    }
    sweep_blocks(W, blocks, start);
    *C = qx_mat_part(W, blocks, blocks, a->treatments, a->treatments);
    return QX_OK;
}

/* Eigenvalues (ascending) and vectors of R^-1/2 C R^-1/2, all in scratch. */
static qx_status factors(const asked *a, double **value, qx_mat *U)
{
    const size_t v = a->treatments;
    qx_mat C = {0};
    qx_mat S = {0};
    QX_TRY(information(a, &C));
    QX_TRY(qx_mat_new(a->cx, qx_ctx_scratch(a->cx), v, v, &S));
    QX_TRY(qx_mat_new(a->cx, qx_ctx_scratch(a->cx), v, v, U));
    QX_NEW(a->cx, *value, v);
    for (size_t j = 0; j < v; j++) {
        for (size_t i = 0; i < v; i++) {
            const double r = (double)a->replicates[i] * (double)a->replicates[j];
            QX_AT(S, i, j) = 0.5 * (QX_AT(C, i, j) + QX_AT(C, j, i)) / sqrt(r);
        }
    }
    return qx_eigen_symmetric(a->cx, S, *value, *U);
}

/* Eigenvalues that are zero: one for each part. */
static size_t zeros(size_t v, const double value[])
{
    size_t n = 0;
    while (n < v && value[n] < ZERO) {
        n++;
    }
    return n;
}

/* Variance of the difference of i and j from the spectrum; NAN if it has a part that the
 * layout does not see. */
static double
pair_variance(const asked *a, size_t i, size_t j, const double value[], qx_mat U)
{
    const double ri = sqrt((double)a->replicates[i]);
    const double rj = sqrt((double)a->replicates[j]);
    double variance = 0;
    for (size_t k = 0; k < a->treatments; k++) {
        const double part = QX_AT(U, i, k) / ri - QX_AT(U, j, k) / rj;
        if (value[k] >= ZERO) {
            variance += part * part / value[k];
        } else if (part * part > ZERO) {
            return (double)NAN;
        }
    }
    return variance;
}

static qx_status fill_pairs(asked *a, double variance[])
{
    double *value = NULL;
    qx_mat U = {0};
    const size_t v = a->treatments;
    QX_TRY(check(a));
    QX_TRY(factors(a, &value, &U));
    for (size_t j = 0; j < v; j++) {
        variance[j + j * v] = 0;
        for (size_t i = 0; i < j; i++) {
            variance[i + j * v] = variance[j + i * v] = pair_variance(a, i, j, value, U);
        }
    }
    return QX_OK;
}

qx_status qx_criteria_pairs(qx_ctx *cx,
                            size_t plots,
                            size_t treatments,
                            const uint32_t treatment[],
                            size_t blocking_count,
                            const qx_blocking blocking[],
                            double variance[])
{
    asked a = {.cx = cx,
               .plots = plots,
               .treatments = treatments,
               .treatment = treatment,
               .blocking_count = blocking_count,
               .blocking = blocking};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, fill_pairs(&a, variance));
    return status;
}

/* --- summaries --- */

static void summarise_factors(size_t v, const double value[], qx_criteria *c)
{
    double reciprocal = 0;
    double logarithm = 0;
    for (size_t k = 1; k < v; k++) {
        reciprocal += 1 / value[k];
        logarithm += log(value[k]);
    }
    const double m = (double)(v - 1);
    c->a_efficiency = m / reciprocal;
    c->d_efficiency = exp(logarithm / m);
    c->e_efficiency = value[1];
}

static void
summarise_pairs(const asked *a, const double value[], qx_mat U, qx_criteria *c)
{
    double sum = 0;
    size_t pairs = 0;
    for (size_t j = 0; j < a->treatments; j++) {
        for (size_t i = 0; i < j; i++) {
            const double variance = pair_variance(a, i, j, value, U);
            sum += variance;
            c->least_variance = pairs == 0 ? variance : fmin(c->least_variance, variance);
            c->most_variance = pairs == 0 ? variance : fmax(c->most_variance, variance);
            pairs++;
        }
    }
    c->mean_variance = sum / (double)pairs;
}

static qx_status fill_criteria(asked *a, qx_criteria *out)
{
    double *value = NULL;
    qx_mat U = {0};
    const double none = (double)NAN;
    qx_criteria c = {0, none, none, none, none, none, none, none};
    if (a->treatments == 0) {
        return qx_fail(a->cx, QX_E_ARG, "there are no treatments");
    }
    QX_TRY(check(a));
    QX_TRY(factors(a, &value, &U));
    c.parts = zeros(a->treatments, value);
    QX_TRY(qx_criteria_bound(a->cx,
                             a->plots,
                             a->treatments,
                             a->replicates,
                             a->blocking_count,
                             a->blocking,
                             &c.a_bound));
    if (c.parts == 1 && a->treatments > 1) {
        summarise_factors(a->treatments, value, &c);
        summarise_pairs(a, value, U, &c);
    }
    *out = c;
    return QX_OK;
}

qx_status qx_criteria_of(qx_ctx *cx,
                         size_t plots,
                         size_t treatments,
                         const uint32_t treatment[],
                         size_t blocking_count,
                         const qx_blocking blocking[],
                         qx_criteria *out)
{
    asked a = {.cx = cx,
               .plots = plots,
               .treatments = treatments,
               .treatment = treatment,
               .blocking_count = blocking_count,
               .blocking = blocking};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, fill_criteria(&a, out));
    return status;
}
