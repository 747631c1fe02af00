#include "findings/small_sample.h"

#include <math.h>

#include "findings/working.h"
#include "numeric/dist.h"

static const char of_units[] =
    "likelihood ratio with the degrees of freedom of the units";
static const char plain_ratio[] = "likelihood ratio";
static const char corrected[] = "likelihood ratio with Bartlett's correction";

/* Variances at which the likelihood cannot be had are of no use: then nothing is allowed for. */
static qx_status kept(qx_work *w, qx_status status)
{
    if (status == QX_E_NUMERIC) {
        qx_ctx_forgive(w->cx);
        w->linear = NULL;
        return QX_OK;
    }
    return status;
}

qx_status qx_small_counts(qx_work *w,
                          const qx_glmm *fit,
                          const qx_glmm *wide,
                          const qx_family_choice *choice,
                          qx_glmm **held)
{
    const bool tested = choice->tested, penalised = fit->penalty != 0.0;
    const bool varies = wide != NULL || fit->m > 0 || fit->extra == QX_EXTRA_MODELLED;
    const qx_glmm *most = wide == NULL ? fit : wide;
    *held = NULL;
    w->small_means = false;
    if (fit->extra == QX_EXTRA_SCALED || (!varies && !penalised)) {
        return QX_OK; /* scaled errors bring their own df */
    }
    w->small_method = varies ? of_units : plain_ratio;
    w->small_means = fit->m > 0 || (tested && fit->extra == QX_EXTRA_MODELLED);
    if (varies) {
        QX_TRY(qx_working_counts(w, most, fit, &w->linear));
    }
    return w->linear == NULL
               ? QX_OK
               : kept(w, qx_working_hold_counts(w->cx, most, w->linear, held));
}

qx_status qx_small_classes(qx_work *w, const qx_classes *fit, qx_classes **held)
{
    *held = NULL;
    w->small_means = fit->component_count > 0;
    w->small_method = of_units;
    if (fit->component_count == 0) {
        w->small_method = fit->penalised ? plain_ratio : corrected;
        return QX_OK;
    }
    QX_TRY(qx_working_classes(w, fit, &w->linear));
    return w->linear == NULL
               ? QX_OK
               : kept(w, qx_working_hold_classes(w->cx, fit, w->linear, held));
}

/* Rows of a hypothesis as the linear model has them: classes without order have each row once
 * for every predictor, the columns of the first predictor first. */
static qx_status rows_of(qx_work *w, qx_mat L, qx_mat *out)
{
    const size_t p = w->design->p, d = w->linear->p / p;
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), L.rows * d, p * d, out));
    for (size_t i = 0; i < L.rows; i++) {
        for (size_t j = 0; j < d; j++) {
            for (size_t c = 0; c < p; c++) {
                QX_AT(*out, i * d + j, j * p + c) = QX_AT(L, i, c);
            }
        }
    }
    return QX_OK;
}

static qx_status one_row(qx_work *w, const double row[], qx_mat *out)
{
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), 1, w->design->p, out));
    for (size_t j = 0; j < w->design->p; j++) {
        QX_AT(*out, 0, j) = row[j];
    }
    return QX_OK;
}

static qx_status allowance(qx_work *w, qx_mat L, qx_allowance *out)
{
    qx_mat rows;
    *out = (qx_allowance){.df = INFINITY, .factor = 1.0, .share = 1.0};
    if (w->linear == NULL) {
        return QX_OK;
    }
    QX_TRY(rows_of(w, L, &rows));
    return qx_linearised_joint(w->cx, w->linear, rows, out);
}

qx_status qx_small_allowance(qx_work *w, const double row[], qx_allowance *out)
{
    qx_mat L;
    QX_TRY(one_row(w, row, &L));
    return allowance(w, L, out);
}

/* Nothing of a hypothesis about grades is on the intercept but what rounding left there. */
static qx_status without_intercept(qx_work *w, qx_mat *L)
{
    qx_mat clear;
    if (w->variate->kind != QX_ORDINAL) {
        return QX_OK;
    }
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), L->rows, L->cols, &clear));
    qx_mat_copy(clear, *L);
    for (size_t i = 0; i < L->rows; i++) {
        QX_AT(clear, i, 0) = 0.0;
    }
    *L = clear;
    return QX_OK;
}

/* What a ratio of classes is too large by, on average; 1 where the fit has a penalty, which
 * does the same. */
static qx_status average_of(qx_work *w, qx_mat L, double *factor)
{
    const bool classes = w->estimator.class_count > 1 && w->small_method == corrected;
    *factor = 1.0;
    return classes && L.rows > 0 ? qx_classes_bartlett(w->cx, w->estimator.fit, L, factor)
                                 : QX_OK;
}

/* Ratio of L beta = 0 at the restricted variances, corrected for its mean. `plain`: the ratio
 * that is known, where no variances are held. */
static qx_status ratio_of(qx_work *w, qx_mat L, double plain, double *chisq)
{
    double factor;
    *chisq = plain;
    if (L.rows > 0 && (w->estimator.held != NULL || isnan(plain))) {
        QX_TRY(w->estimator.kind->ratio(w->cx, &w->estimator, L, chisq));
        *chisq = isnan(*chisq) ? plain : *chisq;
    }
    QX_TRY(average_of(w, L, &factor));
    *chisq /= factor;
    return QX_OK;
}

qx_status qx_small_p(qx_work *w, qx_mat L, double chisq, double num_df, double *p)
{
    qx_allowance a;
    QX_TRY(without_intercept(w, &L));
    QX_TRY(ratio_of(w, L, chisq, &chisq));
    QX_TRY(allowance(w, L, &a));
    *p = isfinite(a.df) ? qx_f_p(chisq / a.share / num_df, num_df, a.df, QX_UPPER)
                        : qx_chisq_p(chisq / a.share, num_df, QX_UPPER);
    return QX_OK;
}

qx_status
qx_small_root(qx_work *w, const double row[], const qx_allowance *a, double *root)
{
    double chisq;
    qx_mat L;
    QX_TRY(one_row(w, row, &L));
    QX_TRY(without_intercept(w, &L));
    QX_TRY(ratio_of(w, L, NAN, &chisq));
    *root = isnan(chisq) ? (double)NAN : sqrt(fmax(chisq, 0.0) / a->share);
    return QX_OK;
}
