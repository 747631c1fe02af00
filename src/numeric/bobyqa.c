#include "numeric/bobyqa.h"

#include <math.h>
#include <nlopt.h>

#include "numeric/root.h"

#define EVALUATIONS_MOST 5000

/* What a bad place counts as: large, but finite, so that models of it stay numbers. */
#define VERY_BAD 1e300

typedef struct problem {
    qx_objective *f;
    void *data;
    size_t evaluations;
} problem;

static double evaluate(problem *p, size_t m, const double x[])
{
    const double value = p->f(p->data, m, x);
    p->evaluations++;
    return isfinite(value) ? value : VERY_BAD;
}

static double for_nlopt(unsigned m, const double *x, double *gradient, void *data)
{
    (void)gradient; /* BOBYQA asks for none */
    return evaluate(data, m, x);
}

static double for_brent(void *data, double x)
{
    return evaluate(data, 1, &x);
}

/* Brent's minimum, or an end of the interval if that is lower. */
static qx_status one_parameter(qx_ctx *cx,
                               problem *p,
                               double low,
                               double high,
                               double tolerance,
                               double x[],
                               double *value)
{
    double place[3] = {low, high, x[0]};
    QX_TRY(qx_minimum(cx, for_brent, p, low, high, tolerance, &place[2]));
    *value = INFINITY;
    for (size_t i = 0; i < 3; i++) {
        const double f = evaluate(p, 1, &place[i]);
        if (f < *value) {
            *value = f;
            x[0] = place[i];
        }
    }
    return QX_OK;
}

static void destroy(void *opt)
{
    nlopt_destroy(opt);
}

static qx_status with_nlopt(qx_ctx *cx,
                            problem *p,
                            size_t m,
                            const double low[],
                            const double high[],
                            double tolerance,
                            double x[],
                            double *value)
{
    nlopt_opt opt = nlopt_create(NLOPT_LN_BOBYQA, (unsigned)m);
    if (opt == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the optimiser");
    }
    const qx_status tied = qx_arena_defer(qx_ctx_scratch(cx), destroy, opt);
    if (tied != QX_OK) {
        nlopt_destroy(opt);
        return qx_fail(cx, QX_E_NOMEM, "no memory for the optimiser");
    }
    (void)nlopt_set_min_objective(opt, for_nlopt, p);
    (void)nlopt_set_lower_bounds(opt, low);
    (void)nlopt_set_upper_bounds(opt, high);
    (void)nlopt_set_xtol_rel(opt, tolerance);
    (void)nlopt_set_ftol_rel(opt, tolerance * tolerance);
    (void)nlopt_set_maxeval(opt, EVALUATIONS_MOST);
    const nlopt_result result = nlopt_optimize(opt, x, value);
    if (result == NLOPT_OUT_OF_MEMORY) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the optimiser");
    }
    if (result < 0 && result != NLOPT_ROUNDOFF_LIMITED) {
        return qx_fail(
            cx, QX_E_NUMERIC, "the optimiser failed with code %d", (int)result);
    }
    return QX_OK;
}

qx_status qx_bobyqa(qx_ctx *cx,
                    size_t m,
                    qx_objective *f,
                    void *data,
                    const double low[],
                    const double high[],
                    double tolerance,
                    double x[],
                    double *value,
                    size_t *evaluations)
{
    problem p = {.f = f, .data = data};
    qx_status status;
    if (m == 0 || m > 1000) {
        return qx_fail(cx, QX_E_ARG, "%zu parameters to optimise; expected 1 to 1000", m);
    }
    for (size_t i = 0; i < m; i++) {
        if (!(low[i] < high[i]) || !(x[i] >= low[i] && x[i] <= high[i])) {
            return qx_fail(cx,
                           QX_E_ARG,
                           "parameter %zu: %g is not between %g and %g",
                           i,
                           x[i],
                           low[i],
                           high[i]);
        }
    }
    if (m == 1) {
        status = one_parameter(cx, &p, low[0], high[0], tolerance, x, value);
    } else {
        QX_SCRATCH(cx, status, with_nlopt(cx, &p, m, low, high, tolerance, x, value));
    }
    if (evaluations != NULL) {
        *evaluations = p.evaluations;
    }
    return status;
}
