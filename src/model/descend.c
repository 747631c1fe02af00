#include "model/descend.h"

#include <math.h>
#include <string.h>

#define ITERATIONS_MOST 200
#define HALVINGS_MOST   60
#define POLISH_MOST     4

/* A Newton step that promises less than this of f is taken without asking f, whose own
 * rounding is about 1e-13 of some hundreds. */
static const double POLISH_BELOW = 1e-8;
/* The same for an f that is large (very many rows), by its own size. */
static const double POLISH_SHARE = 1e-13;
/* Relative length of a step that is rounding. */
static const double STANDSTILL = 1e-13;
/* A pivot below this share of its diagonal: not positive definite. */
static const double PIVOT_LEAST = 1e-11;
static const double ARMIJO = 1e-4;

typedef struct state {
    const qx_descent *problem;
    const bool *fixed;
    size_t m;
    double f;
    double x[QX_DESCENT_MOST];
    double g[QX_DESCENT_MOST], d[QX_DESCENT_MOST], trial[QX_DESCENT_MOST];
    size_t free[QX_DESCENT_MOST]; /* parameters that may move */
    size_t free_count;
    qx_mat hessian, expected;
} state;

/* Solves the k x k system whose matrix is that of `model` over `at`, by Cholesky; false if
 * it is not positive definite. */
static bool solve_small(qx_mat model, size_t k, const size_t at[], double rhs[])
{
    double l[QX_DESCENT_MOST][QX_DESCENT_MOST];
    for (size_t j = 0; j < k; j++) {
        for (size_t i = j; i < k; i++) {
            double sum = QX_AT(model, at[i], at[j]);
            for (size_t c = 0; c < j; c++) {
                sum -= l[i][c] * l[j][c];
            }
            if (i > j) {
                l[i][j] = sum / l[j][j];
            } else if (sum > PIVOT_LEAST * fabs(QX_AT(model, at[j], at[j]))) {
                l[j][j] = sqrt(sum);
            } else {
                return false;
            }
        }
    }
    for (size_t i = 0; i < k; i++) {
        for (size_t c = 0; c < i; c++) {
            rhs[i] -= l[i][c] * rhs[c];
        }
        rhs[i] /= l[i][i];
    }
    for (size_t i = k; i-- > 0;) {
        for (size_t c = i + 1; c < k; c++) {
            rhs[i] -= l[c][i] * rhs[c];
        }
        rhs[i] /= l[i][i];
    }
    return true;
}

static void list_free(state *s)
{
    s->free_count = 0;
    for (size_t i = 0; i < s->m; i++) {
        const bool held = s->fixed != NULL && s->fixed[i];
        if (!held && (s->problem->open || !(s->x[i] == 0.0 && s->g[i] >= 0.0))) {
            s->free[s->free_count++] = i;
        }
    }
}

/* Moves parameters that the step would make negative from `open` to zero; true if any. */
static bool force_bounds(state *s, size_t open[], size_t *open_count, const double step[])
{
    bool any = false;
    size_t k = 0;
    for (size_t a = 0; a < *open_count; a++) {
        const size_t i = open[a];
        s->d[i] = step[a];
        if (!s->problem->open && s->x[i] + step[a] < 0.0) {
            s->d[i] = -s->x[i];
            any = true;
        } else {
            open[k++] = i;
        }
    }
    *open_count = k;
    return any;
}

/* The step d for the quadratic model, kept inside the bounds. */
static bool direction(state *s, qx_mat model)
{
    size_t open[QX_DESCENT_MOST];
    double rhs[QX_DESCENT_MOST];
    size_t count = s->free_count;
    memset(s->d, 0, sizeof s->d);
    memcpy(open, s->free, sizeof open);
    for (bool again = true; again && count > 0;) {
        for (size_t a = 0; a < count; a++) {
            s->d[open[a]] = 0.0;
        }
        for (size_t a = 0; a < count; a++) {
            rhs[a] = -s->g[open[a]];
            for (size_t j = 0; j < s->m; j++) {
                rhs[a] -= QX_AT(model, open[a], j) * s->d[j];
            }
        }
        if (!solve_small(model, count, open, rhs)) {
            return false;
        }
        again = force_bounds(s, open, &count, rhs);
    }
    return true;
}

/* Last resort: each parameter by its own expected curvature. */
static void diagonal_direction(state *s)
{
    memset(s->d, 0, sizeof s->d);
    for (size_t a = 0; a < s->free_count; a++) {
        const size_t i = s->free[a];
        const double curvature = fmax(QX_AT(s->expected, i, i), 1e-300);
        const double step = -s->g[i] / curvature;
        s->d[i] = s->problem->open ? step : fmax(step, -s->x[i]);
    }
}

/* What f can show. */
static double least_gain(const state *s)
{
    return fmax(POLISH_BELOW, POLISH_SHARE * fabs(s->f));
}

static double promise(const state *s)
{
    double sum = 0.0;
    for (size_t i = 0; i < s->m; i++) {
        sum -= s->g[i] * s->d[i];
    }
    return sum;
}

/* x + t d; exactly zero where the full step ends there. */
static void move(state *s, double t, double to[])
{
    for (size_t i = 0; i < s->m; i++) {
        to[i] = s->x[i] + t * s->d[i];
        if ((to[i] < 0.0 && !s->problem->open) || (t == 1.0 && s->d[i] == -s->x[i])) {
            to[i] = 0.0;
        }
    }
}

/* Full step near the optimum; true when it was rounding alone. */
static bool polish(state *s)
{
    double longest = 0.0;
    move(s, 1.0, s->trial);
    for (size_t i = 0; i < s->m; i++) {
        if (s->trial[i] != s->x[i]) {
            longest =
                fmax(longest, fabs(s->d[i]) / fmax(fabs(s->trial[i]), fabs(s->x[i])));
        }
        s->x[i] = s->trial[i];
    }
    return longest < STANDSTILL;
}

static qx_status derive_at(qx_ctx *cx, state *s, const double x[], double *f)
{
    return s->problem->derive(cx, s->problem->data, x, f, s->g, s->hessian, s->expected);
}

/* Is f at the trial, t of the way, low enough? Then the trial is taken. */
static bool accept(state *s, double f, double t, double gain)
{
    if (!(f <= s->f - ARMIJO * t * gain)) {
        return false;
    }
    memcpy(s->x, s->trial, s->m * sizeof *s->x);
    s->f = f;
    return true;
}

/* The whole step, with derivatives since it mostly holds; else by halves. Derivatives are
 * those of x afterwards if `found`. */
static qx_status search(qx_ctx *cx, state *s, double gain, bool *found)
{
    double t = 1.0;
    double f;
    move(s, t, s->trial);
    QX_TRY(derive_at(cx, s, s->trial, &f));
    *found = accept(s, f, t, gain);
    if (*found) {
        return QX_OK;
    }
    for (int k = 0; k < HALVINGS_MOST && !*found; k++) {
        t *= 0.5;
        move(s, t, s->trial);
        QX_TRY(s->problem->value(cx, s->problem->data, s->trial, &f));
        *found = accept(s, f, t, gain);
    }
    return *found ? derive_at(cx, s, s->x, &s->f) : QX_OK;
}

static bool choose_direction(state *s, double *gain)
{
    const bool newton = direction(s, s->hessian);
    if (!newton && !direction(s, s->expected)) {
        diagonal_direction(s);
    }
    *gain = promise(s);
    if (*gain > 0.0 || newton) {
        return newton;
    }
    diagonal_direction(s);
    *gain = promise(s);
    return false;
}

/* The last step of a loose descent: f and gradient there by their expansions. */
static void finish_loose(state *s, double gain)
{
    s->f -= 0.5 * gain;
    for (size_t i = 0; i < s->m; i++) {
        for (size_t j = 0; j < s->m; j++) {
            s->g[i] += QX_AT(s->hessian, i, j) * s->d[j];
        }
    }
    (void)polish(s);
}

/* One step from derivatives at x; more: whether to go on. */
static qx_status
step(qx_ctx *cx, state *s, int *polished, qx_descent_end *out, bool *more)
{
    double gain;
    bool found;
    *more = false;
    list_free(s);
    if (s->free_count == 0) {
        out->converged = true;
        return QX_OK;
    }
    const bool newton = choose_direction(s, &gain);
    if (newton && gain < least_gain(s)) {
        if (s->problem->loose) {
            finish_loose(s, gain);
            out->converged = true;
            return QX_OK;
        }
        out->converged = polish(s) || ++*polished == POLISH_MOST;
        *more = !out->converged;
        return *more ? derive_at(cx, s, s->x, &s->f) : QX_OK;
    }
    QX_TRY(search(cx, s, gain, &found));
    out->converged = !found && gain < least_gain(s);
    *more = found;
    return QX_OK;
}

static qx_status iterate(qx_ctx *cx, state *s, qx_descent_end *out)
{
    int polished = 0;
    bool more = true;
    QX_TRY(derive_at(cx, s, s->x, &s->f));
    while (more && out->iterations < ITERATIONS_MOST) {
        if (qx_ctx_cancelled(cx)) {
            return qx_fail(cx, QX_E_CANCELLED, "stopped on request");
        }
        out->iterations++;
        QX_TRY(step(cx, s, &polished, out, &more));
    }
    out->f = s->f;
    if (s->problem->gradient != NULL) {
        memcpy(s->problem->gradient, s->g, s->m * sizeof *s->g);
    }
    return QX_OK;
}

static qx_status descend(qx_ctx *cx, state *s, qx_descent_end *out)
{
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), s->m, s->m, &s->hessian));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), s->m, s->m, &s->expected));
    return iterate(cx, s, out);
}

qx_status qx_descend(qx_ctx *cx,
                     const qx_descent *problem,
                     const bool fixed[],
                     double x[],
                     qx_descent_end *out)
{
    qx_status status;
    state s = {.problem = problem, .fixed = fixed, .m = problem->m};
    if (problem->m > QX_DESCENT_MOST) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "a model may have at most %d random terms",
                       QX_DESCENT_MOST - 1);
    }
    *out = (qx_descent_end){.f = NAN};
    memcpy(s.x, x, s.m * sizeof *x);
    QX_SCRATCH(cx, status, descend(cx, &s, out));
    memcpy(x, s.x, s.m * sizeof *x);
    return status;
}
