#include "model/information.h"

#include <math.h>

#include "model/blocks.h"
#include "model/graded.h"
#include "model/reduced.h"
#include "model/reml.h"
#include "numeric/chol.h"

/* Y (q x p) and N (q x p) in scratch. */
static qx_status kernels(qx_ctx *cx, const struct qx_lmm_inner *in, qx_mat *Y, qx_mat *N)
{
    const qx_profile *f = &in->profile;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->q, f->p, Y));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->q, f->p, N));
    for (size_t j = 0; j < f->p; j++) {
        for (size_t k = 0; k < f->q; k++) {
            QX_AT(*Y, k, j) = in->at.lambda[k] * QX_AT(f->C, k, j);
        }
    }
    QX_TRY(qx_chol_solve_lower(cx, 'n', in->at.K, *Y));
    qx_mat_copy(*N, f->C);
    return qx_mat_multiply(cx, 't', 'n', -1.0, in->at.B, *Y, 1.0, *N);
}

/* M := R^-1 M R'^-1 for a symmetric p x p M: from the columns of Q to those of X. */
static qx_status to_columns(qx_ctx *cx, const struct qx_lmm_inner *in, qx_mat M)
{
    for (int side = 0; side < 2; side++) {
        QX_TRY(qx_chol_solve_lower(cx, 't', in->r_transposed, M));
        for (size_t j = 0; j < M.cols; j++) {
            for (size_t i = 0; i < j; i++) {
                const double keep = QX_AT(M, i, j);
                QX_AT(M, i, j) = QX_AT(M, j, i);
                QX_AT(M, j, i) = keep;
            }
        }
    }
    for (size_t j = 0; j < M.cols; j++) {
        for (size_t i = 0; i < j; i++) {
            const double mean = 0.5 * (QX_AT(M, i, j) + QX_AT(M, j, i));
            QX_AT(M, i, j) = QX_AT(M, j, i) = mean;
        }
    }
    return QX_OK;
}

static qx_mat rows_of(const qx_profile *f, qx_mat a, size_t k)
{
    return qx_mat_part(a, f->start[k], 0, f->start[k + 1] - f->start[k], a.cols);
}

/* out = phi M phi */
static qx_status between_phi(qx_ctx *cx, qx_mat phi, qx_mat M, qx_mat out)
{
    qx_mat half;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), M.rows, M.cols, &half));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, phi, M, 0.0, half));
    return qx_mat_multiply(cx, 'n', 'n', 1.0, half, phi, 0.0, out);
}

/* phi_Q and N_k'N_k: from the sets of columns, N = U phi, or from the whole. */
static qx_status
over_q(qx_ctx *cx, const struct qx_lmm_inner *in, qx_mat phi, qx_mat NN[])
{
    const qx_profile *f = &in->profile;
    qx_mat Y, N;
    if (f->reduced != NULL) {
        return qx_reduced_kernels(cx, f, &in->at, phi, NN);
    }
    if (f->blocks != NULL) {
        qx_mat_copy(phi, in->at.blocks->phi);
        for (size_t k = 0; k < f->m; k++) {
            QX_TRY(between_phi(cx, phi, in->at.blocks->M[k], NN[k]));
        }
        return QX_OK;
    }
    QX_TRY(kernels(cx, in, &Y, &N));
    QX_TRY(qx_mat_crossprod(cx, Y, phi));
    for (size_t j = 0; j < f->p; j++) {
        QX_AT(phi, j, j) += 1.0;
    }
    for (size_t k = 0; k < f->m; k++) {
        QX_TRY(qx_mat_crossprod(cx, rows_of(f, N, k), NN[k]));
    }
    return QX_OK;
}

/* The same of a graded profile, which knows the columns of X themselves. */
static qx_status over_x(qx_ctx *cx, struct qx_lmm_inner *in)
{
    const qx_profile *f = &in->profile;
    qx_mat N;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->q, f->p, &N));
    QX_TRY(qx_graded_kernels(cx, f, &in->at, in->phi, N));
    for (size_t k = 0; k < f->m; k++) {
        QX_TRY(qx_mat_crossprod(cx, rows_of(f, N, k), in->derivative[k]));
    }
    return QX_OK;
}

static qx_status make(qx_ctx *cx, qx_lmm *fit)
{
    struct qx_lmm_inner *in = fit->inner;
    const size_t m = in->profile.m;
    for (size_t k = 0; k < m; k++) {
        QX_TRY(qx_mat_new(cx, fit->arena, fit->p, fit->p, &in->derivative[k]));
    }
    in->derivative[m] = in->phi;
    if (in->profile.graded != NULL) {
        return over_x(cx, in);
    }
    QX_TRY(over_q(cx, in, in->phi, in->derivative));
    QX_TRY(to_columns(cx, in, in->phi));
    for (size_t k = 0; k < m; k++) {
        QX_TRY(to_columns(cx, in, in->derivative[k]));
    }
    return QX_OK;
}

qx_status qx_information_make(qx_ctx *cx, qx_lmm *fit)
{
    struct qx_lmm_inner *in = fit->inner;
    qx_status status;
    in->parts = in->profile.m + 1;
    QX_TRY(qx_mat_new(cx, fit->arena, fit->p, fit->p, &in->phi));
    QX_TRY(qx_mat_new(cx, fit->arena, in->parts, in->parts, &in->spread));
    QX_NEW_IN(cx, fit->arena, in->derivative, in->parts);
    QX_SCRATCH(cx, status, make(cx, fit));
    QX_TRY(status);
    in->adjusted = in->phi;
    return QX_OK;
}

/* Expected information over the parts; `observed`: the observed one. */
static void fill(const struct qx_lmm_inner *in, bool observed, qx_mat out)
{
    const qx_profile *f = &in->profile;
    const qx_profile_point *at = &in->at;
    const size_t m = f->m;
    for (size_t k = 0; k < m; k++) {
        for (size_t l = 0; l < m; l++) {
            const double norm = QX_AT(at->norm, k, l);
            QX_AT(out, k, l) =
                observed ? 2.0 * QX_AT(at->bilinear, k, l) / in->sigma2 - norm : norm;
        }
        QX_AT(out, k, m) =
            observed ? 2.0 * at->square[k] / in->sigma2 - at->trace[k] : at->trace[k];
        QX_AT(out, m, k) = QX_AT(out, k, m);
    }
    QX_AT(out, m, m) = (double)(f->n - f->p);
}

static qx_status expected(qx_ctx *cx, qx_lmm *fit)
{
    struct qx_lmm_inner *in = fit->inner;
    qx_mat information;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), in->parts, in->parts, &information));
    fill(in, false, information);
    QX_TRY(qx_small_inverse(cx, information, in->spread));
    for (size_t l = 0; l < in->parts; l++) {
        for (size_t k = 0; k < in->parts; k++) {
            QX_AT(in->spread, k, l) *= 2.0;
        }
    }
    return QX_OK;
}

qx_status qx_information_expected(qx_ctx *cx, qx_lmm *fit)
{
    qx_status status;
    QX_SCRATCH(cx, status, expected(cx, fit));
    return status;
}

static qx_status observed(qx_ctx *cx, qx_lmm *fit)
{
    struct qx_lmm_inner *in = fit->inner;
    qx_mat information;
    double *root;
    QX_NEW(cx, root, in->parts);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), in->parts, in->parts, &information));
    fill(in, true, information);
    for (size_t k = 0; k < in->parts; k++) {
        if (!(QX_AT(information, k, k) > 0.0)) {
            return expected(cx, fit);
        }
        root[k] = sqrt(QX_AT(information, k, k));
    }
    for (size_t l = 0; l < in->parts; l++) {
        for (size_t k = 0; k < in->parts; k++) {
            QX_AT(information, k, l) /= root[k] * root[l];
        }
    }
    const qx_status status = qx_chol_factor(cx, information);
    if (status == QX_E_NOT_PD) {
        qx_ctx_forgive(cx);
        return expected(cx, fit);
    }
    QX_TRY(status);
    QX_TRY(qx_chol_inverse(cx, information, in->spread));
    for (size_t l = 0; l < in->parts; l++) {
        for (size_t k = 0; k < in->parts; k++) {
            QX_AT(in->spread, k, l) *= 2.0 / (root[k] * root[l]);
        }
    }
    return QX_OK;
}

qx_status qx_information_observed(qx_ctx *cx, qx_lmm *fit)
{
    qx_status status;
    QX_SCRATCH(cx, status, observed(cx, fit));
    return status;
}

/* out = 2 phi { sum_kl spread_kl (S_kl - M_k phi M_l) } phi, from the sets of columns. */
static qx_status
adjustment_by_blocks(qx_ctx *cx, const struct qx_lmm_inner *in, qx_mat out)
{
    const qx_profile *f = &in->profile;
    const struct qx_blocks_room *room = in->at.blocks;
    qx_mat sum, half;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->p, f->p, &sum));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->p, f->p, &half));
    for (size_t l = 0; l < f->m; l++) {
        QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, room->phi, room->M[l], 0.0, half));
        for (size_t k = 0; k < f->m; k++) {
            const double w = 2.0 * QX_AT(in->spread, k, l);
            const qx_mat S = room->S[k + l * f->m];
            QX_TRY(qx_mat_multiply(cx, 'n', 'n', -w, room->M[k], half, 1.0, sum));
            for (size_t i = 0; i < f->p * f->p; i++) {
                sum.at[i] += w * S.at[i];
            }
        }
    }
    return between_phi(cx, room->phi, sum, out);
}

/* out = 2 sum_kl spread_kl N_k'T_kl N_l */
static qx_status adjustment(qx_ctx *cx, const struct qx_lmm_inner *in, qx_mat out)
{
    const qx_profile *f = &in->profile;
    qx_mat Y, N, TN;
    if (f->graded != NULL) {
        QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->q, f->p, &N));
        QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->p, f->p, &Y));
        QX_TRY(qx_graded_kernels(cx, f, &in->at, Y, N));
    } else {
        QX_TRY(kernels(cx, in, &Y, &N));
    }
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->q, f->p, &TN));
    for (size_t k = 0; k < f->m; k++) {
        for (size_t l = 0; l < f->m; l++) {
            const qx_mat block = qx_mat_part(in->at.T,
                                             f->start[k],
                                             f->start[l],
                                             f->start[k + 1] - f->start[k],
                                             f->start[l + 1] - f->start[l]);
            QX_TRY(qx_mat_multiply(cx,
                                   'n',
                                   'n',
                                   QX_AT(in->spread, k, l),
                                   block,
                                   rows_of(f, N, l),
                                   1.0,
                                   rows_of(f, TN, k)));
        }
    }
    return qx_mat_multiply(cx, 't', 'n', 2.0, N, TN, 0.0, out);
}

/* The same from the reduced profile. */
static qx_status adjustment_reduced(qx_ctx *cx, const struct qx_lmm_inner *in, qx_mat out)
{
    QX_TRY(qx_reduced_adjustment(cx, &in->profile, &in->at, in->spread, out));
    for (size_t i = 0; i < out.rows * out.cols; i++) {
        out.at[i] *= 2.0;
    }
    return QX_OK;
}

static qx_status adjust(qx_ctx *cx, qx_lmm *fit)
{
    struct qx_lmm_inner *in = fit->inner;
    if (in->profile.graded != NULL) {
        QX_TRY(adjustment(cx, in, in->adjusted)); /* over the columns of X */
    } else {
        QX_TRY(in->profile.reduced != NULL  ? adjustment_reduced(cx, in, in->adjusted)
               : in->profile.blocks != NULL ? adjustment_by_blocks(cx, in, in->adjusted)
                                            : adjustment(cx, in, in->adjusted));
        QX_TRY(to_columns(cx, in, in->adjusted));
    }
    for (size_t j = 0; j < fit->p; j++) {
        for (size_t i = 0; i < fit->p; i++) {
            QX_AT(in->adjusted, i, j) += QX_AT(in->phi, i, j);
        }
    }
    return QX_OK;
}

qx_status qx_information_adjust(qx_ctx *cx, qx_lmm *fit)
{
    qx_status status;
    QX_TRY(qx_mat_new(cx, fit->arena, fit->p, fit->p, &fit->inner->adjusted));
    QX_SCRATCH(cx, status, adjust(cx, fit));
    return status;
}
