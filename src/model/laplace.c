/* model/laplace.c - log L and its gradient at given parameters.
 *
 * For a row with Z_i (the random columns of each predictor, sd included), W_i = -h_i and
 * S_i = Z_i H^-1 Z_i':
 *
 *     a_i = 1/2 S_i . t_i          slope of -1/2 log|H| in eta_i
 *     v   = H^-1 sum Z_i' a_i      (the modes move too: du^ = H^-1 d(dF/du))
 *     c_i = g_i + a_i - W_i Z_i v
 *
 *     d/dbeta_r = sum x_i c_i[r]
 *     d/dsd_k   = sum c_i[r_k] u_k + g_i[r_k] v_k - (W_i Z_i H^-1)[r_k, k]
 *     d/dpsi_j  = sum lp_ij + 1/2 S_i . hp_ij + gp_ij' Z_i v
 *
 * By quadrature (agq.c) g and lp are averages over the nodes, a is times kappa, and v has A
 * more; then g in the second term of d/dsd is still that of the mode. */
#include <math.h>
#include <string.h>

#include "model/frame.h"
#include "model/laplace_inner.h"

static qx_status
terms_room(qx_ctx *cx, qx_arena *arena, const qx_laplace_plan *plan, qx_row_terms *t)
{
    const size_t n = plan->most_rows, d = plan->problem.d, s = plan->problem.s;
    QX_NEW_IN(cx, arena, t->l, n);
    QX_NEW_IN(cx, arena, t->g, n * d);
    QX_NEW_IN(cx, arena, t->h, n * d * d);
    QX_NEW_IN(cx, arena, t->t, n * d * d * d);
    QX_NEW_IN(cx, arena, t->lp, n * s);
    QX_NEW_IN(cx, arena, t->gp, n * d * s);
    QX_NEW_IN(cx, arena, t->hp, n * d * d * s);
    return QX_OK;
}

qx_status qx_laplace_room_make(qx_ctx *cx,
                               qx_arena *arena,
                               const qx_laplace_plan *plan,
                               const void *data,
                               qx_laplace_room *out)
{
    const qx_laplace_problem *f = &plan->problem;
    qx_laplace_room room = {.plan = plan, .data = data};
    const size_t rest = plan->most_rest;
    QX_NEW_IN(cx, arena, room.fixed, f->n * f->d);
    QX_NEW_IN(cx, arena, room.eta, plan->most_rows * f->d);
    QX_NEW_IN(cx, arena, room.c, f->n * f->d);
    QX_TRY(terms_room(cx, arena, plan, &room.terms));
    QX_NEW_IN(cx, arena, room.D, plan->most_columns);
    QX_NEW_IN(cx, arena, room.C, plan->most_slots);
    QX_NEW_IN(cx, arena, room.P, plan->most_slots);
    QX_NEW_IN(cx, arena, room.E, rest * rest);
    QX_NEW_IN(cx, arena, room.inverse, rest * rest);
    QX_NEW_IN(cx, arena, room.gradient, plan->most_columns);
    QX_NEW_IN(cx, arena, room.step, plan->most_columns);
    QX_NEW_IN(cx, arena, room.before, plan->most_columns);
    QX_NEW_IN(cx, arena, room.v, plan->most_columns);
    QX_NEW_IN(cx, arena, room.a, plan->most_rows * f->d);
    QX_NEW_IN(cx, arena, room.Zv, f->d);
    QX_NEW_IN(cx, arena, room.mean_g, plan->most_rows * f->d);
    QX_NEW_IN(cx, arena, room.mean_lp, f->s);
    QX_NEW_IN(cx, arena, room.weight, f->quadrature);
    QX_NEW_IN(cx, arena, room.node_u, f->quadrature);
    QX_NEW_IN(cx, arena, room.mode, plan->q);
    *out = room;
    return QX_OK;
}

/* (H^-1)[column k, column l] of the row's columns into G (m x m). */
static void inverse_of_row(const qx_laplace_room *room,
                           const qx_laplace_set *set,
                           size_t j,
                           double G[])
{
    const qx_laplace_plan *plan = room->plan;
    const size_t m = plan->problem.random_count, lead = plan->lead_term;
    const size_t rest = set->columns - set->lead;
    const uint32_t *column = &plan->column[(set->row + j) * m];
    const size_t *slot = &plan->slot[(set->row + j) * m];
    const double D = room->D[column[lead]];
    double own = 0.0;
    for (size_t k = 0; k < m; k++) {
        for (size_t l = 0; l < m && k != lead; l++) {
            G[k + l * m] = l == lead ? -room->P[slot[k]] / D
                                     : room->inverse[(column[k] - set->lead) +
                                                     (column[l] - set->lead) * rest];
            G[l + k * m] = G[k + l * m];
        }
    }
    for (size_t s = plan->meet_start[set->column + column[lead]];
         s < plan->meet_start[set->column + column[lead] + 1];
         s++) {
        own += room->C[s - set->slot] * room->P[s - set->slot];
    }
    G[lead + lead * m] = 1.0 / D + own / (D * D);
}

/* S = Z H^-1 Z' of a row, d x d. */
static void spread_of_row(const qx_laplace_room *room, const double G[], double S[])
{
    const qx_laplace_problem *f = &room->plan->problem;
    const size_t m = f->random_count, d = f->d;
    memset(S, 0, d * d * sizeof *S);
    for (size_t k = 0; k < m; k++) {
        for (size_t l = 0; l < m; l++) {
            S[f->random[k].predictor + f->random[l].predictor * d] +=
                room->sd[k] * room->sd[l] * G[k + l * m];
        }
    }
}

/* What one set adds to the gradient. */
typedef struct slopes {
    double *sd, *psi;
    double kappa, A; /* 1, 0 with Laplace */
    const double *g; /* slopes of rows: at the mode, or averaged over nodes */
    double G[QX_LAPLACE_TERMS_MOST * QX_LAPLACE_TERMS_MOST];
    double S[QX_LAPLACE_PREDICTORS_MOST * QX_LAPLACE_PREDICTORS_MOST];
} slopes;

/* a of each row, those of sd and psi that need S and G, and sum Z'a into v. */
static void
through_determinant(qx_laplace_room *room, const qx_laplace_set *set, slopes *to)
{
    const qx_laplace_problem *f = &room->plan->problem;
    const size_t m = f->random_count, d = f->d, dd = d * d;
    memset(room->v, 0, set->columns * sizeof *room->v);
    for (size_t j = 0; j < set->rows; j++) {
        const uint32_t *column = &room->plan->column[(set->row + j) * m];
        const double *h = &room->terms.h[j * dd];
        inverse_of_row(room, set, j, to->G);
        spread_of_row(room, to->G, to->S);
        for (size_t r = 0; r < d; r++) {
            double sum = 0.0;
            for (size_t e = 0; e < dd; e++) {
                sum += to->S[e] * room->terms.t[(j * d + r) * dd + e];
            }
            room->a[j * d + r] = 0.5 * to->kappa * sum;
        }
        for (size_t i = 0; i < f->s; i++) {
            double sum = 0.0;
            for (size_t e = 0; e < dd; e++) {
                sum += to->S[e] * room->terms.hp[(j * f->s + i) * dd + e];
            }
            to->psi[i] += 0.5 * to->kappa * sum;
        }
        for (size_t k = 0; k < m; k++) {
            const size_t rk = f->random[k].predictor;
            double sum = 0.0;
            for (size_t l = 0; l < m; l++) {
                sum +=
                    h[f->random[l].predictor + rk * d] * room->sd[l] * to->G[k + l * m];
            }
            to->sd[k] += to->kappa * sum;
            room->v[column[k]] += room->sd[k] * room->a[j * d + rk];
        }
    }
}

/* The rest, with v = H^-1 (sum Z'a + A): c of each row, sd and psi. */
static void through_modes(qx_laplace_room *room,
                          const qx_laplace_set *set,
                          const double u[],
                          slopes *to)
{
    const qx_laplace_problem *f = &room->plan->problem;
    const size_t m = f->random_count, d = f->d;
    for (size_t j = 0; j < set->rows; j++) {
        const uint32_t *column = &room->plan->column[(set->row + j) * m];
        double *c = &room->c[(set->row + j) * d];
        memset(room->Zv, 0, d * sizeof *room->Zv);
        for (size_t k = 0; k < m; k++) {
            room->Zv[f->random[k].predictor] += room->sd[k] * room->v[column[k]];
        }
        for (size_t r = 0; r < d; r++) {
            double sum = room->a[j * d + r];
            for (size_t e = 0; e < d; e++) {
                sum += room->terms.h[j * d * d + r + e * d] * room->Zv[e];
            }
            c[r] = sum; /* all but g */
        }
        for (size_t k = 0; k < m; k++) {
            const size_t rk = f->random[k].predictor;
            to->sd[k] +=
                c[rk] * u[column[k]] + room->terms.g[j * d + rk] * room->v[column[k]];
        }
        for (size_t i = 0; i < f->s; i++) {
            to->psi[i] += qx_dot(d, &room->terms.gp[(j * f->s + i) * d], room->Zv);
        }
        for (size_t r = 0; r < d; r++) {
            c[r] += to->g[j * d + r];
        }
    }
}

static qx_status set_gradient(qx_ctx *cx,
                              qx_laplace_room *room,
                              const qx_laplace_set *set,
                              const double u[],
                              slopes *to)
{
    if (set->columns > 0) {
        QX_TRY(qx_laplace_invert(cx, room, set));
        through_determinant(room, set, to);
        for (size_t c = 0; c < set->columns && to->A != 0.0; c++) {
            room->v[c] += to->A;
        }
        qx_laplace_solve(room, set, room->v);
    } else {
        memset(room->a, 0, set->rows * room->plan->problem.d * sizeof *room->a);
    }
    through_modes(room, set, u, to);
    return QX_OK;
}

/* Slopes of sum l - u'u/2 alone, parameters moving and u not. */
static void direct_slopes(qx_laplace_room *room,
                          const qx_laplace_set *set,
                          const double u[],
                          slopes *to)
{
    const qx_laplace_problem *f = &room->plan->problem;
    const size_t m = f->random_count, d = f->d;
    for (size_t j = 0; j < set->rows; j++) {
        const uint32_t *column = &room->plan->column[(set->row + j) * m];
        for (size_t k = 0; k < m; k++) {
            to->sd[k] += room->terms.g[j * d + f->random[k].predictor] * u[column[k]];
        }
        for (size_t i = 0; i < f->s; i++) {
            to->psi[i] += room->terms.lp[j * f->s + i];
        }
    }
    to->g = room->terms.g;
}

/* log L of one set; its slopes too if `to` is not NULL. */
static qx_status one_set(qx_ctx *cx,
                         qx_laplace_room *room,
                         const qx_laplace_set *set,
                         slopes *to,
                         double *value)
{
    double *u = &room->mode[set->column];
    double F = 0.0;
    if (!qx_laplace_mode(
            cx, room, set, u, to == NULL ? QX_ROWS_CURVE : QX_ROWS_ALL, &F)) {
        *value = -INFINITY;
        return QX_OK;
    }
    if (room->plan->problem.quadrature > 1) {
        qx_laplace_nodes nodes;
        qx_laplace_quadrature(room, set, u[0], to != NULL, &nodes);
        *value = nodes.value;
        if (to != NULL) {
            to->kappa = nodes.kappa;
            to->A = nodes.A;
            to->sd[0] += nodes.sd_slope;
            to->g = room->mean_g;
            for (size_t i = 0; i < room->plan->problem.s; i++) {
                to->psi[i] += room->mean_lp[i];
            }
        }
    } else {
        *value = F - 0.5 * qx_laplace_logdet(room, set);
        if (to != NULL) {
            direct_slopes(room, set, u, to);
        }
    }
    return to == NULL ? QX_OK : set_gradient(cx, room, set, u, to);
}

void qx_laplace_point(qx_laplace_room *room, const double x[])
{
    const qx_laplace_plan *plan = room->plan;
    const qx_laplace_problem *f = &plan->problem;
    memcpy(room->sd, &x[f->d * f->p], f->random_count * sizeof *room->sd);
    room->psi = &x[f->d * f->p + f->random_count];
    for (size_t j = 0; j < f->n; j++) {
        for (size_t r = 0; r < f->d; r++) {
            double sum = plan->offset == NULL ? 0.0 : plan->offset[j * f->d + r];
            for (size_t i = 0; i < f->p; i++) {
                sum += plan->x[j * f->p + i] * x[r * f->p + i];
            }
            room->fixed[j * f->d + r] = sum;
        }
    }
}

static void beta_slopes(const qx_laplace_room *room, double gradient[])
{
    const qx_laplace_plan *plan = room->plan;
    const qx_laplace_problem *f = &plan->problem;
    for (size_t j = 0; j < f->n; j++) {
        for (size_t r = 0; r < f->d; r++) {
            const double c = room->c[j * f->d + r];
            for (size_t i = 0; i < f->p; i++) {
                gradient[r * f->p + i] += plan->x[j * f->p + i] * c;
            }
        }
    }
}

static bool all_finite(size_t n, const double x[])
{
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(x[i])) {
            return false;
        }
    }
    return true;
}

static qx_status sum_sets(qx_ctx *cx, qx_laplace_room *room, slopes *to, double *value)
{
    double sum = 0.0;
    for (size_t b = 0; b < room->plan->set_count && sum != -(double)INFINITY; b++) {
        double part = -INFINITY;
        if (to != NULL) {
            to->kappa = 1.0;
            to->A = 0.0;
        }
        QX_TRY(one_set(cx, room, &room->plan->set[b], to, &part));
        sum += part;
    }
    *value = sum;
    return QX_OK;
}

qx_status qx_laplace_at(
    qx_ctx *cx, qx_laplace_room *room, const double x[], double *value, double gradient[])
{
    const qx_laplace_problem *f = &room->plan->problem;
    const size_t length = qx_laplace_length(f);
    slopes to = {0};
    double penalty = 0.0;
    *value = -INFINITY;
    if (!all_finite(length, x)) {
        return QX_OK;
    }
    qx_laplace_point(room, x);
    if (gradient != NULL) {
        memset(gradient, 0, length * sizeof *gradient);
        to.sd = &gradient[f->d * f->p];
        to.psi = &gradient[f->d * f->p + f->random_count];
    }
    QX_TRY(sum_sets(cx, room, gradient == NULL ? NULL : &to, value));
    if (*value == -(double)INFINITY) {
        return QX_OK;
    }
    if (f->penalise) {
        QX_TRY(qx_laplace_penalty(cx, room, &penalty, to.psi, gradient != NULL));
        *value += penalty;
    }
    if (gradient != NULL) {
        beta_slopes(room, gradient);
        *value = all_finite(length, gradient) ? *value : -(double)INFINITY;
    }
    return QX_OK;
}

static qx_status evaluate(qx_ctx *cx,
                          const qx_laplace_plan *plan,
                          const void *data,
                          const double x[],
                          double u[],
                          double *value,
                          double gradient[])
{
    qx_laplace_room room;
    QX_TRY(qx_laplace_room_make(cx, qx_ctx_scratch(cx), plan, data, &room));
    for (size_t c = 0; u != NULL && c < plan->q; c++) {
        if (plan->place[c] != QX_NO_COLUMN) {
            room.mode[plan->place[c]] = u[c];
        }
    }
    QX_TRY(qx_laplace_at(cx, &room, x, value, gradient));
    for (size_t c = 0; u != NULL && c < plan->q; c++) {
        u[c] = plan->place[c] == QX_NO_COLUMN ? 0.0 : room.mode[plan->place[c]];
    }
    return QX_OK;
}

qx_status qx_laplace_evaluate(qx_ctx *cx,
                              const qx_laplace_plan *plan,
                              const void *data,
                              const double x[],
                              double u[],
                              double *value,
                              double gradient[])
{
    qx_status status;
    QX_SCRATCH(cx, status, evaluate(cx, plan, data, x, u, value, gradient));
    return status;
}
