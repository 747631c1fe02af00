/* |T_kl|^2, tr T_kk and N_k'T_kl N_l of model/reduced.h. */
#include <math.h>

#include "model/reduced.h"
#include "numeric/chol.h"

/* Columns of M that are made at once. */
#define WIDTH 128

/* Random term of core term k. */
static size_t term_of(const struct qx_reduced *red, size_t k)
{
    return red->nest.core[k];
}

static void add_both(qx_mat to, size_t a, size_t b, double x)
{
    QX_AT(to, a, b) += x;
    if (a != b) {
        QX_AT(to, b, a) += x;
    }
}

/* -d2 log|D| : tr D^-1 G_k D^-1 G_l; everything else nil. */
static void begin_norms(const qx_profile *f, qx_profile_point *at)
{
    const struct qx_reduced *red = f->reduced;
    const size_t s = red->nest.depth;
    qx_mat_zero(at->norm);
    for (size_t l = 0; l < s; l++) {
        for (size_t k = 0; k <= l; k++) {
            add_both(at->norm,
                     red->nest.level[k].term,
                     red->nest.level[l].term,
                     -at->reduced->walk.log_d[qx_jet_second(s, k, l)]);
        }
    }
}

void qx_reduced_traces(const qx_profile *f, qx_profile_point *at, bool norms)
{
    const struct qx_reduced *red = f->reduced;
    struct qx_reduced_room *room = at->reduced;
    const qx_core *core = &red->core;
    const qx_sparse *p = &core->pattern;
    const size_t s = red->nest.depth;
    const size_t jet = qx_jet_size(s);
    double along[QX_JET_MOST] = {0.0};
    memset(room->t, 0, core->size * sizeof *room->t);
    for (size_t j = 0; j < core->size; j++) {
        const double sj = room->core.scale[j];
        for (size_t e = p->start[j]; e < p->start[j + 1]; e++) {
            const size_t i = p->row[e];
            const double si = room->core.scale[i];
            const double z = room->inverse[e];
            const double both = (i == j ? 1.0 : 2.0) * si * sj * z;
            for (size_t c = 1; c < jet; c++) {
                along[c] += both * qx_core_values(core, &room->core, c)[e];
            }
            if (i >= core->p) {
                room->t[i] += room->core.C[e] * sj * z / si;
            }
            if (j >= core->p && i != j) {
                room->t[j] += room->core.C[e] * si * z / sj;
            }
        }
    }
    for (size_t k = 0; k < core->terms; k++) {
        double trace = 0.0, square = 0.0;
        for (size_t j = core->start[k]; j < core->start[k + 1]; j++) {
            trace += room->t[j];
            square += room->t[j] * room->t[j];
        }
        at->trace[term_of(red, k)] = trace;
        if (norms) {
            QX_AT(at->norm, term_of(red, k), term_of(red, k)) += square;
        }
    }
    for (size_t l = 0; l < s; l++) {
        const size_t tl = red->nest.level[l].term;
        at->trace[tl] = room->walk.log_d[1 + l] + along[1 + l];
        for (size_t k = 0; norms && k <= l; k++) {
            add_both(
                at->norm, red->nest.level[k].term, tl, -along[qx_jet_second(s, k, l)]);
        }
    }
}

/* Room of one stretch of columns. */
typedef struct stretch {
    size_t from, count;
    qx_mat m;               /* size x count: columns of (L L')^-1 */
    qx_mat unit;            /* unit vectors, then S m */
    qx_mat v[QX_NEST_MOST]; /* dC/dk S m s_j */
    qx_mat d[QX_NEST_MOST]; /* M dC/dk e_j */
} stretch;

static void keep_inverse(const qx_core *core, const stretch *x, double inverse[])
{
    for (size_t c = 0; c < x->count; c++) {
        const size_t j = x->from + c;
        for (size_t e = core->pattern.start[j]; e < core->pattern.start[j + 1]; e++) {
            inverse[e] = QX_AT(x->m, core->pattern.row[e], c);
        }
    }
}

/* Off-diagonal T_ij^2 of one column of Z. */
static void between_core(const struct qx_reduced *red,
                         const qx_core_room *room,
                         const stretch *x,
                         size_t c,
                         qx_mat norm)
{
    const qx_core *core = &red->core;
    const size_t j = x->from + c;
    const size_t l = qx_core_term_of(core, j);
    if (l == core->terms) {
        return;
    }
    for (size_t k = 0; k < core->terms; k++) {
        double sum = 0.0;
        for (size_t i = core->start[k]; i < core->start[k + 1]; i++) {
            const double t =
                i == j ? 0.0 : QX_AT(x->m, i, c) / (room->scale[i] * room->scale[j]);
            sum += t * t;
        }
        QX_AT(norm, term_of(red, k), term_of(red, l)) += sum;
    }
}

/* tr M_l.S_k M_.l / gamma_l^2 and tr M S_k M S_l of one column. */
static void with_nested(const struct qx_reduced *red,
                        const qx_core_room *room,
                        const stretch *x,
                        size_t c,
                        qx_mat norm)
{
    const qx_core *core = &red->core;
    const size_t j = x->from + c;
    const size_t l = qx_core_term_of(core, j);
    const double sj = room->scale[j];
    for (size_t k = 0; k < red->nest.depth; k++) {
        const size_t tk = red->nest.level[k].term;
        if (l < core->terms) {
            const double sum =
                qx_dot(core->size, &QX_AT(x->unit, 0, c), &QX_AT(x->v[k], 0, c));
            add_both(norm, tk, term_of(red, l), -sum / (sj * sj * sj));
        }
        for (size_t i = 0; i <= k; i++) {
            const double sum =
                qx_dot(core->size, &QX_AT(x->d[i], 0, c), &QX_AT(x->v[k], 0, c));
            add_both(norm, red->nest.level[i].term, tk, sum);
        }
    }
}

static qx_status
do_stretch(qx_ctx *cx, const struct qx_reduced *red, qx_core_room *room, stretch *x)
{
    const qx_core *core = &red->core;
    qx_mat_zero(x->m);
    qx_mat_zero(x->unit);
    for (size_t c = 0; c < x->count; c++) {
        QX_AT(x->m, x->from + c, c) = QX_AT(x->unit, x->from + c, c) = 1.0;
    }
    QX_TRY(qx_core_apply(cx, room, x->m));
    for (size_t k = 0; k < red->nest.depth; k++) {
        qx_mat_zero(x->d[k]);
        qx_sparse_symmetric_multiply(
            &core->pattern, qx_core_values(core, room, 1 + k), 1.0, x->unit, x->d[k]);
        qx_core_scale(room, x->d[k]);
        QX_TRY(qx_core_apply(cx, room, x->d[k]));
        qx_core_scale(room, x->d[k]);
    }
    qx_mat_copy(x->unit, x->m);
    qx_core_scale(room, x->unit);
    for (size_t k = 0; k < red->nest.depth; k++) {
        qx_mat_zero(x->v[k]);
        qx_sparse_symmetric_multiply(
            &core->pattern, qx_core_values(core, room, 1 + k), 1.0, x->unit, x->v[k]);
        for (size_t c = 0; c < x->count; c++) {
            for (size_t i = 0; i < core->size; i++) {
                QX_AT(x->v[k], i, c) *= room->scale[x->from + c];
            }
        }
    }
    return QX_OK;
}

static qx_status norms_by_columns(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    const struct qx_reduced *red = f->reduced;
    struct qx_reduced_room *room = at->reduced;
    const size_t size = red->core.size;
    const size_t width = size < WIDTH ? size : WIDTH;
    qx_arena *scratch = qx_ctx_scratch(cx);
    qx_mat m, unit, v[QX_NEST_MOST], d[QX_NEST_MOST];
    QX_TRY(qx_mat_new(cx, scratch, size, width, &m));
    QX_TRY(qx_mat_new(cx, scratch, size, width, &unit));
    for (size_t k = 0; k < red->nest.depth; k++) {
        QX_TRY(qx_mat_new(cx, scratch, size, width, &v[k]));
        QX_TRY(qx_mat_new(cx, scratch, size, width, &d[k]));
    }
    for (size_t from = 0; from < size; from += width) {
        const size_t count = size - from < width ? size - from : width;
        stretch x = {.from = from, .count = count};
        x.m = qx_mat_part(m, 0, 0, size, count);
        x.unit = qx_mat_part(unit, 0, 0, size, count);
        for (size_t k = 0; k < red->nest.depth; k++) {
            x.v[k] = qx_mat_part(v[k], 0, 0, size, count);
            x.d[k] = qx_mat_part(d[k], 0, 0, size, count);
        }
        if (qx_ctx_cancelled(cx)) {
            return qx_fail(cx, QX_E_CANCELLED, "stopped on request");
        }
        QX_TRY(do_stretch(cx, red, &room->core, &x));
        keep_inverse(&red->core, &x, room->inverse);
        for (size_t c = 0; c < count; c++) {
            between_core(red, &room->core, &x, c, at->norm);
            with_nested(red, &room->core, &x, c, at->norm);
        }
    }
    return QX_OK;
}

qx_status qx_reduced_norms(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    begin_norms(f, at);
    QX_TRY(f->reduced->core.dense ? qx_reduced_norms_dense(cx, f, at)
                                  : norms_by_columns(cx, f, at));
    qx_reduced_traces(f, at, true);
    return QX_OK;
}

/* Where each term's answers stand: a[t] of the core terms, b[t] of the nested ones. */
static qx_status answers(qx_ctx *cx,
                         const struct qx_reduced *red,
                         qx_core_room *room,
                         qx_mat w,
                         const qx_mat g[],
                         qx_mat a[])
{
    const qx_core *core = &red->core;
    for (size_t k = 0; k < core->terms; k++) {
        qx_mat *to = &a[term_of(red, k)];
        QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), core->size, w.cols, to));
        for (size_t c = 0; c < w.cols; c++) {
            for (size_t j = core->start[k]; j < core->start[k + 1]; j++) {
                QX_AT(*to, j, c) = QX_AT(w, j, c) / room->scale[j];
            }
        }
        QX_TRY(qx_core_apply(cx, room, *to));
        qx_core_scale(room, *to);
    }
    for (size_t k = 0; k < red->nest.depth; k++) {
        qx_mat *to = &a[red->nest.level[k].term];
        QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), core->size, w.cols, to));
        qx_mat_copy(*to, g[k]);
        qx_core_scale(room, *to);
        QX_TRY(qx_core_apply(cx, room, *to));
        qx_core_scale(room, *to);
    }
    return QX_OK;
}

/* w_k'(C a_l)_k and g_k'a_l of one core term l. */
static qx_status forms_of_core(qx_ctx *cx,
                               const qx_profile *f,
                               const qx_profile_point *at,
                               size_t l,
                               qx_mat w,
                               const qx_mat g[],
                               const qx_mat a[],
                               qx_mat out[])
{
    const struct qx_reduced *red = f->reduced;
    const qx_core *core = &red->core;
    const size_t tl = term_of(red, l);
    qx_mat product;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), core->size, w.cols, &product));
    qx_sparse_symmetric_multiply(
        &core->pattern, at->reduced->core.C, 1.0, a[tl], product);
    for (size_t k = 0; k < core->terms; k++) {
        const size_t count = core->start[k + 1] - core->start[k];
        QX_TRY(qx_mat_multiply(cx,
                               't',
                               'n',
                               1.0,
                               qx_mat_part(w, core->start[k], 0, count, w.cols),
                               qx_mat_part(product, core->start[k], 0, count, w.cols),
                               0.0,
                               out[term_of(red, k) + tl * f->m]));
    }
    for (size_t k = 0; k < red->nest.depth; k++) {
        const size_t tk = red->nest.level[k].term;
        QX_TRY(qx_mat_multiply(cx, 't', 'n', 1.0, g[k], a[tl], 0.0, out[tk + tl * f->m]));
        QX_TRY(qx_mat_multiply(cx, 't', 'n', 1.0, a[tl], g[k], 0.0, out[tl + tk * f->m]));
    }
    return QX_OK;
}

qx_status qx_reduced_forms(qx_ctx *cx,
                           const qx_profile *f,
                           const qx_profile_point *at,
                           qx_mat w,
                           const qx_mat g[],
                           const qx_mat middle[],
                           qx_mat out[])
{
    const struct qx_reduced *red = f->reduced;
    const size_t s = red->nest.depth;
    qx_mat *a;
    QX_NEW(cx, a, f->m);
    for (size_t i = 0; i < f->m * f->m; i++) {
        QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), w.cols, w.cols, &out[i]));
    }
    QX_TRY(answers(cx, red, &at->reduced->core, w, g, a));
    for (size_t l = 0; l < red->core.terms; l++) {
        QX_TRY(forms_of_core(cx, f, at, l, w, g, a, out));
    }
    for (size_t l = 0; l < s; l++) {
        const size_t tl = red->nest.level[l].term;
        for (size_t k = 0; k < s; k++) {
            const qx_mat to = out[red->nest.level[k].term + tl * f->m];
            qx_mat_copy(to, middle[k + l * s]);
            QX_TRY(qx_mat_multiply(cx, 't', 'n', -1.0, g[k], a[tl], 1.0, to));
        }
    }
    return QX_OK;
}
