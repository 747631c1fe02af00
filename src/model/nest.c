#include "model/nest.h"

/* What a unit gives to the one above it. */
typedef struct gift {
    double w[QX_JET_MOST], b[QX_JET_MOST];
} gift;

qx_status
qx_nest_room_make(qx_ctx *cx, qx_arena *arena, const qx_nest *nest, qx_nest_room *out)
{
    const size_t size = qx_jet_size(nest->depth);
    QX_NEW_IN(cx, arena, out->w, nest->atoms * size);
    QX_NEW_IN(cx, arena, out->b, nest->atoms * size);
    for (size_t k = 1; k < nest->depth; k++) {
        QX_NEW_IN(cx, arena, out->sigma[k], nest->level[k].units * size);
        QX_NEW_IN(cx, arena, out->weighed[k], nest->level[k].units * size);
    }
    return QX_OK;
}

static qx_status
cells_of(qx_ctx *cx, const qx_nest *nest, const double r[], qx_nest_data *data)
{
    double *sum;
    QX_NEW(cx, sum, nest->cells);
    for (size_t i = 0; i < nest->n; i++) {
        sum[nest->cell_of[i]] += r[i];
    }
    for (size_t c = 0; c < nest->cells; c++) {
        data->cell[c] = sum[c] / (double)nest->size[c];
        sum[c] = 0.0;
    }
    /* Cell by cell, so that no long sum loses digits. */
    for (size_t i = 0; i < nest->n; i++) {
        const double d = r[i] - data->cell[nest->cell_of[i]];
        sum[nest->cell_of[i]] += d * d;
    }
    data->within = 0.0;
    for (size_t c = 0; c < nest->cells; c++) {
        data->within += sum[c];
    }
    return QX_OK;
}

qx_status qx_nest_data_make(
    qx_ctx *cx, qx_arena *arena, const qx_nest *nest, const double r[], qx_nest_data *out)
{
    qx_nest_data data;
    qx_status status;
    QX_NEW_IN(cx, arena, data.cell, nest->cells);
    QX_NEW_IN(cx, arena, data.mean, nest->classes);
    QX_NEW_IN(cx, arena, data.squares, nest->classes);
    QX_SCRATCH(cx, status, cells_of(cx, nest, r, &data));
    QX_TRY(status);
    for (size_t c = 0; c < nest->cells; c++) {
        data.mean[nest->class_of[c]] += data.cell[c];
    }
    for (size_t k = 0; k < nest->classes; k++) {
        data.mean[k] /= nest->class_count[k];
    }
    for (size_t c = 0; c < nest->cells; c++) {
        const double d = data.cell[c] - data.mean[nest->class_of[c]];
        data.squares[nest->class_of[c]] += d * d;
    }
    *out = data;
    return QX_OK;
}

/* Where the gifts of level k go. */
static double *above(const qx_nest *nest, double *const level[], double *atoms, size_t k)
{
    return k + 1 < nest->depth ? level[k + 1] : atoms;
}

/* All members of one class: w = size / (1 + gamma size) and its derivatives by gamma. */
static void walk_class(const qx_nest *nest,
                       const qx_nest_data *data,
                       double gamma,
                       size_t s,
                       size_t c,
                       qx_nest_room *room)
{
    const size_t size = qx_jet_size(s);
    const double n = nest->class_size[c], count = nest->class_count[c];
    const double m = data != NULL ? data->mean[c] : 0.0;
    const double w = n / (1.0 + gamma * n);
    const double squares = data != NULL ? count * m * m + data->squares[c] : 0.0;
    double *to_w = above(nest, room->sigma, room->w, 0) + nest->class_parent[c] * size;
    double *to_b = above(nest, room->weighed, room->b, 0) + nest->class_parent[c] * size;
    to_w[0] += count * w;
    to_b[0] += count * w * m;
    room->q[0] += w * squares;
    room->log_d[0] += count * log1p(gamma * n);
    if (s > 0) {
        const size_t second = qx_jet_second(s, 0, 0);
        const double w1 = -w * w, w2 = 2.0 * w * w * w;
        to_w[1] += count * w1;
        to_b[1] += count * w1 * m;
        room->q[1] += w1 * squares;
        room->log_d[1] += count * w;
        to_w[second] += count * w2;
        to_b[second] += count * w2 * m;
        room->q[second] += w2 * squares;
        room->log_d[second] += count * w1;
    }
}

/* One unit of level k > 0. */
static void walk_unit(double gamma,
                      size_t k,
                      size_t s,
                      const double sigma[],
                      const double weighed[],
                      qx_nest_room *room,
                      gift *out)
{
    const size_t size = qx_jet_size(s);
    double grown[QX_JET_MOST], rho[QX_JET_MOST], change[QX_JET_MOST];
    qx_jet_times_variable(s, gamma, k, sigma, grown);
    const double inverse = 1.0 / (1.0 + grown[0]);
    qx_jet_apply(s, grown, log1p(grown[0]), inverse, -inverse * inverse, change);
    qx_jet_add(size, change, room->log_d);
    qx_jet_apply(
        s, grown, inverse, -inverse * inverse, 2.0 * inverse * inverse * inverse, rho);
    qx_jet_multiply(s, rho, sigma, out->w);
    qx_jet_multiply(s, rho, weighed, out->b);
    qx_jet_multiply(s, weighed, out->b, change);
    qx_jet_times_variable(s, gamma, k, change, change);
    for (size_t c = 0; c < size; c++) {
        room->q[c] -= change[c];
    }
}

void qx_nest_walk(const qx_nest *nest,
                  const qx_nest_data *data,
                  const double gamma[],
                  size_t s,
                  qx_nest_room *room)
{
    const size_t size = qx_jet_size(s);
    memset(room->w, 0, nest->atoms * size * sizeof *room->w);
    memset(room->b, 0, nest->atoms * size * sizeof *room->b);
    memset(room->q, 0, sizeof room->q);
    memset(room->log_d, 0, sizeof room->log_d);
    for (size_t k = 1; k < nest->depth; k++) {
        memset(room->sigma[k], 0, nest->level[k].units * size * sizeof *room->w);
        memset(room->weighed[k], 0, nest->level[k].units * size * sizeof *room->w);
    }
    const double lowest = nest->depth > 0 ? gamma[nest->level[0].term] : 0.0;
    for (size_t c = 0; c < nest->classes; c++) {
        walk_class(nest, data, lowest, s, c, room);
    }
    for (size_t k = 1; k < nest->depth; k++) {
        const qx_nest_level *l = &nest->level[k];
        double *to_w = above(nest, room->sigma, room->w, k);
        double *to_b = above(nest, room->weighed, room->b, k);
        for (size_t u = 0; u < l->units; u++) {
            gift g;
            walk_unit(gamma[l->term],
                      k,
                      s,
                      room->sigma[k] + u * size,
                      room->weighed[k] + u * size,
                      room,
                      &g);
            qx_jet_add(size, g.w, to_w + l->parent[u] * size);
            qx_jet_add(size, g.b, to_b + l->parent[u] * size);
        }
    }
    room->q[0] += data != NULL ? data->within : 0.0;
}

qx_status qx_nest_effects(qx_ctx *cx,
                          const qx_nest *nest,
                          const qx_nest_data *data,
                          const double gamma[],
                          size_t s,
                          const qx_nest_room *room,
                          const double atom[],
                          double *effect[],
                          double cell[])
{
    const size_t size = qx_jet_size(s);
    const double *expected = atom; /* of the level above */
    if (nest->depth == 0) {
        memcpy(cell, atom, nest->cells * sizeof *cell);
        return QX_OK;
    }
    for (size_t k = nest->depth; k-- > 0;) {
        const qx_nest_level *l = &nest->level[k];
        const double g = gamma[l->term];
        double *here = cell;
        if (k > 0) {
            QX_NEW(cx, here, l->units);
        }
        for (size_t u = 0; u < l->units; u++) {
            const double sigma = k > 0 ? room->sigma[k][u * size] : (double)nest->size[u];
            const double weighed =
                k > 0 ? room->weighed[k][u * size] : sigma * data->cell[u];
            const double above_it = expected[l->parent[u]];
            effect[k][u] = g / (1.0 + g * sigma) * (weighed - sigma * above_it);
            here[u] = above_it + effect[k][u];
        }
        expected = here;
    }
    return QX_OK;
}
