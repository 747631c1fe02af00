#include "findings/respond.h"

#include <math.h>

/* The means that can be estimated, packed: others would spoil what is made together. */
static qx_status
pack(qx_work *w, qx_mat rows, const bool estimable[], size_t place[], qx_mat *out)
{
    size_t count = 0;
    for (size_t i = 0; i < rows.cols; i++) {
        place[i] = estimable[i] ? count++ : QX_NO_COLUMN;
    }
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), rows.rows, count, out));
    for (size_t i = 0; i < rows.cols; i++) {
        for (size_t j = 0; j < rows.rows && place[i] != QX_NO_COLUMN; j++) {
            QX_AT(*out, j, place[i]) = QX_AT(rows, j, i);
        }
    }
    return QX_OK;
}

qx_status qx_responses_make(
    qx_work *w, qx_mat rows, const bool estimable[], bool typical, qx_responses *out)
{
    const qx_estimator *e = &w->estimator;
    const size_t classes = e->class_count, entries = rows.cols * classes;
    size_t *place;
    double *value;
    qx_mat packed, covariance;
    QX_NEW(w->cx, place, rows.cols);
    QX_TRY(pack(w, rows, estimable, place, &packed));
    const size_t known = packed.cols * classes;
    QX_NEW(w->cx, value, known);
    QX_NEW(w->cx, out->value, entries);
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), known, known, &covariance));
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), entries, entries, &out->covariance));
    if (known > 0) {
        QX_TRY(e->kind->respond(w->cx, e, packed, typical, value, covariance));
    }
    out->e = e;
    for (size_t b = 0; b < entries; b++) {
        const size_t pb = place[b / classes];
        out->value[b] =
            pb == QX_NO_COLUMN ? (double)NAN : value[pb * classes + b % classes];
        for (size_t a = 0; a < entries; a++) {
            const size_t pa = place[a / classes];
            QX_AT(out->covariance, a, b) = pa == QX_NO_COLUMN || pb == QX_NO_COLUMN
                                               ? (double)NAN
                                               : QX_AT(covariance,
                                                       pa * classes + a % classes,
                                                       pb * classes + b % classes);
        }
    }
    return QX_OK;
}

static size_t entry(const qx_responses *r, size_t mean, size_t class_)
{
    return mean * r->e->class_count + class_;
}

qx_response qx_responses_at(const qx_responses *r, size_t mean, size_t class_)
{
    const size_t i = entry(r, mean, class_);
    return (qx_response){r->value[i], sqrt(fmax(QX_AT(r->covariance, i, i), 0.0))};
}

double qx_responses_covariance(const qx_responses *r, size_t a, size_t b, size_t class_)
{
    return QX_AT(r->covariance, entry(r, a, class_), entry(r, b, class_));
}

double qx_responses_correlation(const qx_responses *r, size_t a, size_t b, size_t class_)
{
    const double both =
        qx_responses_at(r, a, class_).se * qx_responses_at(r, b, class_).se;
    const double x = qx_responses_covariance(r, a, b, class_) / both;
    return both > 0.0 ? fmin(fmax(x, -1.0), 1.0) : 0.0;
}

double qx_responses_link(const qx_responses *r, size_t mean, size_t class_)
{
    double slope;
    const double x = r->e->kind->to(r->e, r->value[entry(r, mean, class_)], &slope);
    return isfinite(x) ? x : (double)NAN;
}

double
qx_responses_link_covariance(const qx_responses *r, size_t a, size_t b, size_t class_)
{
    double slope_a, slope_b;
    (void)r->e->kind->to(r->e, r->value[entry(r, a, class_)], &slope_a);
    (void)r->e->kind->to(r->e, r->value[entry(r, b, class_)], &slope_b);
    const double x = slope_a * slope_b * qx_responses_covariance(r, a, b, class_);
    return isfinite(x) ? x : (double)NAN;
}
