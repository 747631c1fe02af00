/* numeric/quad.c - Gauss rules: Golub & Welsch, then Newton on the polynomial. */
#include "numeric/quad.h"

#include <math.h>

#include "numeric/eigen.h"

#define HERMITE_MOST  100
#define LEGENDRE_MOST 200

/* Nodes and weights from the Jacobi matrix: diagonal 0, off-diagonal beside[i]. */
static qx_status golub_welsch(qx_ctx *cx,
                              size_t k,
                              const double beside[],
                              double whole,
                              double node[],
                              double weight[])
{
    qx_mat J;
    qx_mat U;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, k, &J));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, k, &U));
    for (size_t i = 0; i + 1 < k; i++) {
        QX_AT(J, i + 1, i) = beside[i];
        QX_AT(J, i, i + 1) = beside[i];
    }
    QX_TRY(qx_eigen_symmetric(cx, J, node, U));
    for (size_t i = 0; i < k; i++) {
        weight[i] = whole * QX_AT(U, 0, i) * QX_AT(U, 0, i);
    }
    return QX_OK;
}

/* The rule is symmetric about 0; so are its numbers to the last bit. */
static void make_symmetric(size_t k, double node[], double weight[])
{
    for (size_t i = 0; i < k / 2; i++) {
        const double x = (node[k - 1 - i] - node[i]) / 2.0;
        const double w = (weight[k - 1 - i] + weight[i]) / 2.0;
        node[i] = -x;
        node[k - 1 - i] = x;
        weight[i] = weight[k - 1 - i] = w;
    }
    if (k % 2 == 1) {
        node[k / 2] = 0.0;
    }
}

/* One Newton step on the Legendre polynomial, and the weight from its derivative. */
static void refine_legendre(size_t k, double *node, double *weight)
{
    double slope = 1.0;
    for (int round = 0; round < 2; round++) {
        double p0 = 1.0, p1 = *node;
        for (size_t j = 2; j <= k; j++) {
            const double next =
                ((2.0 * (double)j - 1.0) * *node * p1 - ((double)j - 1.0) * p0) /
                (double)j;
            p0 = p1;
            p1 = next;
        }
        slope = (double)k * (*node * p1 - p0) / (*node * *node - 1.0);
        *node -= p1 / slope;
    }
    *weight = 2.0 / ((1.0 - *node * *node) * slope * slope);
}

/* The same on the orthonormal Hermite functions, which neither over- nor underflow here. */
static void refine_hermite(size_t k, double *node, double *weight)
{
    double slope = 1.0;
    for (int round = 0; round < 2; round++) {
        double p0 = 0.0, p1 = pow(4.0 * atan(1.0), -0.25);
        for (size_t j = 1; j <= k; j++) {
            const double next = *node * sqrt(2.0 / (double)j) * p1 -
                                sqrt(((double)j - 1.0) / (double)j) * p0;
            p0 = p1;
            p1 = next;
        }
        slope = sqrt(2.0 * (double)k) * p0;
        *node -= p1 / slope;
    }
    *weight = 2.0 / (slope * slope);
}

static qx_status hermite(qx_ctx *cx, size_t k, double node[], double weight[])
{
    double beside[100] = {0};
    for (size_t i = 0; i + 1 < k; i++) {
        beside[i] = sqrt(((double)i + 1.0) / 2.0);
    }
    QX_TRY(golub_welsch(cx, k, beside, sqrt(4.0 * atan(1.0)), node, weight));
    for (size_t i = 0; i < k; i++) {
        refine_hermite(k, &node[i], &weight[i]);
    }
    make_symmetric(k, node, weight);
    return QX_OK;
}

static qx_status legendre(qx_ctx *cx, size_t k, double node[], double weight[])
{
    double beside[200] = {0};
    for (size_t i = 0; i + 1 < k; i++) {
        const double j = (double)i + 1.0;
        beside[i] = j / sqrt(4.0 * j * j - 1.0);
    }
    QX_TRY(golub_welsch(cx, k, beside, 2.0, node, weight));
    for (size_t i = 0; i < k && k > 1; i++) {
        refine_legendre(k, &node[i], &weight[i]);
    }
    make_symmetric(k, node, weight);
    return QX_OK;
}

qx_status qx_gauss_hermite(qx_ctx *cx, size_t k, double node[], double weight[])
{
    qx_status status = QX_OK;
    if (k < 1 || k > HERMITE_MOST) {
        return qx_fail(cx, QX_E_ARG, "%zu Gauss-Hermite nodes; expected 1 to 100", k);
    }
    QX_SCRATCH(cx, status, hermite(cx, k, node, weight));
    return status;
}

qx_status qx_gauss_legendre(qx_ctx *cx, size_t k, double node[], double weight[])
{
    qx_status status = QX_OK;
    if (k < 1 || k > LEGENDRE_MOST) {
        return qx_fail(cx, QX_E_ARG, "%zu Gauss-Legendre nodes; expected 1 to 200", k);
    }
    QX_SCRATCH(cx, status, legendre(cx, k, node, weight));
    return status;
}
