#include <math.h>
#include <string.h>

#include "model/classes_inner.h"
#include "model/ordinal.h"
#include "numeric/chol.h"
#include "numeric/dist.h"

/* The free model gives every threshold but the first slopes of its own beside the common
 * ones: eta_j = threshold_j + x'free_j - place, free_1 = 0. The score at free = 0 is held
 * against its covariance,
 *
 *     g' I^-1 g,    g = 0 but for the entries of `free`
 *
 * with the expected information I without random terms, minus the Hessian with them. */

static const double DIFFERENCE = 1e-4;

/* ---- without random terms -------------------------------------------------------------- */

/* The model of independent predictors over (1, x), at the parameters of the fit. */
static qx_status free_model(qx_ctx *cx,
                            const qx_class_model *from,
                            const double z[],
                            qx_class_model *free,
                            double **at)
{
    const size_t q = from->q + 1;
    double *x;
    QX_NEW(cx, x, from->cells * q);
    for (size_t c = 0; c < from->cells; c++) {
        x[c * q] = 1.0;
        for (size_t j = 0; j < from->q; j++) {
            x[c * q + 1 + j] = from->x[c * from->q + j];
        }
    }
    *free = *from;
    free->parallel = false;
    free->q = q;
    free->x = x;
    free->plan = NULL;
    free->D = 0;
    free->P = from->d * q;
    QX_NEW(cx, *at, free->P);
    for (size_t j = 0; j < from->d; j++) {
        (*at)[j * q] = z[j];
        for (size_t k = 0; k < from->q; k++) {
            (*at)[j * q + 1 + k] = -z[from->d + k];
        }
    }
    return QX_OK;
}

/* score' information^-1 score; NAN where the information is singular. */
static qx_status
score_chisq(qx_ctx *cx, qx_mat information, const double score[], double *chisq)
{
    const size_t m = information.rows;
    double *solved;
    QX_NEW(cx, solved, m);
    memcpy(solved, score, m * sizeof *solved);
    const qx_status factored = qx_chol_factor(cx, information);
    if (factored != QX_OK) {
        qx_ctx_forgive(cx);
        QX_TRY(qx_ctx_status(cx));
        *chisq = NAN;
        return QX_OK;
    }
    QX_TRY(qx_chol_solve(cx, information, qx_mat_of(solved, m, 1)));
    *chisq = qx_dot(m, score, solved);
    return QX_OK;
}

static qx_status fixed_test(qx_ctx *cx, const struct qx_classes_inner *in, double *chisq)
{
    qx_class_model free;
    double *at, *score, value;
    qx_mat information;
    QX_TRY(free_model(cx, &in->model, in->z, &free, &at));
    QX_NEW(cx, score, free.P);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), free.P, free.P, &information));
    QX_TRY(qx_class_likelihood(cx, &free, at, &value, score));
    QX_TRY(qx_class_information(cx, &free, at, true, information));
    return score_chisq(cx, information, score, chisq);
}

/* ---- with random terms ----------------------------------------------------------------- */

typedef struct free_rows {
    qx_class_numbers numbers;
    size_t q;
    const double *x; /* cells x q */
} free_rows;

/* Room for the terms of one cell in the plain likelihood. */
typedef struct one_cell {
    double l, g, h, t;
    double lp[QX_PREDICTORS_MOST], gp[QX_PREDICTORS_MOST], hp[QX_PREDICTORS_MOST];
    double threshold[QX_PREDICTORS_MOST];
} one_cell;

/* Derivatives by a free slope are those by its threshold times x. */
static void
spread_psi(size_t d, size_t q, const double x[], const double by[], double out[])
{
    memcpy(out, by, d * sizeof *out);
    for (size_t j = 1; j < d; j++) {
        for (size_t k = 0; k < q; k++) {
            out[d + (j - 1) * q + k] = by[j] * x[k];
        }
    }
}

static void free_likelihood(const void *data,
                            size_t count,
                            const size_t row[],
                            const double eta[],
                            const double psi[],
                            qx_rows_order order,
                            const qx_row_terms *out)
{
    const free_rows *rows = data;
    const size_t d = rows->numbers.d, q = rows->q, s = d + (d - 1) * q;
    for (size_t i = 0; i < count; i++) {
        const double *x = rows->x + row[i] * q;
        one_cell cell = {0};
        const qx_row_terms one = {.l = &cell.l,
                                  .g = &cell.g,
                                  .h = &cell.h,
                                  .t = &cell.t,
                                  .lp = cell.lp,
                                  .gp = cell.gp,
                                  .hp = cell.hp};
        memcpy(cell.threshold, psi, d * sizeof *psi);
        for (size_t j = 1; j < d; j++) {
            cell.threshold[j] += qx_dot(q, x, psi + d + (j - 1) * q);
        }
        qx_rows_cumulative.likelihood(
            &rows->numbers, 1, row + i, eta + i, cell.threshold, order, &one);
        out->l[i] = cell.l;
        if (order == QX_ROWS_VALUE) {
            continue;
        }
        out->g[i] = cell.g;
        out->h[i] = cell.h;
        if (order == QX_ROWS_ALL) {
            out->t[i] = cell.t;
            spread_psi(d, q, x, cell.lp, out->lp + i * s);
            spread_psi(d, q, x, cell.gp, out->gp + i * s);
            spread_psi(d, q, x, cell.hp, out->hp + i * s);
        }
    }
}

typedef struct mixed_task {
    const qx_laplace_plan *plan;
    free_rows data;
    size_t length, held_from, held_count; /* deviations: held when at zero */
    const bool *at_zero;
    double *x;
} mixed_task;

static qx_status mixed_new(qx_ctx *cx, const struct qx_classes_inner *in, mixed_task *t)
{
    const qx_class_model *model = &in->model;
    const size_t d = model->d, q = model->q, s = d + (d - 1) * q;
    qx_arena *arena = qx_arena_inside(qx_ctx_scratch(cx));
    if (arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the free model");
    }
    t->data = (free_rows){{d, model->number}, q, model->x};
    t->length = q + model->D + s;
    t->held_from = q;
    t->held_count = model->D;
    t->at_zero = in->at_zero;
    QX_TRY(qx_laplace_plan_make(cx,
                                arena,
                                &(qx_laplace_problem){
                                    .n = model->cells,
                                    .p = q,
                                    .d = 1,
                                    .s = s,
                                    .X = model->X,
                                    .random_count = model->D,
                                    .random = model->random,
                                    .likelihood = free_likelihood,
                                    .quadrature = model->quadrature,
                                },
                                &t->plan));
    QX_NEW(cx, t->x, t->length);
    memcpy(t->x, in->z + d, q * sizeof *t->x);
    memcpy(t->x + q, in->z + model->P, model->D * sizeof *t->x);
    memcpy(t->x + q + model->D, in->z, d * sizeof *t->x);
    return QX_OK;
}

/* Minus the Hessian by central differences of the gradient; rows and columns of deviations
 * at zero are those of the identity. */
static qx_status mixed_information(qx_ctx *cx, const mixed_task *t, qx_mat out)
{
    double value, *up, *down;
    QX_NEW(cx, up, t->length);
    QX_NEW(cx, down, t->length);
    for (size_t j = 0; j < t->length; j++) {
        const double here = t->x[j];
        t->x[j] = here + DIFFERENCE;
        QX_TRY(qx_laplace_evaluate(cx, t->plan, &t->data, t->x, NULL, &value, up));
        t->x[j] = here - DIFFERENCE;
        QX_TRY(qx_laplace_evaluate(cx, t->plan, &t->data, t->x, NULL, &value, down));
        t->x[j] = here;
        for (size_t i = 0; i < t->length; i++) {
            const double both = (down[i] - up[i]) / (4.0 * DIFFERENCE);
            QX_AT(out, i, j) += both;
            QX_AT(out, j, i) += both;
        }
    }
    for (size_t k = 0; k < t->held_count; k++) {
        for (size_t i = 0; t->at_zero[k] && i < t->length; i++) {
            QX_AT(out, i, t->held_from + k) = 0.0;
            QX_AT(out, t->held_from + k, i) = 0.0;
            QX_AT(out, t->held_from + k, t->held_from + k) = 1.0;
        }
    }
    return QX_OK;
}

static qx_status mixed_test(qx_ctx *cx, const struct qx_classes_inner *in, double *chisq)
{
    mixed_task t;
    double value, *score;
    qx_mat information;
    QX_TRY(mixed_new(cx, in, &t));
    QX_NEW(cx, score, t.length);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), t.length, t.length, &information));
    QX_TRY(qx_laplace_evaluate(cx, t.plan, &t.data, t.x, NULL, &value, score));
    QX_TRY(mixed_information(cx, &t, information));
    return score_chisq(cx, information, score, chisq);
}

qx_status
qx_ordinal_proportional_odds(qx_ctx *cx, const qx_classes *fit, qx_classes_test *out)
{
    qx_classes_test test = {.chisq = NAN, .p = NAN, .method = "score"};
    qx_status status = QX_OK;
    if (fit->kind != QX_CUMULATIVE) {
        return qx_fail(cx, QX_E_ARG, "only grades have proportional odds");
    }
    const struct qx_classes_inner *in = fit->inner;
    test.df = (in->model.d - 1) * in->model.q;
    if (test.df > 0 && !fit->penalised) {
        QX_SCRATCH(cx,
                   status,
                   in->model.plan == NULL ? fixed_test(cx, in, &test.chisq)
                                          : mixed_test(cx, in, &test.chisq));
        test.p = qx_chisq_p(test.chisq, (double)test.df, QX_UPPER);
    }
    if (status == QX_OK) {
        *out = test;
    }
    return status;
}
