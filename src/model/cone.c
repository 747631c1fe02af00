#include "model/cone.h"

#include <float.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#include "numeric/qr.h"

/* Rows have length one: true zeros stand at 1e-15 times the condition of the columns. */
static const double ZERO = 1e-8;

typedef struct task {
    qx_mat A;            /* P x m */
    size_t count;        /* rows still asked */
    size_t *row;         /* count: their numbers */
    double *mu, *trial;  /* by row number */
    bool *passive;       /* by row number */
    double *sum, *delta; /* P: A'1 over the rows still asked; A'(1 + mu) */
    size_t *chosen;      /* passive ones, in order */
    size_t chosen_count;
} task;

static const double *row_of(const task *t, size_t i)
{
    return t->A.at + i * t->A.ld;
}

static void residual(const task *t)
{
    memcpy(t->delta, t->sum, t->A.rows * sizeof *t->delta);
    for (size_t k = 0; k < t->count; k++) {
        const size_t i = t->row[k];
        for (size_t j = 0; t->mu[i] > 0.0 && j < t->A.rows; j++) {
            t->delta[j] += t->mu[i] * row_of(t, i)[j];
        }
    }
}

/* trial = least squares for the passive rows: sum over them of trial_i a_i = -sum. */
static qx_status solve_passive(qx_ctx *cx, task *t)
{
    const size_t P = t->A.rows;
    qx_mat X;
    qx_qr qr;
    double *y, *beta;
    t->chosen_count = 0;
    for (size_t k = 0; k < t->count; k++) {
        if (t->passive[t->row[k]]) {
            t->chosen[t->chosen_count++] = t->row[k];
        }
    }
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), P, t->chosen_count, &X));
    QX_NEW(cx, y, P);
    QX_NEW(cx, beta, t->chosen_count);
    for (size_t k = 0; k < t->chosen_count; k++) {
        memcpy(X.at + k * X.ld, row_of(t, t->chosen[k]), P * sizeof *y);
    }
    for (size_t j = 0; j < P; j++) {
        y[j] = -t->sum[j];
    }
    QX_TRY(qx_qr_factor(cx, qx_ctx_scratch(cx), X, &qr));
    QX_TRY(qx_qr_solve(cx, &qr, y, beta, NULL));
    for (size_t k = 0; k < t->chosen_count; k++) {
        t->trial[t->chosen[k]] = beta[k];
    }
    return QX_OK;
}

/* Moves mu towards trial until a passive one would turn negative and is dropped; false
 * when all the way was possible. */
static bool step_back(task *t)
{
    double share = 1.0;
    for (size_t k = 0; k < t->chosen_count; k++) {
        const size_t i = t->chosen[k];
        if (t->trial[i] <= 0.0) {
            share = fmin(share, t->mu[i] / (t->mu[i] - t->trial[i]));
        }
    }
    bool dropped = false;
    for (size_t k = 0; k < t->chosen_count; k++) {
        const size_t i = t->chosen[k];
        const bool falls = t->trial[i] <= 0.0;
        t->mu[i] += share * (t->trial[i] - t->mu[i]);
        if (falls && t->mu[i] <= ZERO) {
            t->mu[i] = 0.0;
            t->passive[i] = false;
            dropped = true;
        }
    }
    return dropped;
}

/* The row that would lower the residual most: most negative a_i'delta. */
static size_t worst_row(const task *t)
{
    const double length = sqrt(qx_dot(t->A.rows, t->delta, t->delta));
    double least = -ZERO * length;
    size_t worst = SIZE_MAX;
    for (size_t k = 0; k < t->count; k++) {
        const size_t i = t->row[k];
        const double along = qx_dot(t->A.rows, row_of(t, i), t->delta);
        if (!t->passive[i] && along < least) {
            least = along;
            worst = i;
        }
    }
    return worst;
}

/* Minimises |A'(1 + mu)|; leaves it in delta. */
static qx_status least_squares(qx_ctx *cx, task *t)
{
    for (size_t k = 0; k < t->count; k++) {
        t->mu[t->row[k]] = 0.0;
        t->passive[t->row[k]] = false;
    }
    residual(t);
    for (size_t round = 0; round < 3 * (t->count + t->A.rows); round++) {
        const size_t worst = worst_row(t);
        if (worst == SIZE_MAX) {
            return QX_OK;
        }
        t->passive[worst] = true;
        bool again = true;
        while (again) {
            qx_status status;
            QX_SCRATCH(cx, status, solve_passive(cx, t));
            QX_TRY(status);
            again = step_back(t);
        }
        residual(t);
    }
    return QX_OK;
}

static void start(task *t)
{
    memset(t->sum, 0, t->A.rows * sizeof *t->sum);
    for (size_t k = 0; k < t->count; k++) {
        for (size_t j = 0; j < t->A.rows; j++) {
            t->sum[j] += row_of(t, t->row[k])[j];
        }
    }
}

/* Sets aside the rows that delta satisfies strictly; gives how many. */
static size_t set_aside(task *t, bool strict[])
{
    const double length = sqrt(qx_dot(t->A.rows, t->delta, t->delta));
    size_t kept = 0, found = 0;
    for (size_t k = 0; k < t->count; k++) {
        const size_t i = t->row[k];
        if (qx_dot(t->A.rows, row_of(t, i), t->delta) > 10.0 * ZERO * length) {
            strict[i] = true;
            found++;
        } else {
            t->row[kept++] = i;
        }
    }
    t->count = kept;
    return found;
}

static qx_status note_moves(qx_ctx *cx, const task *t, const qx_cone *out)
{
    const size_t P = t->A.rows;
    double *there, most = 0.0;
    if (out->moves == NULL) {
        return QX_OK;
    }
    QX_NEW(cx, there, P);
    if (out->back == NULL) {
        memcpy(there, t->delta, P * sizeof *there);
    } else {
        qx_mat_vector('n', 1.0, *out->back, t->delta, 0.0, there);
    }
    for (size_t j = 0; j < P; j++) {
        most = fmax(most, fabs(there[j]));
    }
    for (size_t j = 0; j < P; j++) {
        out->moves[j] = out->moves[j] || fabs(there[j]) > 1e-6 * most;
    }
    return QX_OK;
}

/* Rows of length one; those of zero length ask nothing. */
static qx_status task_new(qx_ctx *cx, qx_mat A, task *t)
{
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), A.rows, A.cols, &t->A));
    QX_NEW(cx, t->row, A.cols);
    QX_NEW(cx, t->mu, A.cols);
    QX_NEW(cx, t->trial, A.cols);
    QX_NEW(cx, t->passive, A.cols);
    QX_NEW(cx, t->chosen, A.cols);
    QX_NEW(cx, t->sum, A.rows);
    QX_NEW(cx, t->delta, A.rows);
    t->count = 0;
    for (size_t i = 0; i < A.cols; i++) {
        const double *from = A.at + i * A.ld;
        const double length = sqrt(qx_dot(A.rows, from, from));
        for (size_t j = 0; j < A.rows; j++) {
            QX_AT(t->A, j, i) = length > 0.0 ? from[j] / length : 0.0;
        }
        if (length > DBL_MIN) {
            t->row[t->count++] = i;
        }
    }
    return QX_OK;
}

static qx_status find(qx_ctx *cx, qx_mat A, qx_cone *out)
{
    task t = {0};
    QX_TRY(task_new(cx, A, &t));
    out->strict_count = 0;
    while (t.count > 0) {
        start(&t);
        QX_TRY(least_squares(cx, &t));
        if (!(sqrt(qx_dot(A.rows, t.delta, t.delta)) > 1e-6)) {
            return QX_OK;
        }
        QX_TRY(note_moves(cx, &t, out));
        const size_t found = set_aside(&t, out->strict);
        out->strict_count += found;
        if (found == 0) {
            return QX_OK;
        }
    }
    return QX_OK;
}

qx_status qx_cone_find(qx_ctx *cx, qx_mat A, qx_cone *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, find(cx, A, out));
    return status;
}
