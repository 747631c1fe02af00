/* model/glmm_estimates.c - from the engine's parameters to the result: coefficients,
 * covariances, means of rows, deviance, dispersion, separation. */
#include <math.h>
#include <string.h>

#include "model/glmm_inner.h"
#include "model/separation.h"
#include "numeric/eigen.h"

/* Information about a direction of X (its largest element 1) below which the data say nothing
 * about it: a standard error of a hundred on the link scale. */
static const double NO_INFORMATION = 1e-4;
/* Part of a direction, over its largest, from which on a column is touched by it. */
static const double TOUCHED = 1e-6;
/* ---- estimates and covariances --------------------------------------------------------- */

/* out = T A T' for the first p rows and columns, the rest as T times it. */
static void turn_back(qx_mat T, qx_mat A, qx_mat out)
{
    const size_t p = T.rows, length = A.rows;
    for (size_t j = 0; j < length; j++) {
        for (size_t i = 0; i < length; i++) {
            double sum = 0.0;
            for (size_t k = 0; k < (i < p ? p : 1); k++) {
                const double left = i < p ? QX_AT(T, i, k) : 1.0;
                sum += left * QX_AT(A, i < p ? k : i, j);
            }
            QX_AT(out, i, j) = sum;
        }
    }
}

static qx_status turn_covariance(qx_ctx *cx, qx_mat T, qx_mat A, qx_mat out)
{
    qx_mat half, turned;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), A.rows, A.cols, &half));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), A.rows, A.cols, &turned));
    turn_back(T, A, half);
    for (size_t j = 0; j < A.cols; j++) {
        for (size_t i = 0; i < A.rows; i++) {
            QX_AT(turned, i, j) = QX_AT(half, j, i);
        }
    }
    turn_back(T, turned, out);
    return QX_OK;
}

/* Expected information about gamma: sum w x x', w = (d mean of k / d eta)^2 / variance. */
static void expected_information(const qx_glmm *fit, qx_mat out)
{
    const struct qx_glmm_inner *inner = fit->inner;
    const bool share = fit->family->serves == QX_SERVES_SHARE;
    for (size_t j = 0; j < inner->X.rows; j++) {
        const double eta = inner->fit.eta[j], mu = qx_link_mean(fit->link, eta);
        const double n = share ? inner->rows.size[j] : 1.0;
        const double slope = n * qx_link_slope(fit->link, eta, 1);
        const double w = (inner->rows.weight == NULL ? 1.0 : inner->rows.weight[j]) *
                         slope * slope / fit->family->variance(mu, n, fit->psi);
        for (size_t l = 0; w > 0.0 && l < fit->p; l++) {
            for (size_t k = 0; k < fit->p; k++) {
                QX_AT(out, k, l) += w * QX_AT(inner->X, j, k) * QX_AT(inner->X, j, l);
            }
        }
    }
}

/* Information about gamma with variances held: expected, or X'V^-1X at the modes. */
static qx_status information(qx_ctx *cx, qx_glmm *fit, bool expected, qx_mat out)
{
    const struct qx_glmm_inner *inner = fit->inner;
    qx_laplace_room room;
    qx_mat all;
    if (expected) {
        expected_information(fit, out);
        return QX_OK;
    }
    QX_TRY(
        qx_laplace_room_make(cx, qx_ctx_scratch(cx), inner->plan, &inner->data, &room));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), fit->length, fit->length, &all));
    QX_TRY(qx_laplace_information(cx, &room, inner->fit.x, NULL, all));
    qx_mat_copy(out, qx_mat_part(all, 0, 0, fit->p, fit->p));
    return QX_OK;
}

/* The inverse by way of a covariance without the other parameters. */
static qx_status invert_information(qx_ctx *cx, qx_glmm *fit, qx_mat A, qx_mat out)
{
    qx_laplace_fit only = fit->inner->fit;
    qx_mat whole, inverse;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), fit->length, fit->length, &whole));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), fit->length, fit->length, &inverse));
    qx_mat_copy(qx_mat_part(whole, 0, 0, fit->p, fit->p), A);
    only.hessian = whole;
    QX_TRY(qx_laplace_covariance(cx, fit->inner->plan, &only, NULL, inverse, NULL));
    qx_mat_copy(out, qx_mat_part(inverse, 0, 0, fit->p, fit->p));
    return QX_OK;
}

static qx_status make_covariances(qx_ctx *cx, qx_glmm *fit)
{
    struct qx_glmm_inner *inner = fit->inner;
    const size_t p = fit->p;
    /* Without random terms and with mean and spread orthogonal: as is usual for these models. */
    const bool expected = fit->m == 0 && strcmp(fit->family->key, "betabin") != 0;
    qx_mat joint, held, turned;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), fit->length, fit->length, &joint));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), p, p, &held));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), p, p, &turned));
    QX_TRY(qx_laplace_covariance(cx, inner->plan, &inner->fit, NULL, joint, NULL));
    QX_TRY(information(cx, fit, expected, held));
    QX_TRY(invert_information(cx, fit, held, turned));
    if (expected) {
        qx_mat_copy(qx_mat_part(joint, 0, 0, p, p), turned);
        for (size_t i = 0; i < p && fit->length > p; i++) {
            QX_AT(joint, i, p) = QX_AT(joint, p, i) = 0.0;
        }
    }
    QX_TRY(turn_covariance(cx, inner->T, joint, fit->joint));
    QX_TRY(turn_covariance(cx, inner->T, turned, fit->conditional));
    qx_mat_copy(fit->covariance, qx_mat_part(fit->joint, 0, 0, p, p));
    return QX_OK;
}

static void fill(qx_mat A, double value)
{
    for (size_t j = 0; j < A.cols; j++) {
        for (size_t i = 0; i < A.rows; i++) {
            QX_AT(A, i, j) = value;
        }
    }
}

static void scale(qx_mat A, double by)
{
    for (size_t j = 0; j < A.cols; j++) {
        for (size_t i = 0; i < A.rows; i++) {
            QX_AT(A, i, j) *= by;
        }
    }
}

static qx_status take_estimates(qx_ctx *cx, qx_glmm *fit)
{
    const struct qx_glmm_inner *inner = fit->inner;
    const double *x = inner->fit.x;
    double *beta, *sd;
    QX_NEW_IN(cx, fit->arena, beta, fit->p);
    QX_NEW_IN(cx, fit->arena, sd, fit->m);
    for (size_t i = 0; i < fit->p; i++) {
        for (size_t k = 0; k < fit->p; k++) {
            beta[i] += QX_AT(inner->T, i, k) * x[k];
        }
    }
    for (size_t k = 0; k < fit->m; k++) {
        sd[k] = x[fit->p + k];
        fit->component[k].variance = inner->doubled[k] ? (double)NAN : sd[k] * sd[k];
        fit->component[k].at_zero = !inner->doubled[k] && inner->fit.at_zero[k];
    }
    fit->beta = beta;
    fit->sd = sd;
    fit->psi = fit->family->parameters > 0 ? x[fit->p + fit->m] : 0.0;
    fit->converged = inner->fit.converged;
    fit->iterations = inner->fit.iterations;
    fit->log_likelihood = inner->fit.value - inner->fit.penalty;
    fit->penalty = 0.0;
    if (inner->problem.penalise) {
        fit->penalty = inner->fit.penalty;
        for (size_t j = 0; j < fit->p; j++) {
            fit->penalty -= log(fabs(QX_AT(inner->T, j, j)));
        }
    }
    return QX_OK;
}

/* Modes of the effects on the scale of eta, by level of the frame's factors. */
static qx_status take_effects(qx_ctx *cx, qx_glmm *fit)
{
    const struct qx_glmm_inner *inner = fit->inner;
    const double **effect;
    const double *u = inner->fit.u;
    QX_NEW_IN(cx, fit->arena, effect, fit->m);
    for (size_t k = 0; k < fit->m; k++) {
        const size_t levels = inner->problem.random[k].level_count;
        double *own;
        QX_NEW_IN(cx, fit->arena, own, levels);
        for (size_t c = 0; c < levels; c++) {
            own[c] = fit->sd[k] * u[c];
        }
        effect[k] = own;
        u += levels;
    }
    fit->effect = effect;
    return QX_OK;
}

/* eta, means, deviance and Pearson's chi-squared of the rows of the data. */
static qx_status take_fitted(qx_ctx *cx, qx_glmm *fit)
{
    const struct qx_glmm_inner *inner = fit->inner;
    const bool share = fit->family->serves == QX_SERVES_SHARE;
    /* The best mean of a row is found by halving where the family has a spread. */
    const bool wanted = !inner->quick || fit->family->parameters == 0;
    double *eta, *fitted, things = 0.0;
    QX_NEW_IN(cx, fit->arena, eta, fit->n);
    QX_NEW_IN(cx, fit->arena, fitted, fit->n);
    fit->deviance = fit->pearson_chisq = 0.0;
    for (size_t i = 0; i < fit->n; i++) {
        const double times = inner->times == NULL ? 1.0 : inner->times[i];
        const double n = share ? inner->size[i] : 0.0;
        eta[i] = inner->fit.eta[inner->rows.group[i]];
        fitted[i] = qx_link_mean(fit->link, eta[i]);
        const double gap = inner->k[i] - (share ? n * fitted[i] : fitted[i]);
        const double variance = fit->family->variance(fitted[i], n, fit->psi);
        fit->deviance +=
            wanted ? times * fit->family->deviance(inner->k[i], n, fitted[i], fit->psi)
                   : (double)NAN;
        fit->pearson_chisq += gap == 0.0 ? 0.0 : times * gap * gap / variance;
        things += share && n == 0.0 ? 0.0 : times;
    }
    fit->eta = eta;
    fit->fitted = fitted;
    fit->residual_df = things - (double)(fit->p + fit->m);
    return QX_OK;
}

/* phi or theta with its standard error (delta method), or the scale. */
static void take_dispersion(qx_glmm *fit, bool covariances)
{
    fit->dispersion = fit->dispersion_se = NAN;
    fit->df = INFINITY;
    if (fit->extra == QX_EXTRA_MODELLED) {
        const size_t last = fit->length - 1;
        fit->dispersion = fit->family->dispersion(fit->psi);
        fit->dispersion_at_bound = fit->psi == 0.0;
        if (covariances && fit->psi > 0.0) {
            fit->dispersion_se =
                2.0 * pow(fit->psi, -3.0) * sqrt(QX_AT(fit->joint, last, last));
        }
    }
    if (fit->extra == QX_EXTRA_SCALED) {
        fit->df = fit->residual_df > 0.0 ? fit->residual_df : (double)NAN;
        fit->dispersion = fit->pearson_chisq / fit->df;
        scale(fit->joint, fit->dispersion);
        scale(fit->covariance, fit->dispersion);
        scale(fit->conditional, fit->dispersion);
    }
}

/* ---- separation ------------------------------------------------------------------------ */

/* Largest element of X d. */
static double longest_row(qx_mat X, const double d[])
{
    double most = 0.0;
    for (size_t i = 0; i < X.rows; i++) {
        double sum = 0.0;
        for (size_t k = 0; k < X.cols; k++) {
            sum += QX_AT(X, i, k) * d[k];
        }
        most = fmax(most, fabs(sum));
    }
    return most;
}

static void mark_columns(qx_mat T, const double d[], bool touched[])
{
    double most = 0.0;
    for (int pass = 0; pass < 2; pass++) {
        for (size_t i = 0; i < T.rows; i++) {
            double sum = 0.0;
            for (size_t k = 0; k < T.cols; k++) {
                sum += QX_AT(T, i, k) * d[k];
            }
            most = pass == 0 ? fmax(most, fabs(sum)) : most;
            touched[i] = touched[i] || (pass == 1 && fabs(sum) > TOUCHED * most);
        }
    }
}

/* Directions of X that the data say nothing about at the estimates. */
static qx_status find_flat(qx_ctx *cx, qx_glmm *fit, bool touched[])
{
    const struct qx_glmm_inner *inner = fit->inner;
    qx_mat A, U;
    double *value;
    qx_laplace_room room;
    QX_NEW(cx, value, fit->p);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), fit->p, fit->p, &U));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), fit->length, fit->length, &A));
    QX_TRY(
        qx_laplace_room_make(cx, qx_ctx_scratch(cx), inner->plan, &inner->data, &room));
    QX_TRY(qx_laplace_information(cx, &room, inner->fit.x, NULL, A));
    QX_TRY(qx_eigen_symmetric(cx, qx_mat_part(A, 0, 0, fit->p, fit->p), value, U));
    for (size_t e = 0; e < fit->p; e++) {
        const double *d = &QX_AT(U, 0, e);
        const double length = longest_row(inner->X, d);
        if (value[e] < NO_INFORMATION * length * length) {
            fit->separated = true;
            mark_columns(inner->T, d, touched);
        }
    }
    return QX_OK;
}

/* What a flat place or a search without end makes likely is settled by the data alone. */
static qx_status find_separation(qx_ctx *cx, qx_glmm *fit)
{
    const struct qx_glmm_inner *inner = fit->inner;
    const bool share = fit->family->serves == QX_SERVES_SHARE;
    qx_separation exact = {0};
    bool *touched;
    QX_NEW_IN(cx, fit->arena, touched, fit->p);
    fit->separated_column = touched;
    if (inner->problem.penalise) {
        return QX_OK;
    }
    QX_TRY(find_flat(cx, fit, touched));
    if ((fit->converged && !fit->separated) || fit->link == QX_LINK_IDENTITY) {
        return QX_OK;
    }
    if (share) {
        QX_TRY(qx_separation_shares(
            cx, fit->arena, &fit->design, inner->k, inner->size, &exact));
    } else {
        QX_TRY(qx_separation_counts(cx, fit->arena, &fit->design, inner->k, &exact));
    }
    if (exact.found) {
        fit->separated = true;
        fit->separated_column = exact.column;
    }
    return QX_OK;
}

/* ---- all of it ------------------------------------------------------------------------- */

qx_status qx_glmm_estimates(qx_ctx *cx, const qx_glmm_spec *spec, qx_glmm *fit)
{
    QX_TRY(take_estimates(cx, fit));
    QX_TRY(take_effects(cx, fit));
    QX_TRY(take_fitted(cx, fit));
    QX_TRY(qx_mat_new(cx, fit->arena, fit->length, fit->length, &fit->joint));
    QX_TRY(qx_mat_new(cx, fit->arena, fit->p, fit->p, &fit->covariance));
    QX_TRY(qx_mat_new(cx, fit->arena, fit->p, fit->p, &fit->conditional));
    if (spec->no_covariance) {
        fill(fit->joint, NAN);
        fill(fit->covariance, NAN);
        fill(fit->conditional, NAN);
    } else {
        QX_TRY(make_covariances(cx, fit));
    }
    take_dispersion(fit, !spec->no_covariance);
    return find_separation(cx, fit);
}
