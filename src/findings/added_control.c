#include "findings/added_control.h"

#include <math.h>

#include "base/array.h"
#include "base/decimal.h"
#include "findings/crossed_part.h"
#include "findings/plain_means.h"
#include "findings/tests_of.h"
#include "numeric/dist.h"

#define QX_PART_SUFFIX   " (factorial part)"
#define QX_ADDED_CONTROL "added control"
#define QX_AGAINST_REST  "control against the rest"

static qx_status named(qx_work *w, const char *text, const char **out)
{
    *out = text;
    return text != NULL ? QX_OK
                        : qx_fail(w->cx, QX_E_NOMEM, "no memory for the added control");
}

/* Names or levels of the control's factors with `join` between them. */
static const char *join_names(const qx_work *w, const qx_added *a, const char *join)
{
    const char *text = "";
    for (size_t i = 0; i < a->count && text != NULL; i++) {
        text = qx_arena_printf(w->arena,
                               "%s%s%s",
                               text,
                               i > 0 ? join : "",
                               w->data.frame.factor[a->factor[i]].name);
    }
    return text;
}

static const char *control_words(const qx_work *w, const qx_added *a)
{
    const char *text = "";
    for (size_t i = 0; i < a->count && text != NULL; i++) {
        const qx_factor *f = &w->data.frame.factor[a->factor[i]];
        text = qx_arena_printf(w->temporary,
                               "%s%s%s %s",
                               text,
                               i > 0 ? " with " : "",
                               f->name,
                               f->level[a->level[i]]);
    }
    return text;
}

/* ---- means -------------------------------------------------------------------------- */

static qx_status part_means(qx_work *w, const qx_added *a, const qx_term *term)
{
    const char *name;
    qx_cells cells;
    QX_TRY(
        named(w, qx_arena_printf(w->arena, "%s%s", term->name, QX_PART_SUFFIX), &name));
    QX_TRY(qx_part_cells(w, a, term->factor_count, term->factor, &cells));
    if (cells.count < 2 || cells.count > QX_CELLS_MOST) {
        return QX_OK;
    }
    return qx_plain_means(w, name, &cells);
}

static qx_status control_mean(qx_work *w, const qx_added *a)
{
    qx_cells cells = {
        .factor_count = a->count, .factor = a->factor, .count = 1, .level = a->level};
    bool *estimable;
    QX_NEW(w->cx, estimable, 1);
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), w->design->p, 1, &cells.row));
    QX_TRY(qx_design_mean(w->cx,
                          w->design,
                          a->count,
                          a->factor,
                          a->level,
                          &QX_AT(cells.row, 0, 0),
                          estimable));
    cells.estimable = estimable;
    return qx_plain_means(w, QX_ADDED_CONTROL, &cells);
}

static qx_status all_means(qx_work *w, const qx_added *a)
{
    for (size_t t = 0; t < w->choice.term_count; t++) {
        qx_status status;
        const qx_term *term = &w->choice.term[t];
        if (!qx_choice_is_treatment_term(&w->choice, t) || qx_added_in(a, term, true)) {
            continue; /* the cells of the control's factors are the term's own means */
        }
        QX_SCRATCH(w->cx, status, part_means(w, a, term));
        QX_TRY(status);
    }
    return control_mean(w, a);
}

/* ---- tests -------------------------------------------------------------------------- */

static qx_status
push_test(qx_work *w, qx_array *list, qx_mat L, bool estimable, qx_test_line line)
{
    qx_test_line *one = qx_array_push(list);
    if (one == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for the tests");
    }
    line.num_df = line.den_df = line.value = line.p = NAN;
    line.sum_of_squares = line.mean_square = NAN;
    line.statistic = "F";
    if (estimable) {
        qx_joint_test test;
        QX_TRY(qx_lmm_test(w->cx, w->fit, L, &test));
        line.num_df = test.num_df;
        line.den_df = test.den_df;
        line.value = test.f;
        line.p = test.p;
        line.method = test.method;
        line.sum_of_squares = test.sum_of_squares;
        line.mean_square = test.sum_of_squares / test.num_df;
    }
    *one = line;
    return QX_OK;
}

static qx_status part_test(qx_work *w, const qx_added *a, size_t t, qx_array *list)
{
    const qx_term *term = &w->choice.term[t];
    qx_test_line line = {.unit = qx_unit_of_test(w, t)};
    bool estimable;
    qx_mat L;
    QX_TRY(named(
        w, qx_arena_printf(w->arena, "%s%s", term->name, QX_PART_SUFFIX), &line.term));
    QX_TRY(qx_part_hypothesis(w, a, term, &L, &estimable));
    return L.rows == 0 ? QX_OK : push_test(w, list, L, estimable, line);
}

/* Does the model let the control's difference change with the levels of this term? */
static bool may_change(const qx_work *w, const qx_added *a, const qx_term *term)
{
    for (size_t t = 0; t < w->choice.term_count; t++) {
        const qx_term *larger = &w->choice.term[t];
        size_t has = 0;
        for (size_t i = 0; i < term->factor_count; i++) {
            for (size_t j = 0; j < larger->factor_count; j++) {
                has += term->factor[i] == larger->factor[j] ? 1 : 0;
            }
        }
        if (has == term->factor_count && larger->number == QX_NO_COLUMN &&
            qx_added_in(a, larger, false)) {
            return true;
        }
    }
    return false;
}

/* The control's factors as one, with those of the term: the interaction of the two. */
static qx_status against_test(qx_work *w, const qx_added *a, size_t t, qx_array *list)
{
    const qx_term *term = &w->choice.term[t];
    qx_test_line line = {0};
    bool estimable;
    qx_mat L;
    if (qx_added_in(a, term, false) || !may_change(w, a, term)) {
        return QX_OK;
    }
    QX_TRY(named(
        w, qx_arena_printf(w->arena, QX_AGAINST_REST ":%s", term->name), &line.term));
    QX_TRY(
        qx_part_against_control(w, a, term->factor_count, term->factor, &L, &estimable));
    return push_test(w, list, L, estimable, line);
}

static qx_status all_tests(qx_work *w, const qx_added *a)
{
    qx_array list = QX_ARRAY(w->arena, sizeof(qx_test_line));
    for (size_t i = 0; i < w->result->test_count; i++) {
        qx_test_line *copy = qx_array_push(&list);
        if (copy == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the tests");
        }
        *copy = w->result->test[i];
    }
    for (size_t t = 0; t < w->choice.term_count; t++) {
        qx_status status;
        if (!qx_choice_is_treatment_term(&w->choice, t)) {
            continue;
        }
        QX_SCRATCH(w->cx, status, part_test(w, a, t, &list));
        QX_TRY(status);
        QX_SCRATCH(w->cx, status, against_test(w, a, t, &list));
        QX_TRY(status);
    }
    w->result->test = list.items;
    w->result->test_count = list.count;
    return QX_OK;
}

/* ---- control against the rest ---------------------------------------------------------- */

static qx_status against(qx_work *w, const qx_added *a, qx_estimate *e)
{
    qx_mat L;
    bool estimable;
    double *row;
    *e = (qx_estimate){NAN, NAN, NAN};
    QX_TRY(qx_part_against_control(w, a, 0, NULL, &L, &estimable));
    if (!estimable) {
        return QX_OK;
    }
    QX_NEW(w->cx, row, L.cols);
    for (size_t j = 0; j < L.cols; j++) {
        row[j] = QX_AT(L, 0, j);
    }
    return w->estimator.kind->contrast(w->cx, &w->estimator, row, 0.0, e);
}

static qx_status add_contrast(qx_work *w, const qx_added *a, qx_contrast_line *line)
{
    qx_contrast_line *list;
    qx_estimate e;
    const size_t count = w->result->contrast_count;
    QX_TRY(against(w, a, &e));
    const double value = e.estimate / e.se;
    *line = (qx_contrast_line){.name = QX_AGAINST_REST,
                               .estimate = e.estimate,
                               .se = e.se,
                               .df = e.df,
                               .value = value,
                               .p = qx_t_two_sided(value, e.df),
                               .p_adjusted = NAN};
    QX_TRY(named(w, join_names(w, a, ":"), &line->of));
    QX_NEW_IN(w->cx, w->arena, list, count + 1);
    for (size_t i = 0; i < count; i++) {
        list[i] = w->result->contrast[i];
    }
    list[count] = *line;
    w->result->contrast = list;
    w->result->contrast_count = count + 1;
    return QX_OK;
}

/* ---- sentences ----------------------------------------------------------------------- */

static qx_status tell_part(qx_work *w, const qx_added *a)
{
    const char *control;
    QX_TRY(named(w, control_words(w, a), &control));
    return qx_note(w->cx,
                   "%s is an added control: these levels occur together and with nothing "
                   "else. What is named \"factorial part\" leaves the control out and "
                   "weighs the %zu other combinations equally; over all levels main "
                   "effects cannot be estimated.",
                   control,
                   a->rest);
}

static qx_status tell_against(qx_work *w, const qx_contrast_line *c)
{
    const qx_mean *control = &w->result->mean[w->result->mean_count - 1];
    char mean[QX_NUMBER_ROOM], rest[QX_NUMBER_ROOM], by[QX_NUMBER_ROOM],
        se[QX_NUMBER_ROOM], p[QX_NUMBER_ROOM];
    if (isnan(c->estimate) || isnan(c->p)) {
        return qx_note(w->cx,
                       "Control against the rest cannot be estimated from these data.");
    }
    const char *on =
        w->variate->transform == QX_TRANSFORM_NONE ? "" : " (on the scale of analysis)";
    const char *word = !(c->p < w->alpha)  ? "whether they differ is not settled"
                       : c->estimate > 0.0 ? "the control is higher"
                                           : "the control is lower";
    return qx_note(w->cx,
                   "Control against the rest%s: the control has a mean of %s, the other "
                   "combinations "
                   "%s on average; %s (difference %s, standard error %s, P %s%s).",
                   on,
                   qx_number_significant(control->estimate, 4, mean),
                   qx_number_significant(control->estimate - c->estimate, 4, rest),
                   word,
                   qx_number_significant(c->estimate, 3, by),
                   qx_number_significant(c->se, 3, se),
                   c->p < 0.001 ? "< " : "= ",
                   c->p < 0.001 ? "0.001" : qx_number_fixed(c->p, 3, p));
}

static qx_status added_control(qx_work *w)
{
    qx_added a;
    qx_contrast_line line;
    QX_TRY(qx_added_find(w, &a));
    if (a.count == 0) {
        return QX_OK;
    }
    QX_TRY(tell_part(w, &a));
    QX_TRY(all_means(w, &a));
    QX_TRY(all_tests(w, &a));
    QX_TRY(add_contrast(w, &a, &line));
    return tell_against(w, &line);
}

qx_status qx_added_control_of(qx_work *w)
{
    qx_status status;
    QX_SCRATCH(w->cx, status, added_control(w));
    return status;
}
