#include <math.h>
#include <string.h>

#include "model/classes_inner.h"
#include "numeric/qr.h"

/* Classes that were seen; those that were not are told. */
qx_status qx_classes_find(qx_ctx *cx, const qx_classes_spec *spec, qx_classes *fit)
{
    const size_t K = spec->class_count, n = spec->frame->n;
    double *number, *total;
    size_t *all, *class_of;
    const char **name;
    QX_NEW(cx, number, n * K);
    QX_NEW(cx, total, K);
    QX_NEW(cx, all, K);
    QX_NEW_IN(cx, fit->arena, class_of, K);
    QX_NEW_IN(cx, fit->arena, name, K);
    for (size_t k = 0; k < K; k++) {
        all[k] = k;
    }
    QX_TRY(qx_class_numbers_of(cx, spec, all, K, number));
    for (size_t i = 0; i < n * K; i++) {
        total[i % K] += number[i];
        fit->total += number[i];
    }
    for (size_t k = 0; k < K; k++) {
        class_of[k] = total[k] > 0.0 ? fit->class_count : QX_NO_COLUMN;
        if (total[k] > 0.0) {
            name[fit->class_count] = qx_arena_copy(fit->arena, spec->class_name[k]);
            if (name[fit->class_count++] == NULL) {
                return qx_fail(cx, QX_E_NOMEM, "no memory for the name of a class");
            }
        } else {
            QX_TRY(qx_note(cx,
                           "%s was never seen: it is left out, its share is 0",
                           spec->class_name[k]));
        }
    }
    fit->class_of = class_of;
    fit->class_name = name;
    if (fit->class_count < 2) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       fit->class_count == 0 ? "nothing was counted in any class"
                                             : "all are %s: with one class only there is "
                                               "nothing to compare",
                       fit->class_count == 0 ? "" : name[0]);
    }
    return QX_OK;
}

/* x (cells x q) = (x - centre) root, orthonormal over the things. */
static qx_status orthonormal(qx_ctx *cx, qx_classes *fit, double x[])
{
    struct qx_classes_inner *in = fit->inner;
    const qx_class_cells *cells = &in->cells;
    const size_t q = cells->columns, C = cells->cells;
    qx_mat W;
    qx_qr qr;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), C, q, &W));
    for (size_t j = 0; j < q; j++) {
        for (size_t c = 0; c < C && fit->kind == QX_CUMULATIVE; c++) {
            in->centre[j] += cells->total[c] * cells->x[c * q + j] / fit->total;
        }
        for (size_t c = 0; c < C; c++) {
            QX_AT(W, c, j) = sqrt(cells->total[c] / fit->total) *
                             (cells->x[c * q + j] - in->centre[j]);
        }
    }
    QX_TRY(qx_qr_factor(cx, qx_ctx_scratch(cx), W, &qr));
    if (qr.rank < q) {
        return qx_fail(cx,
                       QX_E_RANK,
                       "the rows with something in them do not tell all effects apart");
    }
    for (size_t j = 0; j < q; j++) {
        QX_AT(in->root, j, j) = 1.0;
    }
    /* root = R^-1, by back substitution. */
    for (size_t j = 0; j < q; j++) {
        for (size_t i = j + 1; i-- > 0;) {
            double sum = QX_AT(in->root, i, j);
            for (size_t k = i + 1; k <= j; k++) {
                sum -= QX_AT(qr.R, i, k) * QX_AT(in->root, k, j);
            }
            QX_AT(in->root, i, j) = sum / QX_AT(qr.R, i, i);
        }
    }
    for (size_t c = 0; c < C; c++) {
        for (size_t j = 0; j < q; j++) {
            x[c * q + j] = 0.0;
            for (size_t k = 0; k <= j; k++) {
                x[c * q + j] +=
                    QX_AT(in->root, k, j) * (cells->x[c * q + k] - in->centre[k]);
            }
        }
    }
    return QX_OK;
}

/* coef = back z. */
static void fill_back(qx_classes *fit)
{
    struct qx_classes_inner *in = fit->inner;
    const size_t d = in->model.d, q = in->model.q;
    if (fit->kind == QX_BASELINE) {
        for (size_t b = 0; b < d; b++) {
            qx_mat_copy(qx_mat_part(in->back, b * q, b * q, q, q), in->root);
        }
        return;
    }
    qx_mat_copy(qx_mat_part(in->back, d, d, q, q), in->root);
    for (size_t j = 0; j < d; j++) {
        QX_AT(in->back, j, j) = 1.0;
        for (size_t i = 0; i < q; i++) {
            QX_AT(in->back, j, d + i) =
                qx_dot(q, in->centre, in->root.at + i * in->root.ld);
        }
    }
}

static qx_status make_random(qx_ctx *cx, const qx_classes_spec *spec, qx_classes *fit)
{
    struct qx_classes_inner *in = fit->inner;
    const size_t effects = fit->kind == QX_CUMULATIVE ? 1 : fit->class_count - 1;
    qx_laplace_random *random;
    QX_NEW_IN(cx, fit->arena, random, spec->random_count * effects);
    for (size_t r = 0; r < spec->random_count; r++) {
        for (size_t e = 0; e < effects; e++) {
            random[r * effects + e] = (qx_laplace_random){
                .code = in->cells.unit[r],
                .level_count = spec->frame->factor[spec->random[r].factor].level_count,
                .predictor = e,
            };
        }
    }
    in->random = random;
    return QX_OK;
}

qx_status qx_classes_make_model(qx_ctx *cx, const qx_classes_spec *spec, qx_classes *fit)
{
    struct qx_classes_inner *in = fit->inner;
    const size_t q = fit->design.p - in->skip, K = fit->class_count;
    double *number, *x;
    QX_NEW(cx, number, fit->n * K);
    QX_TRY(qx_class_numbers_of(cx, spec, fit->class_of, K, number));
    QX_TRY(qx_class_cells_make(cx,
                               fit->arena,
                               spec,
                               qx_mat_part(fit->design.X, 0, in->skip, fit->n, q),
                               K,
                               number,
                               &in->cells));
    QX_NEW_IN(cx, fit->arena, x, in->cells.cells * q);
    QX_NEW_IN(cx, fit->arena, in->centre, q);
    QX_TRY(qx_mat_new(cx, fit->arena, q, q, &in->root));
    QX_TRY(orthonormal(cx, fit, x));
    QX_TRY(make_random(cx, spec, fit));
    in->model = (qx_class_model){
        .rows = fit->kind == QX_CUMULATIVE ? &qx_rows_cumulative : &qx_rows_baseline,
        .parallel = fit->kind == QX_CUMULATIVE,
        .K = K,
        .q = q,
        .cells = in->cells.cells,
        .x = x,
        .number = in->cells.number,
        .total = in->cells.total,
        .random_count = spec->random_count,
        .random = in->random,
        .quadrature = spec->quadrature,
        .penalised = spec->penalty == QX_PENALTY_ALWAYS,
    };
    QX_TRY(qx_class_model_finish(cx, fit->arena, &in->model));
    fit->p = in->model.P;
    QX_TRY(qx_mat_new(cx, fit->arena, fit->p, fit->p, &in->back));
    fill_back(fit);
    return QX_OK;
}
