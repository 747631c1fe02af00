#include "model/class_rows.h"

#include <math.h>
#include <string.h>

/* Probabilities are softmax of (0, eta). The log-likelihood is that of an exponential
 * family: minus its Hessian is the covariance of the class indicator, its third derivative
 * minus the third central moment, and expected and observed information are one. */

/* p[1 ... d] of the classes after the first, p[0] of the first; gives log sum exp. */
static double softmax(size_t d, const double eta[], double p[])
{
    double most = 0.0, sum = 0.0;
    for (size_t j = 0; j < d; j++) {
        most = eta[j] > most ? eta[j] : most;
    }
    for (size_t k = 0; k <= d; k++) {
        p[k] = exp((k > 0 ? eta[k - 1] : 0.0) - most);
        sum += p[k];
    }
    for (size_t k = 0; k <= d; k++) {
        p[k] /= sum;
    }
    return most + log(sum);
}

static double total_of(size_t d, const double number[])
{
    double total = 0.0;
    for (size_t k = 0; k <= d; k++) {
        total += number[k];
    }
    return total;
}

static double along(size_t d, const double number[], const double eta[], double log_sum)
{
    double l = -total_of(d, number) * log_sum;
    for (size_t j = 0; j < d; j++) {
        l += number[j + 1] * eta[j];
    }
    return l;
}

static double value(size_t d, const double number[], const double eta[])
{
    double p[QX_PREDICTORS_MOST + 1];
    return along(d, number, eta, softmax(d, eta, p));
}

static void covariance(size_t d, double total, const double p[], double w[])
{
    for (size_t j = 0; j < d; j++) {
        for (size_t i = 0; i < d; i++) {
            w[i + j * d] = -total * p[i + 1] * p[j + 1];
        }
        w[j + j * d] += total * p[j + 1];
    }
}

static void
slope(size_t d, const double number[], const double eta[], double g[], double w[])
{
    double p[QX_PREDICTORS_MOST + 1];
    const double total = total_of(d, number);
    (void)softmax(d, eta, p);
    for (size_t j = 0; j < d; j++) {
        g[j] = number[j + 1] - total * p[j + 1];
    }
    covariance(d, total, p, w);
}

/* total x third central moment against q: p_j (s_j - mean of s), s_k = (e_k - p)'q(e_k - p)
 */
static void
third_moment(size_t d, double total, const double p[], const double q[], double out[])
{
    double qp[QX_PREDICTORS_MOST], pqp = 0.0, s[QX_PREDICTORS_MOST + 1], mean = 0.0;
    for (size_t j = 0; j < d; j++) {
        qp[j] = 0.0;
        for (size_t i = 0; i < d; i++) {
            qp[j] += q[i + j * d] * p[i + 1];
        }
        pqp += qp[j] * p[j + 1];
    }
    for (size_t k = 0; k <= d; k++) {
        s[k] = pqp + (k > 0 ? q[(k - 1) + (k - 1) * d] - 2.0 * qp[k - 1] : 0.0);
        mean += p[k] * s[k];
    }
    for (size_t j = 0; j < d; j++) {
        out[j] = total * p[j + 1] * (s[j + 1] - mean);
    }
}

static void information(size_t d, double total, const double eta[], double out[])
{
    double p[QX_PREDICTORS_MOST + 1];
    (void)softmax(d, eta, p);
    covariance(d, total, p, out);
}

static void information_slope(
    size_t d, double total, const double eta[], const double q[], double out[])
{
    double p[QX_PREDICTORS_MOST + 1];
    (void)softmax(d, eta, p);
    third_moment(d, total, p, q, out);
}

static void probability(size_t d, const double eta[], double out[])
{
    (void)softmax(d, eta, out);
}

/* -total times the third central moments of the class indicator. */
static void third(size_t d, double total, const double p[], double t[])
{
    for (size_t e = 0; e < d; e++) {
        for (size_t c = 0; c < d; c++) {
            for (size_t r = 0; r < d; r++) {
                const double pr = p[r + 1], pc = p[c + 1], pe = p[e + 1];
                double moment = 2.0 * pr * pc * pe;
                moment -= r == c ? pr * pe : 0.0;
                moment -= r == e ? pr * pc : 0.0;
                moment -= c == e ? pc * pr : 0.0;
                moment += r == c && c == e ? pr : 0.0;
                t[r + c * d + e * d * d] = -total * moment;
            }
        }
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
    double p[QX_PREDICTORS_MOST + 1];
    (void)psi;
    for (size_t i = 0; i < count; i++) {
        const double *number = cells->number + row[i] * (d + 1);
        const double total = total_of(d, number);
        out->l[i] = along(d, number, eta + i * d, softmax(d, eta + i * d, p));
        if (order == QX_ROWS_VALUE) {
            continue;
        }
        for (size_t j = 0; j < d; j++) {
            out->g[i * d + j] = number[j + 1] - total * p[j + 1];
        }
        covariance(d, -total, p, out->h + i * d * d);
        if (order == QX_ROWS_ALL) {
            third(d, total, p, out->t + i * d * d * d);
        }
    }
}

const qx_class_rows qx_rows_baseline = {
    .value = value,
    .slope = slope,
    .information = information,
    .information_slope = information_slope,
    .probability = probability,
    .likelihood = likelihood,
};
