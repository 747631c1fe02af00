/* findings/linearised_matrices.c - the matrices of the linear model (linearised.h) at given
 * variances, and the information about these. */
#include <math.h>
#include <string.h>

#include "findings/linearised_inner.h"
#include "numeric/chol.h"

qx_status qx_linear_room(qx_linear_maker *m, size_t rows, size_t cols, qx_mat *out)
{
    return qx_mat_new(m->cx, qx_ctx_scratch(m->cx), rows, cols, out);
}

/* Are two rows of the same unit? */
static bool together(const qx_linearised_part *part, size_t i, size_t j)
{
    return part->code[i] == part->code[j] && part->code[i] != QX_LINEARISED_APART;
}

/* Sigma at m->variance; v holds what rows have at the parts' own variances. */
static void fill_sigma(const qx_linear_maker *m, qx_mat S)
{
    if (m->rows->block.at != NULL) {
        qx_mat_copy(S, m->rows->block);
    } else {
        qx_mat_zero(S);
    }
    for (size_t i = 0; i < m->n && m->rows->block.at == NULL; i++) {
        QX_AT(S, i, i) = m->rows->v[i];
    }
    for (size_t k = 0; k < m->parts; k++) {
        const qx_linearised_part *part = &m->part[k];
        for (size_t j = 0; j < m->n; j++) {
            if (part->code == NULL) {
                QX_AT(S, j, j) += (m->variance[k] - part->variance) * part->slope[j];
                continue;
            }
            for (size_t i = 0; i < m->n; i++) {
                QX_AT(S, i, j) += together(part, i, j) ? m->variance[k] : 0.0;
            }
        }
    }
}

qx_status qx_linear_rooms(qx_linear_maker *m)
{
    QX_TRY(qx_linear_room(m, m->n, m->n, &m->S));
    QX_TRY(qx_linear_room(m, m->n, m->n, &m->inverse));
    QX_TRY(qx_linear_room(m, m->n, m->p, &m->W));
    QX_TRY(qx_linear_room(m, m->p, m->p, &m->XWX));
    QX_TRY(qx_linear_room(m, m->p, m->p, &m->C));
    QX_TRY(qx_linear_room(m, m->n, m->p, &m->WC));
    for (size_t k = 0; k < m->parts; k++) {
        QX_TRY(qx_linear_room(m, m->n, m->n, &m->SP[k]));
    }
    return qx_linear_room(m, m->n, m->n, &m->P);
}

/* Sigma^-1, Sigma^-1 X, C and P at m->variance; false when they cannot be had. */
qx_status qx_linear_solve(qx_linear_maker *m, bool *done)
{
    *done = false;
    fill_sigma(m, m->S);
    if (qx_chol_factor(m->cx, m->S) != QX_OK) {
        qx_ctx_forgive(m->cx);
        return QX_OK;
    }
    QX_TRY(qx_chol_inverse(m->cx, m->S, m->inverse));
    QX_TRY(qx_mat_multiply(m->cx, 'n', 'n', 1.0, m->inverse, m->rows->X, 0.0, m->W));
    QX_TRY(qx_mat_multiply(m->cx, 't', 'n', 1.0, m->rows->X, m->W, 0.0, m->XWX));
    if (qx_chol_factor(m->cx, m->XWX) != QX_OK) {
        qx_ctx_forgive(m->cx);
        return QX_OK;
    }
    QX_TRY(qx_chol_inverse(m->cx, m->XWX, m->C));
    QX_TRY(qx_mat_multiply(m->cx, 'n', 'n', 1.0, m->W, m->C, 0.0, m->WC));
    qx_mat_copy(m->P, m->inverse);
    QX_TRY(qx_mat_multiply(m->cx, 'n', 't', -1.0, m->WC, m->W, 1.0, m->P));
    *done = true;
    return QX_OK;
}

/* tr(M S_k) for a symmetric M. */
double qx_linear_trace(const qx_linear_maker *m, qx_mat M, size_t k)
{
    const qx_linearised_part *part = &m->part[k];
    double sum = 0.0;
    for (size_t j = 0; j < m->n; j++) {
        if (part->code == NULL) {
            sum += part->slope[j] * QX_AT(M, j, j);
            continue;
        }
        for (size_t i = 0; i < m->n; i++) {
            sum += together(part, i, j) ? QX_AT(M, i, j) : 0.0;
        }
    }
    return sum;
}

/* S_k M (n x n) for a column-major M: sums over units, or rows by their slope. */
void qx_linear_times(
    const qx_linear_maker *m, size_t k, qx_mat M, double unit[], qx_mat out)
{
    const qx_linearised_part *part = &m->part[k];
    for (size_t j = 0; j < M.cols; j++) {
        if (part->code == NULL) {
            for (size_t i = 0; i < m->n; i++) {
                QX_AT(out, i, j) = part->slope[i] * QX_AT(M, i, j);
            }
            continue;
        }
        memset(unit, 0, part->count * sizeof *unit);
        for (size_t i = 0; i < m->n; i++) {
            if (part->code[i] != QX_LINEARISED_APART) {
                unit[part->code[i]] += QX_AT(M, i, j);
            }
        }
        for (size_t i = 0; i < m->n; i++) {
            const bool apart = part->code[i] == QX_LINEARISED_APART;
            QX_AT(out, i, j) = apart ? 0.0 : unit[part->code[i]];
        }
    }
}

qx_status qx_linear_unit_room(qx_linear_maker *m, double **unit)
{
    size_t most = 1;
    for (size_t k = 0; k < m->parts; k++) {
        most = m->part[k].count > most ? m->part[k].count : most;
    }
    QX_NEW(m->cx, *unit, most);
    return QX_OK;
}

/* 1/2 tr(P S_i P S_j). */
qx_status qx_linear_information(qx_linear_maker *m, qx_mat out)
{
    double *unit;
    QX_TRY(qx_linear_unit_room(m, &unit));
    for (size_t k = 0; k < m->parts; k++) {
        qx_linear_times(m, k, m->P, unit, m->SP[k]);
    }
    for (size_t a = 0; a < m->parts; a++) {
        for (size_t b = 0; b < m->parts; b++) {
            double sum = 0.0;
            for (size_t j = 0; j < m->n; j++) {
                for (size_t i = 0; i < m->n; i++) {
                    sum += QX_AT(m->SP[a], i, j) * QX_AT(m->SP[b], j, i);
                }
            }
            QX_AT(out, a, b) = 0.5 * sum * sqrt(m->part[a].known * m->part[b].known);
        }
    }
    return QX_OK;
}

/* Inverse over the parts that `used` names; rows and columns of the others 0. False when the
 * information is not positive there. */
qx_status
qx_linear_invert(qx_linear_maker *m, qx_mat I, const bool used[], qx_mat out, bool *done)
{
    size_t place[QX_LINEARISED_TERMS_MOST], count = 0;
    qx_mat F, inverse;
    for (size_t k = 0; k < m->parts; k++) {
        if (used[k]) {
            place[count++] = k;
        }
    }
    qx_mat_zero(out);
    QX_TRY(qx_linear_room(m, count, count, &F));
    QX_TRY(qx_linear_room(m, count, count, &inverse));
    for (size_t a = 0; a < count; a++) {
        for (size_t b = 0; b < count; b++) {
            QX_AT(F, a, b) = QX_AT(I, place[a], place[b]);
        }
    }
    *done = count > 0 && qx_chol_factor(m->cx, F) == QX_OK;
    if (!*done) {
        qx_ctx_forgive(m->cx);
        return QX_OK;
    }
    QX_TRY(qx_chol_inverse(m->cx, F, inverse));
    for (size_t a = 0; a < count; a++) {
        for (size_t b = 0; b < count; b++) {
            QX_AT(out, place[a], place[b]) = QX_AT(inverse, a, b);
        }
    }
    return QX_OK;
}

/* Covariance of the slopes by the variances, from their information I: rows that are not normal
 * add sum over i of (P S_k P)_ii (P S_l P)_ii kappa_i / 4. */
static qx_status slope_covariance(qx_linear_maker *m, qx_mat I, qx_mat out)
{
    qx_mat weight;
    QX_TRY(qx_linear_room(m, m->n, m->parts, &weight));
    for (size_t k = 0; k < m->parts; k++) {
        for (size_t i = 0; i < m->n && !m->part[k].exact && m->rows->fourth != NULL;
             i++) {
            QX_AT(weight, i, k) =
                qx_dot(m->n, &QX_AT(m->P, 0, i), &QX_AT(m->SP[k], 0, i));
        }
    }
    for (size_t a = 0; a < m->parts; a++) {
        for (size_t b = 0; b < m->parts; b++) {
            double sum = 0.0;
            for (size_t i = 0; i < m->n && m->rows->fourth != NULL; i++) {
                sum += QX_AT(weight, i, a) * QX_AT(weight, i, b) * m->rows->fourth[i];
            }
            QX_AT(out, a, b) = QX_AT(I, a, b) + 0.25 * sum;
        }
    }
    return QX_OK;
}

/* No more information about a spread than normal rows would give. */
static void bound_known(const qx_linear_maker *m, qx_mat I)
{
    for (size_t a = 0; a < m->parts; a++) {
        for (size_t b = 0; b < m->parts; b++) {
            QX_AT(I, a, b) /=
                sqrt(fmax(m->part[a].known, 1.0) * fmax(m->part[b].known, 1.0));
        }
    }
}

/* Covariance of the estimates, I^-1 J I^-1; I is bounded. */
qx_status qx_linear_covariance(qx_linear_maker *m, qx_mat I, qx_mat out, bool *done)
{
    bool all[QX_LINEARISED_TERMS_MOST] = {false};
    qx_mat J, inverse, half;
    QX_TRY(qx_linear_room(m, m->parts, m->parts, &J));
    QX_TRY(qx_linear_room(m, m->parts, m->parts, &inverse));
    QX_TRY(qx_linear_room(m, m->parts, m->parts, &half));
    for (size_t k = 0; k < m->parts; k++) {
        all[k] = true;
    }
    bound_known(m, I);
    QX_TRY(slope_covariance(m, I, J));
    QX_TRY(qx_linear_invert(m, I, all, inverse, done));
    QX_TRY(qx_mat_multiply(m->cx, 'n', 'n', 1.0, inverse, J, 0.0, half));
    return qx_mat_multiply(m->cx, 'n', 'n', 1.0, half, inverse, 0.0, out);
}
