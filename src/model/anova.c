#include "model/anova.h"

#include <math.h>

#include "numeric/dist.h"

/* A difference of mean squares below this share of them is nil: its digits are rounding,
 * and it would change nothing that is told. */
static const double ROUNDING = 1e-10;

/* Rows that one unit of a random term holds. */
static double rows_of(const qx_lmm_spec *spec, size_t k)
{
    const qx_frame *frame = spec->frame;
    return (double)frame->n / (double)frame->factor[spec->random[k].factor].level_count;
}

static void weigh(const qx_lmm_spec *spec, const qx_strata *strata, double weight[])
{
    const size_t count = strata->stratum_count;
    const size_t m = count - 1;
    for (size_t s = 0; s < count; s++) {
        for (size_t k = 0; k < m && s < m; k++) {
            if (k == s || strata->inside[k + s * m]) {
                weight[s + k * count] = rows_of(spec, k);
            }
        }
        weight[s + m * count] = 1.0;
    }
}

/* From the smallest units upward: every term that lies inside another comes after it. A
 * difference that is within the rounding of the mean squares is nil. */
static void solve(const qx_strata *strata, const double weight[], double component[])
{
    const size_t count = strata->stratum_count;
    for (size_t s = count; s-- > 0;) {
        double rest = strata->left[s].mean_square; /* NAN without df */
        double size = rest;
        for (size_t k = s + 1; k < count; k++) {
            if (weight[s + k * count] > 0.0) {
                rest -= weight[s + k * count] * component[k];
                size += weight[s + k * count] * fabs(component[k]);
            }
        }
        rest = fabs(rest) <= ROUNDING * size ? 0.0 : rest;
        component[s] = rest / weight[s + s * count];
    }
}

static void test_against(const qx_stratum_line *left, qx_anova_line *line)
{
    line->error_df = line->f = line->p = NAN;
    if (left->df > 0.0 && left->mean_square > 0.0) {
        line->error_df = left->df;
        line->f = line->mean_square / left->mean_square;
        line->p = qx_f_p(line->f, line->df, left->df, QX_UPPER);
    }
}

static size_t
list_lines(const qx_design *design, const qx_strata *strata, qx_anova_line line[])
{
    size_t count = 0;
    for (size_t s = 0; s < strata->stratum_count; s++) {
        const qx_stratum_line *left = &strata->left[s];
        for (size_t t = 0; t < design->term_count; t++) {
            if (strata->df[t] > 0.0 && strata->stratum_of[t] == s) {
                qx_anova_line *one = &line[count++];
                *one = (qx_anova_line){.stratum = s,
                                       .term = t,
                                       .df = strata->df[t],
                                       .sum_of_squares = strata->sum_of_squares[t]};
                one->mean_square = one->sum_of_squares / one->df;
                test_against(left, one);
            }
        }
        if (left->df > 0.0) {
            line[count++] = (qx_anova_line){.stratum = s,
                                            .term = QX_NO_COLUMN,
                                            .df = left->df,
                                            .sum_of_squares = left->sum_of_squares,
                                            .mean_square = left->mean_square,
                                            .error_df = NAN,
                                            .f = NAN,
                                            .p = NAN};
        }
    }
    return count;
}

qx_status qx_anova_make(qx_ctx *cx,
                        qx_arena *arena,
                        const qx_lmm_spec *spec,
                        const qx_design *design,
                        const qx_strata *strata,
                        qx_anova *out)
{
    const size_t count = strata->stratum_count;
    double *weight, *component;
    qx_anova_line *line;
    if (!strata->balanced) {
        return qx_fail(cx, QX_E_ARG, "the layout is not balanced: no classical table");
    }
    QX_NEW_IN(cx, arena, weight, count * count);
    QX_NEW_IN(cx, arena, component, count);
    QX_NEW_IN(cx, arena, line, count + design->term_count);
    weigh(spec, strata, weight);
    solve(strata, weight, component);
    *out = (qx_anova){.stratum_count = count,
                      .weight = weight,
                      .component = component,
                      .line_count = list_lines(design, strata, line),
                      .line = line};
    return QX_OK;
}

qx_efficiency qx_efficiency_of(size_t count,
                               const double df[],
                               const double mean_square[],
                               const double treated[])
{
    qx_efficiency e = {NAN, NAN, NAN, NAN};
    double sum = 0.0, all = 0.0, treatments = 0.0;
    for (size_t i = 0; i < count; i++) {
        if (!(mean_square[i] > 0.0) || !isfinite(mean_square[i])) {
            return e;
        }
        sum += df[i] * mean_square[i];
        all += df[i];
        treatments += treated[i];
    }
    const double with = count > 0 ? df[0] - treated[0] : 0.0;
    const double without = all - treatments;
    if (!(with > 0.0) || !(without > 0.0)) {
        return e;
    }
    e.relative = sum / all / mean_square[0];
    e.corrected =
        e.relative * (with + 1.0) * (without + 3.0) / ((with + 3.0) * (without + 1.0));
    e.df_with = with;
    e.df_without = without;
    return e;
}
