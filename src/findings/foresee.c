#include "findings/foresee.h"

#include <math.h>
#include <string.h>

#include "findings/choose.h"
#include "findings/crossed_part.h"
#include "findings/findings.h"
#include "layout/layout.h"
#include "model/known.h"
#include "trial/skeleton.h"
#include "trial/structure.h"

/* The layout that stands for all that chance may give: they differ in what is where, not in
 * how much is known. */
#define SEED 1

typedef struct foreseeing {
    qx_ctx *cx;      /* of this look ahead: its notes are the model's */
    qx_arena *arena; /* of the answer */
    qx_arena *hold;  /* of this look ahead: scratch is rewound by those who fill it */
    const qx_protocol *asked;
    qx_protocol protocol; /* with the counts of the setting, the variate a plain number */
    size_t variate, samples;
    const qx_spreads *spreads;
    qx_layout *layout;
    qx_table *table;
    qx_variate_frame data;
    qx_choice choice;
    qx_lmm_plan *plan;
    qx_lmm *known;
    qx_lmm *riskier; /* the same with twice the variance of chance; NULL without chance */
    qx_foreseen *out;
} foreseeing;

/* --- the trial as it would be --- */

qx_status qx_setting_apply(qx_ctx *cx,
                           qx_arena *arena,
                           const qx_protocol *protocol,
                           const qx_setting *setting,
                           qx_protocol *out)
{
    qx_unit *unit;
    QX_NEW_IN(cx, arena, unit, protocol->unit_count);
    memcpy(unit, protocol->unit, protocol->unit_count * sizeof *unit);
    if (setting->knob != QX_NONE) {
        unit[setting->knob].count = setting->knob_count;
    }
    if (setting->sampled != QX_NONE) {
        unit[setting->sampled].count = setting->sampled_count;
    }
    *out = *protocol;
    out->unit = unit;
    return QX_OK;
}

qx_status qx_protocol_as_values(qx_ctx *cx,
                                qx_arena *arena,
                                const qx_protocol *protocol,
                                size_t number,
                                qx_protocol *out)
{
    qx_variate *variate;
    QX_NEW_IN(cx, arena, variate, protocol->variate_count);
    memcpy(variate, protocol->variate, protocol->variate_count * sizeof *variate);
    qx_variate *v = &variate[number];
    v->kind = QX_CONTINUOUS;
    v->transform = QX_TRANSFORM_NONE;
    v->of = v->times = "";
    v->has_range = false;
    *out = *protocol;
    out->variate = variate;
    return QX_OK;
}

/* Links, classes and transforms do not matter here: the scale of analysis is a plain number. */
static qx_status set_counts(foreseeing *f, const qx_setting *setting)
{
    QX_TRY(qx_setting_apply(f->cx, f->hold, f->asked, setting, &f->protocol));
    return qx_protocol_as_values(f->cx, f->hold, &f->protocol, f->variate, &f->protocol);
}

static qx_status lay_out(foreseeing *f)
{
    qx_layout_spec spec = {0};
    QX_TRY(qx_structure_of(f->cx, f->hold, &f->protocol, &spec));
    QX_TRY(qx_layout_make(f->cx, &spec, SEED, &f->layout));
    return qx_skeleton_make(
        f->cx, &f->protocol, f->layout, f->variate, f->samples, &f->table);
}

/* --- variances of the model's terms --- */

static double variance_of(const foreseeing *f, const qx_frame_unit *unit)
{
    const double *from =
        unit->by_season ? f->spreads->variance_by_season : f->spreads->variance;
    return from == NULL || isnan(from[unit->unit]) ? 0.0 : from[unit->unit];
}

/* Do the units above and below divide the rows in the same way? (Units lie inside each
 * other or cross; of equal number and nested they are one to one.) */
static bool
same_units(const foreseeing *f, const qx_frame_unit *a, const qx_frame_unit *b)
{
    return a->count == b->count && qx_unit_reaches(&f->protocol, a->unit, b->unit);
}

/* Where the variation of frame unit k shows: a random term, or the residual (random_count);
 * QX_NO_COLUMN: nowhere (a single thing, fixed blocks). */
static size_t shows_in(const foreseeing *f, size_t k)
{
    const qx_frame_unit *unit = f->data.unit;
    const size_t lowest = f->choice.residual_unit;
    for (size_t i = 0; i < f->choice.random_count; i++) {
        if (f->choice.random_unit[i] == k) {
            return i;
        }
    }
    if (k == lowest || unit[k].count == f->data.n) {
        return f->choice.random_count;
    }
    for (size_t j = k + 1; j < lowest && unit[k].count > 1; j++) {
        if (same_units(f, &unit[k], &unit[j])) {
            return shows_in(f, j);
        }
    }
    return QX_NO_COLUMN;
}

static qx_status fill_variances(foreseeing *f, double variance[])
{
    const size_t residual = f->choice.random_count;
    variance[residual] = f->spreads->chance;
    for (size_t k = 0; k < f->data.unit_count; k++) {
        const size_t at = shows_in(f, k);
        if (at != QX_NO_COLUMN) {
            variance[at] += variance_of(f, &f->data.unit[k]);
        }
    }
    return variance[residual] > 0.0
               ? QX_OK
               : qx_fail(f->cx,
                         QX_E_INPUT,
                         "%s is expected to have no variation at all between things of "
                         "%s; expected a standard deviation above 0 there",
                         f->protocol.variate[f->variate].name,
                         f->choice.residual_path);
}

/* Values of covariates are known only when they are measured. */
static qx_status tell_covariates(foreseeing *f)
{
    for (size_t c = 0; c < f->protocol.covariate_count; c++) {
        if (f->data.covariate[c] != QX_NO_COLUMN) {
            QX_TRY(
                qx_note(f->cx,
                        "%s is not measured yet: it is planned as a number that differs "
                        "by chance and costs a degree of freedom. The variation planned "
                        "with is what is left after it.",
                        f->protocol.covariate[c].name));
        }
    }
    return QX_OK;
}

static qx_status set_up(foreseeing *f)
{
    double *variance;
    QX_TRY(qx_frame_of(f->cx, f->hold, &f->protocol, f->table, f->variate, &f->data));
    QX_TRY(qx_choose(f->cx, f->hold, &f->protocol, f->variate, &f->data, &f->choice));
    QX_TRY(tell_covariates(f));
    const qx_lmm_spec spec =
        qx_choice_spec(&f->choice, &f->data, f->protocol.analysis.level);
    QX_TRY(qx_lmm_plan_new(f->cx, &spec, &f->plan));
    QX_NEW(f->cx, variance, f->choice.random_count + 1);
    QX_TRY(fill_variances(f, variance));
    QX_TRY(qx_lmm_known(f->cx, f->plan, variance, &f->known));
    if (f->spreads->chance > 0.0) {
        variance[f->choice.random_count] += f->spreads->chance;
        QX_TRY(qx_lmm_known(f->cx, f->plan, variance, &f->riskier));
    }
    return QX_OK;
}

/* Degrees of freedom of a test: those of the linear model, unless nothing is estimated. */
static double df_of(const foreseeing *f, double df)
{
    return f->spreads->asymptotic && f->choice.random_count == 0 ? (double)INFINITY : df;
}

/* --- tests --- */

static qx_status keep(const foreseeing *f, const char *text, const char **out)
{
    *out = qx_arena_copy(f->arena, text);
    return *out == NULL ? qx_fail(f->cx, QX_E_NOMEM, "no memory for the plan") : QX_OK;
}

/* Name of what shows the variation of the frame unit k. */
static const char *shown_as(const foreseeing *f, size_t k)
{
    const size_t at = shows_in(f, k);
    return at < f->choice.random_count ? f->choice.random[at].name
                                       : f->choice.residual_path;
}

/* Unit of the term's covariate, or QX_NONE. */
static size_t covariate_unit(const foreseeing *f, const qx_term *term)
{
    for (size_t c = 0; c < f->protocol.covariate_count; c++) {
        if (f->data.covariate[c] != QX_NO_COLUMN &&
            f->data.covariate[c] == term->number) {
            return f->protocol.covariate[c].on;
        }
    }
    return QX_NONE;
}

/* The lowest unit that one of the term's treatments is put on, or its covariate is of;
 * QX_NONE: season alone. */
static size_t lowest_unit(const foreseeing *f, const qx_term *term)
{
    size_t lowest = covariate_unit(f, term);
    for (size_t k = 0; k < term->factor_count; k++) {
        for (size_t t = 0; t < f->protocol.treatment_count; t++) {
            const size_t on = f->protocol.treatment[t].on;
            if (f->data.treatment[t] == term->factor[k] &&
                (lowest == QX_NONE || qx_unit_reaches(&f->protocol, lowest, on))) {
                lowest = on;
            }
        }
    }
    return lowest;
}

/* Path of the unit against which a term is tested: its lowest unit (for season alone the
 * uppermost that seasons vary in), or the one that took its variation up. */
static const char *tested_against(const foreseeing *f, const qx_term *term)
{
    const size_t lowest = lowest_unit(f, term);
    bool season = false;
    for (size_t k = 0; k < term->factor_count; k++) {
        season = season || term->factor[k] == f->data.season;
    }
    for (size_t k = 0; k < f->data.unit_count; k++) {
        const qx_frame_unit *unit = &f->data.unit[k];
        if (unit->by_season == season && (lowest == QX_NONE || unit->unit == lowest) &&
            shows_in(f, k) != QX_NO_COLUMN) {
            return shown_as(f, k);
        }
    }
    return f->choice.residual_path;
}

/* --- differences --- */

/* The added control that the planned rows show, if any. The steps of the analysis that are
 * borrowed here read rows and design, and nothing else of the work. */
static qx_work borrowed(foreseeing *f)
{
    return (qx_work){.cx = f->cx,
                     .arena = f->hold,
                     .protocol = &f->protocol,
                     .variate = &f->protocol.variate[f->variate],
                     .data = f->data,
                     .choice = f->choice,
                     .design = &f->known->design};
}

static qx_status
keep_term(const foreseeing *f, const char *name, bool part, const char **out)
{
    *out = qx_arena_printf(f->arena, "%s%s", name, part ? QX_PART_SUFFIX : "");
    return *out == NULL ? qx_fail(f->cx, QX_E_NOMEM, "no memory for the plan") : QX_OK;
}

static qx_status add_tests(foreseeing *f)
{
    qx_foreseen_test *test;
    qx_added control = {0};
    qx_work w = borrowed(f);
    QX_TRY(qx_added_find(&w, &control));
    QX_NEW_IN(f->cx, f->arena, test, f->choice.term_count);
    for (size_t t = f->choice.block_terms; t < f->choice.term_count; t++) {
        qx_foreseen_test *line = &test[f->out->test_count++];
        qx_joint_test joint;
        const qx_term *term = &f->choice.term[t];
        const bool part = control.count > 0 && qx_added_in(&control, term, false);
        bool estimable;
        qx_mat L;
        QX_TRY(keep_term(f, term->name, part, &line->term));
        QX_TRY(keep(f, tested_against(f, term), &line->unit));
        QX_TRY(part ? qx_part_hypothesis(&w, &control, term, &L, &estimable)
                    : qx_design_marginal(f->cx, f->hold, &f->known->design, t, &L));
        QX_TRY(qx_lmm_test(f->cx, f->known, L, &joint));
        line->num_df = joint.num_df;
        line->den_df = joint.num_df > 0.0 ? df_of(f, joint.den_df) : (double)NAN;
    }
    f->out->test = test;
    return QX_OK;
}

static bool meets_in(const qx_added *control, size_t factor, size_t *level)
{
    for (size_t k = 0; k < control->count; k++) {
        if (control->factor[k] == factor) {
            *level = control->level[k];
            return true;
        }
    }
    return false;
}

/* Units of the treatment's own kind that carry one level, on average; not the control's. */
static double
replicates_of(const foreseeing *f, size_t t, size_t levels, size_t but_level)
{
    const qx_layout *layout = f->layout;
    double all = 0.0;
    for (size_t i = 0; i < layout->placed_count; i++) {
        const uint32_t level = layout->level[i * layout->treatment_count + t];
        all += level != QX_NO_LEVEL && level != but_level ? 1.0 : 0.0;
    }
    return all / (double)levels;
}

/* Variance of a difference in excess with riskier chance. */
static qx_status
add_risk(foreseeing *f, const double difference[], double variance, double *excess)
{
    qx_estimate e;
    if (f->riskier == NULL) {
        return QX_OK;
    }
    QX_TRY(qx_lmm_contrast(f->cx, f->riskier, difference, 0.0, &e));
    *excess += e.se * e.se - variance;
    return QX_OK;
}

/* Rows of the levels' means, one after the other: over everything, or over the part that is
 * crossed where there is an added control. */
static qx_status level_rows(
    foreseeing *f, const qx_added *control, size_t factor, size_t levels, double row[])
{
    const size_t p = f->known->p;
    size_t level;
    if (meets_in(control, factor, &level)) {
        qx_work w = borrowed(f);
        qx_cells cells;
        QX_TRY(qx_part_cells(&w, control, 1, &factor, &cells));
        for (size_t a = 0; a < levels; a++) {
            memcpy(&row[a * p], &QX_AT(cells.row, 0, a), p * sizeof *row);
        }
        return QX_OK;
    }
    for (size_t a = 0; a < levels; a++) {
        bool estimable;
        QX_TRY(qx_design_mean(
            f->cx, &f->known->design, 1, &factor, &a, &row[a * p], &estimable));
    }
    return QX_OK;
}

static qx_status compare_levels(foreseeing *f,
                                const qx_added *control,
                                size_t factor,
                                qx_foreseen_family *family)
{
    const size_t p = f->known->p, levels = family->means;
    double *row, *difference;
    double sum = 0.0, pairs = 0.0, excess = 0.0;
    QX_NEW(f->cx, row, p * levels);
    QX_NEW(f->cx, difference, p);
    QX_TRY(level_rows(f, control, factor, levels, row));
    for (size_t a = 0; a < levels; a++) {
        for (size_t b = 0; b < a; b++) {
            qx_estimate e;
            for (size_t j = 0; j < p; j++) {
                difference[j] = row[a * p + j] - row[b * p + j];
            }
            QX_TRY(qx_lmm_contrast(f->cx, f->known, difference, 0.0, &e));
            QX_TRY(add_risk(f, difference, e.se * e.se, &excess));
            sum += e.se * e.se;
            pairs += 1.0;
            family->se_worst = fmax(family->se_worst, e.se);
            family->df = a == 1 && b == 0 ? e.df : fmin(family->df, e.df);
        }
    }
    family->se = sqrt(sum / pairs);
    family->df = df_of(f, family->df);
    family->by_chance = f->riskier == NULL ? 0.0 : excess / pairs / f->spreads->chance;
    return QX_OK;
}

static qx_status add_families(foreseeing *f)
{
    qx_foreseen_family *family;
    qx_added control = {0};
    qx_work w = borrowed(f);
    QX_TRY(qx_added_find(&w, &control));
    QX_NEW_IN(f->cx, f->arena, family, f->protocol.treatment_count);
    for (size_t t = 0; t < f->protocol.treatment_count; t++) {
        const size_t factor = f->data.treatment[t];
        if (factor == QX_NO_COLUMN || f->data.frame.factor[factor].level_count < 2) {
            continue;
        }
        qx_foreseen_family *one = &family[f->out->family_count++];
        one->treatment = t;
        size_t but_level = QX_NO_LEVEL;
        const bool part = meets_in(&control, factor, &but_level);
        one->means = f->data.frame.factor[factor].level_count - (part ? 1 : 0);
        if (one->means < 2) {
            f->out->family_count--;
            continue;
        }
        one->part = part;
        one->replicates = replicates_of(f, t, one->means, but_level);
        qx_status status;
        QX_SCRATCH(f->cx, status, compare_levels(f, &control, factor, one));
        QX_TRY(status);
    }
    f->out->family = family;
    return QX_OK;
}

/* --- the whole --- */

static qx_status count_things(foreseeing *f)
{
    size_t *things;
    QX_NEW_IN(f->cx, f->arena, things, f->protocol.unit_count);
    for (size_t i = 0; i < f->layout->placed_count; i++) {
        things[f->layout->placed[i].unit]++;
    }
    for (size_t k = 0; k < f->data.unit_count; k++) {
        const qx_frame_unit *unit = &f->data.unit[k];
        if (things[unit->unit] == 0 && !unit->by_season) {
            things[unit->unit] = unit->count;
        }
    }
    f->out->things = things;
    f->out->rows = f->data.n;
    return QX_OK;
}

static qx_status keep_notes(foreseeing *f)
{
    const char **note;
    f->out->note_count = qx_ctx_note_count(f->cx);
    QX_NEW_IN(f->cx, f->arena, note, f->out->note_count);
    for (size_t i = 0; i < f->out->note_count; i++) {
        QX_TRY(keep(f, qx_ctx_note(f->cx, i), &note[i]));
    }
    f->out->note = note;
    return QX_OK;
}

static qx_status foresee(foreseeing *f, const qx_setting *setting)
{
    QX_TRY(set_counts(f, setting));
    QX_TRY(lay_out(f));
    QX_TRY(set_up(f));
    QX_TRY(count_things(f));
    QX_TRY(add_tests(f));
    QX_TRY(add_families(f));
    return keep_notes(f);
}

qx_status qx_foresee(qx_ctx *cx,
                     qx_arena *arena,
                     const qx_protocol *protocol,
                     size_t variate,
                     const qx_setting *setting,
                     size_t samples,
                     const qx_spreads *spreads,
                     qx_foreseen *out)
{
    qx_foreseen made = {0};
    foreseeing f = {.cx = qx_ctx_new(),
                    .hold = qx_arena_new(),
                    .arena = arena,
                    .asked = protocol,
                    .variate = variate,
                    .samples = samples,
                    .spreads = spreads,
                    .out = &made};
    qx_status status = f.cx == NULL || f.hold == NULL
                           ? qx_fail(cx, QX_E_NOMEM, "no memory for the plan")
                           : foresee(&f, setting);
    if (status == QX_OK) {
        *out = made;
    } else if (f.cx != NULL) {
        (void)qx_fail(cx, status, "%s", qx_ctx_message(f.cx));
    }
    qx_lmm_free(f.riskier);
    qx_lmm_free(f.known);
    qx_lmm_plan_free(f.plan);
    qx_table_free(f.table);
    qx_layout_free(f.layout);
    qx_arena_free(f.hold);
    qx_ctx_free(f.cx);
    return status;
}
