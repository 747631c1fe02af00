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
    qx_scale_rule *rule; /* NULL: nothing is kept */
} walk;

static double density(const walk *w, double u)
{
    return w->top * exp(w->df * (u - 0.5 * expm1(2.0 * u)));
}

/* Node i of one side: its s and weight, kept or computed. */
static void node(const walk *w, int side, size_t i, double *s, double *weight)
{
    qx_scale_rule *rule = w->rule;
    if (rule != NULL && i < rule->count[side]) {
        *s = rule->s[side][i];
        *weight = rule->weight[side][i];
        return;
    }
    const double u = side == 0 ? -(double)i * w->step : w->step + (double)i * w->step;
    *s = exp(u);
    *weight = density(w, u);
    if (rule != NULL && i < QX_SCALE_NODES) {
        rule->s[side][i] = *s;
        rule->weight[side][i] = *weight;
        rule->count[side] = i + 1;
    }
}

/* Adds the terms of one side outwards: as long as they count or grow. */
static void go(walk *w, int side)
{
    double before = 0.0;
    for (size_t i = 0;; i++) {
        double s, weight;
        node(w, side, i, &s, &weight);
        const double term = weight * w->f(w->data, s);
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

double qx_scale_mean_by(
    qx_scale_rule *rule, qx_of_scale *f, void *data, double df, double detail)
{
    if (isinf(df)) {
        return f(data, 1.0);
    }
    walk w = {.f = f, .data = data, .df = df, .rule = rule};
    if (rule != NULL && rule->df == df && rule->detail == detail) {
        w.top = rule->top;
    } else {
        w.top = 2.0 * df * qx_chisq_density(df, df);
    }
    if (rule != NULL && (rule->df != df || rule->detail != detail)) {
        rule->df = df;
        rule->detail = detail;
        rule->top = w.top;
        rule->count[0] = rule->count[1] = 0;
    }
    w.step = fmin(STEP / sqrt(df), detail);
    go(&w, 0);
    go(&w, 1);
    return w.sum * w.step;
}

double qx_scale_mean(qx_of_scale *f, void *data, double df, double detail)
{
    return qx_scale_mean_by(NULL, f, data, df, detail);
}
