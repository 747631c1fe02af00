/* The least restricted criterion of model/general.h, by the descent of model/descend.h.
 *
 * That descent knows parameters that must not be negative. A variance is one as it stands;
 * a correlation is measured from the one of its two bounds that it moves towards, and the
 * criterion is infinite beyond the other. */
#include <math.h>
#include <string.h>

#include "model/general.h"

/* So many trials beyond open bounds stop a descent, and such turns of its correlations are
 * made at most. */
#define BEYOND_MOST 4
#define TURNS_MOST  12

typedef struct work {
    const qx_general *g;
    qx_general_point *room;
    double sign[QX_DESCENT_MOST]; /* theta = from + sign x */
    double from[QX_DESCENT_MOST];
    double theta[QX_DESCENT_MOST];
    bool beyond[QX_DESCENT_MOST]; /* which correlations ran against their open bound */
    size_t trials;                /* beyond open bounds, in this descent */
    bool stopped;
} work;

static void measure_from(work *w, size_t i, bool high)
{
    const qx_part *part = &w->g->parts.part[i];
    w->sign[i] = high ? -1.0 : 1.0;
    w->from[i] = high ? part->high : part->low;
}

static void to_theta(work *w, const double x[])
{
    for (size_t i = 0; i < w->g->m; i++) {
        w->theta[i] = w->from[i] + w->sign[i] * x[i];
    }
}

/* Is theta beyond an open bound? Where that happens again and again, the descent is stopped
 * by a status of its own: the bound must be one that it knows. */
static qx_status look_for_bounds(work *w, bool *beyond)
{
    *beyond = false;
    for (size_t i = 0; i < w->g->m; i++) {
        const qx_part *part = &w->g->parts.part[i];
        if (!qx_part_is_variance(part->kind) &&
            (w->theta[i] > part->high || w->theta[i] < part->low)) {
            *beyond = w->beyond[i] = true;
        }
    }
    w->trials += *beyond ? 1 : 0;
    w->stopped = w->trials > BEYOND_MOST;
    return w->stopped ? QX_E_NUMERIC : QX_OK;
}

static qx_status value(qx_ctx *cx, void *data, const double x[], double *f)
{
    work *w = data;
    bool beyond;
    to_theta(w, x);
    QX_TRY(look_for_bounds(w, &beyond));
    QX_TRY(qx_general_value(cx, w->g, w->theta, w->room));
    *f = w->room->f;
    return QX_OK;
}

/* A field without variance knows no correlations: they stay where they are. */
static void hold_field(const work *w, double gradient[], qx_mat hessian, qx_mat expected)
{
    const size_t field = w->g->parts.at[QX_PART_FIELD];
    if (field == QX_NO_COLUMN || w->theta[field] > 0.0) {
        return;
    }
    for (size_t i = field + 1; i < w->g->m; i++) { /* the last parameters */
        gradient[i] = 0.0;
        for (size_t j = 0; j < w->g->m; j++) {
            QX_AT(hessian, i, j) = QX_AT(hessian, j, i) = i == j ? 1.0 : 0.0;
            QX_AT(expected, i, j) = QX_AT(expected, j, i) = i == j ? 1.0 : 0.0;
        }
    }
}

static qx_status derive(qx_ctx *cx,
                        void *data,
                        const double x[],
                        double *f,
                        double gradient[],
                        qx_mat hessian,
                        qx_mat expected)
{
    work *w = data;
    const qx_general_point *at = w->room;
    bool beyond;
    to_theta(w, x);
    QX_TRY(look_for_bounds(w, &beyond));
    QX_TRY(qx_general_evaluate(cx, w->g, w->theta, w->room));
    *f = at->f;
    for (size_t i = 0; i < w->g->m; i++) {
        gradient[i] = w->sign[i] * at->gradient[i];
        for (size_t j = 0; j < w->g->m; j++) {
            const double sign = w->sign[i] * w->sign[j];
            QX_AT(hessian, i, j) = sign * QX_AT(at->hessian, i, j);
            QX_AT(expected, i, j) = sign * QX_AT(at->expected, i, j);
        }
    }
    hold_field(w, gradient, hessian, expected);
    return QX_OK;
}

static qx_status run(qx_ctx *cx,
                     work *w,
                     const bool fixed[],
                     bool loose,
                     double gradient[],
                     qx_descent_end *out)
{
    double x[QX_DESCENT_MOST];
    const qx_descent problem = {.m = w->g->m,
                                .data = w,
                                .value = value,
                                .derive = derive,
                                .loose = loose,
                                .gradient = gradient};
    w->trials = 0;
    w->stopped = false;
    memset(w->beyond, 0, sizeof w->beyond);
    for (size_t i = 0; i < w->g->m; i++) {
        x[i] = fmax((w->theta[i] - w->from[i]) * w->sign[i], 0.0);
    }
    const qx_status status = qx_descend(cx, &problem, fixed, x, out);
    to_theta(w, x);
    for (size_t i = 0; gradient != NULL && i < w->g->m; i++) {
        gradient[i] *= w->sign[i];
    }
    return w->stopped ? QX_OK : status;
}

static qx_status descend(qx_ctx *cx,
                         work *w,
                         const bool fixed[],
                         bool loose,
                         double gradient[],
                         qx_descent_end *out)
{
    QX_TRY(qx_general_evaluate(cx, w->g, w->theta, w->room));
    for (size_t i = 0; i < w->g->m; i++) {
        const bool variance = qx_part_is_variance(w->g->parts.part[i].kind);
        measure_from(w, i, !variance && w->room->gradient[i] < 0.0);
    }
    QX_TRY(run(cx, w, fixed, loose, gradient, out));
    for (int turn = 0; turn < TURNS_MOST && w->stopped; turn++) {
        for (size_t i = 0; i < w->g->m; i++) {
            if (w->beyond[i]) {
                measure_from(w, i, w->sign[i] > 0.0);
            }
        }
        QX_TRY(run(cx, w, fixed, loose, gradient, out));
    }
    return QX_OK;
}

qx_status qx_general_descend(qx_ctx *cx,
                             const qx_general *g,
                             qx_general_point *room,
                             const bool fixed[],
                             bool loose,
                             double theta[],
                             double gradient[],
                             qx_descent_end *out)
{
    work w = {.g = g, .room = room};
    qx_status status;
    if (g->m > QX_DESCENT_MOST) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "a model may have at most %d variances and correlations",
                       QX_DESCENT_MOST);
    }
    memcpy(w.theta, theta, g->m * sizeof *theta);
    QX_SCRATCH(cx, status, descend(cx, &w, fixed, loose, gradient, out));
    memcpy(theta, w.theta, g->m * sizeof *theta);
    return status;
}
