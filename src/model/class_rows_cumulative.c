#include "model/class_rows.h"

#include <math.h>
#include <string.h>

/* Class k lies between a = eta[k] above and b = eta[k - 1] below; with Q logistic and
 * gap = a - b its log probability is log Q(a) + log Q(-b) + log(1 - exp(-gap)), the first
 * classes lacking b, the last a. In the gap the derivatives are K = 1 / (exp(gap) - 1),
 * -K (1 + K), K (1 + K) (1 + 2 K). */

typedef struct logistic {
    double below, above; /* Q(x), 1 - Q(x) */
} logistic;

static logistic logistic_of(double x)
{
    const double e = exp(-fabs(x)), small = e / (1.0 + e), large = 1.0 / (1.0 + e);
    return x >= 0.0 ? (logistic){large, small} : (logistic){small, large};
}

/* log Q(x) */
static double log_logistic(double x)
{
    return x >= 0.0 ? -log1p(exp(-x)) : x - log1p(exp(x));
}

static double log_gap(double gap)
{
    return gap > 0.0 ? log(-expm1(-gap)) : -HUGE_VAL;
}

static double value(size_t d, const double number[], const double eta[])
{
    double l = 0.0;
    for (size_t j = 1; j < d; j++) {
        if (!(eta[j] > eta[j - 1])) {
            return -HUGE_VAL;
        }
    }
    for (size_t k = 0; k <= d; k++) {
        if (number[k] > 0.0) {
            l += number[k] * ((k < d ? log_logistic(eta[k]) : 0.0) +
                              (k > 0 ? log_logistic(-eta[k - 1]) : 0.0) +
                              (k > 0 && k < d ? log_gap(eta[k] - eta[k - 1]) : 0.0));
        }
    }
    return l;
}

static void
slope(size_t d, const double number[], const double eta[], double g[], double w[])
{
    memset(w, 0, d * d * sizeof *w);
    for (size_t j = 0; j < d; j++) {
        const logistic q = logistic_of(eta[j]);
        g[j] = number[j] * q.above - number[j + 1] * q.below;
        w[j + j * d] = (number[j] + number[j + 1]) * q.below * q.above;
    }
    for (size_t k = 1; k < d; k++) {
        const double steep = 1.0 / expm1(eta[k] - eta[k - 1]);
        const double bend = number[k] * steep * (1.0 + steep);
        g[k] += number[k] * steep;
        g[k - 1] -= number[k] * steep;
        w[k + k * d] += bend;
        w[(k - 1) + (k - 1) * d] += bend;
        w[k + (k - 1) * d] -= bend;
        w[(k - 1) + k * d] -= bend;
    }
}

static void probability(size_t d, const double eta[], double out[])
{
    for (size_t k = 0; k <= d; k++) {
        out[k] = exp((k < d ? log_logistic(eta[k]) : 0.0) +
                     (k > 0 ? log_logistic(-eta[k - 1]) : 0.0) +
                     (k > 0 && k < d ? log_gap(eta[k] - eta[k - 1]) : 0.0));
    }
}

/* J = sum over k of (dP(k)) (dP(k))' / P(k) with dP(k) = f_k at k, -f_(k-1) at k - 1. */
static void information(size_t d, double total, const double eta[], double out[])
{
    double p[QX_PREDICTORS_MOST + 1];
    memset(out, 0, d * d * sizeof *out);
    probability(d, eta, p);
    for (size_t j = 0; j < d; j++) {
        const logistic q = logistic_of(eta[j]);
        const double f = q.below * q.above;
        out[j + j * d] = total * f * f * (1.0 / p[j] + 1.0 / p[j + 1]);
        if (j > 0) {
            const logistic r = logistic_of(eta[j - 1]);
            const double cross = -total * f * r.below * r.above / p[j];
            out[j + (j - 1) * d] = cross;
            out[(j - 1) + j * d] = cross;
        }
    }
}

/* Each class gives h / P with h = (f_a e_a - f_b e_b)' Q (f_a e_a - f_b e_b); f' = f (1 - 2
 * Q). */
static void information_slope(
    size_t d, double total, const double eta[], const double q[], double out[])
{
    double p[QX_PREDICTORS_MOST + 1], f[QX_PREDICTORS_MOST], df[QX_PREDICTORS_MOST];
    memset(out, 0, d * sizeof *out);
    probability(d, eta, p);
    for (size_t j = 0; j < d; j++) {
        const logistic x = logistic_of(eta[j]);
        f[j] = x.below * x.above;
        df[j] = f[j] * (x.above - x.below);
    }
    for (size_t k = 0; k <= d; k++) {
        const bool has_a = k<d, has_b = k> 0;
        const double fa = has_a ? f[k] : 0.0, fb = has_b ? f[k - 1] : 0.0;
        const double qaa = has_a ? q[k + k * d] : 0.0;
        const double qbb = has_b ? q[(k - 1) + (k - 1) * d] : 0.0;
        const double qab = has_a && has_b ? q[k + (k - 1) * d] : 0.0;
        const double h = fa * fa * qaa + fb * fb * qbb - 2.0 * fa * fb * qab;
        if (has_a) {
            out[k] +=
                total * (2.0 * df[k] * (fa * qaa - fb * qab) - h * fa / p[k]) / p[k];
        }
        if (has_b) {
            out[k - 1] +=
                total * (2.0 * df[k - 1] * (fb * qbb - fa * qab) + h * fb / p[k]) / p[k];
        }
    }
}

/* One cell at the place m, eta_j = threshold_j - m: moving all predictors together leaves
 * the gaps, so that each threshold stands alone in what has m in it. */
static void at_place(const qx_class_numbers *data,
                     size_t cell,
                     size_t at,
                     const double eta[],
                     const qx_row_terms *out)
{
    const size_t d = data->d;
    const double *number = data->number + cell * (d + 1);
    double g = 0.0, h = 0.0, t = 0.0;
    for (size_t j = 0; j < d; j++) {
        const double around = number[j] + number[j + 1];
        const logistic q = logistic_of(eta[j]);
        const double f = q.below * q.above, df = f * (q.above - q.below);
        g -= number[j] * q.above - number[j + 1] * q.below;
        h -= around * f;
        t += around * df;
        if (out->gp != NULL) {
            out->gp[at * d + j] = around * f;
            out->hp[at * d + j] = -around * df;
        }
    }
    out->g[at] = g;
    out->h[at] = h;
    if (out->t != NULL) {
        out->t[at] = t;
    }
}

static void likelihood(const void *data,
                       size_t count,
                       const size_t row[],
                       const double eta[],
                       const double psi[],
                       qx_rows_order order,
                       const qx_row_terms *out)
{
    const qx_class_numbers *cells = data;
    const size_t d = cells->d;
    double predictor[QX_PREDICTORS_MOST], w[QX_PREDICTORS_MOST * QX_PREDICTORS_MOST];
    qx_row_terms part = *out;
    if (order != QX_ROWS_ALL) {
        part.t = part.lp = part.gp = part.hp = NULL;
    }
    for (size_t i = 0; i < count; i++) {
        const double *number = cells->number + row[i] * (d + 1);
        for (size_t j = 0; j < d; j++) {
            predictor[j] = psi[j] - eta[i];
        }
        out->l[i] = value(d, number, predictor);
        if (order == QX_ROWS_VALUE || !(out->l[i] > -HUGE_VAL)) {
            continue;
        }
        at_place(cells, row[i], i, predictor, &part);
        if (order == QX_ROWS_ALL) {
            slope(d, number, predictor, out->lp + i * d, w);
        }
    }
}

const qx_class_rows qx_rows_cumulative = {
    .value = value,
    .slope = slope,
    .information = information,
    .information_slope = information_slope,
    .probability = probability,
    .likelihood = likelihood,
};
