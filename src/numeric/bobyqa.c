/* numeric/bobyqa.c - NLopt's BOBYQA behind checks; Brent's method for one parameter. */
#include "numeric/bobyqa.h"

#include <math.h>
#include <nlopt.h>

#include "numeric/root.h"

#define EVALUATIONS_MOST 5000

#define PARAMETERS_MOST 1000

typedef struct problem {
    qx_objective *f;
    void *data;
    size_t evaluations;
    double best, worst; /* finite values so far; infinite before the first */
    const double *low, *high;
    double tolerance;
} problem;

/* A bad place counts as clearly worse than all that was seen, but not as a number that
 * would drown the quadratic model: 1e300 leaves it without a digit for the others. */
static double penalty(const problem *p)
{
    if (isinf(p->best)) {
        return 1.0;
    }
    return p->worst + 10.0 * (1.0 + fabs(p->worst) + (p->worst - p->best));
}

static double evaluate(problem *p, size_t m, const double x[])
{
    const double value = p->f(p->data, m, x);
    p->evaluations++;
    if (!isfinite(value)) {
        return penalty(p);
    }
    p->best = isinf(p->best) ? value : fmin(p->best, value);
    p->worst = isinf(p->worst) ? value : fmax(p->worst, value);
    return value;
}

/* NOLINTNEXTLINE(readability-non-const-parameter): the signature is NLopt's. */
static double for_nlopt(unsigned m, const double *x, double *gradient, void *data)
{
    (void)gradient; /* BOBYQA asks for none */
    return evaluate(data, m, x);
}

static double for_brent(void *data, double x)
{
    return evaluate(data, 1, &x);
}

/* Brent's minimum, or the start or an end of the interval if that is lower. */
static qx_status one_parameter(qx_ctx *cx, problem *p, double x[], double *value)
{
    double place[4] = {p->low[0], p->high[0], x[0], x[0]};
    QX_TRY(qx_minimum(cx, for_brent, p, p->low[0], p->high[0], p->tolerance, &place[3]));
    double least = (double)INFINITY;
    for (size_t i = 0; i < QX_COUNT(place); i++) {
        const double f = evaluate(p, 1, &place[i]);
        if (f < least) {
            least = f;
            x[0] = place[i];
        }
    }
    *value = least;
    return QX_OK;
}

static void destroy(void *opt)
{
    nlopt_destroy(opt);
}

static qx_status with_nlopt(qx_ctx *cx, problem *p, size_t m, double x[], double *value)
{
    nlopt_opt opt = nlopt_create(NLOPT_LN_BOBYQA, (unsigned)m);
    if (opt == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the optimiser");
    }
    if (qx_arena_defer(qx_ctx_scratch(cx), destroy, opt) != QX_OK) {
        nlopt_destroy(opt);
        return qx_fail(cx, QX_E_NOMEM, "no memory for the optimiser");
    }
    (void)nlopt_set_min_objective(opt, for_nlopt, p);
    (void)nlopt_set_lower_bounds(opt, p->low);
    (void)nlopt_set_upper_bounds(opt, p->high);
    (void)nlopt_set_xtol_rel(opt, p->tolerance);
    (void)nlopt_set_ftol_rel(opt, p->tolerance * p->tolerance);
    (void)nlopt_set_maxeval(opt, EVALUATIONS_MOST);
    const nlopt_result result = nlopt_optimize(opt, x, value);
    if (result == NLOPT_OUT_OF_MEMORY) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the optimiser");
    }
    /* Limited by rounding: the best place so far is as good as it gets. */
    if (result < 0 && result != NLOPT_ROUNDOFF_LIMITED) {
        return qx_fail(
            cx, QX_E_NUMERIC, "the optimiser failed with code %d", (int)result);
    }
    return QX_OK;
}

static qx_status minimise(qx_ctx *cx, problem *p, size_t m, double x[], double *value)
{
    qx_status status = QX_OK;
    if (m == 1) {
        status = one_parameter(cx, p, x, value);
    } else {
        QX_SCRATCH(cx, status, with_nlopt(cx, p, m, x, value));
    }
    QX_TRY(status);
    if (isinf(p->best)) {
        return qx_fail(
            cx, QX_E_NUMERIC, "the function to be minimised is nowhere finite");
    }
    return QX_OK;
}

static qx_status check(qx_ctx *cx, const problem *p, size_t m, const double x[])
{
    if (m == 0 || m > PARAMETERS_MOST) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "%zu parameters to optimise; expected 1 to %d",
                       m,
                       PARAMETERS_MOST);
    }
    for (size_t i = 0; i < m; i++) {
        if (!(p->low[i] < p->high[i]) || !(x[i] >= p->low[i] && x[i] <= p->high[i])) {
            return qx_fail(cx,
                           QX_E_ARG,
                           "parameter %zu: %g is not between %g and %g",
                           i + 1,
                           x[i],
                           p->low[i],
                           p->high[i]);
        }
    }
    if (!(p->tolerance >= 0.0)) {
        return qx_fail(cx, QX_E_ARG, "a tolerance of %g is below 0", p->tolerance);
    }
    return QX_OK;
}

/* NOLINTNEXTLINE(readability-function-size): a problem and its answer have ten parts. */
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
    problem p = {.f = f,
                 .data = data,
                 .best = (double)INFINITY,
                 .worst = (double)INFINITY,
                 .low = low,
                 .high = high,
                 .tolerance = tolerance};
    QX_TRY(check(cx, &p, m, x));
    const qx_status status = minimise(cx, &p, m, x, value);
    if (evaluations != NULL) {
        *evaluations = p.evaluations;
    }
    return status;
}
