/* Where the descent of a general covariance begins, and which of its ends is the lowest.
 *
 * The start is the fit of variance components. A correlation can hide in a unit's variance
 * or the other way round, and a field between many bumps and few: some starts of each kind
 * are looked at, and the best ones followed to their ends. */
#include <math.h>
#include <string.h>

#include "model/general_fit.h"

#define FOLLOWED 3

typedef struct start {
    double theta[QX_DESCENT_MOST];
    double f;
} start;

/* The start from `theta` with a correlation of neighbouring dates and a share of the
 * smallest unit's variance moved to the residual. */
static void with_series(const qx_general *g, double rho, double share, double theta[])
{
    const size_t at = g->parts.at[QX_PART_SERIES];
    const size_t first = g->parts.at[QX_PART_RESIDUAL];
    if (at == QX_NO_COLUMN) {
        return;
    }
    theta[at] = fmax(rho, g->parts.part[at].low);
    if (first > 0) {
        const double moved = share * theta[first - 1];
        theta[first - 1] -= moved;
        for (size_t l = 0; l < g->parts.levels; l++) {
            theta[first + l] += moved;
        }
    }
}

static void
with_field(const qx_general *g, double share, double row, double place, double theta[])
{
    const size_t at = g->parts.at[QX_PART_FIELD];
    if (at == QX_NO_COLUMN) {
        return;
    }
    double most = 0.0;
    for (size_t i = 0; i < at; i++) {
        if (qx_part_is_variance(g->parts.part[i].kind)) {
            most += theta[i] / (double)g->parts.levels;
            theta[i] *= 1.0 - share;
        }
    }
    theta[at] = share * most;
    if (g->parts.at[QX_PART_ROW] != QX_NO_COLUMN) {
        theta[g->parts.at[QX_PART_ROW]] = row;
    }
    if (g->parts.at[QX_PART_PLACE] != QX_NO_COLUMN) {
        theta[g->parts.at[QX_PART_PLACE]] = place;
    }
}

static void
keep(start best[], size_t *count, const qx_general *g, const double theta[], double f)
{
    size_t at = *count < FOLLOWED ? (*count)++ : FOLLOWED;
    if (!isfinite(f)) {
        *count -= at < FOLLOWED ? 1 : 0;
        return;
    }
    while (at > 0 && f < best[at - 1].f) {
        if (at < FOLLOWED) {
            best[at] = best[at - 1];
        }
        at--;
    }
    if (at < FOLLOWED) {
        memcpy(best[at].theta, theta, g->m * sizeof *theta);
        best[at].f = f;
    }
}

static qx_status look(qx_ctx *cx,
                      const qx_general *g,
                      qx_general_point *room,
                      const bool fixed[],
                      const double origin[],
                      start best[],
                      size_t *count)
{
    static const double series[][2] = {{0.05, 0.0}, {0.4, 0.5}, {0.8, 0.9}, {-0.3, 0.0}};
    static const double field[][3] = {{0.3, 0.3, 0.3},
                                      {0.6, 0.8, 0.8},
                                      {0.6, 0.9, 0.2},
                                      {0.6, 0.2, 0.9},
                                      {0.8, 0.95, 0.95}};
    const bool dated = g->parts.at[QX_PART_SERIES] != QX_NO_COLUMN;
    const bool placed = g->parts.at[QX_PART_FIELD] != QX_NO_COLUMN;
    for (size_t a = 0; a < (dated ? QX_COUNT(series) : 1); a++) {
        for (size_t b = 0; b < (placed ? QX_COUNT(field) : 1); b++) {
            double theta[QX_DESCENT_MOST];
            memcpy(theta, origin, g->m * sizeof *theta);
            with_series(g, series[a][0], series[a][1], theta);
            with_field(g, field[b][0], field[b][1], field[b][2], theta);
            for (size_t i = 0; fixed != NULL && i < g->m; i++) {
                theta[i] = fixed[i] ? origin[i] : theta[i];
            }
            QX_TRY(qx_general_value(cx, g, theta, room));
            keep(best, count, g, theta, room->f);
        }
    }
    return QX_OK;
}

qx_status qx_general_search(qx_ctx *cx,
                            const qx_general *g,
                            qx_general_point *room,
                            const bool fixed[],
                            double theta[],
                            qx_descent_end *out)
{
    start best[FOLLOWED];
    size_t count = 0;
    size_t iterations = 0;
    double found[QX_DESCENT_MOST];
    QX_TRY(look(cx, g, room, fixed, theta, best, &count));
    *out = (qx_descent_end){.f = INFINITY};
    for (size_t k = 0; k < count; k++) {
        qx_descent_end end = {.f = INFINITY};
        QX_TRY(qx_general_descend(cx, g, room, fixed, false, best[k].theta, NULL, &end));
        iterations += end.iterations;
        const bool better =
            end.converged == out->converged ? end.f < out->f : end.converged;
        if (isfinite(end.f) && better) {
            *out = end;
            memcpy(found, best[k].theta, g->m * sizeof *found);
        }
    }
    if (isfinite(out->f)) {
        memcpy(theta, found, g->m * sizeof *theta);
    }
    out->iterations = iterations;
    return qx_general_evaluate(cx, g, theta, room);
}
