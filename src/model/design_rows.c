#include "model/design_rows.h"

#include <math.h>
#include <string.h>

/* Marks the factors and numbers that the terms name. */
static void mark(size_t term_count, const qx_term term[], bool factor[], bool number[])
{
    for (size_t t = 0; t < term_count; t++) {
        for (size_t i = 0; i < term[t].factor_count; i++) {
            factor[term[t].factor[i]] = true;
        }
        if (term[t].number != QX_NO_COLUMN) {
            number[term[t].number] = true;
        }
    }
}

static qx_status alike(qx_ctx *cx,
                       const qx_frame *frame,
                       size_t term_count,
                       const qx_term term[],
                       uint32_t of[],
                       size_t *count)
{
    qx_arena *scratch = qx_ctx_scratch(cx);
    bool *factor, *number;
    qx_alike a;
    QX_NEW(cx, factor, frame->factor_count);
    QX_NEW(cx, number, frame->number_count);
    mark(term_count, term, factor, number);
    QX_TRY(qx_alike_all(cx, scratch, frame->n, &a));
    for (size_t k = 0; k < frame->factor_count; k++) {
        const qx_factor *f = &frame->factor[k];
        if (factor[k]) {
            QX_TRY(qx_alike_and(cx, scratch, &a, f->level_count, f->code, &a));
        }
    }
    for (size_t k = 0; k < frame->number_count; k++) {
        if (number[k]) {
            QX_TRY(qx_alike_and_number(cx, scratch, &a, frame->number[k].value, &a));
        }
    }
    memcpy(of, a.of, a.n * sizeof *of);
    *count = a.count;
    return QX_OK;
}

qx_status qx_design_alike(qx_ctx *cx,
                          qx_arena *arena,
                          const qx_frame *frame,
                          size_t term_count,
                          const qx_term term[],
                          qx_alike *out)
{
    uint32_t *of;
    size_t count = 0;
    qx_status status;
    QX_NEW_IN(cx, arena, of, frame->n);
    QX_SCRATCH(cx, status, alike(cx, frame, term_count, term, of, &count));
    QX_TRY(status);
    *out = (qx_alike){frame->n, count, of};
    return QX_OK;
}

static qx_status
gather_rows(qx_ctx *cx, const qx_design *d, const qx_alike *a, qx_mat *rows)
{
    const uint32_t *first;
    QX_TRY(qx_alike_first(cx, qx_ctx_scratch(cx), a, &first));
    for (size_t j = 0; j < d->p; j++) {
        for (size_t i = 0; i < a->count; i++) {
            QX_AT(*rows, i, j) = QX_AT(d->X, first[i], j);
        }
    }
    return QX_OK;
}

qx_status
qx_design_rows(qx_ctx *cx, qx_arena *arena, const qx_design *d, qx_alike *a, qx_mat *rows)
{
    qx_status status;
    if (d->row_of != NULL) {
        *a = (qx_alike){d->n, d->rows.rows, d->row_of};
        *rows = d->rows;
        return QX_OK;
    }
    QX_TRY(qx_design_alike(cx, arena, d->frame, d->term_count, d->term, a));
    QX_TRY(qx_mat_new(cx, arena, a->count, d->p, rows));
    QX_SCRATCH(cx, status, gather_rows(cx, d, a, rows));
    return status;
}

double qx_design_entry(const qx_design *d, size_t i, size_t j)
{
    return d->row_of != NULL ? QX_AT(d->rows, d->row_of[i], j) : QX_AT(d->X, i, j);
}

/* out (n) from what `make` gives for each different row. */
static qx_status spread(qx_ctx *cx,
                        const qx_design *d,
                        void (*make)(const qx_design *, size_t, const double *, double *),
                        size_t j,
                        const double x[],
                        double out[])
{
    double *row;
    QX_NEW(cx, row, d->rows.rows);
    make(d, j, x, row);
    for (size_t i = 0; i < d->n; i++) {
        out[i] = row[d->row_of[i]];
    }
    return QX_OK;
}

static void times(const qx_design *d, size_t j, const double beta[], double row[])
{
    (void)j;
    qx_mat_vector('n', 1.0, d->rows, beta, 0.0, row);
}

qx_status
qx_design_times(qx_ctx *cx, const qx_design *d, const double beta[], double out[])
{
    qx_status status;
    if (d->row_of == NULL) {
        qx_mat_vector('n', 1.0, d->X, beta, 0.0, out);
        return QX_OK;
    }
    QX_SCRATCH(cx, status, spread(cx, d, times, 0, beta, out));
    return status;
}

/* A row of data has its share of the row of Q that stands for all of them. */
static void basis(const qx_design *d, size_t j, const double x[], double row[])
{
    (void)x;
    row[j] = 1.0;
    qx_qr_apply(&d->qr, 'n', row);
    for (size_t i = 0; i < d->rows.rows; i++) {
        row[i] /= sqrt(d->row_count[i]);
    }
}

qx_status qx_design_basis(qx_ctx *cx, const qx_design *d, size_t j, double out[])
{
    qx_status status;
    if (d->row_of == NULL) {
        memset(out, 0, d->n * sizeof *out);
        out[j] = 1.0;
        qx_qr_apply(&d->qr, 'n', out);
        return QX_OK;
    }
    QX_SCRATCH(cx, status, spread(cx, d, basis, j, NULL, out));
    return status;
}

static qx_status split_whole(qx_ctx *cx,
                             const qx_design *d,
                             const double y[],
                             double full[],
                             double effects[],
                             double r[])
{
    double *all;
    QX_NEW(cx, all, d->n);
    QX_TRY(qx_qr_solve(cx, &d->qr, y, full, all));
    if (effects != NULL) {
        memcpy(effects, all, d->p * sizeof *effects);
    }
    memcpy(r, all, d->n * sizeof *r);
    memset(r, 0, d->p * sizeof *r);
    qx_qr_apply(&d->qr, 'n', r);
    return QX_OK;
}

/* Means of the sets, and each times the root of its count. */
static void
means_of(const qx_design *d, const double y[], double mean[], double weighed[])
{
    const size_t count = d->rows.rows;
    memset(mean, 0, count * sizeof *mean);
    memset(weighed, 0, count * sizeof *weighed);
    for (size_t i = 0; i < d->n; i++) {
        mean[d->row_of[i]] += y[i];
    }
    for (size_t s = 0; s < count; s++) {
        mean[s] /= d->row_count[s];
    }
    for (size_t i = 0; i < d->n; i++) { /* what the first sums rounded away */
        weighed[d->row_of[i]] += y[i] - mean[d->row_of[i]];
    }
    for (size_t s = 0; s < count; s++) {
        mean[s] += weighed[s] / d->row_count[s];
        weighed[s] = mean[s] * sqrt(d->row_count[s]);
    }
}

/* r = y less the fitted values: what is inside the sets is residual. all: Q'weighed, lost. */
static void
take_fit(const qx_design *d, const double y[], double mean[], double all[], double r[])
{
    memset(all, 0, d->p * sizeof *all);
    qx_qr_apply(&d->qr, 'n', all);
    for (size_t s = 0; s < d->rows.rows; s++) {
        mean[s] -= all[s] / sqrt(d->row_count[s]); /* the fitted value */
    }
    for (size_t i = 0; i < d->n; i++) {
        r[i] = y[i] - mean[d->row_of[i]];
    }
}

static qx_status split_rows(qx_ctx *cx,
                            const qx_design *d,
                            const double y[],
                            double full[],
                            double effects[],
                            double r[])
{
    const size_t count = d->rows.rows;
    double *mean, *weighed, *all;
    QX_NEW(cx, mean, count);
    QX_NEW(cx, weighed, count);
    QX_NEW(cx, all, count);
    means_of(d, y, mean, weighed);
    QX_TRY(qx_qr_solve(cx, &d->qr, weighed, full, all));
    if (effects != NULL) {
        memcpy(effects, all, d->p * sizeof *effects);
    }
    take_fit(d, y, mean, all, r);
    return QX_OK;
}

size_t qx_design_room(const qx_design *d)
{
    return d->row_of != NULL ? 2 * d->rows.rows : 0;
}

void qx_design_project(const qx_design *d, double x[], double room[])
{
    if (d->row_of != NULL) {
        double *weighed = room + d->rows.rows;
        means_of(d, x, room, weighed);
        qx_qr_apply(&d->qr, 't', weighed);
        take_fit(d, x, room, weighed, x);
        return;
    }
    qx_qr_apply(&d->qr, 't', x); /* Q'Mx, of the same length */
    memset(x, 0, d->p * sizeof *x);
}

static qx_status leverage_of_rows(qx_ctx *cx, const qx_design *d, double out[])
{
    double *row;
    QX_NEW(cx, row, d->rows.rows);
    QX_TRY(qx_qr_leverage(cx, &d->qr, row));
    for (size_t i = 0; i < d->n; i++) {
        out[i] = row[d->row_of[i]] / d->row_count[d->row_of[i]];
    }
    return QX_OK;
}

qx_status qx_design_leverage(qx_ctx *cx, const qx_design *d, double out[])
{
    qx_status status;
    if (d->row_of == NULL) {
        return qx_qr_leverage(cx, &d->qr, out);
    }
    QX_SCRATCH(cx, status, leverage_of_rows(cx, d, out));
    return status;
}

static qx_status split(qx_ctx *cx,
                       const qx_design *d,
                       const double y[],
                       double full[],
                       double effects[],
                       double r[])
{
    if (full == NULL) {
        QX_NEW(cx, full, d->full);
    }
    return d->row_of == NULL ? split_whole(cx, d, y, full, effects, r)
                             : split_rows(cx, d, y, full, effects, r);
}

qx_status qx_design_split(qx_ctx *cx,
                          const qx_design *d,
                          const double y[],
                          double full[],
                          double effects[],
                          double r[])
{
    qx_status status;
    QX_SCRATCH(cx, status, split(cx, d, y, full, effects, r));
    return status;
}
