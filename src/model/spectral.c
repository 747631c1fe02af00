#include "model/spectral.h"

#include <math.h>
#include <string.h>

#include "model/blocks.h"
#include "numeric/chol.h"
#include "numeric/eigen.h"

/* Eigenvalues below this share of the largest are nil: columns of Z hold ones, so that
 * true ones stand at 1e-3 and rounding at 1e-14. */
static const double NIL = 1e-10;
/* D_k off its diagonal below this share of the largest on it: rounding. */
static const double OFF_DIAGONAL = 1e-10;
/* Directions whose d agree to this belong to one stratum. */
static const double SAME_STRATUM = 1e-9;

/* Different for each term, and no sums of few of them alike. */
static double weight_of(size_t k)
{
    return sqrt((double)k + 1.5);
}

static size_t term_of(const qx_profile *f, size_t column)
{
    size_t k = 0;
    while (column >= f->start[k + 1]) {
        k++;
    }
    return k;
}

/* Z'MZ as one matrix, put together from its sets where it is kept so. */
static qx_status whole_gram(qx_ctx *cx, const qx_profile *f, qx_mat *out)
{
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->q, f->q, out));
    if (f->blocks == NULL) {
        qx_mat_copy(*out, f->G);
        return QX_OK;
    }
    const struct qx_blocks *b = f->blocks;
    for (size_t s = 0; s < b->count; s++) {
        const size_t first = b->start[s];
        const size_t size = b->start[s + 1] - first;
        for (size_t j = 0; j < size; j++) {
            for (size_t i = 0; i < size; i++) {
                QX_AT(*out, b->column[first + i], b->column[first + j]) =
                    b->G[b->offset[s] + i + j * size];
            }
        }
    }
    return qx_mat_multiply(cx, 'n', 't', -1.0, f->C, f->C, 1.0, *out);
}

/* F and to_t from the weighted eigenproblem. */
static qx_status
factor(qx_ctx *cx, qx_arena *arena, const qx_profile *f, struct qx_spectral *s)
{
    qx_mat A, U;
    double *value;
    QX_NEW(cx, value, f->q);
    QX_TRY(whole_gram(cx, f, &A));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->q, f->q, &U));
    for (size_t j = 0; j < f->q; j++) {
        for (size_t i = 0; i < f->q; i++) {
            QX_AT(A, i, j) *= sqrt(weight_of(term_of(f, i)) * weight_of(term_of(f, j)));
        }
    }
    QX_TRY(qx_eigen_symmetric(cx, A, value, U));
    const double most = f->q > 0 ? value[f->q - 1] : 0.0;
    size_t nil = 0;
    while (nil < f->q && !(value[nil] > NIL * most)) {
        nil++;
    }
    s->r = f->q - nil;
    QX_TRY(qx_mat_new(cx, arena, f->q, s->r, &s->F));
    QX_TRY(qx_mat_new(cx, arena, f->q, s->r, &s->to_t));
    for (size_t j = 0; j < s->r; j++) {
        const double root = sqrt(value[nil + j]);
        for (size_t i = 0; i < f->q; i++) {
            const double weight = sqrt(weight_of(term_of(f, i)));
            QX_AT(s->F, i, j) = QX_AT(U, i, nil + j) * root / weight;
            QX_AT(s->to_t, i, j) = QX_AT(U, i, nil + j) * weight / root;
        }
    }
    return QX_OK;
}

static qx_status
squares(qx_ctx *cx, qx_arena *arena, const qx_profile *f, struct qx_spectral *s)
{
    qx_mat *D;
    QX_NEW_IN(cx, arena, D, f->m);
    for (size_t k = 0; k < f->m; k++) {
        const size_t levels = f->start[k + 1] - f->start[k];
        QX_TRY(qx_mat_new(cx, arena, s->r, s->r, &D[k]));
        QX_TRY(
            qx_mat_crossprod(cx, qx_mat_part(s->F, f->start[k], 0, levels, s->r), D[k]));
    }
    s->D = D;
    return QX_OK;
}

static double largest(const struct qx_spectral *s)
{
    double most = 0.0;
    for (size_t k = 0; k < s->m; k++) {
        for (size_t i = 0; i < s->r; i++) {
            most = fmax(most, QX_AT(s->D[k], i, i));
        }
    }
    return most;
}

static bool all_diagonal(const struct qx_spectral *s, double most)
{
    for (size_t k = 0; k < s->m; k++) {
        for (size_t j = 0; j < s->r; j++) {
            for (size_t i = 0; i < j; i++) {
                if (fabs(QX_AT(s->D[k], i, j)) > OFF_DIAGONAL * most) {
                    return false;
                }
            }
        }
    }
    return true;
}

static bool
same_stratum(const struct qx_spectral *s, const double d[], size_t i, double most)
{
    for (size_t k = 0; k < s->m; k++) {
        if (fabs(QX_AT(s->D[k], i, i) - d[k]) > SAME_STRATUM * most) {
            return false;
        }
    }
    return true;
}

/* Directions with the same d; d is the mean over them. */
static qx_status group(qx_ctx *cx, qx_arena *arena, double most, struct qx_spectral *s)
{
    size_t *stratum;
    double *d, *count;
    QX_NEW_IN(cx, arena, stratum, s->r);
    QX_NEW_IN(cx, arena, d, s->r * s->m);
    QX_NEW_IN(cx, arena, count, s->r);
    for (size_t i = 0; i < s->r; i++) {
        size_t at = 0;
        while (at < s->strata && !same_stratum(s, d + at * s->m, i, most)) {
            at++;
        }
        s->strata += at == s->strata ? 1 : 0;
        count[at] += 1.0;
        stratum[i] = at;
        for (size_t k = 0; k < s->m; k++) {
            const double gap = QX_AT(s->D[k], i, i) - d[at * s->m + k];
            d[at * s->m + k] += gap / count[at];
        }
    }
    for (size_t i = 0; i < s->strata * s->m; i++) {
        d[i] = d[i] > SAME_STRATUM * most ? d[i] : 0.0;
    }
    s->stratum = stratum;
    s->d = d;
    s->count = count;
    return QX_OK;
}

static qx_status
make(qx_ctx *cx, qx_arena *arena, const qx_profile *f, struct qx_spectral *s)
{
    QX_TRY(factor(cx, arena, f, s));
    QX_TRY(squares(cx, arena, f, s));
    const double most = largest(s);
    s->commute = all_diagonal(s, most);
    return s->commute ? group(cx, arena, most, s) : QX_OK;
}

qx_status qx_spectral_make(qx_ctx *cx,
                           qx_arena *arena,
                           const qx_profile *profile,
                           struct qx_spectral **out)
{
    struct qx_spectral *s;
    qx_status status;
    QX_NEW_IN(cx, arena, s, 1);
    s->m = profile->m;
    QX_SCRATCH(cx, status, make(cx, arena, profile, s));
    QX_TRY(status);
    *out = s;
    return QX_OK;
}

qx_status qx_spectral_respond(qx_ctx *cx, qx_arena *arena, qx_profile *profile)
{
    const struct qx_spectral *s = profile->spectral;
    double *t, *ss;
    QX_NEW_IN(cx, arena, t, s->r);
    QX_NEW_IN(cx, arena, ss, s->strata);
    qx_mat_vector('t', 1.0, s->to_t, profile->z, 0.0, t);
    for (size_t i = 0; s->commute && i < s->r; i++) {
        ss[s->stratum[i]] += t[i] * t[i];
    }
    profile->t = t;
    profile->ss = ss;
    profile->rest = profile->rr - qx_dot(s->r, t, t);
    return QX_OK;
}

static void clear(size_t m, qx_profile_point *at)
{
    for (size_t k = 0; k < m; k++) {
        at->trace[k] = at->square[k] = 0.0;
        for (size_t l = 0; l < m; l++) {
            QX_AT(at->norm, k, l) = QX_AT(at->bilinear, k, l) = 0.0;
        }
    }
}

/* What one stratum with variance v adds. */
static void add_stratum(
    const struct qx_spectral *s, size_t i, double v, double ss, qx_profile_point *at)
{
    const double *d = s->d + i * s->m;
    const double n = s->count[i];
    for (size_t k = 0; k < s->m; k++) {
        const double dk = d[k] / v;
        at->trace[k] += n * dk;
        at->square[k] += ss / v * dk;
        for (size_t l = 0; l < s->m; l++) {
            const double both = dk * d[l] / v;
            QX_AT(at->norm, k, l) += n * both;
            QX_AT(at->bilinear, k, l) += ss / v * both;
        }
    }
    at->log_a += n * log(v);
    at->ypy += ss / v;
}

bool qx_spectral_strata(const qx_profile *profile,
                        const double gamma[],
                        qx_profile_point *at)
{
    const struct qx_spectral *s = profile->spectral;
    clear(s->m, at);
    at->log_a = 0.0;
    at->ypy = profile->rest;
    for (size_t i = 0; i < s->strata; i++) {
        double v = 1.0;
        for (size_t k = 0; k < s->m; k++) {
            v += gamma[k] * s->d[i * s->m + k];
        }
        if (!(v > 0.0) || !isfinite(v)) {
            return false;
        }
        add_stratum(s, i, v, profile->ss[i], at);
    }
    for (size_t k = 0; k < s->m; k++) {
        at->gamma[k] = gamma[k];
    }
    return true;
}

/* W := L^-1 D L'^-1, symmetric. */
static qx_status whitened(qx_ctx *cx, qx_mat L, qx_mat D, qx_mat *W)
{
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), D.rows, D.cols, W));
    qx_mat_copy(*W, D);
    for (int side = 0; side < 2; side++) {
        QX_TRY(qx_chol_solve_lower(cx, 'n', L, *W));
        for (size_t j = 0; side == 0 && j < D.cols; j++) {
            for (size_t i = 0; i < j; i++) {
                const double keep = QX_AT(*W, i, j);
                QX_AT(*W, i, j) = QX_AT(*W, j, i);
                QX_AT(*W, j, i) = keep;
            }
        }
    }
    return QX_OK;
}

static qx_status
form(qx_ctx *cx, const struct qx_spectral *s, const double gamma[], qx_mat *M)
{
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), s->r, s->r, M));
    for (size_t i = 0; i < s->r; i++) {
        QX_AT(*M, i, i) = 1.0;
    }
    for (size_t k = 0; k < s->m; k++) {
        for (size_t i = 0; i < s->r * s->r; i++) {
            M->at[i] += gamma[k] * s->D[k].at[i];
        }
    }
    return QX_OK;
}

/* The sums of a point from the factor of M. */
static qx_status
sums(qx_ctx *cx, const qx_profile *profile, qx_mat L, qx_profile_point *at)
{
    const struct qx_spectral *s = profile->spectral;
    qx_mat *W;
    double *u, *a;
    QX_NEW(cx, W, s->m);
    QX_NEW(cx, u, s->r);
    QX_NEW(cx, a, s->m * s->r);
    memcpy(u, profile->t, s->r * sizeof *u);
    QX_TRY(qx_chol_solve_lower(cx, 'n', L, qx_mat_of(u, s->r, 1)));
    at->log_a = qx_chol_logdet(L);
    at->ypy = profile->rest + qx_dot(s->r, u, u);
    for (size_t k = 0; k < s->m; k++) {
        QX_TRY(whitened(cx, L, s->D[k], &W[k]));
        qx_mat_vector('n', 1.0, W[k], u, 0.0, a + k * s->r);
        at->square[k] = qx_dot(s->r, u, a + k * s->r);
        for (size_t i = 0; i < s->r; i++) {
            at->trace[k] += QX_AT(W[k], i, i);
        }
        for (size_t l = 0; l <= k; l++) {
            QX_AT(at->norm, k, l) = QX_AT(at->norm, l, k) = qx_mat_inner(W[k], W[l]);
            QX_AT(at->bilinear, k, l) = QX_AT(at->bilinear, l, k) =
                qx_dot(s->r, a + k * s->r, a + l * s->r);
        }
    }
    return QX_OK;
}

static qx_status one_matrix(qx_ctx *cx,
                            const qx_profile *profile,
                            const double gamma[],
                            qx_profile_point *at,
                            bool *definite)
{
    qx_mat M;
    *definite = false;
    QX_TRY(form(cx, profile->spectral, gamma, &M));
    const qx_status status = qx_chol_factor(cx, M);
    if (status == QX_E_NOT_PD) {
        qx_ctx_forgive(cx);
        return QX_OK;
    }
    QX_TRY(status);
    *definite = true;
    clear(profile->m, at);
    memcpy(at->gamma, gamma, profile->m * sizeof *gamma);
    return sums(cx, profile, M, at);
}

qx_status qx_spectral_point(qx_ctx *cx,
                            const qx_profile *profile,
                            const double gamma[],
                            qx_profile_point *at,
                            bool *definite)
{
    qx_status status;
    if (profile->spectral->commute) {
        *definite = qx_spectral_strata(profile, gamma, at);
        return QX_OK;
    }
    QX_SCRATCH(cx, status, one_matrix(cx, profile, gamma, at, definite));
    return status;
}
