/* findings/plan_scale.h - what is expected of a variate, on the scale on which it will be
 * analysed: where its mean stands, how far the margin is from there, how much of what is
 * seen there chance alone makes. Where the variation between units comes from:
 * plan_spread.c. Private to this folder.
 *
 * Means and margins of counts and shares are what is seen over many units, as the analysis
 * tells them; `eta` and `step` stand on the scale of the link at a typical unit, so that
 * the difference over many units is the margin (averaged.h).
 *
 * Grades move together: the step is the shift of all thresholds that changes the share of
 * one class, the most moved, by the margin. Classes without order are planned by the logit
 * of the one share that is the hardest to tell apart, the nearest to a half. */
#ifndef QX_FINDINGS_PLAN_SCALE_H
#define QX_FINDINGS_PLAN_SCALE_H

#include "findings/averaged.h"
#include "findings/planning.h"
#include "model/family.h"

typedef struct qx_plan_scale {
    const qx_variate *variate;
    qx_link link;
    qx_transform transform;
    double mean,
        margin;  /* in the variate's unit; shares of a class for grades and classes;
                            NAN */
    double eta;  /* mean on the scale of analysis; NAN */
    double sign; /* where the margin lies: 1 above the mean, -1 where there is no room */
    double step; /* margin on that scale, > 0; NAN without one */
    double even; /* margin by the slope at the mean: both sides alike */
    const char *name; /* "cm", "logit", "standard deviations" */
    qx_spread_source source;
    const char *source_text;
    qx_spreads spreads;
    double size;             /* things that a share is out of */
    double dispersion;       /* theta or phi; 0: no extra variation */
    const qx_family *family; /* counts, shares, classes; NULL: values and grades */
    double psi;              /* its spread */
    bool by_rows; /* the analysis will estimate a spread of the rows themselves: its
                     likelihood ratio is taken as it is (findings/small_sample.h) */
    qx_averaged averaged;    /* over the units */
    const double *share;     /* grades and classes: level_count; else NULL */
    const double *threshold; /* grades: level_count - 1, at a typical unit */
    size_t class_;           /* planned for: classes without order */
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

/* Counts, shares, grades and classes that no transform makes into plain numbers. */
bool qx_plan_generalised(const qx_variate *variate);

/* A step on the scale of analysis, towards the margin's side, as a difference in the
 * variate's unit; of grades: the largest change of a class's share. Not negative. */
double qx_plan_scale_back(const qx_plan_scale *scale, double step);

/* Variance that chance alone gives one observation so many steps from the mean, on the scale
 * of analysis; 0 for values. */
double qx_plan_scale_chance(const qx_plan_scale *scale, double step);

/* Mean in the variate's unit that many steps from the mean: counts and shares. */
double qx_plan_scale_mean_at(const qx_plan_scale *scale, double step);

/* Shares of the classes there (level_count): grades and classes. */
void qx_plan_scale_shares_at(const qx_plan_scale *scale, double step, double share[]);

#endif
