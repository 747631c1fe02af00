/* Which random terms can be told apart (model/plan.h). */
#include <math.h>

#include "model/confounded.h"
#include "model/plan.h"

/* A random term that adds less than this share of its own size to the others' covariances
 * cannot be told apart from them (inner products of 0/1 matrices: 1e-15 when it cannot). */
static const double SAME_COVARIANCE = 1e-9;

/* Residual of column `i` of the Gram matrix after those in `kept` (their factor is in L,
 * row by row); the row of `i` is left in L. */
static double
left_over(qx_mat gram, size_t i, size_t count, const size_t kept[], qx_mat L)
{
    double square = QX_AT(gram, i, i);
    for (size_t a = 0; a < count; a++) {
        double sum = QX_AT(gram, i, kept[a]);
        for (size_t b = 0; b < a; b++) {
            sum -= QX_AT(L, count, b) * QX_AT(L, a, b);
        }
        QX_AT(L, count, a) = sum / QX_AT(L, a, a);
        square -= QX_AT(L, count, a) * QX_AT(L, count, a);
    }
    return square;
}

/* tr(M G_i M G_j) for i, j < m and tr(M G_i) in the last row and column: the norms of the
 * profile where all ratios are nil. */
static qx_status gram_of(qx_ctx *cx, const qx_profile *f, qx_mat gram)
{
    qx_profile_point at;
    double *nil;
    QX_NEW(cx, nil, f->m);
    QX_TRY(qx_profile_room(cx, qx_ctx_scratch(cx), f, &at));
    QX_TRY(qx_profile_evaluate(cx, f, nil, &at));
    for (size_t i = 0; i < f->m; i++) {
        for (size_t j = 0; j < f->m; j++) {
            QX_AT(gram, i, j) = QX_AT(at.norm, i, j);
        }
        QX_AT(gram, i, f->m) = QX_AT(gram, f->m, i) = at.trace[i];
    }
    return QX_OK;
}

/* Which random terms have a covariance of their own, seen through M: a Gram-Schmidt
 * process on M, M G_m M, ... M G_1 M with inner product tr(AB), the smallest unit first,
 * so that of two units that always go together the larger is given up. `whole`: the fixed
 * terms take up all that M could see of the term. */
static qx_status tell_apart(qx_ctx *cx, const qx_profile *f, bool own[], bool whole[])
{
    qx_mat gram, L;
    size_t kept[QX_RANDOM_MOST + 1];
    size_t count = 1;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->m + 1, f->m + 1, &gram));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->m + 1, f->m + 1, &L));
    QX_TRY(gram_of(cx, f, gram));
    QX_AT(gram, f->m, f->m) = (double)(f->n - f->p);
    kept[0] = f->m;
    QX_AT(L, 0, 0) = sqrt(QX_AT(gram, f->m, f->m));
    for (size_t i = f->m; i-- > 0;) {
        const double square = left_over(gram, i, count, kept, L);
        whole[i] = !(QX_AT(gram, i, i) > SAME_COVARIANCE * (double)f->n);
        own[i] = square > SAME_COVARIANCE * (double)f->n &&
                 square > SAME_COVARIANCE * QX_AT(gram, i, i);
        if (own[i]) {
            QX_AT(L, count, count) = sqrt(square);
            kept[count++] = i;
        }
    }
    return QX_OK;
}

static qx_status
add_confounded(qx_ctx *cx, qx_lmm_plan *plan, const qx_profile *all, size_t i)
{
    const size_t levels = all->start[i + 1] - all->start[i];
    return all->reduced != NULL
               ? qx_confounded_add_reduced(cx, plan->arena, all, i, &plan->confounded)
               : qx_confounded_add(cx,
                                   plan->arena,
                                   qx_mat_part(all->C, all->start[i], 0, levels, plan->p),
                                   &plan->confounded);
}

/* What is said and kept of a term without a variance of its own. */
static qx_status
give_up(qx_ctx *cx, qx_lmm_plan *plan, const qx_profile *all, size_t i, bool whole)
{
    const char *name = plan->spec.random[i].name;
    if (!whole) {
        return qx_note(cx,
                       "The variation between %s cannot be told apart from that of other "
                       "units in these data: it has no estimate of its own.",
                       name);
    }
    QX_TRY(add_confounded(cx, plan, all, i));
    return qx_note(cx,
                   "No %s is a replicate of another: treatments take up all the "
                   "differences between them. What rests on these differences is "
                   "estimated, but has no standard error and no test.",
                   name);
}

qx_status qx_plan_tell_apart(qx_ctx *cx, qx_lmm_plan *plan, const qx_profile *all)
{
    bool whole[QX_RANDOM_MOST] = {false};
    qx_status status;
    QX_SCRATCH(cx, status, tell_apart(cx, all, plan->own, whole));
    QX_TRY(status);
    for (size_t i = 0; i < plan->spec.random_count; i++) {
        if (!plan->own[i]) {
            QX_TRY(give_up(cx, plan, all, i, whole[i]));
        }
    }
    return QX_OK;
}
