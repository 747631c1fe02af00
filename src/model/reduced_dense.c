/* |T_kl|^2 of model/reduced.h from all of M at once, where the core is small enough to be
 * one dense matrix. */
#include "model/reduced.h"
#include "numeric/chol.h"

/* VT = M C, column by column of M: C has few entries in each. */
static void multiply(const qx_sparse *p, const double C[], qx_mat M, qx_mat VT)
{
    const size_t size = M.rows;
    qx_mat_zero(VT);
    for (size_t j = 0; j < p->cols; j++) {
        for (size_t e = p->start[j]; e < p->start[j + 1]; e++) {
            const size_t i = p->row[e];
            const double c = C[e];
            const double *mi = &QX_AT(M, 0, i), *mj = &QX_AT(M, 0, j);
            double *vi = &QX_AT(VT, 0, i), *vj = &QX_AT(VT, 0, j);
            for (size_t a = 0; a < size; a++) {
                vi[a] += c * mj[a];
            }
            for (size_t a = 0; i != j && a < size; a++) {
                vj[a] += c * mi[a];
            }
        }
    }
}

/* Squares of T_ij, i /= j, from the inverse before it is scaled. */
static void between_core(const struct qx_reduced *red,
                         const qx_core_room *room,
                         qx_mat inverse,
                         qx_mat norm)
{
    const qx_core *core = &red->core;
    for (size_t l = 0; l < core->terms; l++) {
        for (size_t j = core->start[l]; j < core->start[l + 1]; j++) {
            for (size_t k = 0; k < core->terms; k++) {
                double sum = 0.0;
                for (size_t i = core->start[k]; i < core->start[k + 1]; i++) {
                    const double t = QX_AT(inverse, i, j) / room->scale[i];
                    sum += i == j ? 0.0 : t * t;
                }
                QX_AT(norm, red->nest.core[k], red->nest.core[l]) +=
                    sum / (room->scale[j] * room->scale[j]);
            }
        }
    }
}

static void add_both(qx_mat to, size_t a, size_t b, double x)
{
    QX_AT(to, a, b) += x;
    if (a != b) {
        QX_AT(to, b, a) += x;
    }
}

/* One nested term with those before it and with the core. */
static void with_nested(const struct qx_reduced *red,
                        const qx_core_room *room,
                        size_t k,
                        const qx_mat VT[],
                        qx_mat M,
                        qx_mat norm)
{
    const qx_core *core = &red->core;
    const size_t tk = red->nest.level[k].term;
    for (size_t l = 0; l < core->terms; l++) {
        double sum = 0.0;
        for (size_t j = core->start[l]; j < core->start[l + 1]; j++) {
            const double gamma = room->scale[j] * room->scale[j];
            double product = 0.0;
            for (size_t i = 0; i < core->size; i++) {
                product += QX_AT(VT[k], j, i) * QX_AT(M, i, j);
            }
            sum += product / (gamma * gamma);
        }
        add_both(norm, tk, red->nest.core[l], -sum);
    }
    for (size_t l = 0; l <= k; l++) {
        double sum = 0.0;
        for (size_t j = 0; j < core->size; j++) {
            for (size_t i = 0; i < core->size; i++) {
                sum += QX_AT(VT[l], i, j) * QX_AT(VT[k], j, i);
            }
        }
        add_both(norm, red->nest.level[l].term, tk, sum);
    }
}

qx_status qx_reduced_norms_dense(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    const struct qx_reduced *red = f->reduced;
    const qx_core *core = &red->core;
    struct qx_reduced_room *room = at->reduced;
    const size_t size = core->size;
    qx_mat M, VT[QX_NEST_MOST];
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), size, size, &M));
    QX_TRY(qx_chol_inverse(cx, room->core.K, M));
    for (size_t j = 0; j < size; j++) {
        for (size_t e = core->pattern.start[j]; e < core->pattern.start[j + 1]; e++) {
            room->inverse[e] = QX_AT(M, core->pattern.row[e], j);
        }
    }
    between_core(red, &room->core, M, at->norm);
    for (size_t j = 0; j < size; j++) {
        for (size_t i = 0; i < size; i++) {
            QX_AT(M, i, j) *= room->core.scale[i] * room->core.scale[j];
        }
    }
    for (size_t k = 0; k < red->nest.depth; k++) {
        QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), size, size, &VT[k]));
        multiply(&core->pattern, qx_core_values(core, &room->core, 1 + k), M, VT[k]);
        with_nested(red, &room->core, k, VT, M, at->norm);
    }
    return QX_OK;
}
