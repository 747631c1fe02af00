#include "findings/linearised.h"

#include <math.h>
#include <string.h>

#include "numeric/chol.h"
#include "numeric/eigen.h"

/* A correction beyond this is no small one any more. */
#define FACTOR_MOST 4.0
/* More degrees of freedom than this are as good as endless. */
#define DF_MOST 2000.0
/* Directions of several rows that carry less than this share of the largest are none. */
#define NO_DIRECTION 1e-9

typedef struct maker {
    qx_ctx *cx;
    const qx_design *design;
    const double *v;
    size_t n, p, parts;
    const qx_linearised_part *part;
    double variance[QX_LINEARISED_TERMS_MOST];
    qx_mat inverse; /* n x n: Sigma^-1 */
    qx_mat W;       /* n x p: Sigma^-1 X */
    qx_mat C;       /* p x p */
    qx_mat P;       /* n x n */
} maker;

static qx_status room(maker *m, size_t rows, size_t cols, qx_mat *out)
{
    return qx_mat_new(m->cx, qx_ctx_scratch(m->cx), rows, cols, out);
}

/* Sigma at m->variance; v holds what rows have at the parts' own variances. */
static void fill_sigma(const maker *m, qx_mat S)
{
    for (size_t i = 0; i < m->n; i++) {
        QX_AT(S, i, i) = m->v[i];
    }
    for (size_t k = 0; k < m->parts; k++) {
        const qx_linearised_part *part = &m->part[k];
        for (size_t j = 0; j < m->n; j++) {
            if (part->code == NULL) {
                QX_AT(S, j, j) += (m->variance[k] - part->variance) * part->slope[j];
                continue;
            }
            for (size_t i = 0; i < m->n; i++) {
                QX_AT(S, i, j) += part->code[i] == part->code[j] ? m->variance[k] : 0.0;
            }
        }
    }
}

/* Sigma^-1, Sigma^-1 X, C and P at m->variance; false when they cannot be had. */
static qx_status solve(maker *m, bool *done)
{
    qx_mat S, I;
    *done = false;
    QX_TRY(room(m, m->n, m->n, &S));
    QX_TRY(room(m, m->n, m->n, &m->inverse));
    QX_TRY(room(m, m->n, m->p, &m->W));
    QX_TRY(room(m, m->p, m->p, &I));
    QX_TRY(room(m, m->p, m->p, &m->C));
    QX_TRY(room(m, m->n, m->n, &m->P));
    fill_sigma(m, S);
    if (qx_chol_factor(m->cx, S) != QX_OK) {
        qx_ctx_forgive(m->cx);
        return QX_OK;
    }
    QX_TRY(qx_chol_inverse(m->cx, S, m->inverse));
    QX_TRY(qx_mat_multiply(m->cx, 'n', 'n', 1.0, m->inverse, m->design->X, 0.0, m->W));
    QX_TRY(qx_mat_multiply(m->cx, 't', 'n', 1.0, m->design->X, m->W, 0.0, I));
    if (qx_chol_factor(m->cx, I) != QX_OK) {
        qx_ctx_forgive(m->cx);
        return QX_OK;
    }
    QX_TRY(qx_chol_inverse(m->cx, I, m->C));
    qx_mat WC;
    QX_TRY(room(m, m->n, m->p, &WC));
    QX_TRY(qx_mat_multiply(m->cx, 'n', 'n', 1.0, m->W, m->C, 0.0, WC));
    qx_mat_copy(m->P, m->inverse);
    QX_TRY(qx_mat_multiply(m->cx, 'n', 't', -1.0, WC, m->W, 1.0, m->P));
    *done = true;
    return QX_OK;
}

/* tr(M S_k) for a symmetric M. */
static double trace_with(const maker *m, qx_mat M, size_t k)
{
    const qx_linearised_part *part = &m->part[k];
    double sum = 0.0;
    for (size_t j = 0; j < m->n; j++) {
        if (part->code == NULL) {
            sum += part->slope[j] * QX_AT(M, j, j);
            continue;
        }
        for (size_t i = 0; i < m->n; i++) {
            sum += part->code[i] == part->code[j] ? QX_AT(M, i, j) : 0.0;
        }
    }
    return sum;
}

/* S_k M (n x n) for a column-major M: sums over units, or rows by their slope. */
static void times_part(const maker *m, size_t k, qx_mat M, double unit[], qx_mat out)
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
            unit[part->code[i]] += QX_AT(M, i, j);
        }
        for (size_t i = 0; i < m->n; i++) {
            QX_AT(out, i, j) = unit[part->code[i]];
        }
    }
}

static qx_status unit_room(maker *m, double **unit)
{
    size_t most = 1;
    for (size_t k = 0; k < m->parts; k++) {
        most = m->part[k].count > most ? m->part[k].count : most;
    }
    QX_NEW(m->cx, *unit, most);
    return QX_OK;
}

/* 1/2 tr(P S_i P S_j). */
static qx_status information(maker *m, qx_mat out)
{
    qx_mat SP[QX_LINEARISED_TERMS_MOST];
    double *unit;
    QX_TRY(unit_room(m, &unit));
    for (size_t k = 0; k < m->parts; k++) {
        QX_TRY(room(m, m->n, m->n, &SP[k]));
        times_part(m, k, m->P, unit, SP[k]);
    }
    for (size_t a = 0; a < m->parts; a++) {
        for (size_t b = 0; b < m->parts; b++) {
            double sum = 0.0;
            for (size_t j = 0; j < m->n; j++) {
                for (size_t i = 0; i < m->n; i++) {
                    sum += QX_AT(SP[a], i, j) * QX_AT(SP[b], j, i);
                }
            }
            QX_AT(out, a, b) = 0.5 * sum;
        }
    }
    return QX_OK;
}

/* Inverse over the parts that `used` names; rows and columns of the others 0. False when the
 * information is not positive there. */
static qx_status invert(maker *m, qx_mat I, const bool used[], qx_mat out, bool *done)
{
    size_t place[QX_LINEARISED_TERMS_MOST], count = 0;
    qx_mat F, inverse;
    for (size_t k = 0; k < m->parts; k++) {
        if (used[k]) {
            place[count++] = k;
        }
    }
    qx_mat_zero(out);
    QX_TRY(room(m, count, count, &F));
    QX_TRY(room(m, count, count, &inverse));
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

/* One scoring step from maximum likelihood towards REML, for the variances above zero. */
static qx_status step(maker *m, qx_mat I)
{
    bool above[QX_LINEARISED_TERMS_MOST] = {false}, done;
    double score[QX_LINEARISED_TERMS_MOST] = {0.0};
    qx_mat A;
    QX_TRY(room(m, m->parts, m->parts, &A));
    for (size_t k = 0; k < m->parts; k++) {
        above[k] = m->variance[k] > 0.0;
        score[k] = 0.5 * (trace_with(m, m->inverse, k) - trace_with(m, m->P, k));
    }
    QX_TRY(invert(m, I, above, A, &done));
    for (size_t k = 0; done && k < m->parts; k++) {
        double by = 0.0;
        for (size_t j = 0; j < m->parts; j++) {
            by += QX_AT(A, k, j) * score[j];
        }
        m->variance[k] += above[k] ? fmax(by, 0.0) : 0.0;
    }
    return QX_OK;
}

/* Derivatives of C: C W' S_k W C. */
static qx_status slopes(maker *m, qx_arena *arena, qx_linearised *l)
{
    qx_mat WC, SW;
    double *unit;
    QX_TRY(unit_room(m, &unit));
    QX_TRY(room(m, m->n, m->p, &WC));
    QX_TRY(room(m, m->n, m->p, &SW));
    QX_TRY(qx_mat_multiply(m->cx, 'n', 'n', 1.0, m->W, m->C, 0.0, WC));
    for (size_t k = 0; k < m->parts; k++) {
        QX_TRY(qx_mat_new(m->cx, arena, m->p, m->p, &l->slope[k]));
        times_part(m, k, WC, unit, SW);
        QX_TRY(qx_mat_multiply(m->cx, 't', 'n', 1.0, WC, SW, 0.0, l->slope[k]));
    }
    return QX_OK;
}

static qx_status make(maker *m, qx_arena *arena, qx_linearised *l, bool *done)
{
    bool all[QX_LINEARISED_TERMS_MOST] = {false};
    qx_mat I;
    QX_TRY(room(m, m->parts, m->parts, &I));
    for (size_t k = 0; k < m->parts; k++) {
        m->variance[k] = m->part[k].variance;
        all[k] = true;
    }
    QX_TRY(solve(m, done));
    if (!*done) {
        return QX_OK;
    }
    QX_TRY(qx_mat_new(m->cx, arena, m->p, m->p, &l->plain));
    QX_TRY(qx_mat_new(m->cx, arena, m->p, m->p, &l->C));
    QX_TRY(qx_mat_new(m->cx, arena, m->parts, m->parts, &l->A));
    qx_mat_copy(l->plain, m->C);
    QX_TRY(information(m, I));
    QX_TRY(step(m, I));
    QX_TRY(solve(m, done));
    if (!*done) {
        return QX_OK;
    }
    qx_mat_copy(l->C, m->C);
    QX_TRY(information(m, I));
    QX_TRY(invert(m, I, all, l->A, done));
    return *done ? slopes(m, arena, l) : QX_OK;
}

qx_status qx_linearised_make(qx_ctx *cx,
                             qx_arena *arena,
                             const qx_design *design,
                             const double v[],
                             size_t part_count,
                             const qx_linearised_part part[],
                             const qx_linearised **out)
{
    maker m = {.cx = cx,
               .design = design,
               .v = v,
               .n = design->n,
               .p = design->p,
               .parts = part_count,
               .part = part};
    qx_linearised *l;
    qx_status status;
    bool done = false;
    *out = NULL;
    if (part_count == 0 || part_count > QX_LINEARISED_TERMS_MOST ||
        design->n > QX_LINEARISED_ROWS_MOST) {
        return QX_OK;
    }
    QX_NEW_IN(cx, arena, l, 1);
    l->p = design->p;
    l->parts = part_count;
    for (size_t k = 0; k < part_count; k++) {
        l->by_rows = l->by_rows || part[k].code == NULL;
    }
    QX_SCRATCH(cx, status, make(&m, arena, l, &done));
    *out = status == QX_OK && done ? l : NULL;
    return status;
}

double qx_linearised_df(const qx_linearised *l, const double row[])
{
    const double V = qx_quadratic(l->C, row);
    double g[QX_LINEARISED_TERMS_MOST], spread = 0.0;
    for (size_t k = 0; k < l->parts; k++) {
        g[k] = qx_quadratic(l->slope[k], row);
    }
    for (size_t a = 0; a < l->parts; a++) {
        for (size_t b = 0; b < l->parts; b++) {
            spread += g[a] * g[b] * QX_AT(l->A, a, b);
        }
    }
    const double df = 2.0 * V * V / spread;
    return df < DF_MOST ? fmax(df, 1.0) : (double)INFINITY; /* also not-a-number */
}

double qx_linearised_factor(const qx_linearised *l, const double row[])
{
    const double x = qx_quadratic(l->C, row) / qx_quadratic(l->plain, row);
    return isfinite(x) ? fmin(fmax(x, 1.0), FACTOR_MOST) : 1.0;
}

/* One direction of several rows, as a row of its own. */
static void direction(qx_mat L, qx_mat U, size_t k, double row[])
{
    for (size_t j = 0; j < L.cols; j++) {
        row[j] = 0.0;
        for (size_t i = 0; i < L.rows; i++) {
            row[j] += QX_AT(U, i, k) * QX_AT(L, i, j);
        }
    }
}

static qx_status
joint(qx_ctx *cx, const qx_linearised *l, qx_mat L, double *df, double *factor)
{
    qx_mat LC, V, U;
    double *value, *row, sum = 0.0, scale = 0.0;
    size_t used = 0;
    bool limited = false;
    QX_NEW(cx, value, L.rows);
    QX_NEW(cx, row, l->p);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), L.rows, l->p, &LC));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), L.rows, L.rows, &V));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), L.rows, L.rows, &U));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, L, l->C, 0.0, LC));
    QX_TRY(qx_mat_multiply(cx, 'n', 't', 1.0, LC, L, 0.0, V));
    QX_TRY(qx_eigen_symmetric(cx, V, value, U));
    for (size_t k = 0; k < L.rows; k++) {
        if (!(value[k] > NO_DIRECTION * fmax(value[0], value[L.rows - 1]))) {
            continue;
        }
        direction(L, U, k, row);
        const double nu = qx_linearised_df(l, row);
        scale += qx_linearised_factor(l, row);
        sum += isinf(nu) ? 1.0 : nu > 2.0 ? nu / (nu - 2.0) : 10.0;
        limited = limited || isfinite(nu);
        used++;
    }
    const double r = (double)used;
    *factor = used > 0 ? scale / r : 1.0;
    *df = !limited                 ? (double)INFINITY
          : used == 1              ? 2.0 * sum / (sum - 1.0)
          : sum > r * (1.0 + 1e-9) ? fmax(2.0 * sum / (sum - r), 1.0)
                                   : (double)INFINITY;
    *df = *df < DF_MOST ? *df : (double)INFINITY;
    return QX_OK;
}

qx_status qx_linearised_joint(
    qx_ctx *cx, const qx_linearised *l, qx_mat L, double *df, double *factor)
{
    qx_status status;
    QX_SCRATCH(cx, status, joint(cx, l, L, df, factor));
    return status;
}
