#include "findings/dose.h"

#include <math.h>
#include <string.h>

#include "base/array.h"
#include "model/trend.h"
#include "numeric/dist.h"

#define LEVELS_LEAST 3

/* One treatment while it is worked on: k levels. */
typedef struct dose {
    const qx_factor *factor;
    size_t k;
    qx_mat mean;  /* p x k: rows of the means */
    qx_mat basis; /* k x k: 1, c_1 ... c_d, then the rest, orthonormal */
    size_t parts; /* d: named parts */
} dose;

static qx_status mean_rows(qx_work *w, size_t factor, dose *d, bool *possible)
{
    const qx_design *design = &w->fit->design;
    *possible = true;
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), w->fit->p, d->k, &d->mean));
    for (size_t l = 0; l < d->k && *possible; l++) {
        QX_TRY(qx_design_mean(
            w->cx, design, 1, &factor, &l, &QX_AT(d->mean, 0, l), possible));
    }
    return QX_OK;
}

/* x without what lies along the first `count` columns of the basis, taken out twice. */
static void remove_parts(const dose *d, size_t count, double x[])
{
    for (int pass = 0; pass < 2; pass++) {
        for (size_t c = 0; c < count; c++) {
            const double *b = &QX_AT(d->basis, 0, c);
            const double along = qx_dot(d->k, b, x);
            for (size_t l = 0; l < d->k; l++) {
                x[l] -= along * b[l];
            }
        }
    }
}

/* The longest of what the basis leaves of the unit vectors, as its next column. */
static void extend(dose *d, size_t count, double x[])
{
    double best = 0.0;
    double *column = &QX_AT(d->basis, 0, count);
    for (size_t e = 0; e < d->k; e++) {
        memset(x, 0, d->k * sizeof *x);
        x[e] = 1.0;
        remove_parts(d, count, x);
        const double length = sqrt(qx_dot(d->k, x, x));
        if (length > best) {
            best = length;
            for (size_t l = 0; l < d->k; l++) {
                column[l] = x[l] / length;
            }
        }
    }
}

static qx_status make_basis(qx_work *w, dose *d)
{
    double *x;
    QX_NEW(w->cx, x, d->k);
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), d->k, d->k, &d->basis));
    for (size_t l = 0; l < d->k; l++) {
        QX_AT(d->basis, l, 0) = 1.0 / sqrt((double)d->k);
    }
    d->parts = d->k - 1 < QX_TREND_DEGREE_MOST ? d->k - 1 : QX_TREND_DEGREE_MOST;
    for (size_t c = 1; c <= d->parts; c++) {
        QX_TRY(qx_trend_coefficients(
            w->cx, d->k, d->factor->score, (int)c, &QX_AT(d->basis, 0, c)));
    }
    for (size_t c = d->parts + 1; c < d->k; c++) {
        extend(d, c, x);
    }
    return QX_OK;
}

/* Joint test of the contrasts in columns from ... to - 1 of the basis. */
static qx_status
test_columns(qx_work *w, const dose *d, size_t from, size_t to, qx_joint_test *test)
{
    qx_mat L;
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), to - from, w->fit->p, &L));
    for (size_t c = from; c < to; c++) {
        for (size_t j = 0; j < w->fit->p; j++) {
            double sum = 0.0;
            for (size_t l = 0; l < d->k; l++) {
                sum += QX_AT(d->basis, l, c) * QX_AT(d->mean, j, l);
            }
            QX_AT(L, c - from, j) = sum;
        }
    }
    return qx_lmm_test(w->cx, w->fit, L, test);
}

static qx_status contrast_of(qx_work *w, const dose *d, size_t c, qx_estimate *e)
{
    double *row;
    QX_NEW(w->cx, row, w->fit->p);
    qx_mat_vector('n', 1.0, d->mean, &QX_AT(d->basis, 0, c), 0.0, row);
    return qx_lmm_contrast(w->cx, w->fit, row, 0.0, e);
}

static qx_status one_part(qx_work *w, const dose *d, size_t c, qx_dose_part *out)
{
    qx_estimate e;
    qx_joint_test test, rest = {.num_df = NAN, .den_df = NAN, .f = NAN, .p = NAN};
    QX_TRY(contrast_of(w, d, c, &e));
    QX_TRY(test_columns(w, d, c, c + 1, &test));
    if (c + 1 < d->k) {
        QX_TRY(test_columns(w, d, c + 1, d->k, &rest));
    }
    *out = (qx_dose_part){.name = qx_trend_word((qx_trend)c),
                          .estimate = e.estimate,
                          .se = e.se,
                          .df = e.df,
                          .f = test.f,
                          .p = test.p,
                          .lack_num_df = rest.num_df,
                          .lack_den_df = rest.den_df,
                          .lack_f = rest.f,
                          .lack_p = rest.p};
    return QX_OK;
}

static void straight_line(const qx_work *w, const dose *d, qx_dose *out)
{
    const double rise = qx_dot(d->k, &QX_AT(d->basis, 0, 1), d->factor->score);
    const qx_dose_part *linear = &out->part[0];
    const double half = qx_t_q(w->alpha / 2.0, linear->df, QX_UPPER) * linear->se;
    out->slope = linear->estimate / rise;
    out->slope_se = linear->se / rise;
    out->slope_lower = (linear->estimate - half) / rise;
    out->slope_upper = (linear->estimate + half) / rise;
}

/* Level at which the fitted curve has its highest or lowest value, when that is not an end:
 * the curve turns. */
static void turning_point(const dose *d, qx_dose *out)
{
    size_t high = 0, low = 0;
    double most = -INFINITY, least = INFINITY;
    out->turns_at = NULL;
    for (size_t l = 0; l < d->k; l++) {
        double fitted = 0.0;
        for (size_t c = 1; c <= out->degree; c++) {
            fitted += out->part[c - 1].estimate * QX_AT(d->basis, l, c);
        }
        high = fitted > most ? l : high;
        most = fmax(most, fitted);
        low = fitted < least ? l : low;
        least = fmin(least, fitted);
    }
    const size_t first = 0, last = d->k - 1;
    const bool high_inside = d->factor->score[high] != d->factor->score[first] &&
                             d->factor->score[high] != d->factor->score[last];
    const bool low_inside = d->factor->score[low] != d->factor->score[first] &&
                            d->factor->score[low] != d->factor->score[last];
    if (out->degree > 1 && high_inside != low_inside) {
        out->turns_at = d->factor->level[high_inside ? high : low];
        out->turns_down = high_inside;
    }
}

static void choose_degree(const qx_work *w, const dose *d, qx_dose *out)
{
    out->degree = 1;
    while (out->degree < d->parts && out->part[out->degree - 1].lack_p < w->alpha) {
        out->degree++;
    }
    out->shown = false;
    for (size_t c = 0; c < out->degree; c++) {
        out->shown = out->shown || out->part[c].p < w->alpha;
    }
    turning_point(d, out);
}

static qx_status one_treatment(qx_work *w, size_t factor, qx_array *list)
{
    dose d = {.factor = &w->data.frame.factor[factor],
              .k = w->data.frame.factor[factor].level_count};
    qx_dose_part *part;
    bool possible;
    QX_TRY(mean_rows(w, factor, &d, &possible));
    if (!possible) {
        return QX_OK;
    }
    QX_TRY(make_basis(w, &d));
    QX_NEW_IN(w->cx, w->arena, part, d.parts);
    for (size_t c = 0; c < d.parts; c++) {
        QX_TRY(one_part(w, &d, c + 1, &part[c]));
    }
    qx_dose *out = qx_array_push(list);
    if (out == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for the dose response");
    }
    *out = (qx_dose){.of = d.factor->name, .part_count = d.parts, .part = part};
    straight_line(w, &d, out);
    choose_degree(w, &d, out);
    return QX_OK;
}

qx_status qx_dose_of(qx_work *w)
{
    qx_array list = QX_ARRAY(w->arena, sizeof(qx_dose));
    for (size_t t = 0; t < w->choice.term_count; t++) {
        const qx_term *term = &w->choice.term[t];
        qx_status status;
        if (!qx_choice_is_treatment_term(&w->choice, t) || term->factor_count != 1 ||
            w->fit->design.term_df[t] == 0 || term->factor[0] == w->data.season) {
            continue;
        }
        const qx_factor *f = &w->data.frame.factor[term->factor[0]];
        if (f->score == NULL || f->level_count < LEVELS_LEAST) {
            continue;
        }
        QX_SCRATCH(w->cx, status, one_treatment(w, term->factor[0], &list));
        QX_TRY(status);
    }
    w->result->dose = list.items;
    w->result->dose_count = list.count;
    return QX_OK;
}
