/* numeric/range_table.c - the table of one k, and its interpolation. */
#include "numeric/range_table.h"

#include <math.h>
#include <stdbool.h>

#include "numeric/brent.h"
#include "numeric/dist.h"
#include "numeric/scale_mean.h"

/* The tail is below 1e-30 beyond this w for up to QX_RANGE_TABLE_MOST means. */
#define W_MOST 18.0

/* Half-width of the sum over z: phi falls to 1e-17 of its top. */
#define REACH 8.75

/* Neighbours of the interpolation: 2 x QX_RANGE_TABLE_MARGIN. */
#define NEIGHBOURS 16
#define HALF       8 /* on each side */

/* Sums run in this many lanes side by side. */
#define LANES 4

/* Below this w the tail itself is interpolated. */
#define NEAR 2.5

/* The largest of many means is spread less, as in numeric/range.c; somewhat finer than
 * there, since values between the nodes are interpolated. */
static double grid_step(size_t k)
{
    return 0.24 / (1.0 + 0.2 * log(0.5 * (double)k));
}

/* Phi and phi on z = -half h ... +half h. */
typedef struct grid {
    double step;
    size_t half;
    double *below;   /* Phi(z) */
    double *density; /* phi(z) */
} grid;

static qx_status make_grid(qx_ctx *cx, size_t k, grid *out)
{
    out->step = grid_step(k);
    out->half = (size_t)ceil((0.5 * W_MOST + REACH + W_MOST) / out->step);
    QX_NEW(cx, out->below, 2 * out->half + 1);
    QX_NEW(cx, out->density, 2 * out->half + 1);
    for (size_t i = 0; i <= out->half; i++) {
        const double z = -out->step * (double)i;
        const double below = qx_normal_p(z, QX_LOWER);
        const double density = qx_normal_density(z);
        out->below[out->half - i] = below;
        out->below[out->half + i] = 1.0 - below;
        out->density[out->half - i] = out->density[out->half + i] = density;
    }
    return QX_OK;
}

/* Differences of powers of LANES pairs, side by side. */
typedef struct powers {
    double a[LANES], b[LANES], d[LANES]; /* d = a - b, small */
    double of_a[LANES], of_b[LANES], difference[LANES];
} powers;

/* a^m - b^m along the binary digits of m: every term is positive, so that nothing cancels. */
static void raise_both(powers *p, size_t m)
{
    size_t digit = 1;
    while (digit <= m / 2) {
        digit *= 2;
    }
    for (size_t l = 0; l < LANES; l++) {
        p->of_a[l] = p->a[l];
        p->of_b[l] = p->b[l];
        p->difference[l] = p->d[l];
    }
    for (digit /= 2; digit > 0; digit /= 2) {
        for (size_t l = 0; l < LANES; l++) {
            p->difference[l] *= p->of_a[l] + p->of_b[l];
            p->of_a[l] *= p->of_a[l];
            p->of_b[l] *= p->of_b[l];
        }
        for (size_t l = 0; (m & digit) != 0 && l < LANES; l++) {
            p->difference[l] = p->a[l] * p->difference[l] + p->d[l] * p->of_b[l];
            p->of_a[l] *= p->a[l];
            p->of_b[l] *= p->b[l];
        }
    }
}

/* P(range > steps h). */
static double tail_at(const grid *g, size_t k, size_t steps)
{
    const double centre = 0.5 * (double)steps;
    const double reach = REACH / g->step;
    const size_t from = (size_t)((double)g->half + fmax(centre - reach, -reach));
    const size_t to = (size_t)((double)g->half + centre + reach);
    double sum[LANES] = {0.0};
    for (size_t i = from; i <= to; i += LANES) {
        powers p;
        double density[LANES];
        for (size_t l = 0; l < LANES; l++) {
            const bool inside = i + l <= to;
            density[l] = inside ? g->density[i + l] : 0.0;
            p.a[l] = inside ? g->below[i + l] : 0.0;
            p.d[l] = inside ? g->below[i + l - steps] : 0.0;
            p.b[l] = p.a[l] - p.d[l];
        }
        raise_both(&p, k - 1);
        for (size_t l = 0; l < LANES; l++) {
            sum[l] += density[l] * p.difference[l];
        }
    }
    return (double)k * g->step * ((sum[0] + sum[1]) + (sum[2] + sum[3]));
}

/* Degrees of freedom that differ by rounding only are the same question. */
#define SAME_DF 1e-13

/* Rules and quantiles kept: those of the degrees of freedom asked last. */
#define RULES     3
#define QUANTILES 8

typedef struct quantile {
    double p, df, q;
} quantile;

typedef struct qx_range_asked {
    size_t rules, quantiles; /* made so far; the oldest makes room */
    qx_scale_rule rule[RULES];
    quantile quantile[QUANTILES];
} qx_range_asked;

static bool same_df(double a, double b)
{
    return a == b || fabs(a - b) <= SAME_DF * fmin(a, b);
}

/* The rule of df, kept or empty. */
static qx_scale_rule *rule_of(qx_range_asked *asked, double df)
{
    for (size_t i = 0; i < asked->rules && i < RULES; i++) {
        if (same_df(df, asked->rule[i].df)) {
            return &asked->rule[i];
        }
    }
    qx_scale_rule *rule = &asked->rule[asked->rules++ % RULES];
    *rule = (qx_scale_rule){.df = df};
    return rule;
}

static qx_status
fill(qx_ctx *cx, size_t k, size_t count, double tail[], double log_tail[])
{
    grid g;
    QX_TRY(make_grid(cx, k, &g));
    for (size_t i = QX_RANGE_TABLE_MARGIN; i < count; i++) {
        tail[i] = tail_at(&g, k, i - QX_RANGE_TABLE_MARGIN);
        log_tail[i] = log(tail[i]);
    }
    /* W(w) = 1 - tail goes on below 0 as an even or odd function, W(-w) = (-1)^(k-1) W(w):
     * the interpolation is then central everywhere. */
    for (size_t i = 1; i <= QX_RANGE_TABLE_MARGIN; i++) {
        const double inside = 1.0 - tail[QX_RANGE_TABLE_MARGIN + i];
        tail[QX_RANGE_TABLE_MARGIN - i] = 1.0 + (k % 2 == 0 ? inside : -inside);
        log_tail[QX_RANGE_TABLE_MARGIN - i] = log(tail[QX_RANGE_TABLE_MARGIN - i]);
    }
    return QX_OK;
}

qx_status qx_range_table_make(qx_ctx *cx, qx_arena *arena, size_t k, qx_range_table *out)
{
    qx_status status;
    double *tail, *log_tail;
    qx_range_asked *asked;
    if (k < 2 || k > QX_RANGE_TABLE_MOST) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "the range of %zu means; expected 2 to %d",
                       k,
                       QX_RANGE_TABLE_MOST);
    }
    const double step = grid_step(k);
    const size_t count = (size_t)ceil(W_MOST / step) + 2 * (size_t)QX_RANGE_TABLE_MARGIN;
    QX_NEW_IN(cx, arena, tail, count);
    QX_NEW_IN(cx, arena, log_tail, count);
    QX_NEW_IN(cx, arena, asked, 1);
    QX_SCRATCH(cx, status, fill(cx, k, count, tail, log_tail));
    *out = (qx_range_table){.k = k,
                            .step = step,
                            .count = count,
                            .tail = tail,
                            .log_tail = log_tail,
                            .asked = asked};
    return status;
}

qx_status
qx_range_tables_get(qx_ctx *cx, qx_range_tables *tables, size_t k, qx_range_table *out)
{
    for (size_t i = 0; i < tables->count && i < QX_RANGE_TABLES_KEPT; i++) {
        if (tables->table[i].k == k) {
            *out = tables->table[i];
            return QX_OK;
        }
    }
    QX_TRY(qx_range_table_make(cx, tables->arena, k, out));
    tables->table[tables->count++ % QX_RANGE_TABLES_KEPT] = *out;
    return QX_OK;
}

/* Polynomial through the NEIGHBOURS values around place `at` of a grid, in barycentric form
 * (Berrut & Trefethen 2004, SIAM Review 46:501-517). The weights of equal steps are
 * binomials of changing sign, w[i] = -w[15 - i]: each node shares one division with its
 * mirror image, since n/a - m/b = (n b - m a) / (a b). */
static double interpolate(const double nodes[], double at)
{
    static const double weight[HALF] = {
        -1.0, 15.0, -105.0, 455.0, -1365.0, 3003.0, -5005.0, 6435.0};
    const double whole = floor(at);
    const double past = at - whole;
    if (past == 0.0) {
        return nodes[(size_t)whole];
    }
    const double *left = nodes + (size_t)whole + 1 - (size_t)HALF;
    const double *right = left + NEIGHBOURS - 1;
    double above[LANES] = {0.0}, below[LANES] = {0.0};
    for (int i = 0; i < HALF; i += LANES) {
        for (int l = 0; l < LANES; l++) {
            const double a = past + (HALF - 1.0 - (double)(i + l));
            const double b = past - (HALF - (double)(i + l));
            const double share = weight[i + l] / (a * b);
            above[l] += share * (left[i + l] * b - right[-i - l] * a);
            below[l] -= share * (double)(NEIGHBOURS - 1 - 2 * (i + l));
        }
    }
    return ((above[0] + above[1]) + (above[2] + above[3])) /
           ((below[0] + below[1]) + (below[2] + below[3]));
}

typedef struct question {
    const qx_range_table *table;
    double q, df;
    double log_want;
} question;

static double tail_of_scale(void *data, double s)
{
    const question *x = data;
    const double w = x->q * s;
    const double at = w / x->table->step + QX_RANGE_TABLE_MARGIN;
    if (at >= (double)(x->table->count - QX_RANGE_TABLE_MARGIN)) {
        return 0.0;
    }
    return fmin(1.0,
                w < NEAR ? interpolate(x->table->tail, at)
                         : exp(interpolate(x->table->log_tail, at)));
}

static double tail(const question *x)
{
    /* As in numeric/range.c: detail of the integrand in log s. */
    const double detail = fmin(0.11, 0.25 / (1.0 + log(0.5 * (double)x->table->k)));
    qx_scale_rule *rule = rule_of(x->table->asked, x->df);
    question copy = *x;
    return fmin(1.0, qx_scale_mean_by(rule, tail_of_scale, &copy, rule->df, detail));
}

double qx_range_table_p(const qx_range_table *table, double q, double df)
{
    if (isnan(q) || !(df >= 1.0)) {
        return (double)NAN;
    }
    if (q <= 0.0 || isinf(q)) {
        return q <= 0.0 ? 1.0 : 0.0;
    }
    const question x = {.table = table, .q = q, .df = df};
    return tail(&x);
}

static double excess(void *data, double q)
{
    question *x = data;
    x->q = q;
    return log(tail(x)) - x->log_want;
}

static double find_quantile(const qx_range_table *table, double p, double df)
{
    question x = {.table = table, .df = df, .log_want = log(p)};
    /* Sidak's bound for all pairs is at or above; the t of one pair at or below. */
    const double pairs = 0.5 * (double)table->k * (double)(table->k - 1);
    double high =
        sqrt(2.0) * qx_t_q(-expm1(log1p(-p) / pairs) / 2.0, df, QX_UPPER) * (1.0 + 1e-9);
    double low = sqrt(2.0) * qx_t_q(0.5 * p, df, QX_UPPER) * (1.0 - 1e-9);
    double q = (double)NAN;
    while (excess(&x, low) < 0.0) {
        low *= 0.9;
    }
    while (excess(&x, high) > 0.0) {
        high *= 1.1;
    }
    (void)qx_brent_root(excess, &x, low, high, 1e-12 * high, &q);
    return q;
}

double qx_range_table_q(const qx_range_table *table, double p, double df)
{
    if (!(p > 0.0 && p < 1.0) || !(df >= 1.0)) {
        return (double)NAN;
    }
    qx_range_asked *asked = table->asked;
    for (size_t i = 0; i < asked->quantiles && i < QUANTILES; i++) {
        if (asked->quantile[i].p == p && same_df(df, asked->quantile[i].df)) {
            return asked->quantile[i].q;
        }
    }
    const double q = find_quantile(table, p, df);
    asked->quantile[asked->quantiles++ % QUANTILES] =
        (quantile){.p = p, .df = df, .q = q};
    return q;
}
