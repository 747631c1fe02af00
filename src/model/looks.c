#include "model/looks.h"

#include <math.h>

#include "numeric/dist.h"
#include "numeric/rng.h"
#include "numeric/root.h"

/* Between two limits the density of what has not stopped is kept at these many points
 * (composite Simpson, even number of steps): twelve digits for limits up to 8. */
#define STEPS        800
#define REACH        8.5 /* limits beyond are never met: P(|z| > 8.5) = 2e-17 */
#define SHARES_APART 1e-9

/* The score process S = z sqrt(t): its density over what goes on after a look. */
typedef struct recursion {
    double share; /* of the last look; 0 before the first */
    double drift; /* expected z at share 1 */
    double half;  /* limit of |S| at the last look */
    double density[STEPS + 1];
    double s[STEPS + 1];
} recursion;

double qx_looks_spent(double share, double alpha)
{
    if (!(share > 0.0)) {
        return 0.0;
    }
    if (share >= 1.0) {
        return alpha;
    }
    const double z = qx_normal_q(alpha / 4.0, QX_UPPER);
    return 4.0 * qx_normal_p(z / sqrt(share), QX_UPPER);
}

static double simpson(size_t i)
{
    return i == 0 || i == STEPS ? 1.0 : i % 2 == 1 ? 4.0 : 2.0;
}

/* Sum over the density of what went on, times a function of the step to `to`. */
static double
over_density(const recursion *r, double share, double to, double (*f)(double, double))
{
    const double sd = sqrt(share - r->share);
    const double mean = r->drift * (share - r->share);
    if (r->share == 0.0) {
        return f((to - mean) / sd, sd);
    }
    double sum = 0.0;
    for (size_t i = 0; i <= STEPS; i++) {
        sum += simpson(i) * r->density[i] * f((to - r->s[i] - mean) / sd, sd);
    }
    return sum * 2.0 * r->half / (3.0 * STEPS);
}

static double step_density(double x, double sd)
{
    return qx_normal_density(x) / sd;
}

static double step_above(double x, double sd)
{
    (void)sd;
    return qx_normal_p(x, QX_UPPER);
}

static double step_below(double x, double sd)
{
    (void)sd;
    return qx_normal_p(x, QX_LOWER);
}

/* Probability of having gone on so far and then |z| >= limit at `share`. */
static double crossing(const recursion *r, double share, double limit)
{
    const double to = limit * sqrt(share);
    return over_density(r, share, to, step_above) +
           over_density(r, share, -to, step_below);
}

static void go_on(recursion *r, double share, double limit)
{
    recursion next = {.share = share, .drift = r->drift};
    const double z = limit < REACH ? limit : REACH + fabs(r->drift);
    next.half = z * sqrt(share);
    for (size_t i = 0; i <= STEPS; i++) {
        next.s[i] = next.half * (2.0 * (double)i / STEPS - 1.0);
        next.density[i] = over_density(r, share, next.s[i], step_density);
    }
    *r = next;
}

static qx_status check(qx_ctx *cx, size_t count, const double share[])
{
    bool fine = count >= 1 && count <= QX_LOOKS_MOST;
    for (size_t k = 0; fine && k < count; k++) {
        fine = share[k] > (k == 0 ? 0.0 : share[k - 1] + SHARES_APART) && share[k] <= 1.0;
    }
    return fine ? QX_OK
                : qx_fail(cx,
                          QX_E_ARG,
                          "looks need one to %d shares of the information, rising and "
                          "inside 0 and 1",
                          QX_LOOKS_MOST);
}

typedef struct spending {
    const recursion *r;
    double share, may;
} spending;

static double too_much(void *data, double limit)
{
    const spending *s = data;
    return crossing(s->r, s->share, limit) - s->may;
}

static qx_status find_limits(qx_ctx *cx,
                             recursion *r,
                             size_t count,
                             const double share[],
                             double alpha,
                             qx_look out[])
{
    double before = 0.0;
    for (size_t k = 0; k < count; k++) {
        const double spent = qx_looks_spent(share[k], alpha);
        spending s = {.r = r, .share = share[k], .may = spent - before};
        out[k] = (qx_look){.share = share[k], .spent = spent, .limit = INFINITY};
        if (s.may > 0.0 && too_much(&s, REACH) < 0.0) {
            QX_TRY(qx_root(cx, too_much, &s, 0.0, REACH, 1e-12, &out[k].limit));
        }
        out[k].nominal =
            isinf(out[k].limit) ? 0.0 : 2.0 * qx_normal_p(out[k].limit, QX_UPPER);
        go_on(r, share[k], out[k].limit);
        before = spent;
    }
    return QX_OK;
}

qx_status qx_looks_limits(
    qx_ctx *cx, size_t count, const double share[], double alpha, qx_look out[])
{
    QX_TRY(check(cx, count, share));
    if (!(alpha > 0.0) || !(alpha < 1.0)) {
        return qx_fail(cx, QX_E_ARG, "a level lies between 0 and 1");
    }
    recursion r = {0};
    qx_look found[QX_LOOKS_MOST];
    QX_TRY(find_limits(cx, &r, count, share, alpha, found));
    for (size_t k = 0; k < count; k++) {
        out[k] = found[k];
    }
    return QX_OK;
}

qx_status qx_looks_power(qx_ctx *cx,
                         size_t count,
                         const double share[],
                         const double nominal[],
                         double drift,
                         double *power)
{
    recursion r = {.drift = drift};
    double sum = 0.0;
    QX_TRY(check(cx, count, share));
    for (size_t k = 0; k < count; k++) {
        if (!(nominal[k] >= 0.0) || !(nominal[k] < 1.0)) {
            return qx_fail(cx, QX_E_ARG, "a level lies between 0 and 1");
        }
        const double limit =
            nominal[k] > 0.0 ? qx_normal_q(nominal[k] / 2.0, QX_UPPER) : (double)INFINITY;
        if (!isinf(limit)) {
            sum += crossing(&r, share[k], limit);
        }
        go_on(&r, share[k], limit);
    }
    *power = sum;
    return QX_OK;
}

qx_status qx_looks_error(
    qx_ctx *cx, size_t count, const double share[], const double nominal[], double *error)
{
    return qx_looks_power(cx, count, share, nominal, 0.0, error);
}

/* Chi-squared by inversion: one uniform each, so that streams stay in step. */
static double draw_chisq(qx_rng *rng, double df)
{
    const double u = qx_rng_uniform(rng);
    return df > 0.0 ? qx_chisq_q(u, df, QX_LOWER) : 0.0;
}

/* Does one trial without any difference call one out at some look? */
static bool calls_out(qx_rng *rng,
                      size_t count,
                      const double share[],
                      const double df[],
                      const double critical[])
{
    double score = 0.0, squares = 0.0, at = 0.0, had = 0.0;
    bool out = false;
    for (size_t k = 0; k < count; k++) {
        score += sqrt(share[k] - at) * qx_rng_normal(rng);
        at = share[k];
        if (isfinite(df[k])) {
            squares += draw_chisq(rng, df[k] - had);
            had = df[k];
        }
        const double scale = isfinite(df[k]) ? sqrt(squares / df[k]) : 1.0;
        out = out || fabs(score) / sqrt(at) >= critical[k] * scale;
    }
    return out;
}

qx_status qx_looks_error_of_t(qx_ctx *cx,
                              size_t count,
                              const double share[],
                              const double df[],
                              const double nominal[],
                              size_t trials,
                              uint64_t seed,
                              double *error)
{
    double critical[QX_LOOKS_MOST];
    size_t called = 0;
    QX_TRY(check(cx, count, share));
    for (size_t k = 0; k < count; k++) {
        if (!(df[k] >= (k == 0 ? 1.0 : df[k - 1])) || !(nominal[k] > 0.0) ||
            !(nominal[k] < 1.0) || trials == 0) {
            return qx_fail(
                cx,
                QX_E_ARG,
                "looks by t tests need degrees of freedom of at least 1 that do "
                "not fall, and levels inside 0 and 1");
        }
        critical[k] = isfinite(df[k]) ? qx_t_q(nominal[k] / 2.0, df[k], QX_UPPER)
                                      : qx_normal_q(nominal[k] / 2.0, QX_UPPER);
    }
    qx_rng rng = qx_rng_seeded(seed);
    for (size_t i = 0; i < trials; i++) {
        called += (size_t)calls_out(&rng, count, share, df, critical);
    }
    *error = (double)called / (double)trials;
    return QX_OK;
}
