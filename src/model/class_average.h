/* model/class_average.h - probabilities of classes averaged over normal random effects, with
 * their derivatives. Private to model/.
 *
 *   cumulative  P(Y <= j) = E Q(eta_j - tau Z)
 *   baseline    P(Y = k)  = E e^(eta_k + tau_k Z_k) / (1 + sum_j e^(eta_j + tau_j Z_j))
 *
 * The second is an integral over d normals; with 1/S = integral of e^(-t S) dt and t = e^s
 * it falls apart into integrals over one,
 *
 *   P(first) = int e^s exp(-e^s) prod_j A_j(s) ds,       A_j = E exp(-w_j)
 *   P(k)     = int     exp(-e^s) B_k(s) prod_(j != k) A_j ds,   B_k = E w_k exp(-w_k)
 *   w_j = e^(s + eta_j + tau_j Z)
 *
 * All by the trapezoidal rule on the whole line, whose error for functions analytic in a
 * strip of half-width a is exp(-2 pi a / h): the steps here make it 1e-16 (Trefethen &
 * Weideman 2014, SIAM Rev 56:385-458). Cost: cumulative some microseconds, baseline some
 * hundred for each class. */
#ifndef QX_MODEL_CLASS_AVERAGE_H
#define QX_MODEL_CLASS_AVERAGE_H

#include <stddef.h>

/* p: K = d + 1; by_eta: K x d, column-major; by_tau: K. tau >= 0. */
void qx_average_cumulative(size_t d,
                           const double eta[],
                           double tau,
                           double p[],
                           double by_eta[],
                           double by_tau[]);

/* by_tau: K x d. tau: d. d at most QX_PREDICTORS_MOST. */
void qx_average_baseline(size_t d,
                         const double eta[],
                         const double tau[],
                         double p[],
                         double by_eta[],
                         double by_tau[]);

#endif
