#include "model/confounded.h"

#include <string.h>

#include "model/reduced.h"
#include "model/rows.h"
#include "numeric/chol.h"

/* v'C'C v / v'v is the number of rows of a unit where v rests on it, and 1e-16 of that by
 * rounding where it does not. */
static const double RESTS = 1e-9;

static qx_status add_square(qx_ctx *cx, qx_arena *arena, qx_mat square, qx_mat *sum)
{
    const size_t p = square.cols;
    if (sum->at == NULL) {
        QX_TRY(qx_mat_new(cx, arena, p, p, sum));
    }
    for (size_t i = 0; i < p * p; i++) {
        sum->at[i] += square.at[i];
    }
    return QX_OK;
}

static qx_status add(qx_ctx *cx, qx_arena *arena, qx_mat C, qx_mat *sum)
{
    qx_mat square;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), C.cols, C.cols, &square));
    QX_TRY(qx_mat_crossprod(cx, C, square));
    return add_square(cx, arena, square, sum);
}

qx_status qx_confounded_add(qx_ctx *cx, qx_arena *arena, qx_mat C, qx_mat *sum)
{
    qx_status status;
    QX_SCRATCH(cx, status, add(cx, arena, C, sum));
    return status;
}

static qx_status
add_reduced(qx_ctx *cx, qx_arena *arena, const qx_profile *f, size_t term, qx_mat *sum)
{
    qx_mat square;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->p, f->p, &square));
    QX_TRY(qx_reduced_square(cx, f, term, square));
    return add_square(cx, arena, square, sum);
}

qx_status qx_confounded_add_reduced(
    qx_ctx *cx, qx_arena *arena, const qx_profile *profile, size_t term, qx_mat *sum)
{
    qx_status status;
    QX_SCRATCH(cx, status, add_reduced(cx, arena, profile, term, sum));
    return status;
}

static qx_status rests(qx_ctx *cx, const qx_lmm *fit, const double row[], bool *out)
{
    double *v;
    QX_NEW(cx, v, fit->p);
    memcpy(v, row, fit->p * sizeof *v);
    QX_TRY(
        qx_chol_solve_lower(cx, 'n', fit->inner->r_transposed, qx_mat_of(v, fit->p, 1)));
    *out = qx_quadratic(fit->inner->confounded, v) > RESTS * qx_dot(fit->p, v, v);
    return QX_OK;
}

qx_status qx_confounded_row(qx_ctx *cx, const qx_lmm *fit, const double row[], bool *out)
{
    qx_status status;
    *out = false;
    if (fit->inner->confounded.at == NULL) {
        return QX_OK;
    }
    QX_SCRATCH(cx, status, rests(cx, fit, row, out));
    return status;
}

static qx_status any_rests(qx_ctx *cx, const qx_lmm *fit, qx_mat L, bool *out)
{
    double *row;
    QX_NEW(cx, row, fit->p);
    for (size_t i = 0; i < L.rows && !*out; i++) {
        for (size_t j = 0; j < fit->p; j++) {
            row[j] = QX_AT(L, i, j);
        }
        QX_TRY(qx_confounded_row(cx, fit, row, out));
    }
    return QX_OK;
}

qx_status qx_confounded_rows(qx_ctx *cx, const qx_lmm *fit, qx_mat L, bool *out)
{
    qx_status status;
    *out = false;
    if (fit->inner->confounded.at == NULL) {
        return QX_OK;
    }
    QX_SCRATCH(cx, status, any_rests(cx, fit, L, out));
    return status;
}
