#include "findings/dose.h"

#include <math.h>
#include <string.h>

#include "base/array.h"
#include "findings/cells.h"
#include "findings/means_of.h"
#include "findings/turning_point.h"
#include "model/trend.h"
#include "numeric/dist.h"

#define LEVELS_LEAST 3

/* One treatment while it is worked on: k levels, inside one level of each of the others. */
typedef struct dose {
    const qx_factor *factor;
    size_t k;
    size_t count; /* factors held: the treatment first, then those it interacts with */
    size_t held[QX_TERM_FACTORS_MOST + 1];
    size_t level[QX_TERM_FACTORS_MOST + 1]; /* of the factors behind the first */
    qx_mat mean;                            /* p x k: rows of the means */
    qx_mat basis; /* k x k: 1, c_1 ... c_d, then the rest, orthonormal */
    size_t parts; /* d: named parts */
} dose;

static qx_status mean_rows(qx_work *w, dose *d, bool *possible)
{
    const qx_design *design = &w->fit->design;
    *possible = true;
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), w->fit->p, d->k, &d->mean));
    for (size_t l = 0; l < d->k && *possible; l++) {
        d->level[0] = l;
        QX_TRY(qx_design_mean(
            w->cx, design, d->count, d->held, d->level, &QX_AT(d->mean, 0, l), possible));
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

/* A part of the basis over the columns of the model. */
static qx_status row_of(qx_work *w, const dose *d, size_t c, double **row)
{
    QX_NEW(w->cx, *row, w->fit->p);
    qx_mat_vector('n', 1.0, d->mean, &QX_AT(d->basis, 0, c), 0.0, *row);
    return QX_OK;
}

static qx_status contrast_of(qx_work *w, const dose *d, size_t c, qx_estimate *e)
{
    double *row;
    QX_TRY(row_of(w, d, c, &row));
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

static double fitted_at(const dose *d, const qx_dose *out, size_t level)
{
    double fitted = 0.0;
    for (size_t c = 1; c <= out->degree; c++) {
        fitted += out->part[c - 1].estimate * QX_AT(d->basis, level, c);
    }
    return fitted;
}

static void range_tried(const dose *d, qx_dose *out)
{
    const double *x = d->factor->score;
    size_t least = 0, most = 0;
    for (size_t l = 1; l < d->k; l++) {
        least = x[l] < x[least] ? l : least;
        most = x[l] > x[most] ? l : most;
    }
    out->least = x[least];
    out->most = x[most];
    out->rises = fitted_at(d, out, most) > fitted_at(d, out, least);
}

/* Cubic curves and beyond: the level at which the fitted curve is highest or lowest, when
 * that is not an end of what was tried. */
static void end_level(const dose *d, qx_dose *out)
{
    const double *x = d->factor->score;
    size_t high = 0, low = 0;
    for (size_t l = 1; l < d->k; l++) {
        high = fitted_at(d, out, l) > fitted_at(d, out, high) ? l : high;
        low = fitted_at(d, out, l) < fitted_at(d, out, low) ? l : low;
    }
    const bool high_inside = x[high] != out->least && x[high] != out->most;
    const bool low_inside = x[low] != out->least && x[low] != out->most;
    if (high_inside != low_inside) {
        out->end_level = d->factor->level[high_inside ? high : low];
        out->turns_down = high_inside;
    }
}

/* The parabola of degree 2 over u = x - mean of the levels: with p1 = u and
 * p2 = u^2 - q u - (sum u^2)/k, q = sum u^3 / sum u^2, the parts stand for p1/|p1| and
 * p2/|p2|, so that b2 = e2/|p2| and b1 = e1/|p1| - q e2/|p2|. */
static qx_status parabola_turns(qx_work *w, const dose *d, qx_dose *out)
{
    const double *x = d->factor->score;
    const qx_dose_part *linear = &out->part[0], *curve = &out->part[1];
    double *row1, *row2;
    double mean = 0.0, s2 = 0.0, s3 = 0.0, n2 = 0.0;
    for (size_t l = 0; l < d->k; l++) {
        mean += x[l] / (double)d->k;
    }
    for (size_t l = 0; l < d->k; l++) {
        const double u = x[l] - mean;
        s2 += u * u;
        s3 += u * u * u;
    }
    const double q = s3 / s2;
    for (size_t l = 0; l < d->k; l++) {
        const double u = x[l] - mean;
        n2 += pow(u * u - q * u - s2 / (double)d->k, 2.0);
    }
    const double n1 = sqrt(s2);
    n2 = sqrt(n2);
    QX_TRY(row_of(w, d, 1, &row1));
    QX_TRY(row_of(w, d, 2, &row2));
    const double v11 = qx_lmm_covariance(w->fit, row1, row1) / (n1 * n1);
    const double v12 = qx_lmm_covariance(w->fit, row1, row2) / (n1 * n2);
    const double v22 = qx_lmm_covariance(w->fit, row2, row2) / (n2 * n2);
    const double b2 = curve->estimate / n2;
    const qx_parabola p = {.b1 = linear->estimate / n1 - q * b2,
                           .b2 = b2,
                           .v11 = v11 - 2.0 * q * v12 + q * q * v22,
                           .v12 = v12 - q * v22,
                           .v22 = v22};
    const qx_turn turn =
        qx_turning_point(&p, qx_t_q(w->alpha / 2.0, curve->df, QX_UPPER));
    out->turn = mean + turn.at;
    out->turn_lower = mean + turn.lower;
    out->turn_upper = mean + turn.upper;
    out->turns_down = b2 < 0.0;
    return QX_OK;
}

static qx_status choose_degree(qx_work *w, const dose *d, qx_dose *out)
{
    out->degree = 1;
    while (out->degree < d->parts && out->part[out->degree - 1].lack_p < w->alpha) {
        out->degree++;
    }
    out->shown = false;
    for (size_t c = 0; c < out->degree; c++) {
        out->shown = out->shown || out->part[c].p < w->alpha;
    }
    range_tried(d, out);
    if (out->degree > 2) {
        end_level(d, out);
    }
    return out->degree == 2 ? parabola_turns(w, d, out) : QX_OK;
}

static qx_status name_held(const qx_work *w, const dose *d, qx_cell *out)
{
    const size_t count = d->count - 1;
    const char **factor, **level;
    QX_NEW_IN(w->cx, w->arena, factor, count);
    QX_NEW_IN(w->cx, w->arena, level, count);
    for (size_t i = 0; i < count; i++) {
        const qx_factor *f = &w->data.frame.factor[d->held[i + 1]];
        factor[i] = f->name;
        level[i] = f->level[d->level[i + 1]];
    }
    *out = (qx_cell){count, factor, level};
    return QX_OK;
}

static qx_status one_curve(qx_work *w, dose *d, qx_array *list)
{
    qx_dose_part *part;
    bool possible;
    QX_TRY(mean_rows(w, d, &possible));
    if (!possible) {
        return QX_OK;
    }
    QX_TRY(make_basis(w, d));
    QX_NEW_IN(w->cx, w->arena, part, d->parts);
    for (size_t c = 0; c < d->parts; c++) {
        QX_TRY(one_part(w, d, c + 1, &part[c]));
    }
    qx_dose *out = qx_array_push(list);
    if (out == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for the dose response");
    }
    *out = (qx_dose){.of = d->factor->name,
                     .part_count = d->parts,
                     .part = part,
                     .turn = NAN,
                     .turn_lower = NAN,
                     .turn_upper = NAN};
    straight_line(w, d, out);
    QX_TRY(name_held(w, d, &out->within));
    return choose_degree(w, d, out);
}

/* Averaged over the other treatments. */
static qx_status averaged(qx_work *w, size_t factor, qx_array *list)
{
    dose d = {.factor = &w->data.frame.factor[factor],
              .k = w->data.frame.factor[factor].level_count,
              .count = 1,
              .held = {factor}};
    return one_curve(w, &d, list);
}

/* One curve inside each combination of the treatments that it interacts with. */
static qx_status inside(qx_work *w, size_t factor, qx_array *list)
{
    dose d = {.factor = &w->data.frame.factor[factor],
              .k = w->data.frame.factor[factor].level_count,
              .held = {factor}};
    const size_t others = qx_partners(w, factor, d.held + 1);
    const size_t combinations = qx_cells_count(w, others, d.held + 1);
    d.count = 1 + others;
    if (others == 0 || combinations > QX_CELLS_MOST) {
        return QX_OK;
    }
    for (size_t c = 0; c < combinations; c++) {
        qx_status status;
        size_t rest = c;
        for (size_t i = others; i > 0; i--) {
            const size_t levels = w->data.frame.factor[d.held[i]].level_count;
            d.level[i] = rest % levels;
            rest /= levels;
        }
        QX_SCRATCH(w->cx, status, one_curve(w, &d, list));
        QX_TRY(status);
    }
    return QX_OK;
}

/* Is the term a treatment of three amounts or more, in the model? */
static bool is_dose(const qx_work *w, size_t t)
{
    const qx_term *term = &w->choice.term[t];
    if (!qx_choice_is_treatment_term(&w->choice, t) || term->factor_count != 1 ||
        w->fit->design.term_df[t] == 0 || term->factor[0] == w->data.season) {
        return false;
    }
    const qx_factor *f = &w->data.frame.factor[term->factor[0]];
    return f->score != NULL && f->level_count >= LEVELS_LEAST;
}

qx_status qx_dose_of(qx_work *w)
{
    qx_array list = QX_ARRAY(w->arena, sizeof(qx_dose));
    for (int pass = 0; pass < 2; pass++) {
        for (size_t t = 0; t < w->choice.term_count; t++) {
            qx_status status;
            if (!is_dose(w, t)) {
                continue;
            }
            const size_t factor = w->choice.term[t].factor[0];
            QX_SCRATCH(w->cx,
                       status,
                       pass == 0 ? averaged(w, factor, &list) : inside(w, factor, &list));
            QX_TRY(status);
        }
    }
    w->result->dose = list.items;
    w->result->dose_count = list.count;
    return QX_OK;
}
