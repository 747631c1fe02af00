/* findings/respond.h - means in the unit that was measured, made for several means at once
 * and looked up one by one: shares, counts for each limb, shares of each class. */
#ifndef QX_FINDINGS_RESPOND_H
#define QX_FINDINGS_RESPOND_H

#include "findings/limits.h"
#include "findings/work.h"

/* Means (columns of a matrix of rows) and their classes, side by side: entry i of class c
 * stands at i * class_count + c. */
typedef struct qx_responses {
    const qx_estimator *e;
    double *value;
    qx_mat covariance;
} qx_responses;

/* `rows`: design->p x count. Means that are not estimable become NAN. In scratch memory. */
qx_status qx_responses_make(
    qx_work *w, qx_mat rows, const bool estimable[], bool typical, qx_responses *out);

qx_response qx_responses_at(const qx_responses *r, size_t mean, size_t class_);

/* Covariance of two means in the same class. */
double qx_responses_covariance(const qx_responses *r, size_t a, size_t b, size_t class_);

/* Their correlation, held between -1 and 1; 0 where one of them does not vary. */
double qx_responses_correlation(const qx_responses *r, size_t a, size_t b, size_t class_);

/* On the transform of the estimator (the logit of a class): the mean, and the covariance of
 * two. NAN at the ends of the scale. */
double qx_responses_link(const qx_responses *r, size_t mean, size_t class_);
double
qx_responses_link_covariance(const qx_responses *r, size_t a, size_t b, size_t class_);

#endif
