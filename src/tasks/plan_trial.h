/* tasks/plan_trial.h - a protocol to what its trial can show. */
#ifndef QX_TASKS_PLAN_TRIAL_H
#define QX_TASKS_PLAN_TRIAL_H

#include "findings/planning.h"
#include "tasks/analyse_file.h"

typedef struct qx_plan_made {
    qx_protocol *protocol;
    qx_analysed last; /* the earlier trial, if one was given */
    qx_planned *planned;
} qx_plan_made;

typedef struct qx_plan_wish {
    const char *protocol; /* file */
    const char *from; /* trial file of an earlier season whose variation counts; NULL */
    double power;     /* 0: the protocol's */
    size_t simulate;  /* trials to simulate for each treatment; 0: none */
    uint64_t seed;    /* of the simulation */
} qx_plan_wish;

/* Reads, checks and plans. QX_E_INPUT when `problems` grew, also by an earlier trial that has no
 * values of what is planned. The caller frees *out. */
qx_status qx_plan_file(qx_ctx *cx,
                       const qx_plan_wish *wish,
                       qx_problems *problems,
                       qx_plan_made *out);

void qx_plan_made_free(qx_plan_made *made);

/* plan.html (with the power curves) and plan.json in `folder`, which is made if needed. */
qx_status qx_plan_write(qx_ctx *cx, const qx_planned *planned, const char *folder);

#endif
