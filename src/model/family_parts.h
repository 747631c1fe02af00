/* model/family_parts.h - what families share: supports, and the way from derivatives in log mu
 * to derivatives in eta. Inner header of model/. */
#ifndef QX_MODEL_FAMILY_PARTS_H
#define QX_MODEL_FAMILY_PARTS_H

#include <stdbool.h>

#include "model/family.h"

/* Derivatives of a function f(A) in A: value, first, second, third. */
typedef struct qx_chain {
    double f, f1, f2, f3;
} qx_chain;

/* Whole numbers of things, 0 <= k (<= n). */
bool qx_support_share(double k, double n, const char **why);
bool qx_support_count(double k, double n, const char **why);

bool qx_takes_share(qx_link link);
bool qx_takes_count(qx_link link);

/* Adds f(A(eta)): first derivatives into d1 ..., A = {value, 1st, 2nd, 3rd} in eta. */
void qx_chain_add(const qx_chain *f, const double A[4], double d[4]);

/* weight times d[1..3] into row j of out, as far as `order` asks. */
void qx_chain_store(const double d[4],
                    double weight,
                    size_t j,
                    qx_rows_order order,
                    const qx_row_terms *out);

/* weight times the derivatives by psi of l and its first two slopes into row j of out, where
 * `order` asks for them. */
void qx_spread_store(const double slope[3],
                     double weight,
                     size_t j,
                     qx_rows_order order,
                     const qx_row_terms *out);

/* phi or theta of a spread psi, INFINITY at 0; and back, NAN unless above 0. */
double qx_spread_dispersion(double psi);
double qx_spread_of(double dispersion);

/* k log(k / mean) with 0 at k = 0, accurate where both are near: see family_parts.c. */
double qx_deviance_part(double k, double mean);

#endif
