/* numeric/scale_mean.c - the trapezoidal sum over log s, walked outwards from s = 1. */
#include "numeric/scale_mean.h"

#include <math.h>
#include <stddef.h>

#include "numeric/dist.h"

/* Step in standard deviations of u, which are about 1/sqrt(2 df). Along the imaginary
 * axis the density grows as exp(df y^2), so a step h errs by exp(-pi^2 / (h^2 df)): with
 * h = 0.45/sqrt(df) by exp(-48). */
#define STEP 0.45

/* A term below this share of the sum, and no larger than the one before, ends the walk. */
#define NEGLIGIBLE 1e-18

typedef struct walk {
    qx_of_scale *f;
    void *data;
    double df;
    double top; /* density of u at 0, its highest */
    double step;
    double sum;
} walk;

static double density(const walk *w, double u)
{
    return w->top * exp(w->df * (u - 0.5 * expm1(2.0 * u)));
}

/* Adds the terms at from, from + by, ...: as long as they count or grow. */
static void go(walk *w, double from, double by)
{
    double before = 0.0;
    for (size_t i = 0;; i++) {
        const double u = from + (double)i * by;
        const double weight = density(w, u);
        const double term = weight * w->f(w->data, exp(u));
        w->sum += term;
        if (!(weight > 0.0) || isnan(term)) {
            return;
        }
        if (term < NEGLIGIBLE * w->sum && term <= before) {
            return;
        }
        before = term;
    }
}

double qx_scale_mean(qx_of_scale *f, void *data, double df, double detail)
{
    if (isinf(df)) {
        return f(data, 1.0);
    }
    walk w = {.f = f, .data = data, .df = df};
    w.top = 2.0 * df * qx_chisq_density(df, df);
    w.step = fmin(STEP / sqrt(df), detail);
    go(&w, 0.0, -w.step);
    go(&w, w.step, w.step);
    return w.sum * w.step;
}
