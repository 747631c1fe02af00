/* model/class_draw.h - grades and classes from probabilities: for simulated trials.
 *
 * Assumed shares of classes over many units with normal effects of deviation sd become
 * thresholds or log odds that have these shares as their averages. */
#ifndef QX_MODEL_CLASS_DRAW_H
#define QX_MODEL_CLASS_DRAW_H

#include "base/ctx.h"
#include "numeric/rng.h"

/* A class 0 ... K - 1 with these probabilities (sum 1 up to rounding). One uniform. */
QX_API size_t qx_class_draw(qx_rng *rng, size_t K, const double probability[]);

/* P of the K classes at thresholds (K - 1, rising) and a place: P(Y <= j) =
 * logistic(threshold_j - place). */
QX_API void
qx_class_ordinal(size_t K, const double threshold[], double place, double probability[]);

/* P of the K classes at log odds (K - 1) against the first. */
QX_API void qx_class_nominal(size_t K, const double log_odds[], double probability[]);

/* Thresholds (K - 1) whose averages over a normal effect of deviation sd >= 0 are these
 * shares (K, > 0, sum 1). QX_E_ARG. */
QX_API qx_status qx_class_thresholds(
    qx_ctx *cx, size_t K, const double share[], double sd, double threshold[]);

/* Log odds (K - 1) against the first class whose averages over independent normal effects
 * of deviations sd (K - 1) are these shares. QX_E_ARG, QX_E_NUMERIC. */
QX_API qx_status qx_class_log_odds(
    qx_ctx *cx, size_t K, const double share[], const double sd[], double log_odds[]);

#endif
