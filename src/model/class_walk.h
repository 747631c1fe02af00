/* model/class_walk.h - the steps of a climb (model/class_climb.h). Private to model/.
 *
 * class_hessian.c knows where a walk is and how log L bends there, class_walk.c takes the
 * steps. */
#ifndef QX_MODEL_CLASS_WALK_H
#define QX_MODEL_CLASS_WALK_H

#include "model/class_climb.h"

typedef struct qx_class_walk {
    const qx_class_climb *climb;
    const qx_class_model *model;
    size_t f, moving;                       /* fixed coordinates, deviations that move */
    size_t m;                               /* f + moving */
    size_t *deviation;                      /* moving: which */
    double *z, *full;                       /* P + D */
    double *y, *g, *trial, *trial_g, *step; /* m */
    double value;
    qx_mat B, L; /* m x m: minus the Hessian, its factor */
} qx_class_walk;

/* Room in scratch; z (P + D) is borrowed: held deviations are read from it, the rest is
 * written by every look. */
qx_status
qx_class_walk_new(qx_ctx *cx, const qx_class_climb *climb, double z[], qx_class_walk *w);

/* z of coordinates y, and y of z. */
void qx_class_walk_place(const qx_class_walk *w, const double y[], double z[]);
void qx_class_walk_coordinates(const qx_class_walk *w, const double z[], double y[]);

/* The objective at y and, if not NULL, its gradient along the coordinates. */
qx_status qx_class_walk_look(
    qx_ctx *cx, const qx_class_walk *w, const double y[], double *value, double g[]);

/* Is the exact Hessian at hand? */
bool qx_class_walk_newton(const qx_class_walk *w);

/* B at w->y: exact or by differences; its fixed part alone, from the information at u = 0
 * at y; and what is known for certain where it is not positive definite. */
qx_status qx_class_walk_hessian(qx_ctx *cx, const qx_class_walk *w);
qx_status qx_class_walk_information(qx_ctx *cx, const qx_class_walk *w, const double y[]);
qx_status qx_class_walk_plain(qx_ctx *cx, const qx_class_walk *w);

/* Looks around at w->z: y, value, gradient and the first B. QX_E_NUMERIC: not finite. */
qx_status qx_class_walk_set_out(qx_ctx *cx, qx_class_walk *w);

/* Steps until one promises less than `below` of twice log L. */
qx_status
qx_class_walk_up(qx_ctx *cx, qx_class_walk *w, double below, qx_class_summit *out);

/* Newton steps to a standstill, then B there. */
qx_status qx_class_walk_finish(qx_ctx *cx, qx_class_walk *w, qx_class_summit *out);

#endif
