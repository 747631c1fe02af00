#include "model/classes_inner.h"

#include <math.h>
#include <string.h>

#include "model/separation_inner.h"
#include "numeric/eigen.h"

/* Curvature below it, of a Hessian with a diagonal of one, is what differences leave where
 * there is none. */
static const double FLAT = 1e-5;

static qx_status check_spec(qx_ctx *cx, const qx_classes_spec *spec)
{
    if (spec->class_count < 2 || spec->class_count > QX_CLASSES_MOST) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "%zu classes; from 2 to %d can be analysed",
                       spec->class_count,
                       QX_CLASSES_MOST);
    }
    if ((spec->code == NULL) == (spec->count == NULL)) {
        return qx_fail(cx, QX_E_ARG, "the response is given by class or by count");
    }
    for (size_t r = 0; r < spec->random_count; r++) {
        if (spec->random[r].factor >= spec->frame->factor_count) {
            return qx_fail(cx, QX_E_SHAPE, "random term %zu names no factor", r + 1);
        }
    }
    return QX_OK;
}

static qx_status name_text(qx_ctx *cx, qx_classes *fit, size_t j, const char **out)
{
    const size_t d = fit->class_count - 1, q = fit->inner->model.q;
    if (fit->kind == QX_BASELINE) {
        *out = qx_arena_printf(
            fit->arena, "%s:%s", fit->class_name[1 + j / q], fit->design.name[j % q]);
    } else if (j < d) {
        *out = qx_arena_printf(
            fit->arena, "threshold:%s|%s", fit->class_name[j], fit->class_name[j + 1]);
    } else {
        *out = fit->design.name[1 + j - d];
    }
    return *out == NULL ? qx_fail(cx, QX_E_NOMEM, "no memory for a name") : QX_OK;
}

static qx_status name_all(qx_ctx *cx, const qx_classes_spec *spec, qx_classes *fit)
{
    const size_t effects = fit->kind == QX_CUMULATIVE ? 1 : fit->class_count - 1;
    const char **name;
    QX_ASSERT(effects > 0); /* two classes at least */
    QX_NEW_IN(cx, fit->arena, name, fit->p);
    for (size_t j = 0; j < fit->p; j++) {
        QX_TRY(name_text(cx, fit, j, &name[j]));
    }
    fit->name = name;
    fit->component_count = fit->inner->model.D;
    QX_NEW_IN(cx, fit->arena, fit->component, fit->component_count);
    for (size_t k = 0; k < fit->component_count; k++) {
        const char *term = spec->random[k / effects].name;
        fit->component[k] = (qx_component){
            .name =
                fit->kind == QX_CUMULATIVE
                    ? qx_arena_copy(fit->arena, term)
                    : qx_arena_printf(
                          fit->arena, "%s:%s", fit->class_name[1 + k % effects], term),
            .lower = NAN,
            .upper = NAN,
            .lrt = NAN,
            .p = NAN,
        };
        if (fit->component[k].name == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for the name of a component");
        }
    }
    return QX_OK;
}

/* The summit without random terms, then with them from there. */
static qx_status climb(qx_ctx *cx, qx_classes *fit, qx_class_summit *summit)
{
    struct qx_classes_inner *in = fit->inner;
    qx_class_model fixed = in->model;
    fixed.plan = NULL;
    fixed.D = 0;
    qx_class_start(&in->model, in->z);
    qx_class_summit first = {0};
    if (in->model.plan != NULL) {
        QX_TRY(qx_class_climb_up(
            cx, &(qx_class_climb){.model = &fixed, .loose = true}, in->z, &first));
    }
    *summit = (qx_class_summit){.at_zero = in->at_zero, .hessian = in->hessian};
    QX_TRY(qx_class_climb_up(cx, &(qx_class_climb){.model = &in->model}, in->z, summit));
    summit->iterations += first.iterations;
    return QX_OK;
}

/* The parameters that are not at zero, and their Hessian scaled to a diagonal of one. */
static qx_status
scaled_part(qx_ctx *cx, qx_mat hessian, size_t kept[], double root[], qx_mat *part)
{
    size_t f = 0;
    for (size_t i = 0; i < hessian.rows; i++) {
        if (QX_AT(hessian, i, i) != 0.0) {
            root[f] = sqrt(fabs(QX_AT(hessian, i, i)));
            kept[f++] = i;
        }
    }
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f, f, part));
    for (size_t j = 0; j < f; j++) {
        for (size_t i = 0; i < f; i++) {
            QX_AT(*part, i, j) = QX_AT(hessian, kept[i], kept[j]) / (root[i] * root[j]);
        }
    }
    return QX_OK;
}

/* Inverse of the Hessian over what is not at zero. Directions without curvature (two units
 * that are one and the same share their variance as they like) are left out; where it bends
 * the wrong way nothing is known: NAN. */
static qx_status invert(qx_ctx *cx, const qx_mat hessian, qx_mat out)
{
    const size_t m = hessian.rows;
    size_t *kept;
    double *root, *value;
    qx_mat part, U;
    QX_NEW(cx, kept, m);
    QX_NEW(cx, root, m);
    QX_TRY(scaled_part(cx, hessian, kept, root, &part));
    const size_t f = part.rows;
    QX_NEW(cx, value, f);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f, f, &U));
    QX_TRY(qx_eigen_symmetric(cx, part, value, U));
    const bool bent = f > 0 && value[0] < -FLAT;
    qx_mat_zero(out);
    for (size_t k = 0; k < f; k++) {
        for (size_t j = 0; j < f && value[k] > FLAT; j++) {
            const double share = QX_AT(U, j, k) / (value[k] * root[j]);
            for (size_t i = 0; i < f; i++) {
                QX_AT(out, kept[i], kept[j]) += share * QX_AT(U, i, k) / root[i];
            }
        }
    }
    for (size_t j = 0; bent && j < f; j++) {
        for (size_t i = 0; i < f; i++) {
            QX_AT(out, kept[i], kept[j]) = NAN;
        }
    }
    return QX_OK;
}

/* Coefficients and covariance in the design's coding. */
static qx_status tell(qx_ctx *cx, qx_classes *fit, const qx_class_summit *summit)
{
    struct qx_classes_inner *in = fit->inner;
    const size_t P = fit->p;
    double *coef, penalty = 0.0;
    qx_mat half;
    QX_NEW_IN(cx, fit->arena, coef, P);
    QX_TRY(qx_mat_new(cx, fit->arena, P, P, &fit->covariance));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), P, P, &half));
    qx_mat_vector('n', 1.0, in->back, in->z, 0.0, coef);
    fit->coef = coef;
    QX_TRY(invert(cx, in->hessian, in->joint));
    const qx_mat fixed = qx_mat_part(in->joint, 0, 0, P, P);
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, in->back, fixed, 0.0, half));
    QX_TRY(qx_mat_multiply(cx, 'n', 't', 1.0, half, in->back, 0.0, fit->covariance));
    QX_TRY(qx_class_penalty(cx, &in->model, in->z, &penalty, NULL));
    in->value = summit->value;
    fit->log_likelihood = summit->value - penalty;
    fit->penalty = penalty;
    fit->penalised = in->model.penalised;
    fit->converged = summit->converged;
    fit->iterations = summit->iterations;
    fit->method = in->model.plan == NULL     ? "maximum likelihood"
                  : in->model.quadrature > 1 ? "adaptive quadrature"
                                             : "Laplace";
    for (size_t k = 0; k < fit->component_count; k++) {
        fit->component[k].variance = in->z[P + k] * in->z[P + k];
        fit->component[k].at_zero = in->at_zero[k];
    }
    return QX_OK;
}

/* Heinze & Schemper 2002 take the expected information, without the penalty. */
static qx_status penalised_hessian(qx_ctx *cx, qx_classes *fit)
{
    struct qx_classes_inner *in = fit->inner;
    if (!in->model.penalised || in->model.plan != NULL) {
        return QX_OK;
    }
    return qx_class_information(cx, &in->model, in->z, true, in->hessian);
}

static qx_status fit_new(qx_ctx *cx, const qx_classes_spec *spec, qx_classes *fit)
{
    struct qx_classes_inner *in;
    qx_class_summit summit;
    bool found = false;
    QX_NEW_IN(cx, fit->arena, in, 1);
    fit->inner = in;
    fit->n = spec->frame->n;
    QX_TRY(qx_classes_find(cx, spec, fit));
    QX_TRY(qx_design_make(
        cx, fit->arena, spec->frame, spec->term_count, spec->term, &fit->design));
    in->skip = fit->kind == QX_CUMULATIVE ? 1 : 0;
    QX_TRY(qx_classes_make_model(cx, spec, fit));
    const size_t all = in->model.P + in->model.D;
    QX_NEW_IN(cx, fit->arena, in->z, all);
    QX_NEW_IN(cx, fit->arena, in->at_zero, in->model.D);
    QX_TRY(qx_mat_new(cx, fit->arena, all, all, &in->hessian));
    QX_TRY(qx_mat_new(cx, fit->arena, all, all, &in->joint));
    QX_TRY(name_all(cx, spec, fit));
    fit->separation = "";
    if (!in->model.penalised) {
        QX_TRY(qx_separation_of_classes(cx, fit, spec, &found));
        in->model.penalised = found;
    }
    QX_TRY(climb(cx, fit, &summit));
    if (summit.runaway && !in->model.penalised) {
        fit->separation = "units that are of one class throughout";
        in->model.penalised = true;
        QX_TRY(climb(cx, fit, &summit));
    }
    if (fit->separation[0] != '\0') {
        const char *sentence = qx_separation_told(fit->arena, fit->separation);
        QX_TRY(sentence == NULL ? qx_fail(cx, QX_E_NOMEM, "no memory for a sentence")
                                : qx_note(cx, "%s", sentence));
    }
    QX_TRY(penalised_hessian(cx, fit));
    return tell(cx, fit, &summit);
}

qx_status qx_classes_fit(qx_ctx *cx,
                         const qx_classes_spec *spec,
                         qx_classes_kind kind,
                         qx_classes **out)
{
    qx_arena *arena = qx_arena_new();
    qx_classes *fit = arena == NULL ? NULL : qx_arena_alloc(arena, 1, sizeof *fit);
    qx_status status = check_spec(cx, spec);
    if (fit == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory for a fit of classes");
    }
    fit->arena = arena;
    fit->kind = kind;
    if (status == QX_OK) {
        QX_SCRATCH(cx, status, fit_new(cx, spec, fit));
    }
    if (status != QX_OK) {
        qx_arena_free(arena);
        return status;
    }
    *out = fit;
    return QX_OK;
}

void qx_classes_free(qx_classes *fit)
{
    if (fit != NULL) {
        qx_arena_free(fit->arena);
    }
}
