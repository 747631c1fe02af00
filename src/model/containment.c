#include "model/containment.h"

#include <math.h>

#include "model/blocks.h"
#include "model/design_rows.h"
#include "model/reduced.h"
#include "model/rows.h"
#include "numeric/eigen.h"

/* A pivot of Z'MZ below this (columns of Z hold ones) adds no rank. */
static const double RANK_SLACK = 1e-9;
/* Weights of a row below this share of its largest count as zero. */
static const double NO_WEIGHT = 1e-10;

/* Eliminates the columns of terms up to `last` in one set, of its square A bordered by its
 * rows of C; F loses C'A^- C. Gives the rank. */
static size_t
eliminate_set(const qx_profile *f, size_t s, size_t last, qx_mat A, qx_mat F)
{
    const size_t first = f->blocks->start[s];
    const size_t size = f->blocks->start[s + 1] - first;
    size_t rank = 0;
    for (size_t j = 0; j < size; j++) {
        for (size_t i = 0; i < size; i++) {
            QX_AT(A, i, j) = f->blocks->G[f->blocks->offset[s] + i + j * size];
        }
        for (size_t a = 0; a < f->p; a++) {
            QX_AT(A, j, size + a) = QX_AT(f->C, f->blocks->column[first + j], a);
        }
    }
    for (size_t k = 0; k < size && f->blocks->term[first + k] <= last; k++) {
        const double pivot = QX_AT(A, k, k);
        if (!(pivot >
              RANK_SLACK * (1.0 + f->blocks->G[f->blocks->offset[s] + k + k * size]))) {
            continue;
        }
        rank++;
        for (size_t r = k + 1; r < size; r++) {
            const double factor = QX_AT(A, r, k) / pivot;
            for (size_t c = k + 1; factor != 0.0 && c < size + f->p; c++) {
                QX_AT(A, r, c) -= factor * QX_AT(A, k, c);
            }
        }
        for (size_t a = 0; a < f->p; a++) {
            for (size_t b = 0; b < f->p; b++) {
                QX_AT(F, a, b) -= QX_AT(A, k, size + a) * QX_AT(A, k, size + b) / pivot;
            }
        }
    }
    return rank;
}

/* rank [X Z_1 ... Z_i] = rank [Z_1 ... Z_i] + rank of what is left of Q'Q = I. */
static qx_status rank_added_by_blocks(qx_ctx *cx, const qx_profile *f, double df[])
{
    qx_mat A, F, U;
    double *value;
    double before = (double)f->p;
    size_t most = 0;
    for (size_t s = 0; s < f->blocks->count; s++) {
        const size_t size = f->blocks->start[s + 1] - f->blocks->start[s];
        most = size > most ? size : most;
    }
    QX_NEW(cx, value, f->p);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), most, most + f->p, &A));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->p, f->p, &F));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->p, f->p, &U));
    for (size_t i = 0; i < f->m; i++) {
        double rank = 0.0;
        qx_mat_zero(F);
        for (size_t j = 0; j < f->p; j++) {
            QX_AT(F, j, j) = 1.0;
        }
        for (size_t s = 0; s < f->blocks->count; s++) {
            rank += (double)eliminate_set(f, s, i, A, F);
        }
        QX_TRY(qx_eigen_symmetric(cx, F, value, U));
        for (size_t j = 0; j < f->p; j++) {
            rank += value[j] > RANK_SLACK ? 1.0 : 0.0;
        }
        df[i] = rank - before;
        before = rank;
    }
    return QX_OK;
}

/* Rank that each random term adds, by elimination without pivoting on Z'MZ. */
static qx_status rank_added(qx_ctx *cx, const qx_profile *f, double df[])
{
    qx_mat A;
    if (f->reduced != NULL) {
        return qx_reduced_ranks(cx, f, df);
    }
    if (f->blocks != NULL) {
        return rank_added_by_blocks(cx, f, df);
    }
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->q, f->q, &A));
    qx_mat_copy(A, f->G);
    for (size_t i = 0; i < f->m; i++) {
        for (size_t k = f->start[i]; k < f->start[i + 1]; k++) {
            const double pivot = QX_AT(A, k, k);
            if (!(pivot > RANK_SLACK * (1.0 + QX_AT(f->G, k, k)))) {
                continue;
            }
            df[i] += 1.0;
            for (size_t c = k + 1; c < f->q; c++) {
                const double factor = QX_AT(A, c, k) / pivot;
                for (size_t r = c; factor != 0.0 && r < f->q; r++) {
                    QX_AT(A, r, c) -= factor * QX_AT(A, r, k);
                }
            }
        }
    }
    return QX_OK;
}

/* Are all columns of the term constant inside the units? */
static qx_status holds(qx_ctx *cx,
                       const qx_lmm *fit,
                       const uint32_t code[],
                       size_t levels,
                       size_t term,
                       bool *out)
{
    double *first;
    bool *seen;
    QX_NEW(cx, first, levels);
    QX_NEW(cx, seen, levels);
    *out = true;
    for (size_t j = 0; j < fit->p && *out; j++) {
        if (fit->design.term_of[j] != term) {
            continue;
        }
        for (size_t l = 0; l < levels; l++) {
            seen[l] = false;
        }
        for (size_t i = 0; i < fit->n && *out; i++) {
            const double x = qx_design_entry(&fit->design, i, j);
            *out = !seen[code[i]] || first[code[i]] == x;
            seen[code[i]] = true;
            first[code[i]] = x;
        }
    }
    return QX_OK;
}

static qx_status term_df(qx_ctx *cx,
                         const qx_lmm *fit,
                         const uint32_t *const code[],
                         size_t term,
                         const double stratum[],
                         double *df)
{
    const qx_profile *f = &fit->inner->profile;
    *df = INFINITY;
    for (size_t i = 0; i < f->m; i++) {
        bool held = false;
        QX_TRY(holds(cx, fit, code[i], f->start[i + 1] - f->start[i], term, &held));
        if (held && stratum[i] > 0.0) {
            *df = fmin(*df, stratum[i]);
        }
    }
    if (!isfinite(*df)) {
        *df = stratum[f->m];
    }
    return QX_OK;
}

static qx_status prepare(qx_ctx *cx, qx_lmm *fit, const uint32_t *const code[])
{
    const qx_profile *f = &fit->inner->profile;
    double *stratum;
    double of_term = NAN;
    QX_NEW(cx, stratum, f->m + 1);
    QX_TRY(rank_added(cx, f, stratum));
    stratum[f->m] = (double)(f->n - f->p);
    for (size_t i = 0; i < f->m; i++) {
        stratum[f->m] -= stratum[i];
    }
    for (size_t j = 0; j < fit->p; j++) {
        if (j == 0 || fit->design.term_of[j] != fit->design.term_of[j - 1]) {
            QX_TRY(term_df(cx, fit, code, fit->design.term_of[j], stratum, &of_term));
        }
        fit->inner->containment[j] = of_term;
    }
    return QX_OK;
}

qx_status qx_containment_prepare(qx_ctx *cx, qx_lmm *fit, const uint32_t *const code[])
{
    qx_status status;
    QX_NEW_IN(cx, fit->arena, fit->inner->containment, fit->p);
    QX_SCRATCH(cx, status, prepare(cx, fit, code));
    return status;
}

double qx_containment_df(const qx_lmm *fit, const double row[])
{
    double most = 0.0;
    double df = INFINITY;
    for (size_t j = 0; j < fit->p; j++) {
        most = fmax(most, fabs(row[j]));
    }
    /* A mean lies in the strata of all terms, whichever levels the coding leaves out. */
    const bool mean = fabs(row[0]) > NO_WEIGHT * most;
    for (size_t j = 1; j < fit->p; j++) {
        if (mean || fabs(row[j]) > NO_WEIGHT * most) {
            df = fmin(df, fit->inner->containment[j]);
        }
    }
    df = isfinite(df) ? df : fit->inner->containment[0];
    return df > 0.0 ? df : (double)NAN;
}

static qx_status test(qx_ctx *cx, const qx_lmm *fit, qx_mat L, qx_joint_test *out)
{
    double wald;
    double *row;
    QX_NEW(cx, row, L.cols);
    out->den_df = INFINITY;
    for (size_t i = 0; i < L.rows; i++) {
        for (size_t j = 0; j < L.cols; j++) {
            row[j] = QX_AT(L, i, j);
        }
        const double df = qx_containment_df(fit, row);
        out->den_df = df < out->den_df || isnan(df) ? df : out->den_df;
    }
    QX_TRY(qx_rows_wald(cx, fit, L, fit->inner->phi, &wald));
    out->f = wald / (double)L.rows;
    out->method = "containment";
    return QX_OK;
}

qx_status qx_containment_test(qx_ctx *cx, const qx_lmm *fit, qx_mat L, qx_joint_test *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, test(cx, fit, L, out));
    return status;
}
