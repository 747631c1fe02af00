/* model/classes_inner.h - what a fit of classes keeps for tests, means and draws. Private
 * to model/. */
#ifndef QX_MODEL_CLASSES_INNER_H
#define QX_MODEL_CLASSES_INNER_H

#include "model/class_climb.h"
#include "model/classes.h"

struct qx_classes_inner {
    qx_class_cells cells;
    qx_class_model model;
    qx_laplace_random *random;
    size_t skip;    /* columns of the design before those of the model: 1 (the intercept)
                         where parallel */
    double *centre; /* q: taken off the design's columns */
    qx_mat root;    /* q x q: x = root' (column - centre) */
    qx_mat back;    /* P x P: coef = back z */
    double *z;      /* P + D */
    double value;   /* log L + penalty there */
    bool *at_zero;  /* D */
    const bool *held; /* D: deviations that every climb holds; NULL: none */
    qx_mat hessian;   /* of minus the objective, (P + D) square */
    qx_mat joint;     /* covariance of z, (P + D) square, 0 for deviations at zero */
};

/* Fits either kind (model/ordinal.h, model/multinomial.h). */
qx_status qx_classes_fit(qx_ctx *cx,
                         const qx_classes_spec *spec,
                         qx_classes_kind kind,
                         qx_classes **out);

/* Its first steps (classes_model.c): the classes that were seen, and the likelihood over
 * columns made orthonormal. */
qx_status qx_classes_find(qx_ctx *cx, const qx_classes_spec *spec, qx_classes *fit);
qx_status qx_classes_make_model(qx_ctx *cx, const qx_classes_spec *spec, qx_classes *fit);

/* The row of the model that belongs to a row of the design, without the centre: x (q) =
 * root' (row - weight centre), weight 1 for a mean, 0 for a difference. */
void qx_classes_row(const qx_classes *fit, const double row[], double weight, double x[]);

/* Orthonormal basis (P x f, in `arena`) of the z for which L beta = 0, L r x design.p;
 * baseline: for every class. Leaves scratch behind, so `arena` may be the scratch.
 * QX_E_SHAPE, QX_E_RANK. */
qx_status qx_classes_basis(
    qx_ctx *cx, qx_arena *arena, const qx_classes *fit, qx_mat L, qx_mat *basis);

/* The same for another model over the columns of the fit (fewer classes); L is not checked
 * again. */
qx_status qx_classes_basis_of(qx_ctx *cx,
                              qx_arena *arena,
                              const qx_classes *fit,
                              const qx_class_model *model,
                              qx_mat L,
                              qx_mat *basis);

/* Climbs from the z on base + basis y that is nearest to `from`; where that is not allowed
 * (thresholds that crossed), from the shares of the whole. Leaves scratch behind. */
qx_status qx_classes_climb_from(qx_ctx *cx,
                                const qx_class_climb *climb,
                                const double from[],
                                double z[],
                                qx_class_summit *out);

#endif
