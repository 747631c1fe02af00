#include "model/separation_inner.h"

#include <math.h>
#include <string.h>

#include "model/classes_inner.h"
#include "model/cone.h"

/* ---- classes: every inequality by the P parameters ------------------------------------ */

/* What one cell asks for, as columns of A: its classes' predictors may move so. */
typedef struct asking {
    const qx_class_model *model;
    qx_mat A; /* P x m */
    size_t m;
} asking;

static void ask(asking *to, const double x[], size_t up, size_t down)
{
    double g[QX_PREDICTORS_MOST] = {0.0};
    if (up < to->model->d) {
        g[up] += 1.0;
    }
    if (down < to->model->d) {
        g[down] -= 1.0;
    }
    qx_class_carry(to->model, x, g, to->A.at + to->m * to->A.ld);
    to->m++;
}

/* A class that was seen: no other may gain on it. */
static void ask_for_class(asking *to, const double x[], size_t k)
{
    const size_t d = to->model->d, none = d;
    if (to->model->parallel) {
        if (k < d) {
            ask(to, x, k, none);
        }
        if (k > 0) {
            ask(to, x, none, k - 1);
        }
        return;
    }
    for (size_t other = 0; other <= d; other++) {
        if (other != k) {
            ask(to, x, k > 0 ? k - 1 : none, other > 0 ? other - 1 : none);
        }
    }
}

static qx_status separated(qx_ctx *cx, const qx_class_model *model, bool *found)
{
    const size_t each = model->parallel ? 2 : model->d;
    asking to = {.model = model};
    qx_cone cone = {0};
    QX_TRY(qx_mat_new(
        cx, qx_ctx_scratch(cx), model->P, model->cells * model->K * each, &to.A));
    for (size_t c = 0; c < model->cells; c++) {
        for (size_t k = 0; k < model->K; k++) {
            if (model->number[c * model->K + k] > 0.0) {
                ask_for_class(&to, model->x + c * model->q, k);
            }
        }
    }
    to.A.cols = to.m;
    QX_NEW(cx, cone.strict, to.m);
    QX_TRY(qx_cone_find(cx, to.A, &cone));
    *found = cone.strict_count > 0;
    return QX_OK;
}

qx_status qx_separation_of_classes(qx_ctx *cx,
                                   qx_classes *fit,
                                   const qx_classes_spec *spec,
                                   bool *found)
{
    const size_t K = fit->class_count;
    double *number;
    QX_TRY(separated(cx, &fit->inner->model, found));
    if (!*found) {
        return QX_OK;
    }
    QX_NEW(cx, number, fit->n * K);
    QX_TRY(qx_class_numbers_of(cx, spec, fit->class_of, K, number));
    return qx_separation_words(cx,
                               fit->arena,
                               &fit->design,
                               &(qx_cell_numbers){.words = QX_CELLS_OF_CLASSES,
                                                  .K = K,
                                                  .number = number,
                                                  .name = fit->class_name},
                               &fit->separation);
}

/* ---- shares and counts: inequalities by the columns of X ------------------------------- */

/* One for each row: +1: x'delta may rise (k = size); -1: it may fall (k = 0); 0: it must
 * stay; NOTHING: the row says nothing. */
enum { FALL = -1, STAY = 0, RISE = 1, NOTHING = 2 };

static size_t asked(const int way)
{
    return way == NOTHING ? 0 : way == STAY ? 2 : 1;
}

/* X by an orthonormal basis: rows x with beta = back times their coordinates. */
static qx_status by_basis(qx_ctx *cx, const qx_design *design, qx_mat x, qx_mat back)
{
    const size_t p = design->p, n = design->n;
    qx_qr qr;
    QX_TRY(qx_qr_factor(cx, qx_ctx_scratch(cx), design->X, &qr));
    if (qr.rank < p) {
        return qx_fail(cx, QX_E_RANK, "the columns of the design depend on each other");
    }
    for (size_t j = 0; j < p; j++) {
        for (size_t i = j + 1; i-- > 0;) {
            double sum = i == j ? 1.0 : 0.0;
            for (size_t k = i + 1; k <= j; k++) {
                sum -= QX_AT(qr.R, i, k) * QX_AT(back, k, j);
            }
            QX_AT(back, i, j) = sum / QX_AT(qr.R, i, i);
        }
    }
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < p; j++) {
            for (size_t k = 0; k <= j; k++) {
                QX_AT(x, j, i) += QX_AT(back, k, j) * QX_AT(design->X, i, k);
            }
        }
    }
    return QX_OK;
}

typedef struct answer {
    bool *row, *column;
    bool found, complete;
} answer;

static qx_status
find_rows(qx_ctx *cx, const qx_design *design, const int way[], answer *out)
{
    const size_t n = design->n, p = design->p;
    size_t m = 0, speaking = 0, strict = 0;
    qx_mat x, back, A;
    qx_cone cone = {.moves = out->column, .back = &back};
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), p, n, &x));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), p, p, &back));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), p, 2 * n, &A));
    QX_TRY(by_basis(cx, design, x, back));
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < asked(way[i]); k++, m++) {
            const double sign = way[i] == FALL || k > 0 ? -1.0 : 1.0;
            for (size_t j = 0; j < p; j++) {
                QX_AT(A, j, m) = sign * QX_AT(x, j, i);
            }
        }
    }
    A.cols = m;
    QX_NEW(cx, cone.strict, m);
    QX_TRY(qx_cone_find(cx, A, &cone));
    out->found = cone.strict_count > 0;
    m = 0;
    for (size_t i = 0; i < n; i++) {
        out->row[i] = asked(way[i]) == 1 && cone.strict[m];
        speaking += asked(way[i]) > 0;
        strict += out->row[i];
        m += asked(way[i]);
    }
    out->complete = out->found && strict == speaking;
    return QX_OK;
}

static qx_status answer_rows(qx_ctx *cx,
                             qx_arena *arena,
                             const qx_design *design,
                             const int way[],
                             const qx_cell_numbers *numbers,
                             qx_separation *out)
{
    answer a = {0};
    const char *words = "";
    QX_NEW_IN(cx, arena, a.row, design->n);
    QX_NEW_IN(cx, arena, a.column, design->p);
    QX_TRY(find_rows(cx, design, way, &a));
    if (a.found) {
        QX_TRY(qx_separation_words(cx, arena, design, numbers, &words));
    }
    *out = (qx_separation){.found = a.found,
                           .complete = a.complete,
                           .column = a.column,
                           .row = a.row,
                           .words = words};
    return QX_OK;
}

static qx_status shares(qx_ctx *cx,
                        qx_arena *arena,
                        const qx_design *design,
                        const double k[],
                        const double size[],
                        qx_separation *out)
{
    int *way;
    double *number;
    QX_NEW(cx, way, design->n);
    QX_NEW(cx, number, design->n * 2);
    for (size_t i = 0; i < design->n; i++) {
        if (!(k[i] >= 0.0 && k[i] <= size[i] && isfinite(size[i]))) {
            return qx_fail(cx, QX_E_INPUT, "row %zu: a number outside 0 ... of", i + 1);
        }
        number[i * 2] = size[i] - k[i];
        number[i * 2 + 1] = k[i];
        way[i] = !(size[i] > 0.0)  ? NOTHING
                 : k[i] >= size[i] ? RISE
                 : k[i] > 0.0      ? STAY
                                   : FALL;
    }
    return answer_rows(
        cx,
        arena,
        design,
        way,
        &(qx_cell_numbers){.words = QX_CELLS_OF_SHARES, .K = 2, .number = number},
        out);
}

static qx_status counts(qx_ctx *cx,
                        qx_arena *arena,
                        const qx_design *design,
                        const double k[],
                        qx_separation *out)
{
    int *way;
    double *number;
    QX_NEW(cx, way, design->n);
    QX_NEW(cx, number, design->n * 2);
    for (size_t i = 0; i < design->n; i++) {
        if (!(k[i] >= 0.0 && isfinite(k[i]))) {
            return qx_fail(cx, QX_E_INPUT, "row %zu: a count below 0", i + 1);
        }
        number[i * 2] = k[i];
        number[i * 2 + 1] = 1.0;
        way[i] = k[i] > 0.0 ? STAY : FALL;
    }
    return answer_rows(
        cx,
        arena,
        design,
        way,
        &(qx_cell_numbers){.words = QX_CELLS_OF_COUNTS, .K = 2, .number = number},
        out);
}

qx_status qx_separation_shares(qx_ctx *cx,
                               qx_arena *arena,
                               const qx_design *design,
                               const double k[],
                               const double size[],
                               qx_separation *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, shares(cx, arena, design, k, size, out));
    return status;
}

qx_status qx_separation_counts(qx_ctx *cx,
                               qx_arena *arena,
                               const qx_design *design,
                               const double k[],
                               qx_separation *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, counts(cx, arena, design, k, out));
    return status;
}
