/* model/laplace_factor.c - the curvature H of one set: its parts D, C, E, the factor of the
 * Schur complement, solutions, and the entries of the inverse that rows ask for.
 *
 * With P = C S^-1 (rows of D columns, only where C is not nil):
 *     H^-1 = | 1/D + P C'/D^2   -P/D |    for one D column
 *            |                  S^-1 | */
#include <math.h>
#include <string.h>

#include "model/laplace_inner.h"
#include "numeric/chol.h"

/* Above this size LAPACK is faster than plain loops. */
#define PLAIN_MOST 40

static bool plain_factor(size_t n, double A[])
{
    for (size_t j = 0; j < n; j++) {
        double pivot = A[j + j * n];
        for (size_t k = 0; k < j; k++) {
            pivot -= A[j + k * n] * A[j + k * n];
        }
        if (!(pivot > 0.0) || !isfinite(pivot)) {
            return false;
        }
        pivot = sqrt(pivot);
        A[j + j * n] = pivot;
        for (size_t i = j + 1; i < n; i++) {
            double sum = A[i + j * n];
            for (size_t k = 0; k < j; k++) {
                sum -= A[i + k * n] * A[j + k * n];
            }
            A[i + j * n] = sum / pivot;
        }
    }
    return true;
}

static bool factor_square(qx_ctx *cx, size_t n, double A[])
{
    if (n <= PLAIN_MOST) {
        return plain_factor(n, A);
    }
    if (qx_chol_factor(cx, qx_mat_of(A, n, n)) != QX_OK) {
        qx_ctx_forgive(cx);
        return false;
    }
    return true;
}

/* By columns of L, as they lie in memory. */
static void solve_square(size_t n, const double L[], double b[])
{
    for (size_t k = 0; k < n; k++) {
        b[k] /= L[k + k * n];
        for (size_t i = k + 1; i < n; i++) {
            b[i] -= L[i + k * n] * b[k];
        }
    }
    for (size_t k = n; k-- > 0;) {
        double sum = b[k];
        for (size_t i = k + 1; i < n; i++) {
            sum -= L[i + k * n] * b[i];
        }
        b[k] = sum / L[k + k * n];
    }
}

/* The row's share: sd_k sd_l W[r_k][r_l] at (column k, column l). */
static void add_row(qx_laplace_room *room, const qx_laplace_set *set, size_t j)
{
    const qx_laplace_plan *plan = room->plan;
    const qx_laplace_problem *f = &plan->problem;
    const size_t m = f->random_count, d = f->d, lead = plan->lead_term;
    const size_t rest = set->columns - set->lead;
    const double *h = &room->terms.h[j * d * d];
    const uint32_t *column = &plan->column[(set->row + j) * m];
    const size_t *slot = &plan->slot[(set->row + j) * m];
    const size_t r = f->random[lead].predictor;
    room->D[column[lead]] -= room->sd[lead] * room->sd[lead] * h[r + r * d];
    for (size_t k = 0; k < m; k++) {
        const size_t rk = f->random[k].predictor;
        if (k == lead) {
            continue;
        }
        room->C[slot[k]] -= room->sd[lead] * room->sd[k] * h[r + rk * d];
        for (size_t l = 0; l < m; l++) {
            if (l != lead && column[l] <= column[k]) {
                const size_t rl = f->random[l].predictor;
                room->E[(column[k] - set->lead) + (column[l] - set->lead) * rest] -=
                    room->sd[k] * room->sd[l] * h[rk + rl * d];
            }
        }
    }
}

/* S = E - C D^-1 C' in the lower triangle. */
static void schur(qx_laplace_room *room, const qx_laplace_set *set)
{
    const qx_laplace_plan *plan = room->plan;
    const size_t rest = set->columns - set->lead;
    for (size_t c = 0; c < set->lead; c++) {
        const size_t from = plan->meet_start[set->column + c];
        const size_t to = plan->meet_start[set->column + c + 1];
        for (size_t a = from; a < to; a++) {
            const double scaled = room->C[a - set->slot] / room->D[c];
            for (size_t b = a; b < to; b++) {
                room->E[plan->meet[b] + plan->meet[a] * rest] -=
                    scaled * room->C[b - set->slot];
            }
        }
    }
}

bool qx_laplace_factor(qx_ctx *cx,
                       qx_laplace_room *room,
                       const qx_laplace_set *set,
                       double ridge)
{
    const size_t rest = set->columns - set->lead;
    memset(room->C, 0, set->slots * sizeof *room->C);
    memset(room->E, 0, rest * rest * sizeof *room->E);
    for (size_t c = 0; c < set->lead; c++) {
        room->D[c] = 1.0 + ridge;
    }
    for (size_t c = 0; c < rest; c++) {
        room->E[c + c * rest] = 1.0 + ridge;
    }
    for (size_t j = 0; j < set->rows; j++) {
        add_row(room, set, j);
    }
    for (size_t c = 0; c < set->lead; c++) {
        if (!(room->D[c] > 0.0) || !isfinite(room->D[c])) {
            return false;
        }
    }
    schur(room, set);
    return factor_square(cx, rest, room->E);
}

void qx_laplace_solve(const qx_laplace_room *room, const qx_laplace_set *set, double b[])
{
    const qx_laplace_plan *plan = room->plan;
    double *rest = b + set->lead;
    for (size_t c = 0; c < set->lead; c++) {
        b[c] /= room->D[c];
        for (size_t a = plan->meet_start[set->column + c];
             a < plan->meet_start[set->column + c + 1];
             a++) {
            rest[plan->meet[a]] -= room->C[a - set->slot] * b[c];
        }
    }
    solve_square(set->columns - set->lead, room->E, rest);
    for (size_t c = 0; c < set->lead; c++) {
        for (size_t a = plan->meet_start[set->column + c];
             a < plan->meet_start[set->column + c + 1];
             a++) {
            b[c] -= room->C[a - set->slot] * rest[plan->meet[a]] / room->D[c];
        }
    }
}

double qx_laplace_logdet(const qx_laplace_room *room, const qx_laplace_set *set)
{
    const size_t rest = set->columns - set->lead;
    double sum = 0.0, product = 1.0;
    for (size_t c = 0; c < set->lead; c++) {
        product *= room->D[c];
        /* One logarithm for several factors, taken before the product can overflow. */
        if (!(product < 1e150)) {
            sum += log(product);
            product = 1.0;
        }
    }
    sum += log(product);
    for (size_t c = 0; c < rest; c++) {
        sum += 2.0 * log(room->E[c + c * rest]);
    }
    return sum;
}

/* S^-1 whole, both triangles. */
static qx_status invert_square(qx_ctx *cx, qx_laplace_room *room, size_t n)
{
    if (n > PLAIN_MOST) {
        return qx_chol_inverse(
            cx, qx_mat_of(room->E, n, n), qx_mat_of(room->inverse, n, n));
    }
    for (size_t j = 0; j < n; j++) {
        double *column = &room->inverse[j * n];
        memset(column, 0, n * sizeof *column);
        column[j] = 1.0;
        solve_square(n, room->E, column);
    }
    return QX_OK;
}

qx_status qx_laplace_invert(qx_ctx *cx, qx_laplace_room *room, const qx_laplace_set *set)
{
    const qx_laplace_plan *plan = room->plan;
    const size_t rest = set->columns - set->lead;
    QX_TRY(invert_square(cx, room, rest));
    for (size_t c = 0; c < set->lead; c++) {
        const size_t from = plan->meet_start[set->column + c];
        const size_t to = plan->meet_start[set->column + c + 1];
        for (size_t a = from; a < to; a++) {
            const double *inverse = &room->inverse[plan->meet[a] * rest];
            double sum = 0.0;
            for (size_t b = from; b < to; b++) {
                sum += inverse[plan->meet[b]] * room->C[b - set->slot];
            }
            room->P[a - set->slot] = sum;
        }
    }
    return QX_OK;
}
