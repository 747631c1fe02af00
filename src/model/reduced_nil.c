/* Norms and traces where no term of the core has a variance (model/reduced.h): M is nil but
 * for the fixed columns, M_XX = (X'D^-1 X)^-1 = (K K')^-1. With C of the core, columns
 * v_i = K^-1 C_Xi, u_ki = K^-1 (S_k)_Xi, and R_k = K^-1 (S_k)_XX K'^-1,
 *
 *     k, l nested:          tr D^-1 G_k D^-1 G_l - 2 tr R_kl + <R_k, R_l>
 *     k nested, l core:     sum_i (S_k)_ii - 2 u_ki'v_i + <R_k, V_l V_l'>
 *     k, l core:            sum_ij C_ij^2 - 2 C_ij v_i'v_j + <V_k V_k', V_l V_l'>
 *
 * Exact at the cost of the pattern times p, whatever the size. It tells which terms can be
 * told apart (model/plan.h), and is all there is where every term is nested. */
#include "model/reduced.h"
#include "numeric/chol.h"

typedef struct work {
    const struct qx_reduced *red;
    const qx_core_room *room;
    qx_mat K;
    qx_mat v;               /* p x size, columns of Z used */
    qx_mat u[QX_NEST_MOST]; /* the same of dC/dk */
    qx_mat R[QX_NEST_MOST]; /* p x p, of dC/dk: -R_k of the head */
    qx_mat *VV;             /* terms of the core: p x p */
} work;

/* The XX block of values on the pattern, both triangles; and the XZ block by columns. */
static void split(const qx_core *core, const double C[], qx_mat XX, qx_mat XZ)
{
    qx_mat_zero(XX);
    qx_mat_zero(XZ);
    for (size_t j = 0; j < core->p; j++) {
        for (size_t e = core->pattern.start[j]; e < core->pattern.start[j + 1]; e++) {
            const size_t i = core->pattern.row[e];
            if (i < core->p) {
                QX_AT(XX, i, j) = QX_AT(XX, j, i) = C[e];
            } else {
                QX_AT(XZ, j, i) = C[e];
            }
        }
    }
}

/* M := K^-1 M K'^-1 for a symmetric M. */
static qx_status both_sides(qx_ctx *cx, qx_mat K, qx_mat M)
{
    for (int side = 0; side < 2; side++) {
        QX_TRY(qx_chol_solve_lower(cx, 'n', K, M));
        for (size_t j = 0; j < M.cols; j++) {
            for (size_t i = 0; i < j; i++) {
                const double keep = QX_AT(M, i, j);
                QX_AT(M, i, j) = QX_AT(M, j, i);
                QX_AT(M, j, i) = keep;
            }
        }
    }
    return QX_OK;
}

static qx_status prepare(qx_ctx *cx, work *w)
{
    const qx_core *core = &w->red->core;
    const size_t p = core->p;
    qx_arena *scratch = qx_ctx_scratch(cx);
    QX_TRY(qx_mat_new(cx, scratch, p, p, &w->K));
    QX_TRY(qx_mat_new(cx, scratch, p, core->size, &w->v));
    split(core, w->room->C, w->K, w->v);
    QX_TRY(qx_chol_factor(cx, w->K));
    QX_TRY(qx_chol_solve_lower(cx, 'n', w->K, w->v));
    for (size_t k = 0; k < w->red->nest.depth; k++) {
        QX_TRY(qx_mat_new(cx, scratch, p, p, &w->R[k]));
        QX_TRY(qx_mat_new(cx, scratch, p, core->size, &w->u[k]));
        split(core, qx_core_values(core, w->room, 1 + k), w->R[k], w->u[k]);
        QX_TRY(both_sides(cx, w->K, w->R[k]));
        QX_TRY(qx_chol_solve_lower(cx, 'n', w->K, w->u[k]));
    }
    QX_NEW(cx, w->VV, core->terms);
    for (size_t l = 0; l < core->terms; l++) {
        const qx_mat v =
            qx_mat_part(w->v, 0, core->start[l], p, core->start[l + 1] - core->start[l]);
        QX_TRY(qx_mat_new(cx, scratch, p, p, &w->VV[l]));
        QX_TRY(qx_mat_multiply(cx, 'n', 't', 1.0, v, v, 0.0, w->VV[l]));
    }
    return QX_OK;
}

static double trace_of(qx_mat a)
{
    double sum = 0.0;
    for (size_t i = 0; i < a.rows; i++) {
        sum += QX_AT(a, i, i);
    }
    return sum;
}

static void set_both(qx_mat to, size_t a, size_t b, double x)
{
    QX_AT(to, a, b) = QX_AT(to, b, a) = x;
}

/* Nested with nested, and their traces. */
static qx_status nested(qx_ctx *cx, const work *w, qx_profile_point *at)
{
    const qx_core *core = &w->red->core;
    const size_t s = w->red->nest.depth;
    const qx_nest_level *level = w->red->nest.level;
    const double *log_d = at->reduced->walk.log_d;
    qx_mat second, unused;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), core->p, core->p, &second));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), core->p, core->size, &unused));
    for (size_t l = 0; l < s; l++) {
        at->trace[level[l].term] = log_d[1 + l] + trace_of(w->R[l]);
        for (size_t k = 0; k <= l; k++) {
            const size_t c = qx_jet_second(s, k, l);
            split(core, qx_core_values(core, w->room, c), second, unused);
            QX_TRY(both_sides(cx, w->K, second));
            set_both(at->norm,
                     level[k].term,
                     level[l].term,
                     -log_d[c] - trace_of(second) + qx_mat_inner(w->R[k], w->R[l]));
        }
    }
    return QX_OK;
}

static void with_core(const work *w, size_t k, qx_profile_point *at)
{
    const qx_core *core = &w->red->core;
    const double *S = qx_core_values(core, w->room, 1 + k); /* -S_k of the head */
    for (size_t l = 0; l < core->terms; l++) {
        double sum = -qx_mat_inner(w->R[k], w->VV[l]);
        for (size_t i = core->start[l]; i < core->start[l + 1]; i++) {
            sum += 2.0 * qx_dot(core->p, &QX_AT(w->u[k], 0, i), &QX_AT(w->v, 0, i)) -
                   S[core->pattern.start[i]];
        }
        set_both(at->norm, w->red->nest.level[k].term, w->red->nest.core[l], sum);
    }
}

static void between_core(const work *w, qx_profile_point *at)
{
    const qx_core *core = &w->red->core;
    const qx_sparse *pattern = &core->pattern;
    const size_t *term = w->red->nest.core;
    for (size_t l = 0; l < core->terms; l++) {
        at->trace[term[l]] = -trace_of(w->VV[l]);
        for (size_t k = 0; k <= l; k++) {
            set_both(at->norm, term[k], term[l], qx_mat_inner(w->VV[k], w->VV[l]));
        }
    }
    for (size_t j = core->p; j < core->size; j++) {
        const size_t l = qx_core_term_of(core, j);
        for (size_t e = pattern->start[j]; e < pattern->start[j + 1]; e++) {
            const size_t i = pattern->row[e];
            const size_t k = qx_core_term_of(core, i);
            const double x = w->room->C[e];
            const double add =
                x * (x - 2.0 * qx_dot(core->p, &QX_AT(w->v, 0, i), &QX_AT(w->v, 0, j)));
            QX_AT(at->norm, term[k], term[l]) += add;
            if (k != l) {
                QX_AT(at->norm, term[l], term[k]) += add;
            } else if (i != j) {
                QX_AT(at->norm, term[l], term[l]) += add;
            }
            at->trace[term[l]] += i == j ? x : 0.0;
        }
    }
}

qx_status qx_reduced_nil(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    work w = {.red = f->reduced, .room = &at->reduced->core};
    QX_TRY(prepare(cx, &w));
    QX_TRY(nested(cx, &w, at));
    for (size_t k = 0; k < w.red->nest.depth; k++) {
        with_core(&w, k, at);
    }
    between_core(&w, at);
    return QX_OK;
}
