#include "model/reml.h"

#include <math.h>
#include <string.h>

#include "model/graded.h"
#include "numeric/bobyqa.h"
#include "numeric/eigen.h"

/* Ratios beyond this are taken as "no residual variation": nothing is left to estimate. */
static const double GAMMA_MOST = 1e12;
/* The same where nothing is lost to them (model/graded.h): beyond it the response itself has
 * no digits left. */
static const double GAMMA_MOST_GRADED = 1e30;
/* A descent that did not settle and has come this far is on its way there; at the second
 * ratio estimates are those at infinity to seven digits, and still well computed. */
static const double GAMMA_GONE = 1e11;
static const double GAMMA_LIKE_INFINITY = 1e7;
/* Eigenvalues of a matrix scaled to a unit diagonal below this are not seen. */
static const double UNSEEN = 1e-10;
/* Pivots of such a matrix above this: nothing is near to being unseen. */
static const double PIVOT_PLAIN = 1e-3;
static const double BOBYQA_TOLERANCE = 1e-9;
static const double THETA_MOST = 1e3;

typedef struct work {
    qx_ctx *cx;
    const qx_profile *profile;
    qx_profile_point *room;
    const bool *zero;
    double *gamma;    /* m, of the search without derivatives */
    qx_status failed; /* a failure inside it */
} work;

/* A ratio so large that A loses its definiteness is not a failure of the fit. */
static qx_status pardon(qx_ctx *cx, qx_status status, double *f)
{
    if (status == QX_E_NOT_PD || status == QX_E_NUMERIC) {
        qx_ctx_forgive(cx);
        *f = INFINITY;
        return QX_OK;
    }
    return status;
}

static double gamma_most(const work *w)
{
    return w->profile->graded != NULL ? GAMMA_MOST_GRADED : GAMMA_MOST;
}

static bool beyond(const work *w, const double gamma[])
{
    for (size_t i = 0; i < w->profile->m; i++) {
        if (!(gamma[i] <= gamma_most(w))) {
            return true;
        }
    }
    return false;
}

static qx_status value(qx_ctx *cx, void *data, const double gamma[], double *f)
{
    const work *w = data;
    if (beyond(w, gamma)) {
        *f = INFINITY;
        return QX_OK;
    }
    const qx_status status = qx_profile_value(cx, w->profile, gamma, w->room);
    if (status != QX_OK) {
        return pardon(cx, status, f);
    }
    *f = qx_profile_criterion(w->profile, w->room);
    return QX_OK;
}

static qx_status derive(qx_ctx *cx,
                        void *data,
                        const double gamma[],
                        double *f,
                        double gradient[],
                        qx_mat hessian,
                        qx_mat expected)
{
    const work *w = data;
    if (beyond(w, gamma)) {
        *f = (double)INFINITY;
        return QX_OK;
    }
    const qx_status status = qx_profile_summary(cx, w->profile, gamma, w->room);
    if (status != QX_OK) {
        return pardon(cx, status, f);
    }
    qx_profile_derivatives(w->profile, w->room, gradient, hessian, expected);
    *f = qx_profile_criterion(w->profile, w->room);
    return QX_OK;
}

/* The factor of a scaled matrix; false when a pivot is small. */
static bool small_factor(qx_mat A, double l[QX_DESCENT_MOST][QX_DESCENT_MOST])
{
    for (size_t j = 0; j < A.cols; j++) {
        for (size_t i = j; i < A.rows; i++) {
            double sum = QX_AT(A, i, j);
            for (size_t c = 0; c < j; c++) {
                sum -= l[i][c] * l[j][c];
            }
            if (i == j && !(sum > PIVOT_PLAIN)) {
                return false;
            }
            l[i][j] = i == j ? sqrt(sum) : sum / l[j][j];
        }
    }
    return true;
}

/* turned = l^-1, lower triangles. */
static void small_turn(size_t k,
                       double l[QX_DESCENT_MOST][QX_DESCENT_MOST],
                       double turned[QX_DESCENT_MOST][QX_DESCENT_MOST])
{
    for (size_t j = 0; j < k; j++) {
        for (size_t i = j; i < k; i++) {
            double sum = i == j ? 1.0 : 0.0;
            for (size_t c = j; c < i; c++) {
                sum -= l[i][c] * turned[c][j];
            }
            turned[i][j] = sum / l[i][i];
        }
    }
}

/* The inverse of a scaled matrix that is far from singular, by its factor, scaled back;
 * false when a pivot is small: then it is for the eigenvectors to say what is seen. */
static bool by_pivots(qx_mat A, const double root[], qx_mat out)
{
    const size_t k = A.rows;
    double l[QX_DESCENT_MOST][QX_DESCENT_MOST], turned[QX_DESCENT_MOST][QX_DESCENT_MOST];
    if (k > QX_DESCENT_MOST || !small_factor(A, l)) {
        return false;
    }
    small_turn(k, l, turned);
    for (size_t j = 0; j < k; j++) {
        for (size_t i = 0; i <= j; i++) {
            double sum = 0.0;
            for (size_t c = j; c < k; c++) {
                sum += turned[c][i] * turned[c][j];
            }
            QX_AT(out, i, j) = QX_AT(out, j, i) = sum / (root[i] * root[j]);
        }
    }
    return true;
}

qx_status qx_small_inverse(qx_ctx *cx, qx_mat A, qx_mat out)
{
    const size_t k = A.rows;
    qx_mat U;
    double *root, *lambda;
    QX_NEW(cx, root, k);
    QX_NEW(cx, lambda, k);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, k, &U));
    for (size_t i = 0; i < k; i++) {
        root[i] = QX_AT(A, i, i) > 0.0 ? sqrt(QX_AT(A, i, i)) : 1.0;
    }
    for (size_t j = 0; j < k; j++) {
        for (size_t i = 0; i < k; i++) {
            QX_AT(A, i, j) /= root[i] * root[j];
        }
    }
    if (by_pivots(A, root, out)) {
        return QX_OK;
    }
    QX_TRY(qx_eigen_symmetric(cx, A, lambda, U));
    for (size_t j = 0; j < k; j++) {
        for (size_t i = 0; i < k; i++) {
            double sum = 0.0;
            for (size_t c = 0; c < k; c++) {
                if (lambda[c] > UNSEEN) {
                    sum += QX_AT(U, i, c) * QX_AT(U, j, c) / lambda[c];
                }
            }
            QX_AT(out, i, j) = sum / (root[i] * root[j]);
        }
    }
    return QX_OK;
}

/* One MINQUE step: |T_ij|^2 tau_j + tr T_ii tau_V = w_i'w_i, with tau_V eliminated by
 * tr T_jj tau_j + (n - p) tau_V = y'Py; the new ratios are gamma + tau / tau_V. */
static qx_status minque(qx_ctx *cx, const work *w, double gamma[], bool *moved)
{
    const qx_profile *f = w->profile;
    const double df = (double)(f->n - f->p);
    qx_mat expected, inverse, hessian;
    double *gradient, *tau;
    double left = w->room->ypy;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->m, f->m, &expected));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->m, f->m, &hessian));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->m, f->m, &inverse));
    QX_NEW(cx, gradient, f->m);
    QX_NEW(cx, tau, f->m);
    qx_profile_derivatives(f, w->room, gradient, hessian, expected);
    for (size_t i = 0; i < f->m; i++) {
        for (size_t j = 0; w->zero != NULL && j < f->m; j++) {
            if (w->zero[i] || w->zero[j]) {
                QX_AT(expected, i, j) = i == j ? 1.0 : 0.0;
            }
        }
        gradient[i] = w->zero != NULL && w->zero[i] ? 0.0 : gradient[i];
    }
    QX_TRY(qx_small_inverse(cx, expected, inverse));
    qx_mat_vector('n', -w->room->ypy / df, inverse, gradient, 0.0, tau);
    for (size_t i = 0; i < f->m; i++) {
        left -= tau[i] * w->room->trace[i];
    }
    left /= df;
    *moved = left > 0.0;
    for (size_t i = 0; *moved && i < f->m; i++) {
        gamma[i] = fmin(fmax(gamma[i] + tau[i] / left, 0.0), gamma_most(w));
    }
    return QX_OK;
}

/* Equal ratios (or those of mean squares), then two MINQUE steps as long as they go down. */
static qx_status start(qx_ctx *cx, const work *w, double gamma[])
{
    double *next;
    QX_NEW(cx, next, w->profile->m);
    for (size_t i = 0; i < w->profile->m; i++) {
        const double first =
            w->profile->graded != NULL ? w->profile->graded->start[i] : 1.0;
        gamma[i] = w->zero != NULL && w->zero[i] ? 0.0 : first;
    }
    QX_TRY(qx_profile_summary(cx, w->profile, gamma, w->room));
    double f = qx_profile_criterion(w->profile, w->room);
    for (int step = 0; step < 2; step++) {
        double f_next;
        bool moved;
        memcpy(next, gamma, w->profile->m * sizeof *next);
        QX_TRY(minque(cx, w, next, &moved));
        if (!moved) {
            return QX_OK;
        }
        const qx_status status = qx_profile_summary(cx, w->profile, next, w->room);
        if (status != QX_OK) {
            return pardon(cx, status, &f_next);
        }
        f_next = qx_profile_criterion(w->profile, w->room);
        if (!(f_next < f)) {
            return QX_OK;
        }
        memcpy(gamma, next, w->profile->m * sizeof *next);
        f = f_next;
    }
    return QX_OK;
}

static double of_roots(void *data, size_t m, const double theta[])
{
    work *w = data;
    double f = INFINITY;
    if (w->failed != QX_OK) {
        return INFINITY;
    }
    for (size_t i = 0; i < m; i++) {
        w->gamma[i] = w->zero != NULL && w->zero[i] ? 0.0 : theta[i] * theta[i];
    }
    w->failed = value(w->cx, w, w->gamma, &f);
    return f;
}

/* Without derivatives, on the roots. */
static qx_status search(qx_ctx *cx, work *w, double gamma[])
{
    const size_t m = w->profile->m;
    double *low, *high, *theta;
    double best;
    QX_NEW(cx, low, m);
    QX_NEW(cx, high, m);
    QX_NEW(cx, theta, m);
    QX_NEW(cx, w->gamma, m);
    for (size_t i = 0; i < m; i++) {
        high[i] = w->profile->graded != NULL ? THETA_MOST * fmax(1.0, sqrt(gamma[i]))
                                             : THETA_MOST;
        theta[i] = fmin(sqrt(gamma[i]), high[i]);
    }
    QX_TRY(
        qx_bobyqa(cx, m, of_roots, w, low, high, BOBYQA_TOLERANCE, theta, &best, NULL));
    QX_TRY(w->failed);
    for (size_t i = 0; i < m && isfinite(best); i++) {
        gamma[i] = w->zero != NULL && w->zero[i] ? 0.0 : theta[i] * theta[i];
    }
    return QX_OK;
}

/* From gamma to the optimum. */
static qx_status settle(qx_ctx *cx, work *w, double gamma[], qx_descent_end *out)
{
    const qx_descent problem = {
        .m = w->profile->m, .data = w, .value = value, .derive = derive};
    QX_TRY(qx_descend(cx, &problem, w->zero, gamma, out));
    if (!out->converged) {
        const size_t before = out->iterations;
        QX_TRY(search(cx, w, gamma));
        QX_TRY(qx_descend(cx, &problem, w->zero, gamma, out));
        out->iterations += before;
    }
    return QX_OK;
}

static qx_status refit(qx_ctx *cx, work *w, double gamma[], qx_descent_end *out)
{
    QX_TRY(settle(cx, w, gamma, out));
    return qx_profile_evaluate(cx, w->profile, gamma, w->room);
}

static qx_status fit(qx_ctx *cx, work *w, double gamma[], qx_descent_end *out)
{
    QX_TRY(start(cx, w, gamma));
    return refit(cx, w, gamma, out);
}

static qx_status fit_criterion(qx_ctx *cx, work *w, double gamma[], qx_descent_end *out)
{
    QX_TRY(start(cx, w, gamma));
    QX_TRY(settle(cx, w, gamma, out));
    return qx_profile_value(cx, w->profile, gamma, w->room);
}

qx_status qx_reml_search(qx_ctx *cx,
                         const qx_profile *profile,
                         qx_profile_point *room,
                         double gamma[],
                         qx_descent_end *out)
{
    work w = {.cx = cx, .profile = profile, .room = room};
    qx_status status;
    QX_SCRATCH(cx, status, fit_criterion(cx, &w, gamma, out));
    return status;
}

qx_status qx_reml_refit(qx_ctx *cx,
                        const qx_profile *profile,
                        const bool zero[],
                        qx_profile_point *room,
                        double gamma[],
                        qx_descent_end *out)
{
    work w = {.cx = cx, .profile = profile, .room = room, .zero = zero};
    qx_status status;
    QX_SCRATCH(cx, status, refit(cx, &w, gamma, out));
    return status;
}

qx_status qx_reml_fit(qx_ctx *cx,
                      const qx_profile *profile,
                      const bool zero[],
                      qx_profile_point *room,
                      double gamma[],
                      qx_descent_end *out)
{
    work w = {.cx = cx, .profile = profile, .room = room, .zero = zero};
    qx_status status;
    QX_SCRATCH(cx, status, fit(cx, &w, gamma, out));
    return status;
}

bool qx_reml_without_residual(const qx_descent_end *end, size_t m, double gamma[])
{
    bool gone = false;
    for (size_t k = 0; k < m; k++) {
        gone = gone || (!end->converged && gamma[k] > GAMMA_GONE);
    }
    for (size_t k = 0; gone && k < m; k++) {
        gamma[k] = fmin(gamma[k], GAMMA_LIKE_INFINITY);
    }
    return gone;
}
