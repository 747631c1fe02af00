#include "model/class_draw.h"

#include <math.h>
#include <string.h>

#include "model/class_average.h"
#include "model/class_rows.h"
#include "numeric/chol.h"
#include "numeric/root.h"

#define STEPS_MOST 100

/* Shares that agree to this are found: they were assumed to two or three digits. */
static const double CLOSE = 1e-12;

size_t qx_class_draw(qx_rng *rng, size_t K, const double probability[])
{
    const double u = qx_rng_uniform(rng);
    double below = 0.0;
    for (size_t k = 0; k + 1 < K; k++) {
        below += probability[k];
        if (u < below) {
            return k;
        }
    }
    return K - 1;
}

void qx_class_ordinal(size_t K,
                      const double threshold[],
                      double place,
                      double probability[])
{
    double eta[QX_PREDICTORS_MOST];
    for (size_t j = 0; j + 1 < K; j++) {
        eta[j] = threshold[j] - place;
    }
    qx_rows_cumulative.probability(K - 1, eta, probability);
}

void qx_class_nominal(size_t K, const double log_odds[], double probability[])
{
    qx_rows_baseline.probability(K - 1, log_odds, probability);
}

static qx_status check_shares(qx_ctx *cx, size_t K, const double share[])
{
    double sum = 0.0;
    if (K < 2 || K > QX_PREDICTORS_MOST + 1) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "%zu classes; from 2 to %d can be drawn",
                       K,
                       QX_PREDICTORS_MOST + 1);
    }
    for (size_t k = 0; k < K; k++) {
        if (!(share[k] > 0.0)) {
            return qx_fail(cx, QX_E_ARG, "the share of class %zu is not above 0", k + 1);
        }
        sum += share[k];
    }
    if (!(fabs(sum - 1.0) < 1e-6)) {
        return qx_fail(cx, QX_E_ARG, "the shares of the classes do not add up to 1");
    }
    return QX_OK;
}

typedef struct threshold_task {
    double sd, below;
} threshold_task;

static double excess(void *data, double threshold)
{
    const threshold_task *task = data;
    double p[2], by_eta[2], by_tau[2];
    qx_average_cumulative(1, &threshold, task->sd, p, by_eta, by_tau);
    return p[0] - task->below;
}

qx_status qx_class_thresholds(
    qx_ctx *cx, size_t K, const double share[], double sd, double threshold[])
{
    double found[QX_PREDICTORS_MOST];
    threshold_task task = {.sd = sd};
    QX_TRY(check_shares(cx, K, share));
    if (!(sd >= 0.0 && isfinite(sd))) {
        return qx_fail(cx, QX_E_ARG, "a deviation between units is not below 0");
    }
    for (size_t j = 0; j + 1 < K; j++) {
        task.below += share[j];
        const double reach = 40.0 + 10.0 * sd;
        QX_TRY(qx_root(cx, excess, &task, -reach, reach, 0.0, &found[j]));
    }
    memcpy(threshold, found, (K - 1) * sizeof *threshold);
    return QX_OK;
}

/* One Newton step of the log odds; *off: the largest error of a share before it. */
static qx_status log_odds_step(qx_ctx *cx,
                               size_t d,
                               const double share[],
                               const double sd[],
                               double eta[],
                               double *off)
{
    double p[QX_PREDICTORS_MOST + 1], step[QX_PREDICTORS_MOST];
    double by_eta[(QX_PREDICTORS_MOST + 1) * QX_PREDICTORS_MOST];
    double by_tau[(QX_PREDICTORS_MOST + 1) * QX_PREDICTORS_MOST];
    double square[QX_PREDICTORS_MOST * QX_PREDICTORS_MOST];
    qx_average_baseline(d, eta, sd, p, by_eta, by_tau);
    *off = 0.0;
    for (size_t k = 0; k < d; k++) {
        step[k] = share[k + 1] - p[k + 1];
        *off = fmax(*off, fabs(step[k]));
        for (size_t j = 0; j < d; j++) {
            /* symmetric: minus the mean of p_j p_k off the diagonal */
            square[k + j * d] = by_eta[k + 1 + j * (d + 1)];
        }
    }
    const qx_mat A = qx_mat_of(square, d, d);
    QX_TRY(qx_chol_factor(cx, A));
    QX_TRY(qx_chol_solve(cx, A, qx_mat_of(step, d, 1)));
    for (size_t k = 0; k < d; k++) {
        eta[k] += fmax(-2.0, fmin(2.0, step[k]));
    }
    return QX_OK;
}

qx_status qx_class_log_odds(
    qx_ctx *cx, size_t K, const double share[], const double sd[], double log_odds[])
{
    double eta[QX_PREDICTORS_MOST], off = INFINITY;
    QX_TRY(check_shares(cx, K, share));
    for (size_t j = 0; j + 1 < K; j++) {
        if (!(sd[j] >= 0.0 && isfinite(sd[j]))) {
            return qx_fail(cx, QX_E_ARG, "a deviation between units is not below 0");
        }
        eta[j] = log(share[j + 1] / share[0]);
    }
    for (size_t i = 0; i < STEPS_MOST && off > CLOSE; i++) {
        QX_TRY(log_odds_step(cx, K - 1, share, sd, eta, &off));
    }
    if (off > CLOSE) {
        return qx_fail(cx, QX_E_NUMERIC, "no log odds give these shares on average");
    }
    memcpy(log_odds, eta, (K - 1) * sizeof *log_odds);
    return QX_OK;
}
