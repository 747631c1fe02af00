/* The interval of a correlation over its whole range (model/general_hold.h).
 *
 * The profile of a correlation can have more than one valley: a unit's variance takes the
 * place of a correlation, or a field changes from few broad bumps to many small ones. Its range
 * is looked at on a grid, even in Fisher's z = atanh(rho), outwards from the estimate; between
 * grid points whose slopes show a valley its floor is looked for as well. The interval holds
 * all values that the data allow: from the first to the last of them. Where some between are
 * not allowed, that is told. */
#include <math.h>
#include <string.h>

#include "model/general_hold.h"
#include "numeric/dist.h"

/* Grid points on each side of the estimate, in even steps to the bound; fewer, and from fewer
 * starts, where one evaluation takes more than so many multiplications. */
#define POINTS      12
#define POINTS_FEW  6
#define COST_MANY   5e6
#define ALL         (4 * POINTS + 1) /* with the floors of valleys between them */
#define FLOOR_STEPS 3

typedef struct spot {
    double theta[QX_DESCENT_MOST]; /* best of the others */
    double rise, slope;
} spot;

typedef struct scan {
    qx_general_hold *w;
    size_t i;
    bool dear;     /* an evaluation takes long */
    size_t points; /* on each side */
    size_t count;
    spot at[ALL]; /* from low to high */
} scan;

static double value_of(const scan *s, size_t k)
{
    return s->at[k].theta[s->i];
}

static bool allowed(const scan *s, size_t k)
{
    return s->at[k].rise <= s->w->target;
}

/* The profile at a spot from other starts, where it seems not to be allowed: a descent ends in
 * the nearest valley of the others. */
static qx_status look_around(qx_ctx *cx, scan *s, spot *at)
{
    qx_general_hold *w = s->w;
    bool fixed[QX_DESCENT_MOST] = {false};
    qx_descent_end end;
    double theta[QX_DESCENT_MOST];
    if (at->rise <= w->target) {
        return QX_OK;
    }
    fixed[s->i] = true;
    memcpy(theta, w->own->theta, w->g->m * sizeof *theta);
    theta[s->i] = at->theta[s->i];
    QX_TRY(qx_general_search(cx, w->g, &w->room, fixed, theta, &end));
    if (end.converged && end.f - w->own->f < at->rise) {
        double f;
        memcpy(at->theta, theta, w->g->m * sizeof *theta);
        QX_TRY(qx_general_hold_at(cx, w, s->i, at->theta, &f, &at->slope));
        at->rise = end.f - w->own->f;
    }
    return QX_OK;
}

/* The profile at rho, the others from whichever of two starts is the lower. */
static qx_status
look(qx_ctx *cx, scan *s, double rho, const double a[], const double b[], spot *out)
{
    qx_general_hold *w = s->w;
    double f[2] = {INFINITY, INFINITY};
    const double *start[] = {a, b};
    for (size_t k = 0; k < 2; k++) {
        memcpy(out->theta, start[k], w->g->m * sizeof *out->theta);
        out->theta[s->i] = rho;
        QX_TRY(qx_general_value(cx, w->g, out->theta, &w->room));
        f[k] = w->room.f;
    }
    memcpy(out->theta, start[f[1] < f[0]], w->g->m * sizeof *out->theta);
    out->theta[s->i] = rho;
    double best;
    QX_TRY(qx_general_hold_at(cx, w, s->i, out->theta, &best, &out->slope));
    out->theta[s->i] = rho;
    out->rise = isnan(best) ? (double)INFINITY : best - w->own->f;
    return s->dear ? QX_OK : look_around(cx, s, out);
}

/* One side of the grid, outwards from the estimate in the middle. */
static qx_status side(qx_ctx *cx, scan *s, double bound, bool up)
{
    const double *own = s->w->own->theta;
    const double from = atanh(own[s->i]);
    const double whole = atanh(bound) - from;
    size_t k = s->points;
    for (size_t p = 1; p <= s->points; p++) {
        const spot *before = &s->at[k];
        const double share = (double)p / (double)s->points;
        const double rho = p == s->points ? bound : tanh(from + whole * share);
        k = up ? k + 1 : k - 1;
        if (own[s->i] == bound) {
            s->at[k] = *before;
        } else {
            QX_TRY(look(cx, s, rho, before->theta, own, &s->at[k]));
        }
    }
    return QX_OK;
}

/* What is allowed between spots k and k + 1, neither of which is, becomes one between them:
 * their slopes show a valley, whose floor is where the slope is nil. */
static qx_status floor_between(qx_ctx *cx, scan *s, size_t k)
{
    spot a = s->at[k], b = s->at[k + 1];
    for (int step = 0; step < FLOOR_STEPS && a.rise > s->w->target &&
                       b.rise > s->w->target && a.slope < 0.0 && b.slope > 0.0;
         step++) {
        spot one;
        const double share = a.slope / (a.slope - b.slope);
        const double rho = a.theta[s->i] + share * (b.theta[s->i] - a.theta[s->i]);
        QX_TRY(look(cx, s, rho, a.theta, b.theta, &one));
        if (one.rise <= s->w->target) {
            memmove(&s->at[k + 2], &s->at[k + 1], (s->count - k - 1) * sizeof *s->at);
            s->at[k + 1] = one;
            s->count++;
            return QX_OK;
        }
        *(one.slope < 0.0 ? &a : &b) = one;
    }
    return QX_OK;
}

/* Multiplications of one evaluation, roughly. */
static double cost_of(const qx_general *g)
{
    const double p = (double)g->p;
    double sum = 0.0;
    for (size_t k = 0; k < g->sets; k++) {
        const double rows = (double)(g->start[k + 1] - g->start[k]);
        sum += rows * (rows * rows + rows * p + p * p);
    }
    return sum * (double)g->m;
}

static qx_status grid(qx_ctx *cx, scan *s)
{
    const qx_part *part = &s->w->g->parts.part[s->i];
    const size_t m = s->w->g->m;
    s->dear = cost_of(s->w->g) > COST_MANY;
    s->points = s->dear ? POINTS_FEW : POINTS;
    s->count = 2 * s->points + 1;
    memcpy(s->at[s->points].theta, s->w->own->theta, m * sizeof *s->w->own->theta);
    s->at[s->points].rise = s->at[s->points].slope = 0.0;
    QX_TRY(side(cx, s, part->low, false));
    QX_TRY(side(cx, s, part->high, true));
    for (size_t k = 0; k + 1 < s->count && s->count < ALL; k++) {
        QX_TRY(floor_between(cx, s, k));
    }
    return QX_OK;
}

/* The end of what is allowed between spot `in` and its neighbour `out`. */
static qx_status end_between(qx_ctx *cx, scan *s, size_t in, size_t out, double *end)
{
    const double near = value_of(s, in);
    const double far = value_of(s, out);
    const double reach = sqrt(s->w->target) * qx_general_rough_se(s->w, s->i);
    const double half = 0.5 * (far - near);
    const bool own = near == s->w->own->theta[s->i];
    const qx_general_bracket from = {
        .theta = s->at[in].theta,
        .near = near,
        .far = far,
        .first =
            near + (own && reach > 0.0 ? copysign(fmin(reach, fabs(half)), half) : half)};
    return qx_general_crossing(cx, s->w, s->i, &from, end);
}

/* Spot k from the others' best at a neighbour, where it seems not to be allowed. */
static qx_status look_from(qx_ctx *cx, scan *s, size_t neighbour, size_t k)
{
    spot one;
    if (allowed(s, k)) {
        return QX_OK;
    }
    memcpy(one.theta, s->at[neighbour].theta, sizeof one.theta);
    const double rho = value_of(s, k);
    double f;
    one.theta[s->i] = rho;
    QX_TRY(qx_general_hold_at(cx, s->w, s->i, one.theta, &f, &one.slope));
    one.theta[s->i] = rho;
    one.rise = f - s->w->own->f;
    if (one.rise < s->at[k].rise) {
        s->at[k] = one;
    }
    return QX_OK;
}

/* Are there values between the limits that are not allowed? They are looked at from all sides
 * before that is said. */
static qx_status gaps(qx_ctx *cx, scan *s, size_t low, size_t high, qx_correlation *c)
{
    for (size_t k = low + 1; k < high; k++) {
        QX_TRY(look_around(cx, s, &s->at[k]));
        QX_TRY(look_from(cx, s, k - 1, k));
    }
    for (size_t k = high; k-- > low + 1;) {
        QX_TRY(look_from(cx, s, k + 1, k));
        c->broken = c->broken || (!allowed(s, k) && isfinite(s->at[k].rise));
    }
    return QX_OK;
}

static qx_status interval(qx_ctx *cx, scan *s, qx_correlation *c)
{
    size_t low, high;
    QX_TRY(grid(cx, s));
    low = high = s->points; /* the estimate, at whichever place it is now, is between */
    for (size_t k = 0; k < s->count; k++) {
        low = allowed(s, k) && k < low ? k : low;
        high = allowed(s, k) && k > high ? k : high;
    }
    QX_TRY(gaps(cx, s, low, high, c));
    c->lower = value_of(s, low);
    c->upper = value_of(s, high);
    if (low > 0) {
        QX_TRY(end_between(cx, s, low, low - 1, &c->lower));
    }
    return high + 1 < s->count ? end_between(cx, s, high, high + 1, &c->upper) : QX_OK;
}

/* The ratio against nil: of dates alone (see model/general_profile.c). */
static qx_status against_nil(qx_ctx *cx, qx_general_hold *w, size_t i, qx_correlation *c)
{
    const qx_part *part = &w->g->parts.part[i];
    double rise = 0.0;
    if (part->kind != QX_PART_SERIES) {
        return QX_OK;
    }
    if (w->own->theta[i] != 0.0) {
        QX_TRY(qx_general_rise_at(cx, w, i, 0.0, &rise));
    }
    c->lrt = fmax(rise, 0.0);
    c->p = w->own->theta[i] == 0.0
               ? 1.0
               : qx_chisq_p(c->lrt, 1.0, QX_UPPER) * (part->low < 0.0 ? 1.0 : 0.5);
    if (isnan(rise)) {
        c->lrt = c->p = NAN;
    }
    return QX_OK;
}

qx_status
qx_general_correlation(qx_ctx *cx, qx_general_hold *w, size_t i, qx_correlation *c)
{
    scan *s;
    QX_NEW(cx, s, 1);
    s->w = w;
    s->i = i;
    if (isnan(c->estimate)) {
        return QX_OK;
    }
    QX_TRY(against_nil(cx, w, i, c));
    return interval(cx, s, c);
}
