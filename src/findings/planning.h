/* findings/planning.h - what a trial can show, before a tree is touched.
 *
 * For each variate: where each treatment is tested and with how many degrees of freedom; the
 * least difference that is shown with the wanted power, and the power for the margin, by
 * the adjusted test that the analysis will make; replicates needed for that, and for
 * showing that a difference is smaller than the margin; both over a range of replicates;
 * and how to spend a budget between units and things measured in each.
 *
 * Counts, shares, grades and classes are planned on the scale of their link with the variance
 * of one observation there (1/(n p (1-p)) for k of n, 1/m for counts, averaged over the units
 * that they lie in, at either mean; 3/(1 - sum p_j^3) for grades: Whitehead 1993, Stat Med
 * 12:2257-2271), times or plus what extra variation adds: the working model that the fits
 * of model/glmm.h come from (Breslow & Clayton 1993, J Am Stat Assoc 88:9-25). That is a
 * first approximation: with `simulate`, trials analysed as the real one set it right
 * (findings/plan_rehearsed.c). Differences are told in the variate's own unit; of grades and
 * classes: in the share of one class, the one that changes most or is the hardest to tell.
 *
 * Confirmed by simulation: findings/rehearsal.h. */
#ifndef QX_FINDINGS_PLANNING_H
#define QX_FINDINGS_PLANNING_H

#include "findings/findings.h"
#include "findings/foresee.h"

/* How a plan did in simulated trials (findings/rehearsal.h). */
typedef struct qx_rehearsed {
    size_t trials;            /* of each kind */
    double power;             /* shares of the trials */
    double power_equivalence; /* NAN without a margin */
    double error;             /* any difference called out though none is there */
    size_t failed; /* trials whose analysis gave no answer; they count as not shown */
} qx_rehearsed;

#define QX_PLAN_REPLICATES_MOST 200
#define QX_PLAN_POINTS_MOST     24
#define QX_PLAN_SAMPLES         4 /* things sampled in each parent, if nobody says */

typedef enum {
    QX_SPREAD_NONE,     /* nothing known: planned in standard deviations */
    QX_SPREAD_PROTOCOL, /* `expect` */
    QX_SPREAD_USUAL,    /* trial/usual.h */
    QX_SPREAD_FINDINGS  /* last season's trial */
} qx_spread_source;

typedef struct qx_plan_spread {
    const char *unit; /* "tree", or "tree by season" */
    double sd;        /* on the scale of analysis */
} qx_plan_spread;

typedef struct qx_plan_point {
    double knob, replicates, rows;
    double power, power_equivalence; /* for the margin; NAN without one */
    double detectable;               /* in the variate's unit */
} qx_plan_point;

typedef struct qx_plan_family {
    const char *term;   /* treatment */
    const char *unit;   /* what counts as a replicate: "tree" */
    const char *adjust; /* "tukey" ... */
    size_t means, pairs;
    double se, df, critical; /* of a difference, scale of analysis */
    double replicates;       /* as the protocol has it */
    double detectable;       /* least difference shown with the wanted power */
    double power, power_equivalence;
    double needed,
        needed_equivalence; /* replicates; NAN: beyond the limit, or no margin */
    double knob_needed, knob_needed_equivalence;
    size_t point_count;
    const qx_plan_point *point;
    size_t calibrated;      /* trials that set the formulas right; 0: none did */
    qx_rehearsed simulated; /* others, that confirm; trials 0: not simulated */
} qx_plan_family;

/* One way to reach the wanted power: so many things in each unit, so many units. */
typedef struct qx_plan_effort {
    double each, knob, units, things, cost; /* NAN where the power is out of reach */
    bool best;
} qx_plan_effort;

typedef struct qx_plan_result {
    const char *variate, *label, *unit; /* unit of measure */
    qx_variate_kind kind;
    qx_spread_source source;
    const char *source_text; /* a sentence */
    double mean, margin;     /* variate's unit; NAN */
    double margin_scaled;    /* on the scale of analysis */
    const char *scale;       /* "cm", "logit", "log" */
    size_t spread_count;
    const qx_plan_spread *spread;
    double chance_sd; /* of one observation by chance alone, scale of analysis; 0 */
    const char *chance_unit; /* "limb": what one observation is of */
    const char *class_;      /* planned for: classes without order; else NULL */
    size_t rows;
    size_t test_count;
    const qx_foreseen_test *test;
    size_t family_count;
    const qx_plan_family *family;
    const char *effort_family;                /* treatment it is told for */
    const char *effort_unit;                  /* that carries it: "tree" */
    const char *effort_parent, *effort_thing; /* "limb", "shoot"; NULL without costs */
    size_t effort_count;
    const qx_plan_effort *effort;
    size_t note_count;
    const char *const *note;
} qx_plan_result;

typedef struct qx_planned {
    qx_arena *arena;
    const qx_protocol *protocol; /* borrowed */
    const qx_findings *last;     /* of the earlier trial; borrowed, or NULL */
    double power, level;         /* wanted power, confidence level */
    const char *knob; /* unit whose count is varied ("block"); NULL: none can be */
    double knob_now;
    size_t result_count;
    const qx_plan_result *result;
} qx_planned;

typedef struct qx_plan_request {
    const qx_findings
        *last;       /* of an earlier trial with variates of the same names; NULL */
    double power;    /* wanted; 0: the protocol's */
    size_t simulate; /* trials to simulate for each treatment; 0: none */
    uint64_t seed;   /* of the simulation */
} qx_plan_request;

/* The caller frees *out. QX_E_INPUT: the units cannot hold the treatments, or no variate can
 * be planned (its message says why); QX_E_ARG: power not inside (0.5, 1). */
qx_status qx_plan_trial(qx_ctx *cx,
                        const qx_protocol *protocol,
                        const qx_plan_request *request,
                        qx_planned **out);

void qx_planned_free(qx_planned *planned); /* NULL is accepted */

#endif
