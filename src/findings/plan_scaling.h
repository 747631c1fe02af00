/* findings/plan_scaling.h - a scale of analysis while it is made (plan_scale.c, plan_spread.c).
 * Private to this folder. */
#ifndef QX_FINDINGS_PLAN_SCALING_H
#define QX_FINDINGS_PLAN_SCALING_H

#include "findings/plan_scale.h"

typedef struct qx_plan_scaling {
    qx_ctx *cx;
    qx_arena *arena;
    const qx_protocol *protocol;
    const qx_variate *variate;
    const qx_expectation *expect; /* or NULL */
    const qx_result *last;        /* or NULL */
    qx_plan_scale *out;
    double *variance, *by_season; /* unit_count: beyond chance */
} qx_plan_scaling;

/* Do the same things come back in several seasons? */
bool qx_plan_seasonal(const qx_plan_scaling *s);

/* Without averaging: a number on the scale of analysis. */
double qx_plan_to_scale(const qx_plan_scaling *s, double value);

/* Variance of each unit beyond chance, with its source (source_text) and the family that
 * chance follows: needs out->mean. */
qx_status qx_plan_spread_find(qx_plan_scaling *s);

/* out->line and out->spreads. */
qx_status qx_plan_spread_list(qx_plan_scaling *s);

#endif
