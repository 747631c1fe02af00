/* numeric/mvt_sphere.c - any correlation matrix, singular ones too: the distance from the
 * centre exactly, the direction by quasi-Monte Carlo.
 *
 * With R = LL' of rank r and Z = L y, y = rho u with |u| = 1, max |T_j| = (rho / S) M(u),
 * M(u) = max_j |(L u)_j|, and (rho / S)^2 / r has the F distribution with r and df degrees
 * of freedom, whatever the direction (Deak 1980, Naval Res Logist Q 27:207-218; Genz &
 * Bretz 2009, ch. 4):
 *
 *   P(max |T| > x) = E_u P(F(r, df) > x^2 / (r M(u)^2)) .
 *
 * A rank below the number of comparisons needs no care, M depends neither on x nor on df
 * (so that one pass serves a whole family), and small tails keep their relative error.
 *
 * Directions come from Korobov lattices (1, a, a^2, ...) i / N, shifted at random with a
 * fixed seed and, where their ends do not meet, folded by the baker's transformation
 * (Hickernell 2002, in Monte Carlo and Quasi-Monte Carlo Methods 2000, 274-289). In up to
 * four dimensions angles and heights give them; in more r normal vectors are made
 * orthonormal, and all (q_i +- q_j) / sqrt 2 are taken (Deak 1980): many directions that
 * lie evenly for one set of products. The spread over the shifts gives the error. */
#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "numeric/dist.h"
#include "numeric/mvt_inner.h"
#include "numeric/rng.h"

/* Variance (of 1) below which a row follows from those before it: rounding in the
 * correlations of a fit is some 1e-13. */
#define SINGULAR 1e-10

#define SEED UINT64_C(19800207)

/* Up to this rank single directions by lattice beat orthonormal sets (measured on all
 * pairs of 3 to 10 means). */
#define PLAIN_RANK 4

/* Directions in all, over the shifts: some 50 ms for ten comparisons. */
#define DIRECTIONS_MOST 600000

/* 99 % point of t with 7 degrees of freedom, two-sided (printed tables: 3.499). */
#define SPREAD_99 3.5

/* Relative error of the straight lines between the points of the histogram, for x = 1: a
 * twelfth of step^2 (the mean over an even spread within a step) times the tail's second
 * derivative in M, which is at most some x^4 of itself. */
#define HISTOGRAM_ERROR (1.0 / (12.0 * QX_MVT_BINS * QX_MVT_BINS))

typedef struct point_set {
    uint64_t points; /* prime */
    uint64_t a;
} point_set;

/* `a` found by search for the least sum over i of prod_j {1 + g_j 2 pi^2 B_2(x_ij)}, in 20
 * dimensions with g_j = 0.25 x 0.8^j for the first, in three with g_j = 1 for the other:
 * docs/methods/numeric.md. */
static const point_set sets[] = {
    {251, 24}, {503, 33}, {1021, 228}, {2039, 758}, {4093, 450}};
static const point_set plain_set = {16381, 6943};

/* L: pivoted Cholesky factor of R, m x rank; its rows may come in any order. */
static bool take_pivot(qx_mat rest, qx_mat L, size_t c)
{
    size_t best = 0;
    for (size_t i = 1; i < rest.rows; i++) {
        if (QX_AT(rest, i, i) > QX_AT(rest, best, best)) {
            best = i;
        }
    }
    const double variance = QX_AT(rest, best, best);
    if (!(variance > SINGULAR)) {
        return false;
    }
    const double root = sqrt(variance);
    for (size_t i = 0; i < rest.rows; i++) {
        QX_AT(L, i, c) = QX_AT(rest, i, best) / root;
    }
    for (size_t j = 0; j < rest.cols; j++) {
        for (size_t i = 0; i < rest.rows; i++) {
            QX_AT(rest, i, j) -= QX_AT(L, i, c) * QX_AT(L, j, c);
        }
    }
    return true;
}

static qx_status factor(qx_ctx *cx, qx_mat R, qx_mat *L)
{
    qx_mat rest;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), R.rows, R.rows, &rest));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), R.rows, R.rows, L));
    qx_mat_copy(rest, R);
    size_t rank = 0;
    while (rank < R.rows && take_pivot(rest, *L, rank)) {
        rank++;
    }
    /* What is left once no variance is must be nothing at all. */
    for (size_t i = 0; i < R.rows; i++) {
        if (!(fabs(QX_AT(rest, i, i)) <= 1e2 * SINGULAR)) {
            return qx_fail(cx,
                           QX_E_NOT_PD,
                           "the correlations of comparison %zu with the others "
                           "contradict each other",
                           i + 1);
        }
    }
    L->cols = rank;
    return QX_OK;
}

/* What one pass works with. */
typedef struct pass {
    qx_mat L;           /* m x r */
    size_t vectors;     /* normal vectors from one point: 1 or r */
    size_t coordinates; /* of the lattice */
    size_t directions;  /* and the directions made of them */
    point_set set;
    qx_mat q;          /* r x vectors, unit length */
    qx_mat at;         /* L q, m x vectors */
    double *shift, *u; /* coordinates each */
    double *share;     /* histogram of this shift */
} pass;

/* Folding makes [0, 1) a tent, so that its ends meet; kept off 0 and 1. */
static double fold(double u)
{
    const double tent = 1.0 - fabs(2.0 * (u - floor(u)) - 1.0);
    return fmin(fmax(tent, 0x1p-53), 1.0 - 0x1p-53);
}

static void on_circle(double radius, double u, double q[2])
{
    const double angle = 2.0 * 3.14159265358979323846 * u;
    q[0] = radius * cos(angle);
    q[1] = radius * sin(angle);
}

/* A direction in up to four dimensions from one coordinate less: angles need no folding.
 * On the sphere the height is uniform (Archimedes), in four dimensions the squared length
 * of the first two. */
static void direction(size_t r, const double u[], double q[])
{
    if (r == 1) {
        q[0] = 1.0;
    } else if (r == 2) {
        on_circle(1.0, u[0], q);
    } else if (r == 3) {
        q[2] = 2.0 * fold(u[1]) - 1.0;
        on_circle(sqrt((1.0 - q[2]) * (1.0 + q[2])), u[0], q);
    } else {
        const double first = fold(u[2]);
        on_circle(sqrt(first), u[0], q);
        on_circle(sqrt(1.0 - first), u[1], q + 2);
    }
}

/* Gram-Schmidt. Normal vectors are hardly ever near each other's span, and a loss of a few
 * digits would only turn a direction by as much. */
static void make_orthonormal(const pass *p)
{
    const size_t r = p->q.rows;
    for (size_t c = 0; c < p->vectors; c++) {
        double *q = &QX_AT(p->q, 0, c);
        for (size_t e = 0; e < c; e++) {
            const double along = qx_dot(r, q, &QX_AT(p->q, 0, e));
            for (size_t d = 0; d < r; d++) {
                q[d] -= along * QX_AT(p->q, d, e);
            }
        }
        const double length = sqrt(qx_dot(r, q, q));
        for (size_t d = 0; d < r; d++) {
            q[d] /= length;
        }
    }
}

static void draw(const pass *p, uint64_t i)
{
    const size_t r = p->q.rows;
    double *u = p->u;
    uint64_t z = i;
    for (size_t d = 0; d < p->coordinates; d++) {
        u[d] = (double)z / (double)p->set.points + p->shift[d];
        z = z * p->set.a % p->set.points;
    }
    if (p->vectors == 1) {
        direction(r, u, &QX_AT(p->q, 0, 0));
        return;
    }
    for (size_t d = 0; d < p->coordinates; d++) {
        QX_AT(p->q, d % r, d / r) = qx_normal_q(fold(u[d]), QX_LOWER);
    }
    make_orthonormal(p);
}

/* Shares a direction out to the two points of the histogram beside it, so that the mean
 * of any function is that of its straight lines between the points. */
static void count(const pass *p, double largest)
{
    const double place = fmin(largest, 1.0) * QX_MVT_BINS;
    const size_t below = (size_t)fmin(place, QX_MVT_BINS - 1.0);
    const double part = place - (double)below;
    p->share[below] += 1.0 - part;
    p->share[below + 1] += part;
}

static void count_single(const pass *p)
{
    double largest = 0.0;
    for (size_t j = 0; j < p->at.rows; j++) {
        largest = fmax(largest, fabs(QX_AT(p->at, j, 0)));
    }
    count(p, largest);
}

static void count_pair(const pass *p, const double a[], const double b[])
{
    double sum = 0.0;
    double difference = 0.0;
    for (size_t j = 0; j < p->at.rows; j++) {
        const double plus = fabs(a[j] + b[j]);
        const double minus = fabs(a[j] - b[j]);
        sum = plus > sum ? plus : sum;
        difference = minus > difference ? minus : difference;
    }
    count(p, sum * sqrt(0.5));
    count(p, difference * sqrt(0.5));
}

/* By hand: a call of BLAS costs more than a product this small. */
static void apply(const pass *p)
{
    for (size_t c = 0; c < p->vectors; c++) {
        double *at = &QX_AT(p->at, 0, c);
        for (size_t j = 0; j < p->at.rows; j++) {
            at[j] = 0.0;
        }
        for (size_t d = 0; d < p->q.rows; d++) {
            const double q = QX_AT(p->q, d, c);
            for (size_t j = 0; j < p->at.rows; j++) {
                at[j] += q * QX_AT(p->L, j, d);
            }
        }
    }
}

static void one_point(const pass *p, uint64_t i)
{
    draw(p, i);
    apply(p);
    if (p->vectors == 1) {
        count_single(p);
    }
    for (size_t c = 1; c < p->vectors; c++) {
        for (size_t e = 0; e < c; e++) {
            count_pair(p, &QX_AT(p->at, 0, c), &QX_AT(p->at, 0, e));
        }
    }
}

static void one_shift(const pass *p, qx_rng *rng)
{
    for (size_t d = 0; d < p->coordinates; d++) {
        p->shift[d] = qx_rng_uniform(rng);
    }
    for (uint64_t i = 0; i < p->set.points; i++) {
        one_point(p, i);
    }
    const double all = (double)p->set.points * (double)p->directions;
    for (size_t b = 0; b <= QX_MVT_BINS; b++) {
        p->share[b] /= all;
    }
}

static void choose_set(pass *p)
{
    const size_t r = p->L.cols;
    const bool plain = r <= PLAIN_RANK;
    p->vectors = plain ? 1 : r;
    p->coordinates = plain ? r - 1 : r * r;
    p->directions = plain ? 1 : r * (r - 1);
    p->set = plain ? plain_set : sets[0];
    for (size_t i = 1; i < QX_COUNT(sets) && !plain; i++) {
        if (sets[i].points * p->directions * QX_MVT_SHIFTS <= DIRECTIONS_MOST) {
            p->set = sets[i];
        }
    }
}

static qx_status fill(qx_ctx *cx, qx_mat R, qx_mvt_sphere *out)
{
    pass p;
    memset(&p, 0, sizeof p);
    QX_TRY(factor(cx, R, &p.L));
    choose_set(&p);
    const size_t r = p.L.cols;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), r, p.vectors, &p.q));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), R.rows, p.vectors, &p.at));
    QX_NEW(cx, p.shift, p.coordinates);
    QX_NEW(cx, p.u, p.coordinates);
    qx_rng rng = qx_rng_seeded(SEED);
    for (size_t s = 0; s < QX_MVT_SHIFTS; s++) {
        p.share = &QX_AT(out->share, 0, s);
        one_shift(&p, &rng);
    }
    out->rank = r;
    return QX_OK;
}

qx_status qx_mvt_sphere_new(qx_ctx *cx, qx_arena *arena, qx_mat R, qx_mvt_sphere *out)
{
    qx_mvt_sphere sphere = {.rank = 0};
    QX_TRY(qx_mat_new(cx, arena, QX_MVT_BINS + 1, QX_MVT_SHIFTS, &sphere.share));
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, fill(cx, R, &sphere));
    QX_TRY(status);
    *out = sphere;
    return QX_OK;
}

static bool is_empty(const qx_mvt_sphere *k, size_t bin)
{
    for (size_t s = 0; s < QX_MVT_SHIFTS; s++) {
        if (QX_AT(k->share, bin, s) > 0.0) {
            return false;
        }
    }
    return true;
}

double qx_mvt_sphere_tail(const qx_mvt_sphere *sphere, double df, double x, double *error)
{
    const double r = (double)sphere->rank;
    double mean[QX_MVT_SHIFTS] = {0.0};
    for (size_t b = 1; b <= QX_MVT_BINS; b++) {
        if (is_empty(sphere, b)) {
            continue;
        }
        const double y = x * (double)QX_MVT_BINS / (double)b;
        const double tail = qx_f_p(y * y / r, r, df, QX_UPPER);
        for (size_t s = 0; s < QX_MVT_SHIFTS; s++) {
            mean[s] += tail * QX_AT(sphere->share, b, s);
        }
    }
    double all = 0.0;
    for (size_t s = 0; s < QX_MVT_SHIFTS; s++) {
        all += mean[s] / QX_MVT_SHIFTS;
    }
    double squares = 0.0;
    for (size_t s = 0; s < QX_MVT_SHIFTS; s++) {
        squares += (mean[s] - all) * (mean[s] - all);
    }
    if (error != NULL) {
        *error = SPREAD_99 * sqrt(squares / (QX_MVT_SHIFTS * (QX_MVT_SHIFTS - 1.0))) +
                 fmin(1.0, HISTOGRAM_ERROR * x * x * x * x) * all;
    }
    return all;
}
