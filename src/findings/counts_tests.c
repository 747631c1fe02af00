#include "findings/counts_tests.h"

#include <math.h>

#include "findings/choose_family.h"
#include "findings/joint_test.h"
#include "findings/small_sample.h"
#include "findings/tests_of.h"
#include "model/glmm_bootstrap.h"
#include "numeric/dist.h"

/* Samples of the parametric bootstrap are the same in every run. */
#define BOOTSTRAP_SEED 20240301u

static qx_test_line nothing(const qx_work *w, size_t t)
{
    return qx_test_nothing(w->choice.term[t].name, qx_unit_of_test(w, t));
}

static qx_status bootstrap(qx_work *w, const qx_glmm *fit, qx_mat L, qx_test_line *line)
{
    qx_glmm_bootstrap b;
    const size_t samples = (size_t)w->protocol->analysis.bootstrap;
    QX_TRY(qx_glmm_bootstrap_rows(w->cx, fit, L, samples, BOOTSTRAP_SEED, NULL, &b));
    line->p_small_sample = b.p;
    line->method_small_sample =
        qx_arena_printf(w->arena, "parametric bootstrap, %zu samples", b.replicates);
    return line->method_small_sample == NULL
               ? qx_fail(w->cx, QX_E_NOMEM, "no memory for the tests")
               : QX_OK;
}

static qx_status marginal(qx_work *w, const qx_glmm *fit, size_t t, qx_test_line *line)
{
    qx_mat L;
    *line = nothing(w, t);
    QX_TRY(qx_design_marginal(w->cx, w->temporary, w->design, t, &L));
    if (L.rows == 0) {
        return QX_OK;
    }
    QX_TRY(qx_test_rows(w, L, line));
    if (w->protocol->analysis.bootstrap > 0 && fit->extra != QX_EXTRA_SCALED &&
        !isnan(line->p)) {
        return bootstrap(w, fit, L, line);
    }
    return QX_OK;
}

/* The first `count` terms alone: log-likelihood, deviance and columns. */
typedef struct partial {
    double log_likelihood, deviance;
    size_t p;
} partial;

static qx_status fit_first(qx_work *w, const qx_glmm *full, size_t count, partial *out)
{
    qx_glmm_spec spec = qx_counts_spec(w);
    qx_glmm *fit = NULL;
    spec.term_count = count;
    spec.extra = full->extra;
    spec.penalise = full->penalty != 0.0;
    spec.no_covariance = true;
    QX_TRY(qx_glmm_fit(w->cx, &spec, &fit));
    *out = (partial){fit->log_likelihood, fit->deviance, fit->p};
    qx_glmm_free(fit);
    return QX_OK;
}

/* Each term after those before it. */
static qx_status sequential(qx_work *w, const qx_glmm *fit, size_t t, qx_test_line *line)
{
    partial with, without;
    *line = nothing(w, t);
    QX_TRY(fit_first(w, fit, t, &without));
    QX_TRY(fit_first(w, fit, t + 1, &with));
    const double df = (double)(with.p - without.p);
    const double chisq = fmax(2.0 * (with.log_likelihood - without.log_likelihood), 0.0);
    const double f = (without.deviance - with.deviance) / df / fit->dispersion;
    const bool scaled = fit->extra == QX_EXTRA_SCALED;
    line->num_df = df;
    line->den_df = scaled ? fit->df : (double)NAN;
    line->statistic = scaled ? "F" : "chisq";
    line->value = scaled ? f : chisq;
    line->p = scaled ? qx_f_p(f, df, fit->df, QX_UPPER) : qx_chisq_p(chisq, df, QX_UPPER);
    line->method = scaled ? "quasi-likelihood F" : "likelihood ratio";
    qx_mat L;
    QX_TRY(qx_design_sequential(w->cx, w->temporary, w->design, t, &L));
    return qx_test_few_units(w, L, chisq, line);
}

qx_status qx_counts_tests_of(qx_work *w, const qx_glmm *fit)
{
    const bool in_order = w->protocol->analysis.sums == QX_SUMS_SEQUENTIAL;
    qx_test_line *list;
    size_t count = 0;
    QX_NEW_IN(w->cx, w->arena, list, w->choice.term_count);
    for (size_t t = 0; t < w->choice.term_count; t++) {
        qx_status status;
        if (w->design->term_df[t] == 0) {
            continue; /* aliased: told by a note of the design */
        }
        QX_SCRATCH(w->cx,
                   status,
                   in_order ? sequential(w, fit, t, &list[count])
                            : marginal(w, fit, t, &list[count]));
        QX_TRY(status);
        count++;
    }
    w->result->test = list;
    w->result->test_count = count;
    return QX_OK;
}
