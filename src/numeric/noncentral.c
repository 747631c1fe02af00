/* numeric/noncentral.c - non-central t, F and chi-square.
 *
 *   t:           P(T > x) = E P(N(0,1) > x S - ncp),  S = sqrt(chi^2(df) / df)
 *   chi-square:  P(X > x) = sum_j Poisson(j; ncp/2) P(chi^2(df + 2j) > x)
 *   F:           the same with beta: y = df1 x / (df1 x + df2),
 *                P = sum_j Poisson(j; ncp/2) P(Beta(df1/2 + j, df2/2) > y)
 *
 * (Johnson, Kotz & Balakrishnan 1995, Continuous Univariate Distributions 2, ch. 29-31.)
 * All terms are positive in either tail, so each is accurate in itself. librmath's own are
 * not used: they form upper tails as differences from 1, and print where that fails. */
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

#include "numeric/dist.h"
#include "numeric/scale_mean.h"

/* Limits that keep the sums short: standard deviations of what is summed, in terms. */
#define NCP_T_MOST       1000.0
#define NCP_SQUARES_MOST 1e6
#define DF_T_LEAST       0.1

/* A term below this share of the sum, and no larger than the one before, ends it. */
#define NEGLIGIBLE 1e-18

/* Step over log s: the normal probability grows along the imaginary axis as the density of
 * S does (scale_mean.c), as exp(ncp^2 y^2 / 2): its error is exp(-2 pi^2 / (step^2 (ncp^2 +
 * 2 df))), some exp(-79). */
#define STEP      0.5
#define STEP_MOST 0.1

typedef struct student {
    double x, ncp;
    qx_tail tail;
} student;

static double student_of_scale(void *data, double s)
{
    const student *t = data;
    return qx_normal_p(t->x * s - t->ncp, t->tail);
}

double qx_nc_t_p(double x, double df, double ncp, qx_tail tail)
{
    if (isnan(x) || !(df >= DF_T_LEAST) || !(fabs(ncp) <= NCP_T_MOST)) {
        return (double)NAN;
    }
    if (isinf(x)) {
        return (x > 0.0) == (tail == QX_LOWER) ? 1.0 : 0.0;
    }
    student t = {.x = x, .ncp = ncp, .tail = tail};
    const double detail = fmin(STEP_MOST, STEP / sqrt(ncp * ncp + 2.0 * df));
    return fmin(1.0, qx_scale_mean(student_of_scale, &t, df, detail));
}

/* A mixture over a Poisson number j: of chi-squares when df2 is infinite, else of betas. */
typedef struct mixture {
    double half_ncp;
    double x, df1, df2;
    qx_tail tail;
} mixture;

static double part(const mixture *m, double j)
{
    if (isinf(m->df2)) {
        return qx_chisq_p(m->x, m->df1 + 2.0 * j, m->tail);
    }
    /* The smaller of y and 1 - y keeps its digits. */
    const double a = 0.5 * m->df1 + j;
    const double b = 0.5 * m->df2;
    const double ratio = m->df1 * m->x / m->df2;
    if (ratio > 1.0) {
        const qx_tail other = m->tail == QX_LOWER ? QX_UPPER : QX_LOWER;
        return qx_beta_p(1.0 / (1.0 + ratio), b, a, other);
    }
    return qx_beta_p(ratio / (1.0 + ratio), a, b, m->tail);
}

static void go(const mixture *m, double from, double by, double *sum)
{
    double before = 0.0;
    for (size_t i = 0; from + (double)i * by >= 0.0; i++) {
        const double j = from + (double)i * by;
        const double weight = qx_poisson_density(j, m->half_ncp);
        const double term = weight * part(m, j);
        *sum += term;
        if (!(weight > 0.0) || isnan(term)) {
            return;
        }
        if (term < NEGLIGIBLE * *sum && term <= before) {
            return;
        }
        before = term;
    }
}

/* Walks both ways from the most likely number. */
static double mixed(const mixture *m)
{
    const double mode = floor(m->half_ncp);
    double sum = 0.0;
    go(m, mode, -1.0, &sum);
    go(m, mode + 1.0, 1.0, &sum);
    return fmin(1.0, sum);
}

static bool allowed(double x, double df1, double ncp)
{
    return !isnan(x) && df1 > 0.0 && !isinf(df1) && ncp >= 0.0 && ncp <= NCP_SQUARES_MOST;
}

double qx_nc_f_p(double x, double df1, double df2, double ncp, qx_tail tail)
{
    if (!allowed(x, df1, ncp) || !(df2 > 0.0)) {
        return (double)NAN;
    }
    if (x <= 0.0 || isinf(x)) {
        return (x > 0.0) == (tail == QX_LOWER) ? 1.0 : 0.0;
    }
    const mixture m = {.half_ncp = 0.5 * ncp,
                       .x = isinf(df2) ? x * df1 : x,
                       .df1 = df1,
                       .df2 = df2,
                       .tail = tail};
    return mixed(&m);
}

double qx_nc_chisq_p(double x, double df, double ncp, qx_tail tail)
{
    return qx_nc_f_p(x / df, df, (double)INFINITY, ncp, tail);
}
