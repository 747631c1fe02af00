/* A reduced profile as one matrix again (model/reduced.h), for what needs G, C and z. */
#include "model/reduced.h"
#include "numeric/chol.h"

/* Column of each term in one cell, and the cell's atom. */
static size_t columns_of(const qx_profile *f, size_t cell, size_t column[])
{
    const qx_nest *nest = &f->reduced->nest;
    size_t unit = cell;
    for (size_t k = 0; k < nest->depth; k++) {
        const qx_nest_level *l = &nest->level[k];
        column[l->term] = f->start[l->term] + l->level[unit];
        unit = l->parent[unit];
    }
    for (size_t k = 0; k < nest->core_count; k++) {
        column[nest->core[k]] = f->start[nest->core[k]] + nest->code[k][unit];
    }
    return unit;
}

static void
add_cell(const qx_profile *f, size_t cell, const size_t column[], size_t atom, double z[])
{
    const struct qx_reduced *red = f->reduced;
    const double size = (double)red->nest.size[cell];
    for (size_t a = 0; a < f->m; a++) {
        for (size_t b = 0; b < f->m; b++) {
            QX_AT(f->G, column[a], column[b]) += size;
        }
        for (size_t j = 0; j < f->p; j++) {
            QX_AT(f->C, column[a], j) +=
                size * QX_AT(red->core.X, red->nest.set[atom], j);
        }
        z[column[a]] += size * f->data->cell[cell];
    }
}

/* C := C turn^-1 : from the core's columns of X to those of Q. */
static qx_status to_q(qx_ctx *cx, const qx_profile *f)
{
    const qx_mat turn = f->reduced->turn;
    qx_mat lower, turned;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->p, f->p, &lower));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->p, f->q, &turned));
    for (size_t j = 0; j < f->p; j++) {
        for (size_t i = 0; i <= j; i++) {
            QX_AT(lower, j, i) = QX_AT(turn, i, j);
        }
        for (size_t k = 0; k < f->q; k++) {
            QX_AT(turned, j, k) = QX_AT(f->C, k, j);
        }
    }
    QX_TRY(qx_chol_solve_lower(cx, 'n', lower, turned));
    for (size_t j = 0; j < f->p; j++) {
        for (size_t k = 0; k < f->q; k++) {
            QX_AT(f->C, k, j) = QX_AT(turned, j, k);
        }
    }
    return QX_OK;
}

static qx_status whole(qx_ctx *cx, const qx_profile *f, double z[])
{
    size_t *column;
    QX_NEW(cx, column, f->m);
    for (size_t c = 0; c < f->reduced->nest.cells; c++) {
        const size_t atom = columns_of(f, c, column);
        add_cell(f, c, column, atom, z);
    }
    QX_TRY(to_q(cx, f));
    return qx_mat_multiply(cx, 'n', 't', -1.0, f->C, f->C, 1.0, f->G);
}

qx_status
qx_reduced_whole(qx_ctx *cx, qx_arena *arena, const qx_profile *reduced, qx_profile *out)
{
    qx_profile f = *reduced;
    double *z;
    qx_status status;
    QX_NEW_IN(cx, arena, z, f.q);
    QX_TRY(qx_mat_new(cx, arena, f.q, f.q, &f.G));
    QX_TRY(qx_mat_new(cx, arena, f.q, f.p, &f.C));
    QX_SCRATCH(cx, status, whole(cx, &f, z));
    QX_TRY(status);
    f.z = z;
    f.reduced = NULL;
    f.data = NULL;
    *out = f;
    return QX_OK;
}
