#include "findings/grades_tests.h"

#include <math.h>

#include "base/workers.h"
#include "findings/joint_test.h"
#include "findings/small_sample.h"
#include "findings/tests_of.h"
#include "model/ordinal.h"
#include "numeric/dist.h"

/* Samples of the parametric bootstrap are the same in every run. */
#define BOOTSTRAP_SEED 20240301u

static qx_test_line nothing(const qx_work *w, size_t t)
{
    return qx_test_nothing(w->choice.term[t].name, qx_unit_of_test(w, t));
}

/* The likelihood ratios of simulated responses. */
typedef struct draws {
    const qx_classes_null *null;
    double *chisq;
} draws;

static qx_status draw_one(qx_ctx *cx, void *shared, size_t task)
{
    const draws *d = shared;
    qx_rng rng = qx_rng_stream(BOOTSTRAP_SEED, task);
    return qx_classes_null_draw(cx, d->null, &rng, &d->chisq[task]);
}

static qx_status
bootstrap(qx_work *w, const qx_classes *fit, qx_mat L, qx_test_line *line)
{
    const size_t samples = (size_t)w->protocol->analysis.bootstrap;
    const qx_workers_options options = {.what = "samples"};
    draws d = {0};
    size_t reached = 0, made = 0;
    QX_NEW(w->cx, d.chisq, samples);
    QX_TRY(qx_classes_null_make(w->cx, w->temporary, fit, L, &d.null));
    QX_TRY(qx_workers_run(w->cx, &options, samples, draw_one, &d));
    const double observed = qx_classes_null_observed(d.null);
    for (size_t i = 0; i < samples; i++) {
        made += isnan(d.chisq[i]) ? 0 : 1;
        reached += d.chisq[i] >= observed ? 1 : 0;
    }
    line->p_small_sample = (1.0 + (double)reached) / (1.0 + (double)made);
    line->method_small_sample =
        qx_arena_printf(w->arena, "parametric bootstrap, %zu samples", made);
    return line->method_small_sample == NULL
               ? qx_fail(w->cx, QX_E_NOMEM, "no memory for the tests")
               : QX_OK;
}

static qx_status marginal(qx_work *w, const qx_classes *fit, size_t t, qx_test_line *line)
{
    qx_mat L;
    *line = nothing(w, t);
    QX_TRY(qx_design_marginal(w->cx, w->temporary, w->design, t, &L));
    if (L.rows == 0) {
        return QX_OK;
    }
    for (size_t i = 0; i < L.rows; i++) {
        QX_AT(L, i, 0) = 0.0; /* what rounding left on the intercept */
    }
    QX_TRY(qx_test_rows(w, L, line));
    return w->protocol->analysis.bootstrap > 0 && !isnan(line->p)
               ? bootstrap(w, fit, L, line)
               : QX_OK;
}

/* The value with the first `count` terms alone: those after them held at nil, so that a
 * penalty stays the same function. *rows: columns that are held. */
static qx_status value_of_first(
    qx_work *w, const qx_classes *fit, size_t count, double *value, size_t *rows)
{
    const qx_design *design = w->design;
    qx_mat L;
    *rows = 0;
    *value = fit->log_likelihood + fit->penalty;
    QX_TRY(qx_mat_new(w->cx, w->temporary, design->p, design->p, &L));
    for (size_t j = 0; j < design->p; j++) {
        if (design->term_of[j] != QX_NO_COLUMN && design->term_of[j] >= count) {
            QX_AT(L, (*rows)++, j) = 1.0;
        }
    }
    L.rows = *rows;
    return *rows == 0 ? QX_OK : qx_classes_under(w->cx, fit, L, value);
}

/* Each term after those before it. */
static qx_status
sequential(qx_work *w, const qx_classes *fit, size_t t, qx_test_line *line)
{
    const size_t each = fit->kind == QX_BASELINE ? fit->class_count - 1 : 1;
    double with, without;
    size_t held_with, held_without;
    qx_mat L;
    *line = nothing(w, t);
    QX_TRY(value_of_first(w, fit, t, &without, &held_without));
    QX_TRY(value_of_first(w, fit, t + 1, &with, &held_with));
    line->num_df = (double)((held_without - held_with) * each);
    line->value = fmax(2.0 * (with - without), 0.0);
    line->p = qx_chisq_p(line->value, line->num_df, QX_UPPER);
    line->method = fit->penalised ? "penalised likelihood ratio" : "likelihood ratio";
    QX_TRY(qx_design_sequential(w->cx, w->temporary, w->design, t, &L));
    return L.rows == 0 ? QX_OK : qx_test_few_units(w, L, line->value, line);
}

qx_status qx_grades_tests_of(qx_work *w, const qx_classes *fit)
{
    const bool in_order = w->protocol->analysis.sums == QX_SUMS_SEQUENTIAL;
    qx_test_line *list;
    size_t count = 0;
    QX_NEW_IN(w->cx, w->arena, list, w->choice.term_count);
    for (size_t t = 0; t < w->choice.term_count; t++) {
        qx_status status;
        if (w->design->term_df[t] == 0) {
            continue; /* aliased: told by a note of the design */
        }
        QX_SCRATCH(w->cx,
                   status,
                   in_order ? sequential(w, fit, t, &list[count])
                            : marginal(w, fit, t, &list[count]));
        QX_TRY(status);
        count++;
    }
    w->result->test = list;
    w->result->test_count = count;
    return QX_OK;
}

qx_status qx_grades_check(qx_work *w, const qx_classes *fit)
{
    qx_classes_test test;
    qx_check_line *line;
    QX_TRY(qx_ordinal_proportional_odds(w->cx, fit, &test));
    if (isnan(test.p)) {
        return QX_OK;
    }
    QX_NEW_IN(w->cx, w->arena, line, 1);
    *line = (qx_check_line){
        .check = "grades move together",
        .value = test.chisq,
        .p = test.p,
        .num_df = (double)test.df,
        .den_df = NAN,
        .lower = NAN,
        .upper = NAN,
        .advice = test.p < 0.05
                      ? "A treatment moves some grades more than others: read the shares "
                        "of the grades, and analyse the boundary that matters on its own "
                        "(so many of so many in the upper grades) as a proportion."
                      : NULL};
    w->result->check = line;
    w->result->check_count = 1;
    return QX_OK;
}
