/* model/laplace_information.c - second derivatives without differences, as far as they go.
 *
 *   beta, beta   X'V^-1X = X'WX - X'WZ H^-1 Z'WX         (weights at the modes)
 *   sd, sd       2/(sd_k sd_l) sum ((I - H^-1)_kl)^2      (1/2 tr of squares, the linearised
 *                                                         model taken for normal)
 *   psi          differences of the gradient
 *
 * Without random terms, penalty and psi this is the exact Hessian of -log L; else a start for
 * the optimiser that the optimiser improves on. */
#include <math.h>
#include <string.h>

#include "model/laplace_inner.h"

/* Step of the differences in psi. */
static const double PSI_STEP = 1e-5;

static void
add_weights(const qx_laplace_room *room, const qx_laplace_set *set, qx_mat out)
{
    const qx_laplace_problem *f = &room->plan->problem;
    const size_t p = f->p, d = f->d;
    for (size_t j = 0; j < set->rows; j++) {
        const double *x = &room->plan->x[(set->row + j) * p];
        for (size_t b = 0; b < d * d; b++) {
            const size_t r = b % d, c = b / d;
            const double w = -room->terms.h[j * d * d + b];
            for (size_t l = 0; l < p; l++) {
                for (size_t k = 0; k < p; k++) {
                    QX_AT(out, r * p + k, c * p + l) += w * x[k] * x[l];
                }
            }
        }
    }
}

/* Z'WX of one set (columns of the set by d p). */
static void
cross_weights(const qx_laplace_room *room, const qx_laplace_set *set, qx_mat B)
{
    const qx_laplace_problem *f = &room->plan->problem;
    const size_t p = f->p, d = f->d, m = f->random_count;
    for (size_t j = 0; j < set->rows; j++) {
        const double *x = &room->plan->x[(set->row + j) * p];
        const uint32_t *column = &room->plan->column[(set->row + j) * m];
        for (size_t k = 0; k < m; k++) {
            for (size_t c = 0; c < d; c++) {
                const double w =
                    -room->sd[k] *
                    room->terms.h[j * d * d + f->random[k].predictor + c * d];
                for (size_t l = 0; l < p; l++) {
                    QX_AT(B, column[k], c * p + l) += w * x[l];
                }
            }
        }
    }
}

/* Term of each column of a set. */
static void
terms_of(const qx_laplace_room *room, const qx_laplace_set *set, size_t term[])
{
    const size_t m = room->plan->problem.random_count;
    for (size_t j = 0; j < set->rows; j++) {
        for (size_t k = 0; k < m; k++) {
            term[room->plan->column[(set->row + j) * m + k]] = k;
        }
    }
}

/* Adds sum of ((I - H^-1)_kl)^2 over columns of terms k and l; the inverse is made column
 * by column. */
static void add_squares(qx_laplace_room *room,
                        const qx_laplace_set *set,
                        const size_t term[],
                        double column[],
                        qx_mat squares)
{
    for (size_t c = 0; c < set->columns; c++) {
        memset(column, 0, set->columns * sizeof *column);
        column[c] = 1.0;
        qx_laplace_solve(room, set, column);
        column[c] -= 1.0;
        for (size_t i = 0; i < set->columns; i++) {
            QX_AT(squares, term[i], term[c]) += column[i] * column[i];
        }
    }
}

static qx_status add_set(qx_ctx *cx,
                         qx_laplace_room *room,
                         const qx_laplace_set *set,
                         qx_mat beta,
                         qx_mat squares)
{
    const qx_laplace_problem *f = &room->plan->problem;
    const size_t width = f->d * f->p;
    double joint, *column;
    size_t *term;
    qx_mat B, solved;
    if (!qx_laplace_mode(cx, room, set, &room->mode[set->column], QX_ROWS_ALL, &joint)) {
        return QX_OK;
    }
    add_weights(room, set, beta);
    if (set->columns == 0) {
        return QX_OK;
    }
    QX_NEW(cx, column, set->columns);
    QX_NEW(cx, term, set->columns);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), set->columns, width, &B));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), set->columns, width, &solved));
    cross_weights(room, set, B);
    qx_mat_copy(solved, B);
    for (size_t l = 0; l < width; l++) {
        qx_laplace_solve(room, set, &QX_AT(solved, 0, l));
        for (size_t k = 0; k < width; k++) {
            QX_AT(beta, k, l) -=
                qx_dot(set->columns, &QX_AT(B, 0, k), &QX_AT(solved, 0, l));
        }
    }
    terms_of(room, set, term);
    add_squares(room, set, term, column, squares);
    return QX_OK;
}

static qx_status add_psi(qx_ctx *cx,
                         qx_laplace_room *room,
                         const double x[],
                         const double gradient[],
                         qx_mat out)
{
    const qx_laplace_problem *f = &room->plan->problem;
    const size_t length = out.rows;
    double *moved, *slopes;
    QX_NEW(cx, moved, length);
    QX_NEW(cx, slopes, length);
    memcpy(moved, x, length * sizeof *moved);
    for (size_t j = length - f->s; j < length; j++) {
        double value;
        const double step = PSI_STEP * (1.0 + fabs(x[j]));
        moved[j] = x[j] + step;
        QX_TRY(qx_laplace_at(cx, room, moved, &value, slopes));
        moved[j] = x[j];
        for (size_t i = 0; i < length; i++) {
            const double second =
                isfinite(value) ? -(slopes[i] - gradient[i]) / step : (double)(i == j);
            QX_AT(out, i, j) = QX_AT(out, j, i) = second;
        }
    }
    return QX_OK;
}

static qx_status information(qx_ctx *cx,
                             qx_laplace_room *room,
                             const double x[],
                             const double gradient[],
                             qx_mat out)
{
    const qx_laplace_problem *f = &room->plan->problem;
    const size_t width = f->d * f->p, m = f->random_count;
    const qx_mat beta = qx_mat_part(out, 0, 0, width, width);
    const qx_mat sd = qx_mat_part(out, width, width, m, m);
    qx_mat_zero(out);
    qx_laplace_point(room, x);
    for (size_t b = 0; b < room->plan->set_count; b++) {
        qx_status status;
        QX_SCRATCH(cx, status, add_set(cx, room, &room->plan->set[b], beta, sd));
        QX_TRY(status);
    }
    for (size_t k = 0; k < m; k++) {
        for (size_t l = 0; l < m; l++) {
            const double product = room->sd[k] * room->sd[l];
            QX_AT(sd, k, l) =
                product == 0.0 ? (double)(k == l) : 2.0 * QX_AT(sd, k, l) / product;
        }
    }
    return gradient == NULL ? QX_OK : add_psi(cx, room, x, gradient, out);
}

qx_status qx_laplace_information(qx_ctx *cx,
                                 qx_laplace_room *room,
                                 const double x[],
                                 const double gradient[],
                                 qx_mat out)
{
    qx_status status;
    QX_SCRATCH(cx, status, information(cx, room, x, gradient, out));
    return status;
}
