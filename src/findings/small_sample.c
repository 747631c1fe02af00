#include "findings/small_sample.h"

#include <math.h>

#include "numeric/dist.h"

qx_status qx_small_sample_prepare(qx_work *w, bool varies, qx_lmm **fit)
{
    qx_lmm_spec spec = qx_choice_spec(&w->choice, &w->data, w->level);
    *fit = NULL;
    w->units = NULL;
    w->small_method = "likelihood ratio";
    if (!varies) {
        return QX_OK;
    }
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
    *fit = status == QX_OK && (*fit)->p == w->design->p ? *fit : NULL;
    w->units = *fit;
    w->small_method = "likelihood ratio with the degrees of freedom of the units";
    return QX_OK;
}

double qx_small_df(qx_work *w, const double row[])
{
    qx_estimate e = {NAN, NAN, INFINITY};
    if (w->units == NULL || qx_lmm_contrast(w->cx, w->units, row, 0.0, &e) != QX_OK) {
        return INFINITY;
    }
    return e.df > 0.0 ? e.df : (double)INFINITY;
}

qx_status
qx_small_p(qx_work *w, qx_mat L, double chisq, double num_df, double *p, double *den_df)
{
    qx_joint_test test = {.den_df = NAN};
    if (w->units != NULL) {
        QX_TRY(qx_lmm_test(w->cx, w->units, L, &test));
    }
    *den_df = test.den_df > 0.0 ? test.den_df : (double)INFINITY;
    *p = isfinite(*den_df) ? qx_f_p(chisq / num_df, num_df, *den_df, QX_UPPER)
                           : qx_chisq_p(chisq, num_df, QX_UPPER);
    return QX_OK;
}
