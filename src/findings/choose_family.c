#include "findings/choose_family.h"

#include <math.h>

#include "model/overdispersion.h"

qx_glmm_spec qx_counts_spec(const qx_work *w)
{
    static const qx_link link[] = {[QX_SHARE_LOGIT] = QX_LINK_LOGIT,
                                   [QX_SHARE_PROBIT] = QX_LINK_PROBIT,
                                   [QX_SHARE_CLOGLOG] = QX_LINK_CLOGLOG};
    const bool share = w->variate->kind == QX_PROPORTION;
    return (qx_glmm_spec){.frame = &w->data.frame,
                          .k = w->data.k,
                          .size = w->data.size,
                          .term_count = w->choice.term_count,
                          .term = w->choice.term,
                          .random_count = w->choice.random_count,
                          .random = w->choice.random,
                          .family = share ? &qx_family_binomial : &qx_family_poisson,
                          .link = share ? link[w->variate->link] : QX_LINK_LOG,
                          .extra = QX_EXTRA_NONE,
                          .unit_name = w->choice.residual_path,
                          .quadrature = (size_t)w->protocol->analysis.quadrature,
                          .quick = w->brief,
                          .level = w->level};
}

/* A quick test leaves the covariances out, which most of its fits have no use for. */
static qx_status with_covariance(qx_work *w, const qx_glmm_spec *spec, qx_glmm **fit)
{
    qx_glmm_spec wide = *spec;
    qx_glmm *whole = NULL;
    wide.extra = QX_EXTRA_MODELLED;
    QX_TRY(qx_glmm_fit(w->cx, &wide, &whole));
    qx_glmm_free(*fit);
    *fit = whole;
    return QX_OK;
}

/* The plain fit goes on unless the wider one is better by the rule; then the wider one is left
 * in *other. */
static qx_status test_extra(qx_work *w,
                            const qx_glmm_spec *spec,
                            qx_family_choice *choice,
                            qx_glmm **fit,
                            qx_glmm **other)
{
    qx_overdispersion found;
    qx_glmm *wide = NULL;
    QX_TRY(qx_overdispersion_test(w->cx, spec, *fit, &found, &wide));
    choice->tested = found.can_show && wide != NULL && isfinite(found.lrt_p);
    choice->lrt = found.lrt;
    choice->p = found.lrt_p;
    if (choice->tested && wide->converged &&
        qx_overdispersion_choose(&found, QX_EXTRA_ALPHA)) {
        choice->extra = QX_EXTRA_MODELLED;
        qx_glmm_free(*fit);
        *fit = wide;
        return spec->quick ? with_covariance(w, spec, fit) : QX_OK;
    }
    if (choice->tested && wide->converged && !wide->separated) {
        *other = wide;
    } else {
        qx_glmm_free(wide);
    }
    return QX_OK;
}

qx_status
qx_choose_family(qx_work *w, qx_family_choice *choice, qx_glmm **out, qx_glmm **wide)
{
    static const qx_extra extra[] = {[QX_VARIATION_AUTO] = QX_EXTRA_NONE,
                                     [QX_VARIATION_NONE] = QX_EXTRA_NONE,
                                     [QX_VARIATION_SCALED] = QX_EXTRA_SCALED,
                                     [QX_VARIATION_MODELLED] = QX_EXTRA_MODELLED,
                                     [QX_VARIATION_UNIT] = QX_EXTRA_UNIT};
    qx_glmm_spec spec = qx_counts_spec(w);
    qx_glmm *fit = NULL;
    *wide = NULL;
    *choice = (qx_family_choice){
        .extra = extra[w->variate->extra_variation], .lrt = NAN, .p = NAN};
    spec.extra = choice->extra;
    QX_TRY(qx_glmm_fit(w->cx, &spec, &fit));
    if (w->variate->extra_variation == QX_VARIATION_AUTO) {
        const qx_status status = test_extra(w, &spec, choice, &fit, wide);
        if (status != QX_OK) {
            qx_glmm_free(fit);
            return status;
        }
    }
    *out = fit;
    return QX_OK;
}
