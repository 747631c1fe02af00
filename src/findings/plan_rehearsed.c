/* findings/plan_rehearsed.c - the formulas of a plan held against simulated trials. For
 * values they are exact or nearly so, and trials confirm them. For counts, shares, grades
 * and classes they are a first approximation: trials at the protocol's number of replicates,
 * and at the number that is needed, say by what factor the standard errors of the formulas
 * are to be taken, so that what the plan promises is what the analysis will do. */
#include <math.h>

#include "findings/planner.h"
#include "findings/rehearsal.h"
#include "model/power.h"

/* Trials that set the factors are others than those that confirm them. */
#define OTHER_SEED UINT64_C(0x5851f42d4c957f2d)
/* A power outside says little about a standard error. */
#define TELLING_LOW  0.05
#define TELLING_HIGH 0.97
/* Fewer trials of a kind than this tell nothing of how rare it is. */
#define FEWEST 10.0
/* Factors are looked for between these. */
#define FACTOR_LOW  0.1
#define FACTOR_HIGH 10.0
#define HALVINGS    60

/* A power as a function of the factor; it falls. */
typedef struct asked {
    qx_planner *q;
    const qx_foreseen_family *f;
    bool equivalence;
    double step, critical;
} asked;

static qx_status power_with(const asked *a, double factor, double *power)
{
    if (a->equivalence) {
        return qx_planner_equivalence(a->q, a->f, factor, power);
    }
    const double se = factor * qx_planner_se(a->q, a->f, a->step);
    *power = qx_power_t(a->step, se, a->f->df, a->critical);
    return QX_OK;
}

/* The factor at which the formula gives this power; NAN where none does. */
static qx_status solve(const asked *a, double wanted, double *factor)
{
    double low = FACTOR_LOW, high = FACTOR_HIGH, power;
    for (int i = 0; i < HALVINGS; i++) {
        const double middle = sqrt(low * high);
        QX_TRY(power_with(a, middle, &power));
        *(power > wanted ? &low : &high) = middle;
    }
    *factor = low > FACTOR_LOW && high < FACTOR_HIGH ? sqrt(low * high) : (double)NAN;
    return QX_OK;
}

static bool telling(double power)
{
    return power > TELLING_LOW && power < TELLING_HIGH;
}

/* Did some trials show it, and some not? */
static bool both_ways(double share, size_t trials)
{
    const double shown = share * (double)trials;
    return shown >= FEWEST && (double)trials - shown >= FEWEST;
}

/* The factor that `share` of the trials asks for, beside one that is there already. Next to
 * none or next to all say little about it: they move it only where the formula would say
 * otherwise than the trials did. */
static qx_status ask(const asked *a, double share, size_t trials, double *factor)
{
    const double least = 0.5 / (double)trials;
    const double wanted = fmin(fmax(share, least), 1.0 - least);
    const double error = sqrt(wanted * (1.0 - wanted) / (double)trials);
    double said, found;
    QX_TRY(power_with(a, *factor, &said));
    if (!both_ways(share, trials) && fabs(said - wanted) <= 3.0 * error + least) {
        return QX_OK;
    }
    QX_TRY(solve(a, wanted, &found));
    if (!isnan(found)) {
        *factor = found;
    } else if (!both_ways(share, trials)) {
        *factor = wanted < 0.5 ? FACTOR_HIGH : FACTOR_LOW;
    }
    return QX_OK;
}

static qx_status rehearse(qx_planner *q,
                          size_t treatment,
                          size_t knob,
                          double step,
                          uint64_t seed,
                          qx_rehearsed *out)
{
    const qx_setting setting = {
        .knob = knob == 0 ? QX_NONE : q->knob, .knob_count = knob, .sampled = QX_NONE};
    qx_protocol set;
    QX_TRY(qx_setting_apply(q->cx, q->arena, q->protocol, &setting, &set));
    const qx_rehearsal_spec spec = {.protocol = &set,
                                    .variate = q->variate,
                                    .treatment = treatment,
                                    .samples = q->samples,
                                    .scale = &q->scale,
                                    .step = step,
                                    .trials = q->request->simulate,
                                    .seed = seed};
    return qx_rehearse(q->cx, &spec, out);
}

/* Factors at so many of the varied unit (0: as the protocol has it). Where the power for the
 * margin is next to nothing or next to certain, the least difference that is shown tells
 * more. */
static qx_status calibrate_at(qx_planner *q, const qx_foreseen_family *f, size_t knob)
{
    qx_plan_factors *k = &q->factors;
    qx_rehearsed found = {0};
    asked a = {.q = q, .f = f, .step = q->scale.step};
    double power = (double)NAN;
    qx_status status = QX_OK;
    QX_SCRATCH(q->cx, status, qx_planner_critical(q, f, &a.critical));
    QX_TRY(status);
    if (a.step > 0.0) {
        QX_TRY(power_with(&a, 1.0, &power));
    }
    if (!telling(power)) {
        QX_TRY(qx_planner_detectable(q, f, a.critical, 1.0, &a.step));
    }
    if (!(a.step > 0.0)) {
        return QX_OK; /* nothing can be shown at all */
    }
    const uint64_t seed = q->request->seed + OTHER_SEED * (1 + k->count);
    QX_TRY(rehearse(q, f->treatment, knob, a.step, seed, &found));
    double *of_power = &k->power[k->count], *of_equivalence = &k->equivalence[k->count];
    *of_power = 1.0;
    QX_TRY(ask(&a, found.power, found.trials, of_power));
    *of_equivalence = *of_power;
    if (q->scale.even > 0.0 && !isnan(found.power_equivalence)) {
        a.equivalence = true;
        QX_TRY(ask(&a, found.power_equivalence, found.trials, of_equivalence));
    }
    k->knob[k->count++] = (double)(knob == 0 ? qx_planner_knob_now(q) : knob);
    return QX_OK;
}

qx_status qx_planner_calibrate(qx_planner *q, const qx_foreseen_family *now)
{
    const qx_planner_wish w = {.treatment = now->treatment};
    const qx_foreseen *seen;
    size_t times;
    q->factors = (qx_plan_factors){0};
    if (q->request->simulate == 0 || !qx_plan_generalised(q->scale.variate) ||
        !qx_planner_can_test(now)) {
        return QX_OK;
    }
    QX_TRY(calibrate_at(q, now, 0));
    QX_TRY(qx_planner_needed(q, &w, &times));
    const size_t knob = times * qx_planner_knob_step(q);
    if (q->factors.count == 0 || knob == 0 || knob == qx_planner_knob_now(q)) {
        return QX_OK;
    }
    QX_TRY(qx_planner_look(q, knob, 0, &seen));
    const qx_foreseen_family *then = qx_planner_family(seen, now->treatment);
    return qx_planner_can_test(then) ? calibrate_at(q, then, knob) : QX_OK;
}

qx_status
qx_planner_confirm(qx_planner *q, const qx_foreseen_family *now, qx_rehearsed *out)
{
    if (q->request->simulate == 0 || !(q->scale.step > 0.0)) {
        return QX_OK;
    }
    return rehearse(q, now->treatment, 0, q->scale.step, q->request->seed, out);
}
