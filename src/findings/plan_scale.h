/* findings/plan_scale.h - what is expected of a variate, on the scale on which it will be
 * analysed (inner header of planning.c). */
#ifndef QX_FINDINGS_PLAN_SCALE_H
#define QX_FINDINGS_PLAN_SCALE_H

#include "findings/planning.h"
#include "model/link.h"

typedef struct qx_plan_scale {
    const qx_variate *variate;
    qx_link link;
    qx_transform transform;
    double mean, margin; /* in the variate's unit; NAN */
    double eta;          /* mean on the scale of analysis; NAN */
    double step;         /* margin on that scale; NAN */
    const char *name;    /* "cm", "logit", "standard deviations" */
    qx_spread_source source;
    const char *source_text;
    qx_spreads spreads;
    double
        own_variance; /* of the variate's own unit beyond chance; of values: the residual */
    double size;      /* things that a share is out of */
    double dispersion; /* theta or phi; 0: no extra variation */
    size_t line_count;
    const qx_plan_spread *line;
    const char *why_not; /* cannot be planned: a sentence; else NULL */
} qx_plan_scale;

/* Everything in `arena`. `last`: the same variate's result of an earlier trial, or NULL. */
qx_status qx_plan_scale_of(qx_ctx *cx,
                           qx_arena *arena,
                           const qx_protocol *protocol,
                           size_t variate,
                           const qx_result *last,
                           qx_plan_scale *out);

/* A step on the scale of analysis, upwards from the mean, in the variate's unit. */
double qx_plan_scale_back(const qx_plan_scale *scale, double step);

#endif
