/* model/laplace_search.h - the state of a search for the largest log L, shared by the climb
 * (laplace_climb.c) and what follows it (laplace_fit.c). Inner header of model/. */
#ifndef QX_MODEL_LAPLACE_SEARCH_H
#define QX_MODEL_LAPLACE_SEARCH_H

#include <math.h>

#include "model/laplace_inner.h"

/* Half the squared Newton step, in units of log L, where the quasi-Newton search ends. */
#define QX_SEARCH_QUICK 1e-9
/* Fall of log L that is none: what rounding makes of some hundred rows, and of many. */
#define QX_SEARCH_SAME(value) (1e-9 + 1e-14 * fabs(value))

typedef struct qx_search {
    qx_laplace_room room;
    const qx_laplace_plan *plan;
    size_t length;
    size_t even_from, even_to; /* parameters in which log L is even */
    bool *fixed;
    double *x, *gradient; /* current point; gradient of log L */
    double value;
    double *new_x, *new_gradient, *step, *spare;
    double *mode; /* modes at x */
    qx_mat B, L;  /* approximate Hessian of -log L, and its factor */
    size_t iterations, evaluations, most;
} qx_search;

/* Room in scratch, x at `start`, options taken over. */
qx_status qx_search_room(qx_ctx *cx,
                         const qx_laplace_plan *plan,
                         const void *data,
                         const double start[],
                         const qx_laplace_options *options,
                         qx_search *s);

/* log L and its gradient at x from the modes in s->room; nil for fixed parameters.
 * QX_E_CANCELLED. */
qx_status qx_search_evaluate(
    qx_ctx *cx, qx_search *s, const double x[], double *value, double gradient[]);

/* Rows and columns of fixed parameters become those of the unit matrix. */
void qx_search_hold_fixed(const qx_search *s, qx_mat A);

/* B from the information at x. */
qx_status qx_search_curvature(qx_ctx *cx, qx_search *s);

/* step = B^-1 gradient; with a ridge where B is not positive definite. Gives gradient'step. */
double qx_search_direction(qx_search *s);

/* The new point becomes the current one. */
void qx_search_accept(qx_search *s, double value);

/* Climbs until half the squared step is below `precision`, with everything near nil looked
 * at. */
qx_status
qx_search_climb_all(qx_ctx *cx, qx_search *s, double precision, bool *converged);

#endif
