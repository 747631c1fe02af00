#include "model/lm.h"

#include <math.h>
#include <string.h>

#include "model/design_rows.h"
#include "numeric/dist.h"
#include "numeric/sums.h"

/* Residuals of y of size 1 whose root mean square is below this are rounding: a few
 * hundred operations of 1e-16 each. */
static const double ROUNDING = 4e-15;

static const double LOG_TWO_PI = 1.8378770664093454836;

qx_status qx_lm_scale(qx_ctx *cx, size_t n, const double y[], double *scale)
{
    double most = 0.0;
    int exponent;
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(y[i])) {
            return qx_fail(cx,
                           QX_E_INPUT,
                           "value %zu of the response is not a finite number",
                           i + 1);
        }
        most = fmax(most, fabs(y[i]));
    }
    (void)frexp(most, &exponent);
    *scale = most > 0.0 ? ldexp(1.0, exponent < -1060 ? -1060 : exponent) : 1.0;
    return QX_OK;
}

/* R_X' of the kept columns and log |R_X|. */
static qx_status keep_triangle(qx_ctx *cx, qx_lmm_plan *plan)
{
    const qx_qr *qr = &plan->design.qr;
    QX_TRY(qx_mat_new(cx, plan->arena, plan->p, plan->p, &plan->r_transposed));
    for (size_t j = 0; j < plan->p; j++) {
        for (size_t i = 0; i <= j; i++) {
            QX_AT(plan->r_transposed, j, i) = QX_AT(qr->R, i, qr->kept[j]);
        }
        plan->log_r += log(fabs(QX_AT(plan->r_transposed, j, j)));
    }
    return QX_OK;
}

qx_status qx_lm_plan(qx_ctx *cx, qx_lmm_plan *plan)
{
    const qx_lmm_spec *spec = &plan->spec;
    QX_TRY((spec->covariance == NULL ? qx_design_make_compact : qx_design_make)(
        cx, plan->arena, spec->frame, spec->term_count, spec->term, &plan->design));
    plan->n = plan->design.n;
    plan->p = plan->design.p;
    if (plan->n <= plan->p) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "%zu rows of data are too few to estimate %zu effects: "
                       "nothing is left to estimate the variation from; more replicates "
                       "or fewer interactions are needed",
                       plan->n,
                       plan->p);
    }
    if (spec->random_count == 0) {
        QX_TRY(qx_mat_new(cx, plan->arena, plan->p, plan->p, &plan->gram_inverse));
        QX_TRY(qx_qr_inverse_gram(cx, &plan->design.qr, plan->gram_inverse));
    }
    return keep_triangle(cx, plan);
}

qx_status qx_lm_solve(
    qx_ctx *cx, const qx_lmm_plan *plan, const double y[], qx_lmm *fit, double r[])
{
    struct qx_lmm_inner *in = fit->inner;
    double *full;
    fit->design = plan->design;
    fit->n = plan->n;
    fit->p = plan->p;
    in->r_transposed = plan->r_transposed;
    in->log_r = plan->log_r;
    QX_TRY(qx_lm_scale(cx, fit->n, y, &in->scale));
    QX_NEW(cx, full, fit->design.full);
    for (size_t i = 0; i < fit->n; i++) {
        r[i] = y[i] / in->scale;
    }
    QX_TRY(qx_design_split(cx, &fit->design, r, full, NULL, r));
    QX_NEW_IN(cx, fit->arena, in->beta, fit->p);
    for (size_t j = 0; j < fit->p; j++) {
        in->beta[j] = full[fit->design.kept[j]];
    }
    return QX_OK;
}

double qx_lm_reml_criterion(const qx_lmm *fit)
{
    const struct qx_lmm_inner *in = fit->inner;
    const double df = (double)(fit->n - fit->p);
    const double sigma2 = in->at.ypy / df;
    if (!(sigma2 > 0.0)) {
        return NAN;
    }
    return df * (LOG_TWO_PI + log(sigma2) + 2.0 * log(in->scale) + 1.0) + in->at.log_a +
           2.0 * in->log_r;
}

bool qx_lm_exhausted(size_t n, const double r[])
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum += r[i] * r[i];
    }
    return sum <= (double)n * ROUNDING * ROUNDING;
}

static void residual_component(qx_lmm *fit, double rss)
{
    const double df = (double)(fit->n - fit->p);
    const double s2 = fit->inner->scale * fit->inner->scale;
    const double tail = 0.5 * (1.0 - fit->inner->level);
    fit->component[0] = (qx_component){.name = "residual",
                                       .variance = rss / df * s2,
                                       .sd = sqrt(rss / df) * fit->inner->scale,
                                       .unconstrained = rss / df * s2,
                                       .lower = NAN,
                                       .upper = NAN,
                                       .lrt = NAN,
                                       .p = NAN};
    if (fit->exhausted == QX_VARIES) {
        fit->component[0].lower = rss / qx_chisq_q(tail, df, QX_UPPER) * s2;
        fit->component[0].upper = rss / qx_chisq_q(tail, df, QX_LOWER) * s2;
    }
}

void qx_lm_finish(const qx_lmm_plan *plan, qx_lmm *fit, const double r[])
{
    struct qx_lmm_inner *in = fit->inner;
    const double n = (double)fit->n;
    const bool exhausted = qx_lm_exhausted(fit->n, r);
    double rss = 0.0;
    for (size_t i = 0; i < fit->n && !exhausted; i++) {
        rss += r[i] * r[i];
    }
    in->sigma2 = rss / (n - (double)fit->p);
    in->phi = plan->gram_inverse;
    in->adjusted = in->phi;
    fit->residual_ss = rss * in->scale * in->scale;
    fit->log_likelihood =
        exhausted ? (double)NAN
                  : -0.5 * n * (LOG_TWO_PI + log(rss / n) + 2.0 * log(in->scale) + 1.0);
    fit->reml_criterion = NAN;
    fit->converged = true;
    fit->exhausted = exhausted ? QX_NIL_BESIDE_FIXED : QX_VARIES;
    residual_component(fit, rss);
}
