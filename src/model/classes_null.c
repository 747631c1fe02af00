#include <math.h>
#include <string.h>

#include "model/class_draw.h"
#include "model/classes.h"
#include "model/classes_inner.h"

/* A deviation at zero has no gradient: refits start from here instead. */
static const double START_AWAY = 0.2;

struct qx_classes_null {
    const qx_classes *fit;
    qx_mat basis;
    qx_mat L;
    double *z; /* P + D: the fit under the hypothesis */
    double observed;
};

static qx_status
make(qx_ctx *cx, qx_arena *arena, const qx_classes *fit, qx_mat L, qx_classes_null *null)
{
    const struct qx_classes_inner *in = fit->inner;
    const size_t all = in->model.P + in->model.D;
    qx_class_summit summit = {0};
    null->fit = fit;
    QX_NEW_IN(cx, arena, null->z, all);
    QX_TRY(qx_mat_new(cx, arena, L.rows, L.cols, &null->L));
    qx_mat_copy(null->L, L);
    QX_TRY(qx_classes_basis(cx, arena, fit, L, &null->basis));
    QX_TRY(qx_classes_climb_from(
        cx,
        &(qx_class_climb){.model = &in->model, .basis = null->basis},
        in->z,
        null->z,
        &summit));
    null->observed = fmax(0.0, 2.0 * (in->value - summit.value));
    return QX_OK;
}

qx_status qx_classes_null_make(qx_ctx *cx,
                               qx_arena *arena,
                               const qx_classes *fit,
                               qx_mat L,
                               const qx_classes_null **out)
{
    qx_classes_null *null;
    qx_status status;
    QX_NEW_IN(cx, arena, null, 1);
    QX_SCRATCH(cx, status, make(cx, arena, fit, L, null));
    if (status == QX_OK) {
        *out = null;
    }
    return status;
}

double qx_classes_null_observed(const qx_classes_null *null)
{
    return null->observed;
}

/* ---- one draw -------------------------------------------------------------------------- */

/* Effects of all units: effect[r] has level_count numbers. */
static qx_status draw_effects(qx_ctx *cx,
                              const qx_class_model *model,
                              const double z[],
                              qx_rng *rng,
                              double **effect)
{
    for (size_t r = 0; r < model->D; r++) {
        QX_NEW(cx, effect[r], model->random[r].level_count);
        for (size_t l = 0; l < model->random[r].level_count; l++) {
            effect[r][l] = z[model->P + r] * qx_rng_normal(rng);
        }
    }
    return QX_OK;
}

static void
shift(const qx_class_model *model, double *const effect[], size_t cell, double eta[])
{
    for (size_t r = 0; r < model->D; r++) {
        const double u = effect[r][model->random[r].code[cell]];
        for (size_t j = 0; j < model->d && model->parallel; j++) {
            eta[j] -= u;
        }
        if (!model->parallel) {
            eta[model->random[r].predictor] += u;
        }
    }
}

/* number (cells x K), cell by cell: each thing of a cell falls in a class. */
static qx_status draw_numbers(qx_ctx *cx,
                              const qx_class_model *model,
                              const double z[],
                              qx_rng *rng,
                              double number[])
{
    double eta[QX_PREDICTORS_MOST], p[QX_PREDICTORS_MOST + 1], **effect;
    QX_NEW(cx, effect, model->D);
    QX_TRY(draw_effects(cx, model, z, rng, effect));
    for (size_t c = 0; c < model->cells; c++) {
        qx_class_predict(model, model->x + c * model->q, z, eta);
        shift(model, effect, c, eta);
        model->rows->probability(model->d, eta, p);
        const size_t things = (size_t)(model->total[c] + 0.5);
        for (size_t i = 0; i < things; i++) {
            number[c * model->K + qx_class_draw(rng, model->K, p)] += 1.0;
        }
    }
    return QX_OK;
}

/* ---- refits ---------------------------------------------------------------------------- */

/* Keeps the classes that were drawn; gives how many. */
static size_t keep_seen(const qx_class_model *model, const double number[], size_t kept[])
{
    size_t count = 0;
    for (size_t k = 0; k < model->K; k++) {
        double total = 0.0;
        for (size_t c = 0; c < model->cells; c++) {
            total += number[c * model->K + k];
        }
        if (total > 0.0) {
            kept[count++] = k;
        }
    }
    return count;
}

/* The model of fewer classes, from its own start. */
static qx_status fewer_classes(qx_ctx *cx,
                               const qx_class_model *from,
                               const double number[],
                               size_t count,
                               const size_t kept[],
                               qx_class_model *out)
{
    const size_t effects = from->parallel ? 1 : count - 1;
    double *fewer;
    qx_laplace_random *random;
    qx_arena *arena = qx_arena_inside(qx_ctx_scratch(cx));
    if (arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a model of fewer classes");
    }
    QX_NEW(cx, fewer, from->cells * count);
    QX_NEW(cx, random, from->random_count * effects);
    for (size_t c = 0; c < from->cells; c++) {
        for (size_t k = 0; k < count; k++) {
            fewer[c * count + k] = number[c * from->K + kept[k]];
        }
    }
    for (size_t r = 0; r < from->random_count * effects; r++) {
        const size_t term = r / effects, each = from->D / from->random_count;
        random[r] = from->random[term * each];
        random[r].predictor = r % effects;
    }
    *out = *from;
    out->K = count;
    out->number = fewer;
    out->random = random;
    return qx_class_model_finish(cx, arena, out);
}

/* Highest value over all parameters or along the basis, from the start given. */
static qx_status highest(qx_ctx *cx,
                         const qx_class_model *model,
                         qx_mat basis,
                         const qx_mat *guess,
                         const double start[],
                         double z[],
                         double *value)
{
    const qx_class_climb climb = {
        .model = model, .basis = basis, .guess = guess, .loose = true};
    qx_class_summit summit = {0};
    for (size_t i = 0; i < model->P + model->D; i++) {
        z[i] = start[i];
        if (i >= model->P) {
            z[i] = fmax(z[i], START_AWAY);
        }
    }
    if (basis.at == NULL) {
        QX_TRY(qx_class_climb_up(cx, &climb, z, &summit));
    } else {
        double *from;
        QX_NEW(cx, from, model->P + model->D);
        memcpy(from, z, (model->P + model->D) * sizeof *from);
        QX_TRY(qx_classes_climb_from(cx, &climb, from, z, &summit));
    }
    *value = summit.value;
    return QX_OK;
}

static qx_status draw(qx_ctx *cx, const qx_classes_null *null, qx_rng *rng, double *chisq)
{
    const struct qx_classes_inner *in = null->fit->inner;
    qx_class_model model = in->model;
    const qx_mat *guess = &in->hessian;
    qx_mat basis = null->basis;
    double *number, *start = null->z, *z, high, low;
    size_t kept[QX_PREDICTORS_MOST + 1];
    QX_NEW(cx, number, model.cells * model.K);
    QX_TRY(draw_numbers(cx, &model, null->z, rng, number));
    model.number = number;
    const size_t count = keep_seen(&model, number, kept);
    if (count < 2) {
        *chisq = 0.0;
        return QX_OK;
    }
    if (count < model.K) {
        QX_TRY(fewer_classes(cx, &in->model, number, count, kept, &model));
        guess = NULL;
        QX_NEW(cx, start, model.P + model.D);
        qx_class_start(&model, start);
        QX_TRY(qx_classes_basis_of(
            cx, qx_ctx_scratch(cx), null->fit, &model, null->L, &basis));
    }
    QX_NEW(cx, z, model.P + model.D);
    QX_TRY(highest(cx, &model, basis, guess, start, z, &low));
    QX_TRY(highest(cx, &model, (qx_mat){0}, guess, z, z, &high));
    *chisq = fmax(0.0, 2.0 * (high - low));
    return QX_OK;
}

qx_status
qx_classes_null_draw(qx_ctx *cx, const qx_classes_null *null, qx_rng *rng, double *chisq)
{
    double got = NAN;
    qx_status status;
    QX_SCRATCH(cx, status, draw(cx, null, rng, &got));
    if (status == QX_OK) {
        *chisq = got;
    }
    return status;
}
