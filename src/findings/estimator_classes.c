/* findings/estimator_classes.c - grades and classes: one share for each class.
 *
 * Grades move together, so their differences are tested by the place on the cumulative
 * scale. Classes without order are compared one by one, by the logit of each share: the
 * answer does not depend on which class the model happens to hold the others against. */
#include <math.h>

#include "findings/estimator.h"
#include "model/classes.h"
#include "model/link.h"

static qx_status contrast(qx_ctx *cx,
                          const qx_estimator *e,
                          const double row[],
                          double shift_weight,
                          qx_estimate *out)
{
    (void)shift_weight;
    return qx_classes_contrast(cx, e->fit, row, 0, out);
}

/* The place has no intercept: it is the coefficients behind the thresholds. */
static double covariance(const qx_estimator *e, const double a[], const double b[])
{
    const qx_classes *fit = e->fit;
    const size_t first = fit->class_count - 1;
    double sum = 0.0;
    for (size_t j = 1; j < e->design->p; j++) {
        for (size_t i = 1; i < e->design->p; i++) {
            sum += a[i] * b[j] * QX_AT(fit->covariance, first + i - 1, first + j - 1);
        }
    }
    return sum;
}

static qx_status ratio(qx_ctx *cx, const qx_estimator *e, qx_mat L, double *chisq)
{
    qx_classes_test test;
    const qx_status status =
        qx_classes_lrt(cx, e->held != NULL ? e->held : e->fit, L, &test);
    *chisq = status == QX_OK ? test.chisq : (double)NAN;
    if (status == QX_E_NUMERIC) {
        qx_ctx_forgive(cx);
        return QX_OK;
    }
    return status;
}

/* Grades have their intercept in the thresholds: nothing but rounding may stand there. */
static qx_status
joint(qx_ctx *cx, const qx_estimator *e, qx_mat L, qx_estimator_test *out)
{
    qx_mat held;
    qx_classes_test test;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), L.rows, L.cols, &held));
    for (size_t i = 0; i < L.rows; i++) {
        for (size_t j = 1; j < L.cols; j++) {
            QX_AT(held, i, j) = QX_AT(L, i, j);
        }
    }
    QX_TRY(qx_classes_lrt(cx, e->fit, held, &test));
    *out = (qx_estimator_test){.statistic = "chisq",
                               .num_df = (double)test.df,
                               .den_df = NAN,
                               .value = test.chisq,
                               .p = test.p,
                               .chisq = test.chisq,
                               .sum_of_squares = NAN,
                               .method = test.method};
    return QX_OK;
}

static qx_status turn(qx_ctx *cx, qx_mat from, qx_mat *out)
{
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), from.cols, from.rows, out));
    for (size_t j = 0; j < from.cols; j++) {
        for (size_t i = 0; i < from.rows; i++) {
            QX_AT(*out, j, i) = QX_AT(from, i, j);
        }
    }
    return QX_OK;
}

/* The fit knows the classes that were seen; the others have no share. */
static qx_status respond(qx_ctx *cx,
                         const qx_estimator *e,
                         qx_mat rows,
                         bool typical,
                         double value[],
                         qx_mat out)
{
    const qx_classes *fit = e->fit;
    const size_t seen = fit->class_count, all = e->class_count;
    const size_t entries = rows.cols * all;
    double *share;
    qx_mat turned, covariance_seen;
    QX_TRY(turn(cx, rows, &turned));
    QX_NEW(cx, share, rows.cols * seen);
    QX_TRY(qx_mat_new(
        cx, qx_ctx_scratch(cx), rows.cols * seen, rows.cols * seen, &covariance_seen));
    QX_TRY(qx_classes_means(cx, fit, turned, typical, share, covariance_seen));
    for (size_t b = 0; b < entries; b++) {
        const size_t kb = fit->class_of[b % all];
        value[b] = kb == QX_NO_COLUMN ? 0.0 : share[b / all * seen + kb];
        for (size_t a = 0; a < entries && kb != QX_NO_COLUMN; a++) {
            const size_t ka = fit->class_of[a % all];
            if (ka != QX_NO_COLUMN) {
                QX_AT(out, a, b) =
                    QX_AT(covariance_seen, a / all * seen + ka, b / all * seen + kb);
            }
        }
    }
    return QX_OK;
}

static double to(const qx_estimator *e, double response, double *slope)
{
    (void)e;
    *slope = 1.0 / (response * (1.0 - response));
    return qx_link_predictor(QX_LINK_LOGIT, response);
}

static double from(const qx_estimator *e, double transformed)
{
    (void)e;
    return qx_link_mean(QX_LINK_LOGIT, transformed);
}

const qx_estimator_kind qx_estimator_grades = {.contrast = contrast,
                                               .covariance = covariance,
                                               .ratio = ratio,
                                               .joint = joint,
                                               .respond = respond,
                                               .to = to,
                                               .from = from};

const qx_estimator_kind qx_estimator_classes = {
    .ratio = ratio, .joint = joint, .respond = respond, .to = to, .from = from};
