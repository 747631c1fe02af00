#include "findings/planner.h"

#include <math.h>

#include "model/compare.h"
#include "model/power.h"
#include "model/power_plain.h"

/* The least step is looked for from a part of its first guess, in steps that grow, up to a
 * multiple of it. */
#define DETECT_STEPS  8.0
#define DETECT_GROWTH 1.1
#define DETECT_MOST   8.0
#define HALVINGS      60
/* As good as endless degrees of freedom, where a number is needed. */
#define ENDLESS 1e6

/* One look ahead, remembered: replicates are asked for again and again. */
typedef struct looked {
    size_t knob, each;
    qx_status status;
    qx_foreseen seen;
} looked;

/* --- looking ahead --- */

size_t qx_planner_find_knob(const qx_protocol *p)
{
    size_t outermost = QX_NONE;
    for (size_t u = 0; u < p->unit_count; u++) {
        if (p->unit[u].parent_count == 0) {
            if (outermost != QX_NONE || p->unit[u].sample) {
                return QX_NONE;
            }
            outermost = u;
        }
    }
    return outermost;
}

size_t qx_planner_knob_now(const qx_planner *q)
{
    if (q->knob == QX_NONE) {
        return 0;
    }
    const size_t count = q->protocol->unit[q->knob].count;
    return count == QX_NONE ? 1 : count;
}

size_t qx_planner_things(const qx_planner *q)
{
    const size_t own = q->scale.variate->on;
    for (size_t t = 0; t < q->protocol->treatment_count; t++) {
        const size_t on = q->protocol->treatment[t].on;
        if (on == own) {
            return QX_NONE; /* treatments on the thing itself: its number is the layout's */
        }
    }
    return q->protocol->unit[own].parent_count == 1 ? own : QX_NONE;
}

qx_status
qx_planner_look(qx_planner *q, size_t knob, size_t each, const qx_foreseen **out)
{
    for (size_t i = 0; i < q->looked.count; i++) {
        const looked *l = *(looked **)qx_array_at(&q->looked, i);
        if (l->knob == knob && l->each == each) {
            *out = l->status == QX_OK ? &l->seen : NULL;
            return QX_OK;
        }
    }
    looked *l;
    QX_NEW_IN(q->cx, q->arena, l, 1);
    looked **slot = qx_array_push(&q->looked);
    if (slot == NULL) {
        return qx_fail(q->cx, QX_E_NOMEM, "no memory for the plan");
    }
    *slot = l;
    l->knob = knob;
    l->each = each;
    const qx_setting setting = {.knob = q->knob,
                                .knob_count = knob,
                                .sampled = each == 0 ? QX_NONE : qx_planner_things(q),
                                .sampled_count = each};
    l->status = qx_foresee(q->cx,
                           q->arena,
                           q->protocol,
                           q->variate,
                           &setting,
                           q->samples,
                           &q->scale.spreads,
                           &l->seen);
    *out = l->status == QX_OK ? &l->seen : NULL;
    if (l->status == QX_E_INPUT) {
        qx_ctx_forgive(q->cx); /* this one does not fit; others may */
        return QX_OK;
    }
    return l->status;
}

const qx_foreseen_family *qx_planner_family(const qx_foreseen *seen, size_t treatment)
{
    for (size_t i = 0; seen != NULL && i < seen->family_count; i++) {
        if (seen->family[i].treatment == treatment) {
            return &seen->family[i];
        }
    }
    return NULL;
}

/* --- what a family can show --- */

size_t qx_planner_pairs(const qx_planner *q, const qx_foreseen_family *f)
{
    const bool control = q->protocol->analysis.compare == QX_COMPARE_DUNNETT;
    return control ? f->means - 1 : f->means * (f->means - 1) / 2;
}

qx_status qx_planner_critical(qx_planner *q, const qx_foreseen_family *f, double *out)
{
    static const qx_adjust how[] = {[QX_COMPARE_TUKEY] = QX_ADJUST_TUKEY,
                                    [QX_COMPARE_DUNNETT] = QX_ADJUST_DUNNETT,
                                    [QX_COMPARE_SIDAK] = QX_ADJUST_SIDAK,
                                    [QX_COMPARE_HOLM] = QX_ADJUST_HOLM,
                                    [QX_COMPARE_BONFERRONI] = QX_ADJUST_BONFERRONI,
                                    [QX_COMPARE_NONE] = QX_ADJUST_NONE};
    const size_t m = qx_planner_pairs(q, f);
    qx_comparison *pair;
    qx_mat correlation = {0};
    QX_NEW(q->cx, pair, m);
    for (size_t i = 0; i < m; i++) {
        pair[i] = (qx_comparison){.se = 1.0, .df = f->df};
    }
    if (q->protocol->analysis.compare == QX_COMPARE_DUNNETT) {
        QX_TRY(qx_mat_new(q->cx, qx_ctx_scratch(q->cx), m, m, &correlation));
        for (size_t i = 0; i < m * m; i++) {
            QX_AT(correlation, i % m, i / m) = i % m == i / m ? 1.0 : 0.5;
        }
    }
    QX_TRY(qx_compare(q->cx,
                      how[q->protocol->analysis.compare],
                      f->means,
                      1.0 - q->alpha,
                      m,
                      pair,
                      correlation));
    *out = pair[0].critical;
    if (q->scale.by_rows && isfinite(f->df)) {
        /* ratio = df log(1 + t^2 / df) is what is held against t(df). */
        *out = sqrt(f->df * expm1(*out * *out / f->df));
    }
    return QX_OK;
}

bool qx_planner_can_test(const qx_foreseen_family *f)
{
    return f != NULL && f->se > 0.0 && f->df > 0.0;
}

double qx_planner_se(const qx_planner *q, const qx_foreseen_family *f, double step)
{
    /* One of both means has moved, and with it what chance adds to it. */
    const double more =
        qx_plan_scale_chance(&q->scale, step) - qx_plan_scale_chance(&q->scale, 0.0);
    return sqrt(f->se * f->se + 0.5 * f->by_chance * more);
}

static double power_of(
    const qx_planner *q, const qx_foreseen_family *f, double step, double c, double k)
{
    return qx_power_t(step, k * qx_planner_se(q, f, step), f->df, c);
}

qx_status qx_planner_detectable(
    qx_planner *q, const qx_foreseen_family *f, double c, double factor, double *step)
{
    double low, high;
    const qx_status status =
        qx_power_t_detectable(q->cx, factor * f->se, f->df, c, q->power, step);
    if (status == QX_E_NUMERIC) { /* next to no degrees of freedom: nothing is shown */
        qx_ctx_forgive(q->cx);
        *step = (double)NAN;
        return QX_OK;
    }
    QX_TRY(status);
    if (!(f->by_chance > 0.0)) {
        return QX_OK;
    }
    /* Where chance grows with the step the answer lies elsewhere. */
    low = 0.0;
    high = *step / DETECT_STEPS;
    while (!(power_of(q, f, high, c, factor) >= q->power)) {
        low = high;
        high *= DETECT_GROWTH;
        if (high > DETECT_MOST * *step) {
            *step = (double)NAN;
            return QX_OK;
        }
    }
    for (int i = 0; i < HALVINGS; i++) {
        const double middle = 0.5 * (low + high);
        *(power_of(q, f, middle, c, factor) < q->power ? &low : &high) = middle;
    }
    *step = 0.5 * (low + high);
    return QX_OK;
}

qx_status qx_planner_equivalence(qx_planner *q,
                                 const qx_foreseen_family *f,
                                 double factor,
                                 double *power)
{
    const double df = fmin(f->df, ENDLESS);
    return qx_power_equivalence(
        q->cx, 0.0, q->scale.even, factor * f->se, df, q->alpha, power);
}

/* The factor at so many of the varied unit; beyond both that were simulated, the nearer. */
static double factor_at(const qx_plan_factors *k, const double factor[2], double knob)
{
    if (k->count < 2) {
        return k->count == 0 ? 1.0 : factor[0];
    }
    const double at[2] = {1.0 / k->knob[0], 1.0 / k->knob[1]};
    const double part = (1.0 / knob - at[0]) / (at[1] - at[0]);
    return factor[0] + fmin(fmax(part, 0.0), 1.0) * (factor[1] - factor[0]);
}

qx_status qx_planner_show(qx_planner *q,
                          const qx_foreseen_family *f,
                          double knob,
                          qx_planner_shown *out)
{
    *out = (qx_planner_shown){(double)NAN, (double)NAN, (double)NAN, (double)NAN};
    if (!qx_planner_can_test(f)) {
        return QX_OK;
    }
    double step;
    const double k = factor_at(&q->factors, q->factors.power, knob);
    qx_status status = QX_OK;
    QX_SCRATCH(q->cx, status, qx_planner_critical(q, f, &out->critical));
    QX_TRY(status);
    QX_TRY(qx_planner_detectable(q, f, out->critical, k, &step));
    out->detectable = isnan(step) ? step : qx_plan_scale_back(&q->scale, step);
    if (q->scale.step > 0.0) {
        out->power = power_of(q, f, q->scale.step, out->critical, k);
    }
    if (q->scale.even > 0.0) {
        QX_TRY(
            qx_planner_equivalence(q,
                                   f,
                                   factor_at(&q->factors, q->factors.equivalence, knob),
                                   &out->power_equivalence));
    }
    return QX_OK;
}

/* --- replicates --- */

size_t qx_planner_knob_step(const qx_planner *q)
{
    size_t step = 1;
    for (size_t t = 0; t < q->protocol->treatment_count; t++) {
        if (q->protocol->treatment[t].on == q->knob) {
            step *= q->protocol->treatment[t].level_count;
        }
    }
    return step;
}

static qx_status
reaches(qx_planner *q, const qx_planner_wish *w, size_t times, bool *enough)
{
    const qx_foreseen *seen;
    qx_planner_shown s;
    const size_t knob = times * qx_planner_knob_step(q);
    QX_TRY(qx_planner_look(q, knob, w->each, &seen));
    QX_TRY(qx_planner_show(q, qx_planner_family(seen, w->treatment), (double)knob, &s));
    *enough = (w->equivalence ? s.power_equivalence : s.power) >= q->power;
    return QX_OK; /* false for not-a-number */
}

qx_status qx_planner_needed(qx_planner *q, const qx_planner_wish *w, size_t *times)
{
    const size_t step = qx_planner_knob_step(q);
    const size_t most = QX_PLAN_REPLICATES_MOST;
    size_t low = 1, high = 2;
    bool enough = false;
    *times = 0;
    if (q->knob == QX_NONE || !(q->scale.step > 0.0) || step > most) {
        return QX_OK;
    }
    for (;;) {
        QX_TRY(reaches(q, w, high, &enough));
        if (enough || high == most) {
            break;
        }
        low = high;
        high = 2 * high < most ? 2 * high : most;
    }
    if (!enough) {
        return QX_OK;
    }
    while (high - low > 1) {
        const size_t middle = low + (high - low) / 2;
        QX_TRY(reaches(q, w, middle, &enough));
        *(enough ? &high : &low) = middle;
    }
    *times = high;
    return QX_OK;
}
