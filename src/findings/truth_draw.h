/* findings/truth_draw.h - one variate's truth (simulate.h), looked up once and ready to give
 * values: what simulate.c writes into a file and redraw.c into an array.
 *
 * A thing's predictor is a base (the truth's mean, or that of the assumed mean that fits
 * it) plus a shift (effects and random parts). Grades have a base of thresholds, classes one
 * of log odds; classes have one shift for each class but the first.
 *
 * An assumed mean m is what is seen over units with total variance v on the link scale; its
 * base b solves  E[ mean(b + sqrt(v) z) ] = m,  z standard normal (a logarithm: log m - v/2;
 * else by halving, with Gauss-Hermite quadrature). Private to this folder. */
#ifndef QX_FINDINGS_TRUTH_DRAW_H
#define QX_FINDINGS_TRUTH_DRAW_H

#include "findings/simulate.h"
#include "model/glmm.h"

typedef struct qx_truth_draw {
    const qx_truth *truth;
    const qx_variate *variate;
    size_t shifts;      /* numbers of a shift: 1, classes - 1 without order */
    size_t width;       /* numbers of a base: 1, or classes - 1 */
    size_t base_count;  /* 1, or the truth's assumed means */
    const double *base; /* width x base_count */
    const size_t
        *wanted;         /* (1 + treatments) x base_count: level of the season and of each
                             treatment that it fits, QX_NONE: any */
    const double *level; /* effects of every treatment's levels, one after another; shifts
                             x levels */
    const size_t *first; /* treatment_count: where its effects start */
    const double *season;    /* shifts x seasons */
    const double *sd;        /* unit_count */
    const double *sd_season; /* unit_count */
    qx_link link;
    const qx_family *family; /* counts and shares, else NULL */
    double psi;              /* its spread */
} qx_truth_draw;

/* In `arena`. QX_E_ARG as in simulate.h, QX_E_NOMEM. */
qx_status qx_truth_draw_make(qx_ctx *cx,
                             qx_arena *arena,
                             const qx_protocol *protocol,
                             const qx_truth *truth,
                             qx_truth_draw *out);

/* The base of a thing with these levels (QX_NONE: not given to it); NULL: none fits. */
const double *qx_truth_draw_base(const qx_truth_draw *d,
                                 size_t treatment_count,
                                 const size_t level[],
                                 size_t season);

/* A value drawn: a number, a count, how many of `size`, or the number of the class. */
double qx_truth_draw_value(const qx_truth_draw *d,
                           qx_rng *rng,
                           const double base[],
                           const double shift[],
                           double size);

/* As a person reads it off: inside the range, to the step. Continuous values only. */
double qx_truth_draw_read_off(const qx_truth_draw *d, double y);

#endif
