#include "findings/joint_test.h"

#include <math.h>

#include "findings/replicated.h"
#include "findings/small_sample.h"

qx_test_line qx_test_nothing(const char *term, const char *unit)
{
    return (qx_test_line){.term = term,
                          .unit = unit,
                          .num_df = NAN,
                          .den_df = NAN,
                          .statistic = "chisq",
                          .value = NAN,
                          .p = NAN,
                          .sum_of_squares = NAN,
                          .mean_square = NAN,
                          .p_small_sample = NAN};
}

qx_status qx_test_few_units(qx_work *w, qx_mat L, double chisq, qx_test_line *line)
{
    bool replicated;
    QX_TRY(qx_replicated_rows(w, L, &replicated));
    if (!replicated) {
        line->value = line->p = NAN;
        return QX_OK;
    }
    if (w->small_method == NULL) {
        return QX_OK;
    }
    line->method_small_sample = w->small_method;
    return qx_small_p(w, L, chisq, line->num_df, &line->p_small_sample);
}

qx_status qx_test_rows(qx_work *w, qx_mat L, qx_test_line *line)
{
    qx_estimator_test test;
    QX_TRY(w->estimator.kind->joint(w->cx, &w->estimator, L, &test));
    line->statistic = test.statistic;
    line->num_df = test.num_df;
    line->den_df = test.den_df;
    line->value = test.value;
    line->p = test.p;
    line->method = test.method;
    line->sum_of_squares = test.sum_of_squares;
    line->mean_square = test.sum_of_squares / test.num_df;
    return qx_test_few_units(w, L, test.chisq, line);
}
