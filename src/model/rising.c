#include "model/rising.h"

#include <math.h>
#include <stddef.h>

/* Terms added one by one; beyond, series are quicker. */
static const double LOOP_MOST = 400.0;
/* With a = m/rho above this times k, powers of j/a up to the eighth leave 1e-16. */
static const double FLAT = 100.0;
/* From here the Euler-Maclaurin remainder of four terms is below 1e-15. */
static const double SMOOTH = 50.0;

/* Products beyond this are put away as a logarithm, long before they overflow. */
static const double LARGE = 1e100;

/* The logarithm of the product of 1 + x_j by way of P = product - 1, which grows by
 * x (1 + P): nothing cancels, so it keeps its digits for the smallest x, and one logarithm
 * serves many terms. */
static void
add_terms(double m, double rho, double from, double to, int slopes, qx_rising *s)
{
    const size_t count = to > from ? (size_t)(to - from) : 0;
    const double unit = rho / m;
    double P = 0.0;
    for (size_t i = 0; i < count; i++) {
        const double j = from + (double)i;
        const double x = j * unit;
        if (x > LARGE) {
            s->log_ratio += log1p(x);
        } else {
            P += x + x * P;
        }
        if (P > LARGE) {
            s->log_ratio += log1p(P);
            P = 0.0;
        }
        if (slopes != 0) {
            const double z = 1.0 / (m + j * rho), w = m * z, jz = j * z;
            s->w1 += w;
            s->w2 += w * w;
            s->w3 += w * w * w;
            s->t0 += jz;
            s->t1 += jz * w;
            s->t2 += jz * w * w;
        }
    }
    s->log_ratio += log1p(P);
}

/* sum over j < k of j^r by Euler-Maclaurin, which ends after r/2 terms. */
static double power_sum(double k, int r)
{
    static const double factor[] = {1.0 / 12, -1.0 / 720, 1.0 / 30240, -1.0 / 1209600};
    double sum = pow(k, r + 1) / (r + 1) - 0.5 * pow(k, r);
    double falling = r;
    for (int i = 0; i < 4 && 2 * i + 1 < r; i++) {
        sum += factor[i] * falling * pow(k, r - 1 - 2 * i);
        falling *= (double)(r - 1 - 2 * i) * (double)(r - 2 - 2 * i);
    }
    return r == 1 ? 0.5 * k * (k - 1.0) : sum;
}

/* w = 1/(1 + y), y = j/a small: powers of y. */
static void flat(double m, double rho, double k, qx_rising *s)
{
    double scale = 1.0, sign = 1.0;
    s->w1 = s->w2 = s->w3 = k;
    for (int r = 1; r <= 9; r++) {
        const double power = power_sum(k, r);
        /* j^r rho^(r-1)/m^r, signs alternating. */
        const double term = sign * scale * power / m, full = -term * rho;
        s->log_ratio += term * rho / r;
        s->t0 += term;
        s->t1 += term * r;
        s->t2 += term * r * (r + 1) / 2.0;
        s->w1 += full;
        s->w2 += full * (r + 1);
        s->w3 += full * (r + 1) * (r + 2) / 2.0;
        scale *= rho / m;
        sign = -sign;
    }
}

static double tail_log(double x)
{
    const double y = 1.0 / (x * x);
    return 0.5 * log(x) - (1.0 / 12 - y * (1.0 / 360 - y / 1260)) / x;
}

static double tail_power(int r, double x)
{
    const double y = 1.0 / (x * x);
    if (r == 1) {
        return (0.5 + (1.0 / 12 - y * (1.0 / 120 - y / 252)) / x) / x;
    }
    if (r == 2) {
        return (0.5 + (1.0 / 6 - y * (1.0 / 30 - y / 42)) / x) * y;
    }
    return (0.5 + (0.25 - y * (1.0 / 12 - y / 12)) / x) * y / x;
}

/* Terms from ... k - 1 by Euler-Maclaurin in x = a + j. */
static void smooth(double m, double rho, double from, double k, qx_rising *s)
{
    const double a = m / rho, low = a + from, high = a + k, count = k - from;
    const double log_width = log1p(count / low);
    const double r1 = log_width + tail_power(1, low) - tail_power(1, high);
    const double r2 = count / (low * high) + tail_power(2, low) - tail_power(2, high);
    const double r3 = 0.5 * count * (low + high) / (low * low * high * high) +
                      tail_power(3, low) - tail_power(3, high);
    const double w1 = a * r1, w2 = a * a * r2, w3 = a * a * a * r3;
    s->log_ratio +=
        low * log_width + count * log(high / a) - count + tail_log(low) - tail_log(high);
    s->w1 += w1;
    s->w2 += w2;
    s->w3 += w3;
    s->t0 += (count - w1) / rho;
    s->t1 += (w1 - w2) / rho;
    s->t2 += (w2 - w3) / rho;
}

void qx_rising_sums(double m, double rho, double k, int slopes, qx_rising *out)
{
    qx_rising s = {0};
    if (k <= LOOP_MOST) {
        add_terms(m, rho, 0.0, k, slopes, &s);
    } else if (rho * FLAT * k <= m) {
        flat(m, rho, k, &s);
    } else {
        const double from = fmax(0.0, ceil(SMOOTH - m / rho));
        add_terms(m, rho, 0.0, from, slopes, &s);
        smooth(m, rho, from, k, &s);
    }
    *out = s;
}
