/* model/agq.c - adaptive Gauss-Hermite quadrature of a set with one random column.
 *
 * With the mode u^ and h = -F''(u^), nodes u_q = u^ + sqrt(2/h) z_q:
 *
 *     log integral = log sum_q exp(log w_q + z_q^2 + F(u_q)) + 1/2 log(1/(pi h))
 *
 * One point is the Laplace approximation. Nodes move with the parameters; with posterior
 * weights v_q (proportional to the terms of the sum),
 *
 *     d = sum v_q dF(u_q) + A du^ - kappa/2 dlog h
 *     A = sum v_q F'(u_q),    kappa = 1 + sum v_q F'(u_q) (u_q - u^)
 *
 * Liu & Pierce 1994, Biometrika 81:624-629; Pinheiro & Bates 1995, J Comput Graph Stat
 * 4:12-35. */
#include <math.h>
#include <string.h>

#include "model/laplace_inner.h"

static const double PI = 3.14159265358979323846;

/* F at every node into weight (still a logarithm), then the log of the sum; weights become
 * the posterior ones. */
static double sum_nodes(qx_laplace_room *room, const qx_laplace_set *set)
{
    const qx_laplace_plan *plan = room->plan;
    const size_t points = plan->problem.quadrature;
    double largest = -INFINITY, sum = 0.0;
    for (size_t q = 0; q < points; q++) {
        const double u = room->node_u[q];
        double F = plan->log_weight[q] - 0.5 * u * u;
        qx_laplace_predict(room, set, &room->node_u[q]);
        qx_laplace_rows(room, set, QX_ROWS_VALUE);
        for (size_t j = 0; j < set->rows; j++) {
            F += room->terms.l[j];
        }
        room->weight[q] = F;
        largest = fmax(largest, F);
    }
    if (!isfinite(largest)) {
        return -INFINITY;
    }
    for (size_t q = 0; q < points; q++) {
        room->weight[q] = exp(room->weight[q] - largest);
        sum += room->weight[q];
    }
    for (size_t q = 0; q < points; q++) {
        room->weight[q] /= sum;
    }
    return largest + log(sum);
}

/* The averages over the nodes. The terms are left as they are at the last node. */
static void average(qx_laplace_room *room,
                    const qx_laplace_set *set,
                    double mode,
                    qx_laplace_nodes *out)
{
    const qx_laplace_problem *f = &room->plan->problem;
    const size_t r = f->random[0].predictor, width = set->rows * f->d;
    memset(room->mean_g, 0, width * sizeof *room->mean_g);
    memset(room->mean_lp, 0, f->s * sizeof *room->mean_lp);
    for (size_t q = 0; q < f->quadrature; q++) {
        const double u = room->node_u[q], weight = room->weight[q];
        double g = 0.0;
        qx_laplace_predict(room, set, &room->node_u[q]);
        qx_laplace_rows(room, set, QX_ROWS_ALL);
        for (size_t i = 0; i < width && weight > 0.0; i++) {
            room->mean_g[i] += weight * room->terms.g[i];
            g += i % f->d == r ? room->terms.g[i] : 0.0;
        }
        for (size_t i = 0; i < set->rows * f->s && weight > 0.0; i++) {
            room->mean_lp[i % f->s] += weight * room->terms.lp[i];
        }
        const double slope = room->sd[0] * g - u;
        out->sd_slope += weight * g * u;
        out->A += weight * slope;
        out->kappa += weight * slope * (u - mode);
    }
}

void qx_laplace_quadrature(qx_laplace_room *room,
                           const qx_laplace_set *set,
                           double u,
                           bool slopes,
                           qx_laplace_nodes *out)
{
    const qx_laplace_plan *plan = room->plan;
    const double h = room->D[0];
    *out = (qx_laplace_nodes){.kappa = 1.0};
    for (size_t q = 0; q < plan->problem.quadrature; q++) {
        room->node_u[q] = u + sqrt(2.0 / h) * plan->node[q];
    }
    out->value = sum_nodes(room, set) - 0.5 * log(PI * h);
    if (slopes && isfinite(out->value)) {
        average(room, set, u, out);
        /* Curvature at the mode again: what follows needs it. */
        qx_laplace_predict(room, set, &u);
        qx_laplace_rows(room, set, QX_ROWS_ALL);
    }
}
