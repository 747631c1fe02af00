/* Ranks and squares of the layout alone: all ratios nil (model/reduced.h). */
#include "model/reduced.h"
#include "numeric/chol.h"

/* Added to the diagonal of a matrix that may lack rank, and the share of it below which a
 * pivot counts as lost. Columns of E hold zeros and ones (and covariates of unit length):
 * pivots that are there are not that small. */
static const double RIDGE = 1e-10;
static const double LOST = 1e-7;

typedef struct layout {
    qx_profile_point at;
    double *value; /* entries of the pattern */
    bool *used;    /* columns */
} layout;

/* C at gamma nil: the layout's own cross-products. */
static qx_status begin(qx_ctx *cx, const qx_profile *f, layout *w)
{
    const struct qx_reduced *red = f->reduced;
    const qx_core *core = &red->core;
    double *gamma, *lambda;
    QX_NEW(cx, gamma, f->m);
    QX_NEW(cx, w->value, core->pattern.start[core->size]);
    QX_NEW(cx, w->used, core->size);
    QX_TRY(qx_reduced_room_make(cx, qx_ctx_scratch(cx), f, &w->at.reduced));
    qx_nest_walk(&red->nest, NULL, gamma, red->nest.depth, &w->at.reduced->walk);
    QX_NEW(cx, lambda, core->size);
    return qx_core_solve(
        cx, core, &w->at.reduced->walk, red->nest.depth, lambda, &w->at.reduced->core);
}

/* Rank of the columns in use. */
static qx_status rank_of(qx_ctx *cx, const struct qx_reduced *red, layout *w, double *out)
{
    const qx_core *core = &red->core;
    const qx_sparse *p = &core->pattern;
    const qx_core_room *room = &w->at.reduced->core;
    size_t columns = 0;
    for (size_t j = 0; j < core->size; j++) {
        const double own = room->C[p->start[j]];
        const bool there = w->used[j] && own > 0.0;
        columns += there;
        for (size_t e = p->start[j]; e < p->start[j + 1]; e++) {
            const size_t i = p->row[e];
            w->value[e] = there && w->used[i] ? room->C[e] : 0.0;
        }
        w->value[p->start[j]] = there ? own * (1.0 + RIDGE) : 1.0;
    }
    QX_TRY(qx_spchol_factor(cx, room->factor, w->value));
    *out = (double)(columns - qx_spchol_small_pivots(room->factor, LOST));
    return QX_OK;
}

/* Units of the lowest nested term among the first `count`: they tell everything else that
 * stands before them; 0 when there is none. */
static size_t nested_units(const struct qx_reduced *red, size_t count)
{
    for (size_t k = 0; k < red->nest.depth; k++) {
        if (red->nest.level[k].term < count) {
            return red->nest.level[k].units;
        }
    }
    return 0;
}

static qx_status ranks(qx_ctx *cx, const qx_profile *f, double rank[])
{
    const struct qx_reduced *red = f->reduced;
    const qx_core *core = &red->core;
    layout w = {.value = NULL};
    double before = (double)f->p;
    QX_TRY(begin(cx, f, &w));
    for (size_t j = 0; j < core->p; j++) {
        w.used[j] = true;
    }
    for (size_t t = 0; t < f->m; t++) {
        double now = (double)nested_units(red, t + 1);
        for (size_t k = 0; k < core->terms; k++) {
            for (size_t j = core->start[k];
                 red->nest.core[k] == t && j < core->start[k + 1];
                 j++) {
                w.used[j] = true;
            }
        }
        if (now == 0.0) {
            QX_TRY(rank_of(cx, red, &w, &now));
        }
        rank[t] = now - before;
        before = now;
    }
    return QX_OK;
}

qx_status qx_reduced_ranks(qx_ctx *cx, const qx_profile *f, double rank[])
{
    qx_status status;
    QX_SCRATCH(cx, status, ranks(cx, f, rank));
    return status;
}

/* X'Z_k Z_k'X over the core's columns of X. */
static void
square_of(const struct qx_reduced *red, const layout *w, size_t term, qx_mat out)
{
    const qx_core *core = &red->core;
    const qx_sparse *p = &core->pattern;
    const qx_core_room *room = &w->at.reduced->core;
    qx_mat_zero(out);
    for (size_t k = 0; k < red->nest.depth; k++) {
        const double *S = qx_core_values(core, room, 1 + k);
        for (size_t j = 0; red->nest.level[k].term == term && j < core->p; j++) {
            for (size_t e = p->start[j]; e < p->start[j + 1]; e++) {
                if (p->row[e] < core->p) {
                    QX_AT(out, p->row[e], j) = QX_AT(out, j, p->row[e]) = -S[e];
                }
            }
        }
    }
}

static qx_status square_of_core(
    qx_ctx *cx, const struct qx_reduced *red, const layout *w, size_t k, qx_mat out)
{
    const qx_core *core = &red->core;
    const qx_sparse *p = &core->pattern;
    const size_t first = core->start[k], count = core->start[k + 1] - first;
    qx_mat XZ;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), core->p, count, &XZ));
    for (size_t j = 0; j < core->p; j++) {
        for (size_t e = p->start[j]; e < p->start[j + 1]; e++) {
            const size_t i = p->row[e];
            if (i >= first && i < first + count) {
                QX_AT(XZ, j, i - first) = w->at.reduced->core.C[e];
            }
        }
    }
    return qx_mat_multiply(cx, 'n', 't', 1.0, XZ, XZ, 0.0, out);
}

/* out := turn'^-1 out turn^-1 */
static qx_status to_q(qx_ctx *cx, const struct qx_reduced *red, qx_mat out)
{
    const size_t p = out.rows;
    qx_mat lower;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), p, p, &lower));
    for (size_t j = 0; j < p; j++) {
        for (size_t i = 0; i <= j; i++) {
            QX_AT(lower, j, i) = QX_AT(red->turn, i, j);
        }
    }
    for (int side = 0; side < 2; side++) {
        QX_TRY(qx_chol_solve_lower(cx, 'n', lower, out));
        for (size_t j = 0; j < p; j++) {
            for (size_t i = 0; i < j; i++) {
                const double keep = QX_AT(out, i, j);
                QX_AT(out, i, j) = QX_AT(out, j, i);
                QX_AT(out, j, i) = keep;
            }
        }
    }
    return QX_OK;
}

static qx_status square(qx_ctx *cx, const qx_profile *f, size_t term, qx_mat out)
{
    const struct qx_reduced *red = f->reduced;
    layout w = {.value = NULL};
    QX_TRY(begin(cx, f, &w));
    square_of(red, &w, term, out);
    for (size_t k = 0; k < red->core.terms; k++) {
        if (red->nest.core[k] == term) {
            QX_TRY(square_of_core(cx, red, &w, k, out));
        }
    }
    return to_q(cx, red, out);
}

qx_status qx_reduced_square(qx_ctx *cx, const qx_profile *f, size_t term, qx_mat out)
{
    qx_status status;
    QX_SCRATCH(cx, status, square(cx, f, term, out));
    return status;
}
