/* What comes after the estimates (model/reduced.h): effects, phi and what it rests on,
 * ranks, in the columns of Q that the rest of model/ works with. */
#include <math.h>

#include "model/reduced.h"

/* M := turn M turn' */
static qx_status to_q(qx_ctx *cx, const struct qx_reduced *red, qx_mat M)
{
    qx_mat half;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), M.rows, M.cols, &half));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, red->turn, M, 0.0, half));
    return qx_mat_multiply(cx, 'n', 't', 1.0, half, red->turn, 0.0, M);
}

static qx_status effects(qx_ctx *cx,
                         const qx_profile *f,
                         const qx_profile_point *at,
                         double u[],
                         double cell[])
{
    const struct qx_reduced *red = f->reduced;
    const qx_core *core = &red->core;
    const double *mu = at->reduced->core.mu;
    double *atom, *fixed;
    double *effect[QX_NEST_MOST];
    QX_NEW(cx, atom, red->nest.atoms);
    QX_NEW(cx, fixed, core->X.rows);
    qx_mat_vector('n', 1.0, core->X, mu, 0.0, fixed);
    for (size_t a = 0; a < red->nest.atoms; a++) {
        atom[a] = fixed[red->nest.set[a]];
        for (size_t k = 0; k < core->terms; k++) {
            atom[a] += mu[core->start[k] + red->nest.code[k][a]];
        }
    }
    for (size_t k = 0; k < red->nest.depth; k++) {
        QX_NEW(cx, effect[k], red->nest.level[k].units);
    }
    QX_TRY(qx_nest_effects(cx,
                           &red->nest,
                           f->data,
                           at->gamma,
                           at->reduced->core.s,
                           &at->reduced->walk,
                           atom,
                           effect,
                           cell));
    for (size_t k = 0; k < core->terms; k++) {
        memcpy(u + f->start[red->nest.core[k]],
               mu + core->start[k],
               (core->start[k + 1] - core->start[k]) * sizeof *u);
    }
    for (size_t k = 0; k < red->nest.depth; k++) {
        const qx_nest_level *l = &red->nest.level[k];
        for (size_t i = 0; i < l->units; i++) {
            u[f->start[l->term] + l->level[i]] = effect[k][i];
        }
    }
    return QX_OK;
}

static qx_status
random_effects(qx_ctx *cx, const qx_profile *f, const qx_profile_point *at, double u[])
{
    double *cell;
    QX_NEW(cx, cell, f->reduced->nest.cells);
    memset(u, 0, f->q * sizeof *u);
    return effects(cx, f, at, u, cell);
}

qx_status
qx_reduced_random(qx_ctx *cx, const qx_profile *f, const qx_profile_point *at, double u[])
{
    qx_status status;
    QX_SCRATCH(cx, status, random_effects(cx, f, at, u));
    return status;
}

static qx_status settle(qx_ctx *cx,
                        const qx_profile *f,
                        const qx_profile_point *at,
                        double r[],
                        double shift[])
{
    const qx_nest *nest = &f->reduced->nest;
    double *u, *cell;
    QX_NEW(cx, u, f->q);
    QX_NEW(cx, cell, nest->cells);
    QX_TRY(effects(cx, f, at, u, cell));
    for (size_t i = 0; i < f->n; i++) {
        r[i] -= cell[nest->cell_of[i]];
    }
    qx_mat_vector('n', -1.0, f->reduced->turn, at->reduced->core.mu, 0.0, shift);
    return QX_OK;
}

qx_status qx_reduced_settle(qx_ctx *cx,
                            const qx_profile *f,
                            const qx_profile_point *at,
                            double r[],
                            double shift[])
{
    qx_status status;
    QX_SCRATCH(cx, status, settle(cx, f, at, r, shift));
    return status;
}

/* M_.X and N of the core, N_l = -M_lX / gamma_l. */
static qx_status fixed_part(
    qx_ctx *cx, const qx_profile *f, const qx_profile_point *at, qx_mat *m, qx_mat *n)
{
    const qx_core *core = &f->reduced->core;
    qx_core_room *room = &at->reduced->core;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), core->size, core->p, m));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), core->size, core->p, n));
    for (size_t j = 0; j < core->p; j++) {
        QX_AT(*m, j, j) = 1.0;
    }
    QX_TRY(qx_core_apply(cx, room, *m));
    for (size_t j = 0; j < core->p; j++) {
        for (size_t i = core->p; i < core->size; i++) {
            QX_AT(*n, i, j) = -QX_AT(*m, i, j) / room->scale[i];
        }
    }
    qx_core_scale(room, *m);
    return QX_OK;
}

/* S_k M_.X of a nested term. */
static qx_status moved(qx_ctx *cx,
                       const qx_profile *f,
                       const qx_profile_point *at,
                       size_t c,
                       double times,
                       qx_mat m,
                       qx_mat *out)
{
    const qx_core *core = &f->reduced->core;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), m.rows, m.cols, out));
    qx_sparse_symmetric_multiply(
        &core->pattern, qx_core_values(core, &at->reduced->core, c), times, m, *out);
    return QX_OK;
}

static qx_status kernels(
    qx_ctx *cx, const qx_profile *f, const qx_profile_point *at, qx_mat phi, qx_mat NN[])
{
    const struct qx_reduced *red = f->reduced;
    const qx_core *core = &red->core;
    qx_mat m, n, g;
    QX_TRY(fixed_part(cx, f, at, &m, &n));
    for (size_t j = 0; j < core->p; j++) {
        for (size_t i = 0; i < core->p; i++) {
            QX_AT(phi, i, j) = 0.5 * (QX_AT(m, i, j) + QX_AT(m, j, i));
        }
    }
    QX_TRY(to_q(cx, red, phi));
    for (size_t k = 0; k < core->terms; k++) {
        const qx_mat part = qx_mat_part(
            n, core->start[k], 0, core->start[k + 1] - core->start[k], core->p);
        QX_TRY(qx_mat_crossprod(cx, part, NN[red->nest.core[k]]));
        QX_TRY(to_q(cx, red, NN[red->nest.core[k]]));
    }
    for (size_t k = 0; k < red->nest.depth; k++) {
        const qx_mat to = NN[red->nest.level[k].term];
        QX_TRY(moved(cx, f, at, 1 + k, -1.0, m, &g));
        QX_TRY(qx_mat_multiply(cx, 't', 'n', 1.0, m, g, 0.0, to));
        QX_TRY(to_q(cx, red, to));
    }
    return QX_OK;
}

qx_status qx_reduced_kernels(
    qx_ctx *cx, const qx_profile *f, const qx_profile_point *at, qx_mat phi, qx_mat NN[])
{
    qx_status status;
    QX_SCRATCH(cx, status, kernels(cx, f, at, phi, NN));
    return status;
}

static qx_status adjustment(qx_ctx *cx,
                            const qx_profile *f,
                            const qx_profile_point *at,
                            qx_mat spread,
                            qx_mat out)
{
    const struct qx_reduced *red = f->reduced;
    const size_t s = red->nest.depth;
    qx_mat m, n, half, g[QX_NEST_MOST], middle[QX_NEST_MOST * QX_NEST_MOST];
    qx_mat *form;
    QX_NEW(cx, form, f->m * f->m);
    QX_TRY(fixed_part(cx, f, at, &m, &n));
    for (size_t l = 0; l < s; l++) {
        QX_TRY(moved(cx, f, at, 1 + l, -1.0, m, &g[l]));
        for (size_t k = 0; k <= l; k++) {
            QX_TRY(moved(cx, f, at, qx_jet_second(s, k, l), 0.5, m, &half));
            QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->p, f->p, &middle[k + l * s]));
            QX_TRY(qx_mat_multiply(cx, 't', 'n', 1.0, m, half, 0.0, middle[k + l * s]));
            middle[l + k * s] = middle[k + l * s];
        }
    }
    QX_TRY(qx_reduced_forms(cx, f, at, n, g, middle, form));
    qx_mat_zero(out);
    for (size_t l = 0; l < f->m; l++) {
        for (size_t k = 0; k < f->m; k++) {
            const double w = QX_AT(spread, k, l);
            for (size_t i = 0; i < f->p * f->p; i++) {
                out.at[i] += w * form[k + l * f->m].at[i];
            }
        }
    }
    return to_q(cx, red, out);
}

qx_status qx_reduced_adjustment(qx_ctx *cx,
                                const qx_profile *f,
                                const qx_profile_point *at,
                                qx_mat spread,
                                qx_mat out)
{
    qx_status status;
    QX_SCRATCH(cx, status, adjustment(cx, f, at, spread, out));
    return status;
}
