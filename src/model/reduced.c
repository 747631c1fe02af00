#include "model/reduced.h"

#include <math.h>

#include "numeric/chol.h"

/* Multiplications that may go into |T_kl|^2 at every step (a second or so) and once at the
 * end (a minute or two): docs/methods/sparse.md has what was measured. */
static const double EXACT_EACH_TIME = 4e9;
static const double EXACT_ONCE = 2e11;

/* A multiplication of a sparse solve, in those of LAPACK. */
static const double SOLVE_COST = 3.0;

static bool zeros_and_ones(qx_mat X, size_t j)
{
    for (size_t i = 0; i < X.rows; i++) {
        if (QX_AT(X, i, j) != 0.0 && QX_AT(X, i, j) != 1.0) {
            return false;
        }
    }
    return true;
}

/* The core's columns of X, and `turn`. */
static qx_status turn_columns(qx_ctx *cx,
                              qx_arena *arena,
                              qx_mat rows,
                              qx_mat r_transposed,
                              qx_mat *X,
                              qx_mat *turn)
{
    const size_t p = rows.cols;
    double *c;
    QX_NEW(cx, c, p);
    QX_TRY(qx_mat_new(cx, arena, rows.rows, p, X));
    QX_TRY(qx_mat_new(cx, arena, p, p, turn));
    qx_mat_copy(*X, rows);
    for (size_t j = 0; j < p; j++) {
        if (zeros_and_ones(rows, j)) {
            for (size_t i = 0; i <= j; i++) {
                QX_AT(*turn, i, j) = QX_AT(r_transposed, j, i);
            }
            continue;
        }
        memset(c, 0, p * sizeof *c);
        c[j] = QX_AT(*turn, j, j) = 1.0;
        QX_TRY(qx_chol_solve_lower(cx, 't', r_transposed, qx_mat_of(c, p, 1)));
        qx_mat_vector('n', 1.0, rows, c, 0.0, &QX_AT(*X, 0, j));
    }
    return QX_OK;
}

/* All of M: by LAPACK and products with dC/dk, or by sparse solves. */
static double cost_of_norms(const struct qx_reduced *red)
{
    const qx_core *core = &red->core;
    const double size = (double)core->size;
    const double depth = (double)red->nest.depth;
    if (core->dense) {
        return size * (size * (size + depth) +
                       2.0 * depth * (double)core->pattern.start[core->size]);
    }
    return SOLVE_COST * core->solve_cost * size * (1.0 + depth);
}

static qx_status make(qx_ctx *cx,
                      qx_arena *arena,
                      const size_t levels[],
                      const uint32_t *const code[],
                      const qx_reduced_columns *x,
                      const qx_reduced_options *options,
                      qx_profile *f,
                      struct qx_reduced *red)
{
    size_t *core_levels;
    qx_mat X;
    QX_TRY(
        qx_nest_make(cx, arena, &x->sets, f->m, levels, code, options->flat, &red->nest));
    QX_TRY(turn_columns(cx, arena, x->rows, x->r_transposed, &X, &red->turn));
    for (size_t j = 0; j < f->p; j++) {
        red->log_turn += log(fabs(QX_AT(red->turn, j, j)));
    }
    QX_NEW(cx, core_levels, f->m);
    for (size_t k = 0; k < red->nest.core_count; k++) {
        core_levels[k] = levels[red->nest.core[k]];
    }
    QX_TRY(
        qx_core_make(cx, arena, &red->nest, X, core_levels, options->sparse, &red->core));
    red->cost = options->average ? (double)INFINITY : cost_of_norms(red);
    return QX_OK;
}

qx_status qx_profile_make_reduced(qx_ctx *cx,
                                  qx_arena *arena,
                                  size_t m,
                                  const size_t levels[],
                                  const uint32_t *const code[],
                                  const qx_reduced_columns *x,
                                  const qx_reduced_options *options,
                                  qx_profile *out)
{
    qx_profile f = {.n = x->sets.n, .p = x->rows.cols, .m = m};
    struct qx_reduced *red;
    size_t *start;
    qx_status status;
    QX_NEW_IN(cx, arena, red, 1);
    QX_NEW_IN(cx, arena, start, m + 1);
    for (size_t k = 0; k < m; k++) {
        start[k + 1] = start[k] + levels[k];
    }
    f.q = start[m];
    f.start = start;
    QX_SCRATCH(cx, status, make(cx, arena, levels, code, x, options, &f, red));
    QX_TRY(status);
    f.reduced = red;
    *out = f;
    return QX_OK;
}

qx_status
qx_reduced_again(qx_ctx *cx, qx_arena *arena, const double r[], qx_profile *profile)
{
    qx_nest_data *data;
    QX_NEW_IN(cx, arena, data, 1);
    QX_TRY(qx_nest_data_make(cx, arena, &profile->reduced->nest, r, data));
    profile->data = data;
    profile->rr = qx_dot(profile->n, r, r);
    return QX_OK;
}

qx_status qx_reduced_room_make(qx_ctx *cx,
                               qx_arena *arena,
                               const qx_profile *profile,
                               struct qx_reduced_room **out)
{
    const struct qx_reduced *red = profile->reduced;
    struct qx_reduced_room *r;
    QX_NEW_IN(cx, arena, r, 1);
    QX_NEW_IN(cx, arena, r->inverse, red->core.pattern.start[red->core.size]);
    QX_NEW_IN(cx, arena, r->t, red->core.size);
    QX_TRY(qx_nest_room_make(cx, arena, &red->nest, &r->walk));
    QX_TRY(qx_core_room_make(cx, arena, &red->core, &r->core));
    *out = r;
    return QX_OK;
}

static qx_status
solve(qx_ctx *cx, const qx_profile *f, qx_profile_point *at, size_t variables)
{
    const struct qx_reduced *red = f->reduced;
    struct qx_reduced_room *room = at->reduced;
    const qx_core *core = &red->core;
    double *lambda;
    QX_NEW(cx, lambda, core->size);
    for (size_t k = 0; k < core->terms; k++) {
        for (size_t j = core->start[k]; j < core->start[k + 1]; j++) {
            lambda[j - core->p] = sqrt(at->gamma[red->nest.core[k]]);
        }
    }
    qx_nest_walk(&red->nest, f->data, at->gamma, variables, &room->walk);
    QX_TRY(qx_core_solve(cx, core, &room->walk, variables, lambda, &room->core));
    at->ypy = room->walk.q[0] - room->core.h_mu;
    at->log_a = room->walk.log_d[0] + room->core.log_det - 2.0 * red->log_turn;
    return QX_OK;
}

qx_status qx_reduced_value(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    qx_status status;
    QX_SCRATCH(cx, status, solve(cx, f, at, 0));
    return status;
}

/* x'Cy for a value array on the pattern; Cy is left in `product`. */
static double between(const qx_core *core,
                      const double C[],
                      const double x[],
                      const double y[],
                      double product[])
{
    double *const to = product;
    memset(to, 0, core->size * sizeof *to);
    qx_mat from = {.rows = core->size, .cols = 1, .ld = core->size};
    double *copy = product + core->size;
    memcpy(copy, y, core->size * sizeof *copy);
    from.at = copy;
    qx_sparse_symmetric_multiply(
        &core->pattern, C, 1.0, from, qx_mat_of(to, core->size, 1));
    return qx_dot(core->size, x, to);
}

/* w_k'w_k of all terms, and g and middle of the nested ones for Pr (one column). */
static qx_status residual_vectors(qx_ctx *cx,
                                  const qx_profile *f,
                                  qx_profile_point *at,
                                  qx_mat w,
                                  qx_mat g[],
                                  qx_mat middle[])
{
    const struct qx_reduced *red = f->reduced;
    const struct qx_reduced_room *room = at->reduced;
    const qx_core *core = &red->core;
    const size_t s = red->nest.depth;
    double *product;
    QX_NEW(cx, product, 2 * core->size);
    for (size_t k = 0; k < core->terms; k++) {
        double sum = 0.0;
        for (size_t j = core->start[k]; j < core->start[k + 1]; j++) {
            w.at[j] = room->core.root[j] / room->core.scale[j];
            sum += w.at[j] * w.at[j];
        }
        at->square[red->nest.core[k]] = sum;
    }
    for (size_t k = 0; k < s; k++) {
        const double *h = room->core.h + (1 + k) * core->size;
        const double *mu = room->core.mu;
        QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), core->size, 1, &g[k]));
        const double square =
            between(core, qx_core_values(core, &room->core, 1 + k), mu, mu, product);
        for (size_t j = 0; j < core->size; j++) {
            g[k].at[j] = product[j] - h[j];
        }
        at->square[red->nest.level[k].term] =
            2.0 * qx_dot(core->size, mu, h) - square - room->walk.q[1 + k];
    }
    for (size_t l = 0; l < s; l++) {
        for (size_t k = 0; k <= l; k++) {
            const size_t c = qx_jet_second(s, k, l);
            const double *mu = room->core.mu;
            const double square =
                between(core, qx_core_values(core, &room->core, c), mu, mu, product);
            QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), 1, 1, &middle[k + l * s]));
            middle[k + l * s].at[0] =
                0.5 * (room->walk.q[c] + square) -
                qx_dot(core->size, mu, room->core.h + c * core->size);
            middle[l + k * s] = middle[k + l * s];
        }
    }
    return QX_OK;
}

static qx_status bilinear(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    const struct qx_reduced *red = f->reduced;
    const size_t s = red->nest.depth;
    qx_mat g[QX_NEST_MOST], middle[QX_NEST_MOST * QX_NEST_MOST];
    qx_mat w;
    qx_mat *out;
    QX_NEW(cx, out, f->m * f->m);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), red->core.size, 1, &w));
    QX_TRY(residual_vectors(cx, f, at, w, g, middle));
    QX_TRY(qx_reduced_forms(cx, f, at, w, g, middle, out));
    for (size_t i = 0; i < f->m * f->m; i++) {
        at->bilinear.at[i] = out[i].at[0];
    }
    (void)s;
    return QX_OK;
}

static bool core_is_nil(const qx_profile *f, const qx_profile_point *at)
{
    for (size_t k = 0; k < f->reduced->core.terms; k++) {
        if (at->gamma[f->reduced->nest.core[k]] > 0.0) {
            return false;
        }
    }
    return true;
}

/* The average information in the place of |T_kl|^2. */
static qx_status average(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    const double sigma2 = at->ypy / (double)(f->n - f->p);
    struct qx_reduced_room *room = at->reduced;
    QX_TRY(room->core.factor != NULL
               ? qx_spchol_inverse(cx, room->core.factor, room->inverse)
               : qx_reduced_norms_dense(cx, f, at));
    qx_reduced_traces(f, at, false);
    for (size_t i = 0; i < f->m * f->m; i++) {
        at->norm.at[i] = at->bilinear.at[i] / sigma2;
    }
    at->average = true;
    return QX_OK;
}

static qx_status evaluate(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    QX_TRY(solve(cx, f, at, f->reduced->nest.depth));
    QX_TRY(bilinear(cx, f, at));
    at->average = false;
    if (core_is_nil(f, at)) {
        return qx_reduced_nil(cx, f, at);
    }
    return f->reduced->cost <= EXACT_EACH_TIME ? qx_reduced_norms(cx, f, at)
                                               : average(cx, f, at);
}

qx_status qx_reduced_evaluate(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    qx_status status;
    QX_SCRATCH(cx, status, evaluate(cx, f, at));
    return status;
}

qx_status qx_reduced_exact(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    qx_status status = QX_OK;
    if (at->average && f->reduced->cost <= EXACT_ONCE) {
        QX_SCRATCH(cx, status, qx_reduced_norms(cx, f, at));
        at->average = status != QX_OK;
    }
    return status;
}

/* A step of each kind in multiplications of LAPACK: they are bound by memory. */
static const double CLASS_COST = 30.0;
static const double JET_COST = 8.0;
static const double COUNT_COST = 4.0;

double qx_reduced_point_cost(const qx_profile *f)
{
    const struct qx_reduced *red = f->reduced;
    const double jet = (double)qx_jet_size(red->nest.depth);
    const double flops = qx_core_factor_cost(&red->core);
    double cost = CLASS_COST * (double)red->nest.classes;
    for (size_t k = 1; k < red->nest.depth; k++) {
        cost += JET_COST * jet * jet * (double)red->nest.level[k].units;
    }
    cost += COUNT_COST * jet *
            (double)(red->core.entries + red->core.tables * red->nest.atoms);
    return cost + (red->cost <= EXACT_EACH_TIME ? flops + red->cost : 3.0 * flops);
}
