/* findings/working_classes.c - the linear model that a model of grades or classes is near to. */
#include <math.h>

#include "findings/working.h"
#include "findings/working_parts.h"

/* Information on the place of a row of the cumulative model, at random effects of zero, and the
 * fourth cumulant of its score. */
static double
grade_information(const qx_work *w, const qx_classes *fit, size_t i, double *fourth)
{
    const size_t thresholds = fit->class_count - 1;
    double place = 0.0, below = 0.0, slope_below = 0.0, sum = 0.0;
    for (size_t j = 1; j < w->design->p; j++) {
        place += QX_AT(w->design->X, i, j) * fit->coef[thresholds + j - 1];
    }
    for (size_t k = 0; k <= thresholds; k++) {
        const double at = k < thresholds ? fit->coef[k] - place : (double)INFINITY;
        const double up = k < thresholds ? qx_link_mean(QX_LINK_LOGIT, at) : 1.0;
        const double slope = k < thresholds ? qx_link_slope(QX_LINK_LOGIT, at, 1) : 0.0;
        const double share = up - below, by = slope - slope_below;
        sum += share > 0.0 ? by * by / share : 0.0;
        *fourth += share > 0.0 ? by * by * by * by / (share * share * share) : 0.0;
        below = up;
        slope_below = slope;
    }
    *fourth -= 3.0 * sum * sum;
    return sum;
}

static qx_status
score_classes(qx_ctx *cx, const void *fit, const double variance[], double score[])
{
    const qx_classes *whole = fit;
    double sd[QX_LINEARISED_TERMS_MOST];
    qx_classes *held = NULL;
    for (size_t k = 0; k < whole->component_count; k++) {
        sd[k] = qx_working_deviation(variance[k]);
    }
    QX_TRY(qx_classes_hold(cx, whole, sd, &held));
    const qx_status status = qx_classes_slope(cx, held, score);
    qx_classes_free(held);
    qx_working_by_variance(whole->component_count, variance, score);
    return status;
}

static qx_status grades(qx_work *w, const qx_classes *fit, const qx_linearised **out)
{
    qx_linearised_part *part;
    double *v, *fourth, *variance;
    const size_t count = w->choice.random_count;
    QX_NEW(w->cx, part, count);
    QX_NEW(w->cx, v, w->data.n);
    QX_NEW(w->cx, fourth, w->data.n);
    QX_NEW(w->cx, variance, count);
    for (size_t i = 0; i < w->data.n; i++) {
        const double information = grade_information(w, fit, i, &fourth[i]);
        v[i] = fmin(1.0 / information, QX_NO_NEWS);
        fourth[i] = v[i] < QX_NO_NEWS ? fourth[i] * pow(v[i], 4.0) : 0.0;
    }
    for (size_t k = 0; k < count; k++) {
        variance[k] = fit->component[k].variance;
    }
    qx_working_units(w, variance, part);
    for (size_t k = 0; k < count; k++) {
        part[k].told = variance[k];
    }
    const qx_linearised_rows rows = {.X = w->design->X, .v = v, .fourth = fourth};
    return qx_linearised_make(
        w->cx, w->temporary, &rows, count, part, score_classes, fit, out);
}

qx_status qx_working_hold_classes(qx_ctx *cx,
                                  const qx_classes *fit,
                                  const qx_linearised *l,
                                  qx_classes **out)
{
    double sd[QX_LINEARISED_TERMS_MOST];
    for (size_t k = 0; k < fit->component_count; k++) {
        sd[k] = sqrt(l->variance[k]);
    }
    return qx_classes_hold(cx, fit, sd, out);
}

/* ---- classes without order ------------------------------------------------------------- */

/* Rows of X and of units that are alike, joined: there are few trees with many shoots. */
typedef struct alike {
    size_t count;
    size_t *first;  /* count: a row of the data */
    double *things; /* count */
} alike;

static bool same_row(const qx_work *w, size_t a, size_t b)
{
    for (size_t j = 0; j < w->design->p; j++) {
        if (QX_AT(w->design->X, a, j) != QX_AT(w->design->X, b, j)) {
            return false;
        }
    }
    for (size_t k = 0; k < w->choice.random_count; k++) {
        const uint32_t *code = w->data.frame.factor[w->choice.random[k].factor].code;
        if (code[a] != code[b]) {
            return false;
        }
    }
    return true;
}

/* Gives up (count 0) beyond `most`. */
static qx_status join_alike(const qx_work *w, size_t most, alike *out)
{
    out->count = 0;
    QX_NEW(w->cx, out->first, most);
    QX_NEW(w->cx, out->things, most);
    for (size_t i = 0; i < w->data.n; i++) {
        size_t at = 0;
        while (at < out->count && !same_row(w, i, out->first[at])) {
            at++;
        }
        if (at == most) {
            out->count = 0;
            return QX_OK;
        }
        if (at == out->count) {
            out->first[out->count++] = i;
        }
        out->things[at] += 1.0;
    }
    return QX_OK;
}

/* X, and the inverse information about the predictors, of what is alike: predictor j of number i
 * stands at i d + j. With m things and probabilities p that inverse is (diag(1 / p_j) + 1 / p_0)
 * / m, at random effects of zero. */
static void fill_classes(const qx_work *w,
                         const qx_classes *fit,
                         const alike *a,
                         qx_linearised_rows *to)
{
    const size_t d = fit->class_count - 1, p = w->design->p;
    for (size_t i = 0; i < a->count; i++) {
        double odds[QX_CLASSES_MOST], sum = 1.0;
        for (size_t j = 0; j < d; j++) {
            double eta = 0.0;
            for (size_t c = 0; c < p; c++) {
                const double x = QX_AT(w->design->X, a->first[i], c);
                QX_AT(to->X, i * d + j, j * p + c) = x;
                eta += x * fit->coef[j * p + c];
            }
            odds[j] = exp(eta);
            sum += odds[j];
        }
        for (size_t j = 0; j < d; j++) {
            for (size_t l = 0; l < d; l++) {
                const double own = j == l ? sum / odds[j] : 0.0;
                QX_AT(to->block, i * d + j, i * d + l) =
                    fmin((sum + own) / a->things[i], QX_NO_NEWS);
            }
        }
    }
}

/* Units act on each predictor by a variance of its own. */
static qx_status
class_parts(qx_work *w, const qx_classes *fit, const alike *a, qx_linearised_part part[])
{
    const size_t d = fit->class_count - 1, n = a->count * d;
    for (size_t k = 0; k < fit->component_count; k++) {
        const qx_factor *f = &w->data.frame.factor[w->choice.random[k / d].factor];
        const double variance = fit->component[k].variance;
        uint32_t *code;
        QX_NEW(w->cx, code, n);
        for (size_t i = 0; i < n; i++) {
            code[i] = i % d == k % d ? f->code[a->first[i / d]] : QX_LINEARISED_APART;
        }
        part[k] = (qx_linearised_part){.variance = variance,
                                       .told = variance,
                                       .code = code,
                                       .count = f->level_count,
                                       .known = 1.0};
    }
    return QX_OK;
}

static qx_status classes(qx_work *w, const qx_classes *fit, const qx_linearised **out)
{
    const size_t d = fit->class_count - 1;
    qx_linearised_rows rows = {.v = NULL};
    qx_linearised_part *part;
    alike a;
    QX_TRY(join_alike(w, QX_LINEARISED_ROWS_MOST / d, &a));
    if (a.count == 0 || fit->component_count > QX_LINEARISED_TERMS_MOST) {
        return QX_OK;
    }
    const size_t n = a.count * d;
    QX_NEW(w->cx, part, fit->component_count);
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), n, w->design->p * d, &rows.X));
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), n, n, &rows.block));
    fill_classes(w, fit, &a, &rows);
    QX_TRY(class_parts(w, fit, &a, part));
    return qx_linearised_make(
        w->cx, w->temporary, &rows, fit->component_count, part, score_classes, fit, out);
}

qx_status qx_working_classes(qx_work *w, const qx_classes *fit, const qx_linearised **out)
{
    qx_status status;
    *out = NULL;
    QX_SCRATCH(w->cx,
               status,
               fit->kind == QX_CUMULATIVE ? grades(w, fit, out) : classes(w, fit, out));
    return status;
}
