/* model/rising.h - sums behind beta-binomial and negative binomial probabilities.
 *
 *     product over j < k of (m + j rho)    m > 0, rho >= 0
 *
 * with w_j = m / (m + j rho):
 *
 *     log_ratio  sum log((m + j rho) / m)
 *     w1 w2 w3   sums of w_j, w_j^2, w_j^3
 *     t0 t1 t2   sums of j / (m + j rho) times 1, w_j, w_j^2  (slopes in rho)
 *
 * Plain loops up to some hundred terms, beyond by series: k may be 1e12 and rho 0 or next to
 * it. Inner header of model/. */
#ifndef QX_MODEL_RISING_H
#define QX_MODEL_RISING_H

typedef struct qx_rising {
    double log_ratio;
    double w1, w2, w3;
    double t0, t1, t2;
} qx_rising;

/* k >= 0 whole. `slopes` 0: log_ratio only. Relative error about 1e-13. */
void qx_rising_sums(double m, double rho, double k, int slopes, qx_rising *out);

#endif
