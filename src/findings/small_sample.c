#include "findings/small_sample.h"

#include <math.h>

#include "findings/working.h"
#include "numeric/dist.h"

static const char of_units[] =
    "likelihood ratio with the degrees of freedom of the units";
static const char plain_ratio[] = "likelihood ratio";
static const char residual_df[] = "likelihood ratio against F";

qx_status qx_small_counts(qx_work *w, const qx_glmm *fit, bool penalised)
{
    const bool varies = fit->m > 0 || fit->extra == QX_EXTRA_MODELLED;
    w->small_df = INFINITY;
    w->small_factor = 1.0;
    if (fit->extra == QX_EXTRA_SCALED || (!varies && !penalised)) {
        return QX_OK; /* scaled errors bring their own df */
    }
    w->small_method = varies ? of_units : plain_ratio;
    return varies ? qx_working_counts(w, fit, &w->linear) : QX_OK;
}

/* Containment for the layout, from a linear model of anything. */
static qx_status contained(qx_work *w, qx_lmm **fit)
{
    qx_lmm_spec spec = qx_choice_spec(&w->choice, &w->data, w->level);
    qx_ctx *aside = qx_ctx_new(); /* its notes are about a model that nobody asked for */
    if (aside == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for the degrees of freedom");
    }
    spec.df = QX_CONTAINMENT;
    const qx_status status = qx_lmm_fit(aside, &spec, fit);
    qx_ctx_free(aside);
    if (status == QX_E_NOMEM) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for the degrees of freedom");
    }
    *fit = status == QX_OK ? *fit : NULL;
    w->units = *fit != NULL && (*fit)->p == w->design->p ? *fit : NULL;
    return QX_OK;
}

qx_status qx_small_classes(qx_work *w, const qx_classes *fit, qx_lmm **units)
{
    const double left = fit->total - (double)fit->p;
    *units = NULL;
    w->small_df = INFINITY;
    w->small_factor = 1.0;
    if (fit->component_count > 0) {
        w->small_method = of_units;
        return fit->kind == QX_CUMULATIVE ? qx_working_grades(w, fit, &w->linear)
                                          : contained(w, units);
    }
    if (left >= 1.0) {
        w->small_df = left;
        w->small_factor = fit->total / left;
        w->small_method = residual_df;
    } else if (fit->penalised) {
        w->small_method = plain_ratio;
    }
    return QX_OK;
}

double qx_small_df(qx_work *w, const double row[])
{
    qx_estimate e = {NAN, NAN, INFINITY};
    if (w->linear != NULL) {
        return qx_linearised_df(w->linear, row);
    }
    if (w->units == NULL || qx_lmm_contrast(w->cx, w->units, row, 0.0, &e) != QX_OK) {
        return w->small_df;
    }
    return e.df > 0.0 ? e.df : w->small_df;
}

double qx_small_factor(const qx_work *w, const double row[])
{
    return w->linear == NULL ? w->small_factor : qx_linearised_factor(w->linear, row);
}

double qx_small_f(const qx_work *w, double ratio, double num_df, double df, double factor)
{
    const double x = ratio / factor;
    const bool logarithm = isfinite(df) && (w->linear == NULL || !w->linear->by_rows);
    return logarithm ? df * expm1(x / df) / num_df : x / num_df;
}

qx_status qx_small_p(qx_work *w, qx_mat L, double chisq, double num_df, double *p)
{
    double df = w->small_df, factor = w->small_factor;
    if (w->linear != NULL) {
        QX_TRY(qx_linearised_joint(w->cx, w->linear, L, &df, &factor));
    } else if (w->units != NULL) {
        qx_joint_test test;
        QX_TRY(qx_lmm_test(w->cx, w->units, L, &test));
        df = test.den_df > 0.0 ? test.den_df : df;
    }
    const double f = qx_small_f(w, chisq, num_df, df, factor);
    *p = isfinite(df) ? qx_f_p(f, num_df, df, QX_UPPER)
                      : qx_chisq_p(num_df * f, num_df, QX_UPPER);
    return QX_OK;
}
