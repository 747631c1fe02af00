#include "model/class_average.h"

#include <math.h>
#include <string.h>

#include "model/class_rows.h"
#include "numeric/dist.h"

/* Beyond it the normal density is below 1e-17 of its top. */
static const double NORMAL_END = 8.75;
/* 2 pi a / h = 39 gives 1e-17: the poles of Q stand at a = pi / tau. */
static const double STEP_CUMULATIVE = 0.5;
/* exp(-exp(x)) stays small up to a = pi / 2 in x. */
static const double STEP_BASELINE = 0.25;
/* Steps short enough for the normal density itself. */
static const double STEP_NORMAL = 0.5;
/* e^(-38) is rounding; so is exp(-exp(4)). */
static const double SCALE_LOW = -38.0, SCALE_HIGH = 4.0;

static double step_for(double step, double tau)
{
    return tau > 1.0 ? fmin(STEP_NORMAL, step / tau) : fmin(STEP_NORMAL, step);
}

void qx_average_cumulative(size_t d,
                           const double eta[],
                           double tau,
                           double p[],
                           double by_eta[],
                           double by_tau[])
{
    const double h = step_for(STEP_CUMULATIVE, tau);
    const int half = tau > 0.0 ? (int)ceil(NORMAL_END / h) : 0;
    double below[QX_PREDICTORS_MOST + 1] = {0.0};
    memset(by_eta, 0, (d + 1) * d * sizeof *by_eta);
    memset(by_tau, 0, (d + 1) * sizeof *by_tau);
    for (int i = -half; i <= half; i++) {
        const double z = i * h, weight = half == 0 ? 1.0 : h * qx_normal_density(z);
        for (size_t j = 0; j < d; j++) {
            const double e = exp(-fabs(eta[j] - tau * z)), q = 1.0 / (1.0 + e);
            const double f = weight * e * q * q;
            below[j] += weight * (eta[j] >= tau * z ? q : e * q);
            by_eta[j + j * (d + 1)] += f;
            by_eta[j + 1 + j * (d + 1)] -= f;
            by_tau[j] -= z * f;
            by_tau[j + 1] += z * f;
        }
    }
    below[d] = 1.0;
    for (size_t k = 0; k <= d; k++) {
        p[k] = below[k] - (k > 0 ? below[k - 1] : 0.0);
    }
}

/* A, B, C = E w^0, w, w^2 times exp(-w); the last two also with Z. */
typedef struct moments {
    double a, b, c, bz, cz;
} moments;

static moments moments_at(double x, double tau)
{
    const double h = step_for(STEP_BASELINE, tau);
    const int half = tau > 0.0 ? (int)ceil(NORMAL_END / h) : 0;
    moments m = {0};
    for (int i = -half; i <= half; i++) {
        const double z = i * h, w = exp(x + tau * z);
        const double weight = half == 0 ? 1.0 : h * qx_normal_density(z);
        const double e = weight * exp(-w);
        if (!(e > 0.0)) {
            continue; /* w too large: nothing is left of any of them */
        }
        m.a += e;
        m.b += e * w;
        m.c += e * w * w;
        m.bz += e * w * z;
        m.cz += e * w * w * z;
    }
    return m;
}

/* product[j] = product of A of all but j; gives that of all. Prefixes and suffixes, since
 * any A may be zero. */
static double products(size_t d, const moments m[], double all_but[])
{
    double before = 1.0, after = 1.0;
    for (size_t j = 0; j < d; j++) {
        all_but[j] = before;
        before *= m[j].a;
    }
    for (size_t j = d; j-- > 0;) {
        all_but[j] *= after;
        after *= m[j].a;
    }
    return before;
}

static double product_but_two(size_t d, const moments m[], size_t a, size_t b)
{
    double product = 1.0;
    for (size_t j = 0; j < d; j++) {
        product *= j == a || j == b ? 1.0 : m[j].a;
    }
    return product;
}

static void add_scale(size_t d,
                      double s,
                      double weight,
                      const moments m[],
                      double p[],
                      double by_eta[],
                      double by_tau[])
{
    const size_t K = d + 1;
    const double outer = weight * exp(-exp(s)), first = outer * exp(s);
    double but[QX_PREDICTORS_MOST];
    p[0] += first * products(d, m, but);
    for (size_t j = 0; j < d; j++) {
        by_eta[j * K] -= first * m[j].b * but[j];
        by_tau[j * K] -= first * m[j].bz * but[j];
        p[j + 1] += outer * m[j].b * but[j];
        by_eta[j + 1 + j * K] += outer * (m[j].b - m[j].c) * but[j];
        by_tau[j + 1 + j * K] += outer * (m[j].bz - m[j].cz) * but[j];
        for (size_t k = 0; k < d; k++) {
            if (k != j) {
                const double rest = outer * m[k].b * product_but_two(d, m, j, k);
                by_eta[k + 1 + j * K] -= rest * m[j].b;
                by_tau[k + 1 + j * K] -= rest * m[j].bz;
            }
        }
    }
}

void qx_average_baseline(size_t d,
                         const double eta[],
                         const double tau[],
                         double p[],
                         double by_eta[],
                         double by_tau[])
{
    const size_t K = d + 1;
    double most = 0.0;
    memset(p, 0, K * sizeof *p);
    memset(by_eta, 0, K * d * sizeof *by_eta);
    memset(by_tau, 0, K * d * sizeof *by_tau);
    for (size_t j = 0; j < d; j++) {
        most = fmax(most, eta[j] + NORMAL_END * tau[j]);
    }
    const double h = STEP_BASELINE;
    const int low = (int)floor((SCALE_LOW - most) / h), high = (int)ceil(SCALE_HIGH / h);
    for (int i = low; i <= high; i++) {
        moments m[QX_PREDICTORS_MOST];
        for (size_t j = 0; j < d; j++) {
            m[j] = moments_at(i * h + eta[j], tau[j]);
        }
        add_scale(d, i * h, h, m, p, by_eta, by_tau);
    }
}
