#include <math.h>
#include <string.h>

#include "model/classes.h"
#include "model/classes_inner.h"
#include "numeric/dist.h"
#include "numeric/qr.h"
#include "numeric/root.h"

/* Times its standard error that a profile is followed before its end counts as open. */
static const double REACH_MOST = 64.0;
/* Relative width to which an end of an interval is found. */
static const double END_PRECISION = 1e-8;
/* Share of a row of a hypothesis that its making may leave on the intercept. */
static const double INTERCEPT_MOST = 1e-9;

/* Orthonormal columns that C (r x q, full row rank) sends to zero: q x (q - r). */
static qx_status null_space(qx_ctx *cx, qx_arena *arena, qx_mat C, qx_mat *out)
{
    const size_t r = C.rows, q = C.cols;
    qx_mat turned;
    qx_qr qr;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), q, r, &turned));
    for (size_t i = 0; i < r; i++) {
        for (size_t j = 0; j < q; j++) {
            QX_AT(turned, j, i) = QX_AT(C, i, j);
        }
    }
    QX_TRY(qx_qr_factor(cx, qx_ctx_scratch(cx), turned, &qr));
    if (qr.rank < r) {
        return qx_fail(cx, QX_E_RANK, "the rows of the hypothesis depend on each other");
    }
    QX_TRY(qx_mat_new(cx, arena, q, q - r, out));
    for (size_t j = 0; j < q - r; j++) {
        QX_AT(*out, r + j, j) = 1.0;
        qx_qr_apply(&qr, 'n', out->at + j * out->ld);
    }
    return QX_OK;
}

/* The basis of all P parameters from that of the slopes of one predictor. */
static qx_status spread_basis(
    qx_ctx *cx, qx_arena *arena, const qx_class_model *model, qx_mat one, qx_mat *basis)
{
    const size_t d = model->d, q = model->q, f = one.cols;
    if (!model->parallel) {
        QX_TRY(qx_mat_new(cx, arena, model->P, d * f, basis));
        for (size_t j = 0; j < d; j++) {
            qx_mat_copy(qx_mat_part(*basis, j * q, j * f, q, f), one);
        }
        return QX_OK;
    }
    QX_TRY(qx_mat_new(cx, arena, model->P, d + f, basis));
    for (size_t j = 0; j < d; j++) {
        QX_AT(*basis, j, j) = 1.0;
    }
    qx_mat_copy(qx_mat_part(*basis, d, d, q, f), one);
    return QX_OK;
}

qx_status qx_classes_basis_of(qx_ctx *cx,
                              qx_arena *arena,
                              const qx_classes *fit,
                              const qx_class_model *model,
                              qx_mat L,
                              qx_mat *basis)
{
    const struct qx_classes_inner *in = fit->inner;
    const size_t q = in->model.q;
    qx_mat C, one;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), L.rows, q, &C));
    QX_TRY(qx_mat_multiply(
        cx, 'n', 'n', 1.0, qx_mat_part(L, 0, in->skip, L.rows, q), in->root, 0.0, C));
    QX_TRY(null_space(cx, qx_ctx_scratch(cx), C, &one));
    return spread_basis(cx, arena, model, one, basis);
}

qx_status qx_classes_basis(
    qx_ctx *cx, qx_arena *arena, const qx_classes *fit, qx_mat L, qx_mat *basis)
{
    if (L.cols != fit->design.p || L.rows == 0 || L.rows > fit->inner->model.q) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "a hypothesis of %zu rows of %zu does not fit %zu columns",
                       L.rows,
                       L.cols,
                       fit->design.p);
    }
    for (size_t i = 0; i < L.rows && fit->kind == QX_CUMULATIVE; i++) {
        double most = 0.0;
        for (size_t j = 1; j < L.cols; j++) {
            most = fmax(most, fabs(QX_AT(L, i, j)));
        }
        if (fabs(QX_AT(L, i, 0)) > INTERCEPT_MOST * most) {
            return qx_fail(
                cx, QX_E_SHAPE, "a hypothesis about grades cannot hold the intercept");
        }
    }
    return qx_classes_basis_of(cx, arena, fit, &fit->inner->model, L, basis);
}

/* z on base + basis y that is nearest to the fit. */
static qx_status
project(qx_ctx *cx, const qx_class_climb *climb, const double from[], double z[])
{
    const size_t P = climb->model->P, D = climb->model->D;
    double *y, *left;
    QX_NEW(cx, y, climb->basis.cols);
    QX_NEW(cx, left, P);
    for (size_t i = 0; i < P; i++) {
        left[i] = from[i] - (climb->base == NULL ? 0.0 : climb->base[i]);
    }
    qx_mat_vector('t', 1.0, climb->basis, left, 0.0, y);
    qx_mat_vector('n', 1.0, climb->basis, y, 0.0, z);
    for (size_t i = 0; i < P && climb->base != NULL; i++) {
        z[i] += climb->base[i];
    }
    memcpy(z + P, from + P, D * sizeof *z);
    return QX_OK;
}

qx_status qx_classes_climb_from(qx_ctx *cx,
                                const qx_class_climb *climb,
                                const double from[],
                                double z[],
                                qx_class_summit *out)
{
    double value;
    QX_TRY(project(cx, climb, from, z));
    QX_TRY(qx_class_objective(cx, climb->model, z, &value, NULL));
    if (!(value > -HUGE_VAL)) {
        double *fresh;
        QX_NEW(cx, fresh, climb->model->P + climb->model->D);
        qx_class_start(climb->model, fresh);
        QX_TRY(project(cx, climb, fresh, z));
    }
    return qx_class_climb_up(cx, climb, z, out);
}

static qx_status
under(qx_ctx *cx, const qx_classes *fit, qx_mat L, size_t *parameters, double *value)
{
    const struct qx_classes_inner *in = fit->inner;
    qx_class_climb climb = {.model = &in->model, .guess = &in->hessian, .held = in->held};
    qx_class_summit summit = {0};
    double *z;
    QX_TRY(qx_classes_basis(cx, qx_ctx_scratch(cx), fit, L, &climb.basis));
    QX_NEW(cx, z, in->model.P + in->model.D);
    QX_TRY(qx_classes_climb_from(cx, &climb, in->z, z, &summit));
    *parameters = climb.basis.cols;
    *value = summit.value;
    return QX_OK;
}

qx_status qx_classes_under(qx_ctx *cx, const qx_classes *fit, qx_mat L, double *value)
{
    size_t parameters;
    double highest = NAN;
    qx_status status;
    QX_SCRATCH(cx, status, under(cx, fit, L, &parameters, &highest));
    if (status == QX_OK) {
        *value = highest;
    }
    return status;
}

static qx_status lrt(qx_ctx *cx, const qx_classes *fit, qx_mat L, qx_classes_test *out)
{
    const struct qx_classes_inner *in = fit->inner;
    size_t parameters = 0;
    double value = NAN;
    QX_TRY(under(cx, fit, L, &parameters, &value));
    out->df = in->model.P - parameters;
    out->chisq = fmax(0.0, 2.0 * (in->value - value));
    out->p = qx_chisq_p(out->chisq, (double)out->df, QX_UPPER);
    out->method = in->model.penalised ? "penalised likelihood ratio" : "likelihood ratio";
    return QX_OK;
}

qx_status
qx_classes_lrt(qx_ctx *cx, const qx_classes *fit, qx_mat L, qx_classes_test *out)
{
    qx_classes_test test = {0};
    qx_status status;
    QX_SCRATCH(cx, status, lrt(cx, fit, L, &test));
    if (status == QX_OK) {
        *out = test;
    }
    return status;
}

/* ---- profiles -------------------------------------------------------------------------- */

/* How far the objective may fall: 2 (top - value) - quantile along a profile. */
typedef struct profile {
    qx_ctx *cx;
    const qx_classes *fit;
    qx_class_climb climb;
    const double *a; /* P: the quantity is a'z; NULL: deviation `deviation` */
    size_t deviation;
    double length; /* a'a */
    double *base;  /* P */
    double *from;  /* P + D: where the last climb ended */
    double *z;
    double quantile;
    qx_status status;
} profile;

static qx_status profile_at(profile *f, double t, double *value)
{
    const qx_class_model *model = &f->fit->inner->model;
    qx_class_summit summit = {0};
    if (f->a == NULL) {
        memcpy(f->z, f->from, (model->P + model->D) * sizeof *f->z);
        f->z[model->P + f->deviation] = t;
        QX_TRY(qx_class_climb_up(f->cx, &f->climb, f->z, &summit));
    } else {
        for (size_t i = 0; i < model->P; i++) {
            f->base[i] = f->a[i] * t / f->length;
        }
        QX_TRY(qx_classes_climb_from(f->cx, &f->climb, f->from, f->z, &summit));
    }
    *value = summit.value;
    return QX_OK;
}

static double fall(void *data, double t)
{
    profile *f = data;
    double value = NAN;
    if (f->status == QX_OK) {
        QX_SCRATCH(f->cx, f->status, profile_at(f, t, &value));
    }
    return 2.0 * (f->fit->inner->value - value) - f->quantile;
}

/* The end beyond `top` in steps of `step` (either sign), INFINITY when there is none. */
static qx_status end_of(profile *f, double top, double step, double *end)
{
    double near = top, far = top + step;
    double at = fall(f, far);
    while (f->status == QX_OK && at < 0.0 && fabs(far - top) < REACH_MOST * fabs(step)) {
        near = far;
        far = top + 2.0 * (far - top);
        at = fall(f, far);
    }
    QX_TRY(f->status);
    if (!(at >= 0.0)) {
        *end = step > 0.0 ? HUGE_VAL : -HUGE_VAL;
        return QX_OK;
    }
    const qx_status found = qx_root(f->cx,
                                    fall,
                                    f,
                                    fmin(near, far),
                                    fmax(near, far),
                                    END_PRECISION * fabs(step),
                                    end);
    QX_TRY(f->status);
    return found;
}

static qx_status profile_new(qx_ctx *cx, const qx_classes *fit, double level, profile *f)
{
    const struct qx_classes_inner *in = fit->inner;
    *f = (profile){.cx = cx,
                   .fit = fit,
                   .climb = {.model = &in->model, .guess = &in->hessian},
                   .quantile = qx_chisq_q(1.0 - level, 1.0, QX_UPPER)};
    QX_NEW(cx, f->base, in->model.P);
    QX_NEW(cx, f->from, in->model.P + in->model.D);
    QX_NEW(cx, f->z, in->model.P + in->model.D);
    memcpy(f->from, in->z, (in->model.P + in->model.D) * sizeof *f->from);
    return QX_OK;
}

static qx_status interval(
    qx_ctx *cx, const qx_classes *fit, const double a[], double level, double ends[2])
{
    const struct qx_classes_inner *in = fit->inner;
    const size_t P = in->model.P;
    double *turned;
    profile f;
    QX_TRY(profile_new(cx, fit, level, &f));
    QX_NEW(cx, turned, P);
    memcpy(turned, a, P * sizeof *turned);
    QX_TRY(null_space(cx,
                      qx_ctx_scratch(cx),
                      (qx_mat){.at = turned, .rows = 1, .cols = P, .ld = 1},
                      &f.climb.basis));
    f.a = a;
    f.length = qx_dot(P, a, a);
    f.climb.base = f.base;
    const double top = qx_dot(P, a, in->z);
    const double se = sqrt(qx_quadratic(qx_mat_part(in->joint, 0, 0, P, P), a));
    const double z = sqrt(f.quantile);
    if (!(se > 0.0 && isfinite(se))) {
        ends[0] = NAN;
        ends[1] = NAN;
        return QX_OK;
    }
    QX_TRY(end_of(&f, top, -z * se, &ends[0]));
    return end_of(&f, top, z * se, &ends[1]);
}

static qx_status interval_of_row(qx_ctx *cx,
                                 const qx_classes *fit,
                                 const double row[],
                                 size_t which,
                                 double level,
                                 double ends[2])
{
    const struct qx_classes_inner *in = fit->inner;
    double *a;
    QX_NEW(cx, a, in->model.P);
    const size_t first = in->model.parallel ? in->model.d : (which - 1) * in->model.q;
    qx_classes_row(fit, row, 0.0, a + first);
    if (!(qx_dot(in->model.P, a, a) > 0.0)) {
        return qx_fail(cx, QX_E_ARG, "an interval of nothing was asked for");
    }
    return interval(cx, fit, a, level, ends);
}

qx_status qx_classes_interval(qx_ctx *cx,
                              const qx_classes *fit,
                              const double row[],
                              size_t which,
                              double level,
                              double *lower,
                              double *upper)
{
    double ends[2] = {NAN, NAN};
    qx_status status;
    if (fit->kind == QX_BASELINE && (which == 0 || which >= fit->class_count)) {
        return qx_fail(
            cx, QX_E_ARG, "class %zu has no log odds against the first", which);
    }
    if (!(level > 0.0 && level < 1.0)) {
        return qx_fail(cx, QX_E_ARG, "a level is between 0 and 1");
    }
    QX_SCRATCH(cx, status, interval_of_row(cx, fit, row, which, level, ends));
    if (status == QX_OK) {
        *lower = ends[0];
        *upper = ends[1];
    }
    return status;
}

/* One deviation: its test against zero and the ends of its interval. */
static qx_status profile_component(qx_ctx *cx, qx_classes *fit, size_t k, double level)
{
    const struct qx_classes_inner *in = fit->inner;
    const size_t P = in->model.P, D = in->model.D;
    qx_component *component = &fit->component[k];
    const double top = in->z[P + k];
    const double se = sqrt(QX_AT(in->joint, P + k, P + k));
    bool *held;
    double upper = NAN, lower = 0.0;
    profile f;
    QX_TRY(profile_new(cx, fit, level, &f));
    QX_NEW(cx, held, D);
    held[k] = true;
    f.climb.held = held;
    f.deviation = k;
    const double below = fall(&f, 0.0) + f.quantile;
    QX_TRY(f.status);
    component->lrt = fmax(0.0, below);
    component->p =
        component->lrt > 0.0 ? 0.5 * qx_chisq_p(component->lrt, 1.0, QX_UPPER) : 1.0;
    if (below > f.quantile) {
        const qx_status found = qx_root(cx, fall, &f, 0.0, top, END_PRECISION, &lower);
        QX_TRY(f.status);
        QX_TRY(found);
    }
    QX_TRY(end_of(&f, top, se > 0.0 ? fmin(1.0, sqrt(f.quantile) * se) : 0.2, &upper));
    component->lower = lower * lower;
    component->upper = upper * upper;
    return QX_OK;
}

qx_status qx_classes_profile_components(qx_ctx *cx, qx_classes *fit, double level)
{
    if (!(level > 0.0 && level < 1.0)) {
        return qx_fail(cx, QX_E_ARG, "a level is between 0 and 1");
    }
    for (size_t k = 0; k < fit->component_count; k++) {
        qx_status status;
        QX_SCRATCH(cx, status, profile_component(cx, fit, k, level));
        QX_TRY(status);
    }
    return QX_OK;
}
