#include "findings/tests_of.h"

#include <math.h>
#include <string.h>

#include "base/array.h"
#include "base/decimal.h"
#include "findings/contrast_family.h"
#include "findings/covariates.h"
#include "findings/joint_test.h"
#include "findings/replicated.h"
#include "findings/small_sample.h"
#include "findings/verdict.h"
#include "model/equivalence.h"
#include "model/trend.h"
#include "numeric/dist.h"

/* Powers of two whose squares, times ordinary numbers, stay numbers. */
#define SQUARES_SAFE 300

/* Weights such as 1/3 are typed with few digits. */
#define WEIGHT_SLACK 0.005

/* Are units seen in several seasons or on several dates? */
static bool repeated(const qx_work *w)
{
    return w->data.season != QX_NO_COLUMN || w->data.date != QX_NO_COLUMN;
}

const char *qx_unit_of_test(const qx_work *w, size_t t)
{
    const qx_term *term = &w->choice.term[t];
    if (w->strata.balanced) {
        const size_t s = w->strata.stratum_of[t];
        return s < w->choice.random_count ? w->choice.random[s].name
                                          : w->choice.residual_path;
    }
    size_t lowest = QX_NONE;
    for (size_t i = 0; i < term->factor_count; i++) {
        for (size_t k = 0; k < w->protocol->treatment_count; k++) {
            if (w->data.treatment[k] != term->factor[i]) {
                continue;
            }
            const size_t on = w->protocol->treatment[k].on;
            if (lowest == QX_NONE || qx_unit_reaches(w->protocol, lowest, on)) {
                lowest = on;
            }
        }
    }
    for (size_t k = 0; k < w->choice.random_count; k++) {
        if (w->choice.random_unit[k] == QX_NONE) {
            continue;
        }
        const qx_frame_unit *u = &w->data.unit[w->choice.random_unit[k]];
        if (lowest != QX_NONE && u->unit == lowest && !repeated(w)) {
            return u->path;
        }
    }
    return lowest == QX_NONE || repeated(w) ? NULL : w->choice.residual_path;
}

static qx_status test_term(qx_work *w, size_t t, qx_test_line *line)
{
    const bool sequential = w->protocol->analysis.sums == QX_SUMS_SEQUENTIAL;
    qx_mat L;
    qx_joint_test test;
    if (sequential) {
        QX_TRY(qx_design_sequential(w->cx, w->temporary, &w->fit->design, t, &L));
    } else {
        QX_TRY(qx_design_marginal(w->cx, w->temporary, &w->fit->design, t, &L));
    }
    *line = qx_test_nothing(w->choice.term[t].name, qx_unit_of_test(w, t));
    line->statistic = "F";
    if (L.rows == 0) {
        return QX_OK;
    }
    QX_TRY(qx_lmm_test(w->cx, w->fit, L, &test));
    line->num_df = test.num_df;
    line->den_df = test.den_df;
    line->value = test.f;
    line->p = test.p;
    line->method = test.method;
    line->sum_of_squares = w->strata.balanced && w->choice.random_count > 0
                               ? w->strata.sum_of_squares[t]
                               : test.sum_of_squares;
    line->mean_square = line->sum_of_squares / line->num_df;
    return QX_OK;
}

static qx_status push_test(qx_work *w, qx_array *tests, qx_test_line line)
{
    qx_test_line *one = qx_array_push(tests);
    if (one == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for the tests");
    }
    *one = line;
    return QX_OK;
}

static qx_test_line left_over(const char *unit, double df, double ss)
{
    return (qx_test_line){.term = "residual",
                          .unit = unit,
                          .num_df = df,
                          .den_df = NAN,
                          .value = NAN,
                          .p = NAN,
                          .sum_of_squares = df > 0.0 ? ss : (double)NAN,
                          .mean_square = df > 0.0 ? ss / df : (double)NAN};
}

static qx_status add_strata(qx_work *w, qx_array *tests)
{
    if (w->structured) {
        return QX_OK;
    }
    if (w->choice.random_count == 0) {
        return push_test(
            w,
            tests,
            left_over(w->choice.residual_path, w->fit->residual_df, w->fit->residual_ss));
    }
    for (size_t s = 0; w->strata.balanced && s < w->strata.stratum_count; s++) {
        const char *unit = s < w->choice.random_count ? w->choice.random[s].name
                                                      : w->choice.residual_path;
        QX_TRY(push_test(
            w,
            tests,
            left_over(unit, w->strata.left[s].df, w->strata.left[s].sum_of_squares)));
    }
    return QX_OK;
}

qx_status qx_tests_of(qx_work *w)
{
    qx_array tests = QX_ARRAY(w->arena, sizeof(qx_test_line));
    for (size_t t = 0; t < w->choice.term_count; t++) {
        qx_test_line line = {0};
        qx_status status;
        if (w->fit->design.term_df[t] == 0) {
            continue; /* aliased: told by a note of the design */
        }
        QX_SCRATCH(w->cx, status, test_term(w, t, &line));
        QX_TRY(status);
        QX_TRY(push_test(w, &tests, line));
    }
    QX_TRY(add_strata(w, &tests));
    w->result->test = tests.items;
    w->result->test_count = tests.count;
    return QX_OK;
}

/* Takes a row that is so long or short that squares of it are not numbers (a covariate of
 * 1e-300 has a slope of 1e300) near to 1; gives the power of two that was taken out. */
static int near_one(size_t p, double row[])
{
    double most = 0.0;
    for (size_t j = 0; j < p; j++) {
        most = fmax(most, fabs(row[j]));
    }
    const int power = most > 0.0 && isfinite(most) ? ilogb(most) : 0;
    if (power > -SQUARES_SAFE && power < SQUARES_SAFE) {
        return 0;
    }
    for (size_t j = 0; j < p; j++) {
        row[j] = ldexp(row[j], -power);
    }
    return power;
}

static qx_status coefficient(qx_work *w, size_t j, double row[], qx_coefficient *out)
{
    qx_estimate e;
    qx_covariate_row(w, j, row);
    const double shift = w->fit->design.term_of[j] == QX_NO_COLUMN ? 1.0 : 0.0;
    const int power = near_one(w->fit->p, row);
    QX_TRY(qx_lmm_contrast(w->cx, w->fit, row, ldexp(shift, -power), &e));
    double value = e.estimate / e.se;
    e.estimate = ldexp(e.estimate, power);
    e.se = ldexp(e.se, power);
    if (!(e.se > 0.0) || !isfinite(e.se)) { /* beyond the numbers there are */
        e.se = value = NAN;
    }
    *out = (qx_coefficient){w->fit->design.name[j],
                            e.estimate,
                            e.se,
                            e.df,
                            value,
                            qx_t_two_sided(value, e.df)};
    return QX_OK;
}

static qx_status coefficients(qx_work *w, qx_coefficient list[])
{
    double *row;
    QX_NEW(w->cx, row, w->fit->p);
    for (size_t j = 0; j < w->fit->p; j++) {
        QX_TRY(coefficient(w, j, row, &list[j]));
    }
    return QX_OK;
}

qx_status qx_coefficients_of(qx_work *w)
{
    qx_coefficient *list;
    qx_status status;
    QX_NEW_IN(w->cx, w->arena, list, w->fit->p);
    QX_SCRATCH(w->cx, status, coefficients(w, list));
    QX_TRY(status);
    for (size_t j = 0; j < w->fit->p; j++) {
        list[j].term = qx_arena_copy(w->arena, list[j].term);
        if (list[j].term == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the coefficients");
        }
    }
    w->result->coefficient = list;
    w->result->coefficient_count = w->fit->p;
    return QX_OK;
}

/* Weights over the levels that the factor has in the data; false (and a note) when a level
 * that the contrast needs is not there. */
static qx_status contrast_weights(qx_work *w,
                                  const qx_contrast_def *def,
                                  size_t factor,
                                  double weight[],
                                  bool *possible)
{
    const qx_factor *f = &w->data.frame.factor[factor];
    *possible = true;
    if (def->trend != QX_TREND_NONE) {
        const int degree = (int)def->trend; /* QX_TREND_LINEAR is 1 ... */
        if (f->score == NULL) {
            *possible = false;
            return qx_note(w->cx,
                           "%s needs levels of %s that are numbers: a trend has no other "
                           "scale.",
                           def->name,
                           f->name);
        }
        if (f->level_count <= (size_t)degree) {
            *possible = false;
            return qx_note(w->cx,
                           "%s needs more levels of %s than the data have.",
                           def->name,
                           f->name);
        }
        return qx_trend_coefficients(w->cx, f->level_count, f->score, degree, weight);
    }
    const bool season = def->of == QX_OF_SEASON;
    const size_t all = season ? w->protocol->seasons.level_count
                              : w->protocol->treatment[def->of].level_count;
    const char *const *level =
        season ? w->protocol->seasons.level : w->protocol->treatment[def->of].level;
    for (size_t l = 0, k = 0; l < all; l++) {
        if (k < f->level_count && f->level[k] == level[l]) {
            weight[k++] = def->weight[l];
        } else if (def->weight[l] != 0.0) {
            *possible = false;
            return qx_note(w->cx,
                           "%s needs %s %s, which has no data.",
                           def->name,
                           f->name,
                           level[l]);
        }
    }
    return QX_OK;
}

/* Weights that sum to 1 on one side and to -1 on the other: a mean against a mean. */
static bool compares(size_t levels, const double weight[])
{
    double up = 0.0, down = 0.0;
    for (size_t l = 0; l < levels; l++) {
        *(weight[l] > 0.0 ? &up : &down) += weight[l];
    }
    return fabs(up - 1.0) < WEIGHT_SLACK && fabs(down + 1.0) < WEIGHT_SLACK;
}

/* As few units allow: the standard error that the limits go by. */
static qx_status
allow_for_few(qx_work *w, const double row[], qx_contrast_line *line, double *se)
{
    qx_allowance a;
    *se = line->se;
    if (w->small_method == NULL || !(line->se > 0.0)) {
        return QX_OK;
    }
    QX_TRY(qx_small_allowance(w, row, &a));
    *se = line->se * sqrt(a.factor);
    line->df_small_sample = a.df;
    line->p_small_sample = qx_t_two_sided(line->estimate / *se, a.df);
    return QX_OK;
}

/* Limits and verdict, as those of a difference that is not adjusted. */
static void judge(const qx_work *w, double se, qx_contrast_line *line)
{
    const bool fits = line->compares && w->estimator.kind->respond == NULL;
    const double df = qx_contrast_df(line);
    const double half =
        df > 0.0 ? qx_t_q(w->alpha / 2.0, df, QX_UPPER) * se : (double)NAN;
    line->margin = fits ? w->margin : (double)NAN;
    const qx_equivalence e =
        qx_equivalence_test(line->estimate, line->se, line->df, line->margin, w->alpha);
    line->lower = line->estimate - half;
    line->upper = line->estimate + half;
    line->p_equivalence = e.p;
    line->lower_equivalence = e.lower;
    line->upper_equivalence = e.upper;
    qx_difference d = {.estimate = line->estimate,
                       .p_adjusted = qx_contrast_p(line),
                       .lower = line->lower,
                       .upper = line->upper,
                       .margin = line->margin,
                       .p_equivalence = e.p};
    qx_verdict_give(&d, w->alpha);
    line->verdict = d.verdict;
    line->beyond_margin = d.beyond_margin;
}

qx_status qx_contrast_told(qx_work *w,
                           const double row[],
                           const qx_estimate *e,
                           qx_contrast_line *line)
{
    double se;
    line->estimate = e->estimate;
    line->se = e->se;
    line->df = e->df;
    line->value = e->estimate / e->se;
    line->p = qx_t_two_sided(line->value, e->df);
    line->p_adjusted = (double)NAN;
    QX_TRY(allow_for_few(w, row, line, &se));
    judge(w, se, line);
    return QX_OK;
}

static qx_status contrast(qx_work *w,
                          const qx_contrast_def *def,
                          size_t factor,
                          double row[], /* zeros in, the contrast over the columns out */
                          qx_contrast_line *line,
                          bool *possible)
{
    const size_t levels = w->data.frame.factor[factor].level_count;
    double *weight, *mean;
    qx_estimate e = {NAN, NAN, NAN};
    bool estimable = true;
    QX_NEW(w->cx, weight, levels);
    QX_NEW(w->cx, mean, w->design->p);
    QX_TRY(contrast_weights(w, def, factor, weight, possible));
    if (!*possible) {
        return QX_OK;
    }
    double sum = 0.0;
    for (size_t l = 0; l < levels; l++) {
        bool known;
        QX_TRY(qx_design_mean(w->cx, w->design, 1, &factor, &l, mean, &known));
        estimable = estimable && (known || weight[l] == 0.0);
        for (size_t j = 0; j < w->design->p; j++) {
            row[j] += weight[l] * mean[j];
        }
        sum += weight[l];
    }
    if (estimable) {
        QX_TRY(w->estimator.kind->contrast(
            w->cx, &w->estimator, row, fabs(sum) < 1e-12 ? 0.0 : sum, &e));
        QX_TRY(qx_replicated_row(w, row, &estimable));
        e = estimable ? e : (qx_estimate){e.estimate, NAN, NAN};
    }
    *line = (qx_contrast_line){.name = def->name,
                               .of = w->data.frame.factor[factor].name,
                               .compares = def->trend == QX_TREND_NONE &&
                                           compares(levels, weight)};
    return qx_contrast_told(w, row, &e, line);
}

qx_status qx_contrasts_of(qx_work *w)
{
    qx_contrast_line *list;
    qx_mat row;
    size_t count = 0;
    QX_NEW_IN(w->cx, w->arena, list, w->protocol->contrast_count);
    QX_TRY(
        qx_mat_new(w->cx, w->temporary, w->design->p, w->protocol->contrast_count, &row));
    for (size_t i = 0; i < w->protocol->contrast_count; i++) {
        const qx_contrast_def *def = &w->protocol->contrast[i];
        const size_t factor =
            def->of == QX_OF_SEASON ? w->data.season : w->data.treatment[def->of];
        qx_status status;
        bool possible = false;
        if (factor == QX_NO_COLUMN || w->data.frame.factor[factor].level_count < 2) {
            continue;
        }
        QX_SCRATCH(
            w->cx,
            status,
            contrast(w, def, factor, &QX_AT(row, 0, count), &list[count], &possible));
        QX_TRY(status);
        count += possible ? 1 : 0;
    }
    w->result->contrast = list;
    w->result->contrast_count = count;
    return qx_contrast_family(w, row, count, list);
}

qx_status qx_tell_zero(qx_work *w, size_t i)
{
    static const char residual[] = "residual "; /* of one season */
    const bool term = i < w->choice.random_count;
    if (!term && strncmp(w->fit->component[i].name, residual, sizeof residual - 1) == 0) {
        return qx_note(w->cx,
                       "The variation inside %s is estimated at zero: its values lie as "
                       "the treatments and units of all seasons put them. Look whether "
                       "they were measured, or copied.",
                       w->fit->component[i].name + sizeof residual - 1);
    }
    if (!term || w->choice.random_unit[i] == QX_NONE) {
        return qx_note(w->cx,
                       "No variation between one %s and another could be seen in the "
                       "field (it is estimated at zero).",
                       w->fit->component[i].name);
    }
    const qx_frame_unit *u = &w->data.unit[w->choice.random_unit[i]];
    return qx_note(
        w->cx,
        "No variation between one %s and another%s could be seen beyond that of "
        "the smaller units (it is estimated at zero). Treatments are still "
        "tested against the units that they were put on.",
        w->protocol->unit[u->unit].name,
        u->by_date     ? " that changes with the date"
        : u->by_season ? " that changes with the season"
                       : "");
}

/* What the estimate would be without the bound (for a balanced layout the classical table
 * says so). */
static qx_status tell_unconstrained(qx_work *w, size_t i)
{
    const qx_component *c = &w->fit->component[i];
    const bool unit = i < w->choice.random_count && w->choice.random_unit[i] != QX_NONE;
    char value[QX_NUMBER_ROOM];
    if (!w->strata.balanced && c->unconstrained < 0.0) {
        QX_TRY(qx_note(
            w->cx,
            "Without that bound the variance of %s would be estimated at %s.",
            unit ? w->protocol->unit[w->data.unit[w->choice.random_unit[i]].unit].name
                 : c->name,
            qx_number_spoken(c->unconstrained, 3, value)));
    }
    return QX_OK;
}

/* Once for all components. */
static qx_status tell_how_tested(qx_work *w, size_t at_zero)
{
    if (at_zero == 0 || !w->fit->unconstrained) {
        return QX_OK;
    }
    return qx_note(w->cx,
                   "Standard errors and tests use the variances without the bound at "
                   "zero, as an analysis of variance does: with it they would not be "
                   "at their level.");
}

qx_status qx_variance_of(qx_work *w)
{
    qx_variance_line *list;
    const qx_component *rest = &w->fit->component[w->fit->component_count - 1];
    /* Squares of what is below 1e-162 are not numbers any more. */
    const bool lost = rest->sd > 0.0 && rest->variance == 0.0;
    size_t at_zero = 0;
    QX_NEW_IN(w->cx, w->arena, list, w->fit->component_count);
    for (size_t i = 0; i < w->fit->component_count; i++) {
        const qx_component *c = &w->fit->component[i];
        const double unknown = lost ? (double)NAN : 0.0; /* added: NAN wins */
        list[i] = (qx_variance_line){
            .term = qx_arena_copy(w->arena, c->name),
            .variance = lost && c->sd > 0.0 ? (double)NAN : c->variance,
            .sd = c->sd,
            .lower = c->lower + unknown,
            .upper = c->upper + unknown,
            .lrt = c->lrt,
            .p = c->p,
            .unconstrained = c->unconstrained + unknown,
            .at_zero = c->at_zero,
            .field = w->covariance.field && i == w->choice.random_count};
        if (list[i].term == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the variances");
        }
        if (c->at_zero && w->fit->exhausted == QX_VARIES) {
            QX_TRY(qx_tell_zero(w, i));
            QX_TRY(tell_unconstrained(w, i));
            at_zero++;
        }
    }
    QX_TRY(tell_how_tested(w, at_zero));
    w->result->variance = list;
    w->result->variance_count = w->fit->component_count;
    return QX_OK;
}
