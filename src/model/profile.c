#include "model/profile.h"

#include <math.h>
#include <string.h>

#include "model/blocks.h"
#include "model/graded.h"
#include "model/reduced.h"
#include "model/spectral.h"
#include "numeric/chol.h"

/* Random columns of one dense matrix: beyond this a fit takes hours and gigabytes. */
#define DENSE_MOST 8000

/* A ratio times the rows of a unit below this: the variance of a unit's mean is that of its
 * rows to ten digits, which is what a search can tell. */
static const double NIL = 1e-10;

/* Z'Q and Z'r by adding rows where they belong. */
static void gather(const qx_profile *f,
                   const uint32_t *const code[],
                   qx_mat Q,
                   const double r[],
                   double z[])
{
    for (size_t a = 0; a < f->m; a++) {
        for (size_t i = 0; i < f->n; i++) {
            z[f->start[a] + code[a][i]] += r[i];
        }
        for (size_t j = 0; j < f->p; j++) {
            for (size_t i = 0; i < f->n; i++) {
                QX_AT(f->C, f->start[a] + code[a][i], j) += QX_AT(Q, i, j);
            }
        }
    }
}

/* G = Z'Z from counts, less CC'. */
static qx_status
gather_square(qx_ctx *cx, const qx_profile *f, const uint32_t *const code[])
{
    for (size_t a = 0; a < f->m; a++) {
        for (size_t i = 0; i < f->n; i++) {
            for (size_t b = 0; b <= a; b++) {
                QX_AT(f->G, f->start[a] + code[a][i], f->start[b] + code[b][i]) += 1.0;
            }
        }
    }
    for (size_t j = 0; j < f->q; j++) {
        for (size_t i = 0; i < j; i++) {
            QX_AT(f->G, i, j) = QX_AT(f->G, j, i);
        }
    }
    return qx_mat_multiply(cx, 'n', 't', -1.0, f->C, f->C, 1.0, f->G);
}

static qx_status begin(qx_ctx *cx,
                       qx_arena *arena,
                       size_t m,
                       const size_t levels[],
                       const uint32_t *const code[],
                       qx_mat Q,
                       const double r[],
                       qx_profile *f)
{
    size_t *start;
    double *z;
    *f = (qx_profile){.n = Q.rows, .p = Q.cols, .m = m};
    QX_NEW_IN(cx, arena, start, m + 1);
    for (size_t i = 0; i < m; i++) {
        start[i + 1] = start[i] + levels[i];
    }
    f->q = start[m];
    f->start = start;
    QX_NEW_IN(cx, arena, z, f->q);
    QX_TRY(qx_mat_new(cx, arena, f->q, f->p, &f->C));
    gather(f, code, Q, r, z);
    f->z = z;
    f->rr = qx_dot(f->n, r, r);
    return QX_OK;
}

qx_status qx_profile_make(qx_ctx *cx,
                          qx_arena *arena,
                          size_t m,
                          const size_t levels[],
                          const uint32_t *const code[],
                          qx_mat Q,
                          const double r[],
                          qx_profile *out)
{
    QX_TRY(begin(cx, arena, m, levels, code, Q, r, out));
    QX_TRY(qx_blocks_find(cx, arena, out, code, false, &out->blocks));
    if (out->blocks != NULL) {
        return QX_OK;
    }
    if (out->q > DENSE_MOST) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "%zu units that hang together are more than can be fitted (%d): "
                       "blocks or sites that do not cross would split them",
                       out->q,
                       DENSE_MOST);
    }
    QX_TRY(qx_mat_new(cx, arena, out->q, out->q, &out->G));
    return gather_square(cx, out, code);
}

qx_status qx_profile_make_blocks(qx_ctx *cx,
                                 qx_arena *arena,
                                 size_t m,
                                 const size_t levels[],
                                 const uint32_t *const code[],
                                 qx_mat Q,
                                 const double r[],
                                 qx_profile *out)
{
    QX_TRY(begin(cx, arena, m, levels, code, Q, r, out));
    return qx_blocks_find(cx, arena, out, code, true, &out->blocks);
}

qx_status qx_profile_again(qx_ctx *cx,
                           qx_arena *arena,
                           const qx_profile *made,
                           const uint32_t *const code[],
                           const double r[],
                           qx_profile *out)
{
    double *z;
    if (made->reduced != NULL) {
        *out = *made;
        return qx_reduced_again(cx, arena, r, out);
    }
    QX_NEW_IN(cx, arena, z, made->q);
    for (size_t a = 0; a < made->m; a++) {
        for (size_t i = 0; i < made->n; i++) {
            z[made->start[a] + code[a][i]] += r[i];
        }
    }
    *out = *made;
    out->z = z;
    out->rr = qx_dot(made->n, r, r);
    return made->spectral == NULL ? QX_OK : qx_spectral_respond(cx, arena, out);
}

static bool by_strata(const qx_profile *f)
{
    return f->graded == NULL && f->spectral != NULL && f->spectral->commute;
}

/* Has a point a number for each column of Z? */
static bool by_columns(const qx_profile *f)
{
    return f->reduced == NULL || f->graded != NULL;
}

/* The matrices of an evaluated point. */
static qx_status
room_of_matrices(qx_ctx *cx, qx_arena *arena, const qx_profile *f, qx_profile_point *at)
{
    if (f->graded != NULL) {
        QX_TRY(qx_mat_new(cx, arena, f->q, f->q, &at->T));
        return qx_graded_room_make(cx, arena, f, &at->graded);
    }
    if (f->reduced != NULL) {
        return qx_reduced_room_make(cx, arena, f, &at->reduced);
    }
    if (f->blocks != NULL) {
        return qx_blocks_room_make(cx, arena, f, &at->blocks);
    }
    QX_NEW_IN(cx, arena, at->b, f->q);
    QX_TRY(qx_mat_new(cx, arena, f->q, f->q, &at->K));
    QX_TRY(qx_mat_new(cx, arena, f->q, f->q, &at->B));
    return qx_mat_new(cx, arena, f->q, f->q, &at->T);
}

static qx_status room(qx_ctx *cx,
                      qx_arena *arena,
                      const qx_profile *f,
                      bool matrices,
                      qx_profile_point *out)
{
    const size_t columns = by_columns(f) ? f->q : 0;
    qx_profile_point at = {.ypy = NAN};
    QX_NEW_IN(cx, arena, at.gamma, f->m);
    QX_NEW_IN(cx, arena, at.lambda, columns);
    QX_NEW_IN(cx, arena, at.w, columns);
    QX_NEW_IN(cx, arena, at.trace, f->m);
    QX_NEW_IN(cx, arena, at.square, f->m);
    QX_TRY(qx_mat_new(cx, arena, f->m, f->m, &at.norm));
    QX_TRY(qx_mat_new(cx, arena, f->m, f->m, &at.bilinear));
    if (matrices) {
        QX_TRY(room_of_matrices(cx, arena, f, &at));
    }
    *out = at;
    return QX_OK;
}

qx_status qx_profile_room(qx_ctx *cx,
                          qx_arena *arena,
                          const qx_profile *profile,
                          qx_profile_point *out)
{
    return room(cx, arena, profile, true, out);
}

qx_status qx_profile_sums_room(qx_ctx *cx,
                               qx_arena *arena,
                               const qx_profile *profile,
                               qx_profile_point *out)
{
    return room(cx, arena, profile, false, out);
}

qx_status qx_profile_search_room(qx_ctx *cx,
                                 qx_arena *arena,
                                 const qx_profile *profile,
                                 qx_profile_point *out)
{
    return room(cx, arena, profile, !by_strata(profile), out);
}

/* gamma into the point, lambda for each column; false when a ratio is out of range. */
static bool spread_gamma(const qx_profile *f, const double gamma[], qx_profile_point *at)
{
    for (size_t i = 0; i < f->m; i++) {
        if (!(gamma[i] >= 0.0) || !isfinite(gamma[i])) {
            return false;
        }
        at->gamma[i] = gamma[i];
        for (size_t k = f->start[i]; by_columns(f) && k < f->start[i + 1]; k++) {
            at->lambda[k] = sqrt(gamma[i]);
        }
    }
    return true;
}

static qx_status bad_ratio(qx_ctx *cx)
{
    return qx_fail(cx, QX_E_NUMERIC, "a variance ratio is negative or not finite");
}

/* K, b, log|A| and y'Py of one matrix. */
static qx_status one_matrix(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    for (size_t j = 0; j < f->q; j++) {
        for (size_t i = j; i < f->q; i++) {
            QX_AT(at->K, i, j) = at->lambda[i] * QX_AT(f->G, i, j) * at->lambda[j];
        }
        QX_AT(at->K, j, j) += 1.0;
        at->b[j] = at->lambda[j] * f->z[j];
    }
    QX_TRY(qx_chol_factor(cx, at->K));
    QX_TRY(qx_chol_solve_lower(cx, 'n', at->K, qx_mat_of(at->b, f->q, 1)));
    at->log_a = qx_chol_logdet(at->K);
    at->ypy = f->rr - qx_dot(f->q, at->b, at->b);
    return QX_OK;
}

static qx_status strata(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    return qx_spectral_strata(f, at->gamma, at) ? QX_OK : bad_ratio(cx);
}

qx_status qx_profile_value(qx_ctx *cx,
                           const qx_profile *f,
                           const double gamma[],
                           qx_profile_point *at)
{
    if (!spread_gamma(f, gamma, at)) {
        return bad_ratio(cx);
    }
    if (by_strata(f)) {
        return strata(cx, f, at);
    }
    if (f->graded != NULL) {
        return qx_graded_value(cx, f, at);
    }
    if (f->reduced != NULL) {
        return qx_reduced_value(cx, f, at);
    }
    return f->blocks != NULL ? qx_blocks_value(cx, f, at) : one_matrix(cx, f, at);
}

qx_status qx_profile_summary(qx_ctx *cx,
                             const qx_profile *f,
                             const double gamma[],
                             qx_profile_point *at)
{
    if (!by_strata(f)) {
        return qx_profile_evaluate(cx, f, gamma, at);
    }
    return spread_gamma(f, gamma, at) ? strata(cx, f, at) : bad_ratio(cx);
}

static qx_mat block_of(const qx_profile *f, qx_mat a, size_t i, size_t j)
{
    return qx_mat_part(a,
                       f->start[i],
                       f->start[j],
                       f->start[i + 1] - f->start[i],
                       f->start[j + 1] - f->start[j]);
}

/* |T_ij|^2 and w_i'T_ij w_j of one block. */
static void summarise_block(const qx_profile *f, qx_profile_point *at, size_t i, size_t j)
{
    const qx_mat T = block_of(f, at->T, i, j);
    const double *wi = at->w + f->start[i];
    const double *wj = at->w + f->start[j];
    double norm = 0.0;
    double bilinear = 0.0;
    for (size_t c = 0; c < T.cols; c++) {
        double product = 0.0;
        for (size_t r = 0; r < T.rows; r++) {
            const double t = QX_AT(T, r, c);
            norm += t * t;
            product += wi[r] * t;
        }
        bilinear += product * wj[c];
    }
    QX_AT(at->norm, i, j) = QX_AT(at->norm, j, i) = norm;
    QX_AT(at->bilinear, i, j) = QX_AT(at->bilinear, j, i) = bilinear;
}

static void summarise(const qx_profile *f, qx_profile_point *at)
{
    for (size_t i = 0; i < f->m; i++) {
        at->trace[i] = at->square[i] = 0.0;
        for (size_t k = f->start[i]; k < f->start[i + 1]; k++) {
            at->trace[i] += QX_AT(at->T, k, k);
            at->square[i] += at->w[k] * at->w[k];
        }
        for (size_t j = 0; j <= i; j++) {
            summarise_block(f, at, i, j);
        }
    }
}

qx_status qx_profile_open(qx_ctx *cx,
                          const qx_profile *f,
                          const double gamma[],
                          qx_profile_point *at,
                          bool *definite)
{
    memmove(at->gamma, gamma, f->m * sizeof *gamma);
    const qx_status status = qx_graded_evaluate(cx, f, at);
    *definite = status == QX_OK;
    if (status == QX_E_NOT_PD || status == QX_E_NUMERIC) {
        qx_ctx_forgive(cx);
        return QX_OK;
    }
    QX_TRY(status);
    summarise(f, at);
    return QX_OK;
}

qx_status qx_profile_evaluate(qx_ctx *cx,
                              const qx_profile *f,
                              const double gamma[],
                              qx_profile_point *at)
{
    if (!spread_gamma(f, gamma, at)) {
        return bad_ratio(cx);
    }
    if (f->graded != NULL) {
        QX_TRY(qx_graded_evaluate(cx, f, at));
        summarise(f, at);
        return QX_OK;
    }
    if (f->reduced != NULL) {
        return qx_reduced_evaluate(cx, f, at);
    }
    if (f->blocks != NULL) {
        return qx_blocks_evaluate(cx, f, at);
    }
    QX_TRY(one_matrix(cx, f, at));
    for (size_t j = 0; j < f->q; j++) {
        for (size_t i = 0; i < f->q; i++) {
            QX_AT(at->B, i, j) = at->lambda[i] * QX_AT(f->G, i, j);
        }
    }
    QX_TRY(qx_chol_solve_lower(cx, 'n', at->K, at->B));
    QX_TRY(qx_mat_crossprod(cx, at->B, at->T));
    for (size_t j = 0; j < f->q; j++) {
        for (size_t i = 0; i < f->q; i++) {
            QX_AT(at->T, i, j) = QX_AT(f->G, i, j) - QX_AT(at->T, i, j);
        }
    }
    memcpy(at->w, f->z, f->q * sizeof *at->w);
    qx_mat_vector('t', -1.0, at->B, at->b, 1.0, at->w);
    summarise(f, at);
    return QX_OK;
}

bool qx_profile_is_nil(const qx_profile *f, size_t k, double gamma)
{
    const double levels = (double)(f->start[k + 1] - f->start[k]);
    return fabs(gamma) * (double)f->n / levels < NIL;
}

double qx_profile_criterion(const qx_profile *f, const qx_profile_point *at)
{
    if (!(at->ypy > 0.0)) {
        return INFINITY;
    }
    return (double)(f->n - f->p) * log(at->ypy) + at->log_a;
}

void qx_profile_derivatives(const qx_profile *f,
                            const qx_profile_point *at,
                            double gradient[],
                            qx_mat hessian,
                            qx_mat expected)
{
    const double df = (double)(f->n - f->p);
    for (size_t i = 0; i < f->m; i++) {
        const double si = at->square[i] / at->ypy;
        gradient[i] = at->trace[i] - df * si;
        for (size_t j = 0; j < f->m; j++) {
            const double sj = at->square[j] / at->ypy;
            const double norm = QX_AT(at->norm, i, j);
            const double bilinear = QX_AT(at->bilinear, i, j) / at->ypy;
            QX_AT(hessian, i, j) = -norm + df * (2.0 * bilinear - si * sj);
            QX_AT(expected, i, j) = norm - at->trace[i] * at->trace[j] / df;
        }
    }
}

qx_status
qx_profile_random(qx_ctx *cx, const qx_profile *f, const qx_profile_point *at, double u[])
{
    if (f->reduced != NULL && f->graded == NULL) {
        return qx_reduced_random(cx, f, at, u);
    }
    if (f->blocks != NULL || f->graded != NULL) {
        for (size_t k = 0; k < f->q; k++) {
            u[k] = at->lambda[k] * at->lambda[k] * at->w[k];
        }
        return QX_OK;
    }
    memcpy(u, at->b, f->q * sizeof *u);
    QX_TRY(qx_chol_solve_lower(cx, 't', at->K, qx_mat_of(u, f->q, 1)));
    for (size_t k = 0; k < f->q; k++) {
        u[k] *= at->lambda[k];
    }
    return QX_OK;
}
