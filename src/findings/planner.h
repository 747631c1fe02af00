/* findings/planner.h - what the steps of a plan hand to each other: planner.c looks ahead and
 * finds replicates, plan_rehearsed.c holds the formulas against simulated trials,
 * plan_effort.c spends budgets, planning.c goes through variates and treatments. Private to
 * this folder. */
#ifndef QX_FINDINGS_PLANNER_H
#define QX_FINDINGS_PLANNER_H

#include "base/array.h"
#include "findings/plan_scale.h"

/* What simulated trials say of the standard errors of the formulas, at up to two counts of
 * the varied unit: factors, 1 where nothing was simulated. Between both counts they follow
 * the reciprocal of the count, as corrections for few units do. */
typedef struct qx_plan_factors {
    size_t count;
    double knob[2];
    double power[2], equivalence[2];
} qx_plan_factors;

typedef struct qx_planner {
    qx_ctx *cx;
    qx_arena *arena;
    const qx_protocol *protocol;
    double power, alpha; /* wanted power; level of the tests */
    size_t knob;         /* unit whose count is varied, or QX_NONE */
    size_t samples;
    const qx_plan_request *request;
    size_t variate;
    qx_plan_scale scale;
    qx_array looked;         /* of this variate */
    qx_plan_factors factors; /* of this treatment */
} qx_planner;

/* The single outermost unit that everything stands in; QX_NONE where several cross. */
size_t qx_planner_find_knob(const qx_protocol *p);
size_t qx_planner_knob_now(const qx_planner *q);

/* Counts of the varied unit that give every combination equally often: where it carries
 * treatments itself, multiples of their combinations. */
size_t qx_planner_knob_step(const qx_planner *q);

/* Which unit holds what is measured in each, for efforts: the variate's own, if no treatment
 * stands on it; else QX_NONE. */
size_t qx_planner_things(const qx_planner *q);

/* One way to run the trial, remembered. each 0: as the protocol has it. NULL in *out when that
 * trial cannot be. */
qx_status
qx_planner_look(qx_planner *q, size_t knob, size_t each, const qx_foreseen **out);

const qx_foreseen_family *qx_planner_family(const qx_foreseen *seen, size_t treatment);

size_t qx_planner_pairs(const qx_planner *q, const qx_foreseen_family *f);

bool qx_planner_can_test(const qx_foreseen_family *f);

/* Standard error of a difference that many steps from the mean, before the factors. */
double qx_planner_se(const qx_planner *q, const qx_foreseen_family *f, double step);

/* Multiplier of the standard error in the adjusted test of the analysis. */
qx_status qx_planner_critical(qx_planner *q, const qx_foreseen_family *f, double *out);

/* Least step that is shown with that power, with the standard error times `factor`; NAN where
 * the scale ends before. */
qx_status qx_planner_detectable(qx_planner *q,
                                const qx_foreseen_family *f,
                                double critical,
                                double factor,
                                double *step);

/* Power to show the margin equivalent, with the standard error times `factor`. */
qx_status qx_planner_equivalence(qx_planner *q,
                                 const qx_foreseen_family *f,
                                 double factor,
                                 double *power);

typedef struct qx_planner_shown {
    double critical, detectable, power, power_equivalence;
} qx_planner_shown;

/* Everything in the variate's unit but `critical`; NAN where it cannot be told. */
qx_status qx_planner_show(qx_planner *q,
                          const qx_foreseen_family *f,
                          double knob,
                          qx_planner_shown *out);

typedef struct qx_planner_wish {
    size_t treatment, each;
    bool equivalence;
} qx_planner_wish;

/* Least multiple of the knob's step with the wanted power; 0: beyond the limit. */
qx_status qx_planner_needed(qx_planner *q, const qx_planner_wish *w, size_t *times);

/* Factors of q for this treatment, where its variate is of a kind that formulas only come
 * near to and simulation was asked for; 1 elsewhere (plan_rehearsed.c). */
qx_status qx_planner_calibrate(qx_planner *q, const qx_foreseen_family *now);

/* The plan of the protocol confirmed by trials of its own; untouched where there is nothing
 * to simulate (plan_rehearsed.c). */
qx_status
qx_planner_confirm(qx_planner *q, const qx_foreseen_family *now, qx_rehearsed *out);

/* Table of efforts (plan_effort.c). */
qx_status qx_planner_efforts(qx_planner *q, const qx_foreseen *seen, qx_plan_result *out);

#endif
