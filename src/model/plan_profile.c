/* Which way a profile is made (model/plan.h): one matrix, sets of columns, or reduced.
 *
 * A fit takes some tens of points, intervals of its components some hundreds. The way is
 * chosen by what POINTS points and the making are worth in multiplications, each weighed by
 * what it took on the machine of docs/methods/sparse.md:
 *
 *     one matrix   making n p (m + p), point 3 q^3 of LAPACK
 *     sets         the same, with the sum of the cubes
 *     reduced      making n m of counting, point classes, atoms and the sparse factor
 *
 * Few columns and rows are not looked at: one matrix is quick. */
#include "model/blocks.h"
#include "model/design_rows.h"
#include "model/plan.h"
#include "model/reduced.h"

#define POINTS 50.0
/* A dense point: the factor, B and T, by LAPACK. */
#define DENSE_POINT 3.0

/* Random columns, and numbers of Q, of a layout that is not worth a look. */
static const size_t DENSE_COLUMNS = 100;
static const size_t DENSE_NUMBERS = 1000000; /* n p */

static qx_status thin_q(qx_ctx *cx, qx_lmm_plan *plan)
{
    if (plan->Q.at != NULL) {
        return QX_OK;
    }
    QX_TRY(qx_mat_new(cx, plan->arena, plan->n, plan->p, &plan->Q));
    for (size_t j = 0; j < plan->p; j++) {
        QX_TRY(qx_design_basis(cx, &plan->design, j, &QX_AT(plan->Q, 0, j)));
    }
    return QX_OK;
}

static qx_status
dense(qx_ctx *cx, qx_lmm_plan *plan, size_t m, const size_t levels[], qx_profile *out)
{
    double *nil;
    QX_TRY(thin_q(cx, plan));
    QX_NEW(cx, nil, plan->n);
    return qx_profile_make(cx, plan->arena, m, levels, plan->code, plan->Q, nil, out);
}

static qx_status
reduced(qx_ctx *cx, qx_lmm_plan *plan, size_t m, const size_t levels[], qx_profile *out)
{
    const qx_reduced_options how = {.sparse = plan->spec.path == QX_PATH_SPARSE};
    qx_reduced_columns x = {.r_transposed = plan->r_transposed};
    QX_TRY(qx_design_rows(cx, plan->arena, &plan->design, &x.sets, &x.rows));
    return qx_profile_make_reduced(cx, plan->arena, m, levels, plan->code, &x, &how, out);
}

/* Is one matrix, or one for each set of columns, the quicker way? */
static qx_status dense_is_cheaper(qx_ctx *cx,
                                  const qx_lmm_plan *plan,
                                  size_t m,
                                  const size_t levels[],
                                  const qx_profile *by_reduction,
                                  bool *out)
{
    const double n = (double)plan->n;
    const double p = (double)plan->p;
    double cubes;
    QX_TRY(qx_blocks_cubes(cx, plan->n, m, levels, plan->code, &cubes));
    *out = n * p * ((double)m + 2.0 * p) + POINTS * DENSE_POINT * cubes <
           POINTS * qx_reduced_point_cost(by_reduction);
    return QX_OK;
}

static bool worth_a_look(const qx_lmm_plan *plan, size_t m, const size_t levels[])
{
    size_t q = 0;
    for (size_t k = 0; k < m; k++) {
        q += levels[k];
    }
    return q > DENSE_COLUMNS || plan->n > DENSE_NUMBERS / plan->p;
}

qx_status qx_plan_profile(
    qx_ctx *cx, qx_lmm_plan *plan, size_t m, const size_t levels[], qx_profile *out)
{
    const qx_path path = plan->spec.covariance != NULL ? QX_PATH_DENSE : plan->spec.path;
    bool cheaper;
    if (m == 0 || path == QX_PATH_DENSE ||
        (path == QX_PATH_AUTO && !worth_a_look(plan, m, levels))) {
        return dense(cx, plan, m, levels, out);
    }
    QX_TRY(reduced(cx, plan, m, levels, out));
    if (path == QX_PATH_SPARSE || plan->design.row_of != NULL) {
        return QX_OK; /* on request; or nothing of n x p is wanted */
    }
    QX_TRY(dense_is_cheaper(cx, plan, m, levels, out, &cheaper));
    return cheaper ? dense(cx, plan, m, levels, out) : QX_OK;
}
