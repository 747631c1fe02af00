#include "findings/added_control.h"

#include <math.h>

#include "base/array.h"
#include "findings/cell_means.h"
#include "findings/crossed_part.h"
#include "findings/family.h"
#include "findings/joint_test.h"
#include "findings/replicated.h"
#include "findings/tests_of.h"
#include "layout/wishes.h"
#include "numeric/dist.h"

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
    return qx_cell_means(w, name, &cells);
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
    return qx_cell_means(w, QX_ADDED_CONTROL, &cells);
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

/* A line before its test; an F test where variances are not known. */
static qx_test_line nothing(const qx_work *w, const char *unit)
{
    qx_test_line line = qx_test_nothing(NULL, unit);
    line.statistic = w->fit != NULL ? "F" : line.statistic;
    return line;
}

static qx_status
push_test(qx_work *w, qx_array *list, qx_mat L, bool estimable, qx_test_line line)
{
    if (estimable) {
        QX_TRY(qx_test_rows(w, L, &line));
    }
    qx_test_line *one = qx_array_push(list);
    if (one == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for the tests");
    }
    *one = line;
    return QX_OK;
}

static qx_status part_test(qx_work *w, const qx_added *a, size_t t, qx_array *list)
{
    const qx_term *term = &w->choice.term[t];
    qx_test_line line = nothing(w, qx_unit_of_test(w, t));
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
    qx_test_line line = nothing(w, NULL);
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

/* Classes without order have no contrast: the control against the rest, all classes at once. */
static qx_status classes_against(qx_work *w, const qx_added *a, qx_array *list)
{
    qx_test_line line = nothing(w, NULL);
    bool estimable;
    qx_mat L;
    line.term = QX_AGAINST_REST;
    QX_TRY(qx_part_against_control(w, a, 0, NULL, &L, &estimable));
    return push_test(w, list, L, estimable, line);
}

static qx_status all_tests(qx_work *w, const qx_added *a)
{
    qx_array list = QX_ARRAY(w->arena, sizeof(qx_test_line));
    qx_status status;
    QX_TRY(qx_list_reopen(w, w->result->test, w->result->test_count, &list));
    for (size_t t = 0; t < w->choice.term_count; t++) {
        if (!qx_choice_is_treatment_term(&w->choice, t)) {
            continue;
        }
        QX_SCRATCH(w->cx, status, part_test(w, a, t, &list));
        QX_TRY(status);
        QX_SCRATCH(w->cx, status, against_test(w, a, t, &list));
        QX_TRY(status);
    }
    if (w->estimator.kind->contrast == NULL) {
        QX_SCRATCH(w->cx, status, classes_against(w, a, &list));
        QX_TRY(status);
    }
    w->result->test = list.items;
    w->result->test_count = list.count;
    return QX_OK;
}

/* ---- control against the rest ---------------------------------------------------------- */

/* The rows of the control and of the average of the rest, as two cells. The second has no
 * levels of its own. */
static qx_status two_cells(
    qx_work *w, const qx_added *a, qx_cells *cells, double difference[], bool *known)
{
    size_t *level;
    bool *estimable;
    qx_mat L;
    *cells = (qx_cells){.factor_count = a->count, .factor = a->factor, .count = 2};
    QX_NEW(w->cx, level, 2 * a->count);
    QX_NEW(w->cx, estimable, 2);
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), w->design->p, 2, &cells->row));
    QX_TRY(qx_part_against_control(w, a, 0, NULL, &L, known));
    for (size_t i = 0; i < a->count; i++) {
        level[i] = level[a->count + i] = a->level[i];
    }
    QX_TRY(qx_design_mean(w->cx,
                          w->design,
                          a->count,
                          a->factor,
                          a->level,
                          &QX_AT(cells->row, 0, 1),
                          &estimable[1]));
    for (size_t j = 0; j < w->design->p; j++) {
        difference[j] = QX_AT(L, 0, j);
        QX_AT(cells->row, j, 0) = QX_AT(cells->row, j, 1) - difference[j];
    }
    estimable[0] = estimable[1] = estimable[1] && *known;
    cells->level = level;
    cells->estimable = estimable;
    return QX_OK;
}

/* On the scale that was measured: the control less the average of the rest, by class where
 * there are classes. One comparison, planned by the layout: not adjusted for others. */
static qx_status compare_against(qx_work *w, const qx_added *a, const qx_cells *cells)
{
    static const size_t member[] = {0, 1};
    qx_array list = QX_ARRAY(w->arena, sizeof(qx_difference));
    const qx_pair_family family = {.term = QX_AGAINST_REST,
                                   .cells = cells,
                                   .member_count = 2,
                                   .member = member,
                                   .named = a->count,
                                   .control = QX_NO_COLUMN,
                                   .unit = qx_replicate_unit(w, a->count, a->factor)};
    QX_TRY(qx_family_compare(w, &family, &list, NULL));
    for (size_t i = 0; i < list.count; i++) {
        qx_difference *d = qx_array_at(&list, i);
        d->second.count = 0;
        d->replicates_to_settle = NAN; /* of the one or of the others? */
    }
    w->result->against = list.items;
    w->result->against_count = list.count;
    return QX_OK;
}

static qx_status
add_contrast(qx_work *w, const qx_added *a, const double row[], bool estimable)
{
    qx_array list = QX_ARRAY(w->arena, sizeof(qx_contrast_line));
    qx_estimate e = {NAN, NAN, NAN};
    bool replicated;
    if (w->estimator.kind->contrast == NULL) {
        return QX_OK;
    }
    if (estimable) {
        QX_TRY(w->estimator.kind->contrast(w->cx, &w->estimator, row, 0.0, &e));
        QX_TRY(qx_replicated_row(w, row, &replicated));
        e = replicated ? e : (qx_estimate){e.estimate, NAN, NAN};
    }
    QX_TRY(qx_list_reopen(w, w->result->contrast, w->result->contrast_count, &list));
    qx_contrast_line *line = qx_array_push(&list);
    if (line == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for the contrasts");
    }
    *line = (qx_contrast_line){.name = QX_AGAINST_REST};
    QX_TRY(qx_contrast_told(w, row, &e, line));
    QX_TRY(named(w, join_names(w, a, ":"), &line->of));
    w->result->contrast = list.items;
    w->result->contrast_count = list.count;
    return QX_OK;
}

static qx_status against(qx_work *w, const qx_added *a)
{
    qx_cells cells;
    double *row;
    bool known;
    QX_NEW(w->cx, row, w->design->p);
    QX_TRY(two_cells(w, a, &cells, row, &known));
    QX_TRY(add_contrast(w, a, row, known));
    return compare_against(w, a, &cells);
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

static qx_status added_control(qx_work *w)
{
    qx_added a;
    QX_TRY(qx_added_find(w, &a));
    if (a.count == 0) {
        return QX_OK;
    }
    QX_TRY(tell_part(w, &a));
    QX_TRY(all_means(w, &a));
    QX_TRY(all_tests(w, &a));
    return against(w, &a);
}

qx_status qx_added_control_of(qx_work *w)
{
    qx_status status;
    QX_SCRATCH(w->cx, status, added_control(w));
    return status;
}

qx_status qx_added_control_planned(qx_work *w)
{
    const qx_layout_wishes *wishes = w->protocol->wishes;
    return wishes == NULL || wishes->added_control == NULL ? QX_OK
                                                           : qx_added_control_of(w);
}
