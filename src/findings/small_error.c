#include "findings/small_error.h"

#include <string.h>

#include "base/decimal.h"

/* Up to so many degrees of freedom an error is known badly. */
static const double FEW_DF = 5.0;

/* Does the test rest on few units of random term i? */
static bool rests_on(const qx_work *w, const qx_test_line *t, size_t i)
{
    return t->statistic != NULL && t->unit != NULL && t->den_df <= FEW_DF &&
           strcmp(t->unit, w->choice.random[i].name) == 0;
}

/* "pinch and pinch:variety"; *df: the least of their degrees of freedom. */
static qx_status list_terms(qx_work *w, size_t i, const char **text, double *df)
{
    size_t left = 0, told = 0;
    *text = "";
    for (size_t k = 0; k < w->result->test_count; k++) {
        left += rests_on(w, &w->result->test[k], i) ? 1 : 0;
    }
    for (size_t k = 0; k < w->result->test_count; k++) {
        const qx_test_line *t = &w->result->test[k];
        if (!rests_on(w, t, i)) {
            continue;
        }
        const char *join = told == 0 ? "" : told + 1 < left ? ", " : " and ";
        *text = qx_arena_printf(w->temporary, "%s%s%s", *text, join, t->term);
        if (*text == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for a sentence");
        }
        *df = told == 0 || t->den_df < *df ? t->den_df : *df;
        told++;
    }
    return QX_OK;
}

static qx_status tell(qx_work *w, size_t i, const char *terms, double df)
{
    char number[2][QX_NUMBER_ROOM];
    const size_t at = w->choice.random_unit[i];
    const char *unit =
        at == QX_NONE ? "unit" : w->protocol->unit[w->data.unit[at].unit].name;
    return qx_note(
        w->cx,
        "Read the verdicts on %s with caution: the error that they rest on came out "
        "smaller than the variation inside each %s allows (one %s differs less from "
        "another than chance inside them would make it, a variance of %s), and it is "
        "known from few units (%s degrees of freedom). An error that is too small makes "
        "differences look surer than they are.",
        terms,
        unit,
        unit,
        qx_number_significant(w->fit->component[i].unconstrained, 3, number[0]),
        qx_number_significant(df, 2, number[1]));
}

qx_status qx_tell_small_error(qx_work *w)
{
    for (size_t i = 0; w->fit->unconstrained && i < w->choice.random_count; i++) {
        const char *terms;
        double df = 0.0;
        if (!(w->fit->component[i].unconstrained < 0.0)) {
            continue;
        }
        QX_TRY(list_terms(w, i, &terms, &df));
        if (terms[0] != '\0') {
            return tell(w, i, terms, df);
        }
    }
    return QX_OK;
}
