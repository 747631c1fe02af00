#include "model/class_cells.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct row_key {
    const double *x;      /* columns */
    const uint32_t *unit; /* random_count */
    size_t columns, random_count, row;
} row_key;

static int compare_likeness(const row_key *a, const row_key *b)
{
    for (size_t r = 0; r < a->random_count; r++) {
        if (a->unit[r] != b->unit[r]) {
            return a->unit[r] < b->unit[r] ? -1 : 1;
        }
    }
    for (size_t j = 0; j < a->columns; j++) {
        if (a->x[j] < b->x[j] || a->x[j] > b->x[j]) {
            return a->x[j] < b->x[j] ? -1 : 1;
        }
    }
    return 0;
}

static int compare_keys(const void *left, const void *right)
{
    const row_key *a = left, *b = right;
    const int order = compare_likeness(a, b);
    if (order != 0) {
        return order;
    }
    return a->row < b->row ? -1 : a->row > b->row;
}

static bool is_number_of_things(double x)
{
    return x >= 0.0 && isfinite(x);
}

/* One row counted by class. */
static qx_status row_by_count(qx_ctx *cx,
                              const qx_classes_spec *spec,
                              size_t i,
                              const size_t class_of[],
                              double number[])
{
    for (size_t k = 0; k < spec->class_count; k++) {
        const double count = spec->count[i + k * spec->frame->n];
        if (!is_number_of_things(count)) {
            return qx_fail(cx,
                           QX_E_INPUT,
                           "row %zu: the number of class %zu is not a number from 0 up",
                           i + 1,
                           k + 1);
        }
        if (class_of[k] != QX_NO_COLUMN) {
            number[class_of[k]] = count;
        }
    }
    return QX_OK;
}

static qx_status row_by_code(qx_ctx *cx,
                             const qx_classes_spec *spec,
                             size_t i,
                             const size_t class_of[],
                             double number[])
{
    const double times = spec->times == NULL ? 1.0 : spec->times[i];
    if (spec->code[i] >= spec->class_count) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "row %zu: class %u is not one of the %zu classes",
                       i + 1,
                       (unsigned)spec->code[i] + 1,
                       spec->class_count);
    }
    if (!is_number_of_things(times)) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "row %zu: the number of alike things is not a number from 0 up",
                       i + 1);
    }
    if (class_of[spec->code[i]] != QX_NO_COLUMN) {
        number[class_of[spec->code[i]]] = times;
    }
    return QX_OK;
}

qx_status qx_class_numbers_of(qx_ctx *cx,
                              const qx_classes_spec *spec,
                              const size_t class_of[],
                              size_t classes,
                              double number[])
{
    memset(number, 0, spec->frame->n * classes * sizeof *number);
    for (size_t i = 0; i < spec->frame->n; i++) {
        double *row = number + i * classes;
        QX_TRY(spec->count != NULL ? row_by_count(cx, spec, i, class_of, row)
                                   : row_by_code(cx, spec, i, class_of, row));
    }
    return QX_OK;
}

/* Keys of the rows with something in them, sorted. */
static qx_status sorted_keys(qx_ctx *cx,
                             const qx_classes_spec *spec,
                             qx_mat X,
                             const double total[],
                             row_key **out,
                             size_t *count)
{
    const size_t n = spec->frame->n, terms = spec->random_count;
    row_key *key;
    double *x;
    uint32_t *unit;
    QX_NEW(cx, key, n);
    QX_NEW(cx, x, n * X.cols);
    QX_NEW(cx, unit, n * terms);
    *count = 0;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < X.cols; j++) {
            x[i * X.cols + j] = QX_AT(X, i, j);
        }
        for (size_t r = 0; r < terms; r++) {
            unit[i * terms + r] = spec->frame->factor[spec->random[r].factor].code[i];
        }
        if (total[i] > 0.0) {
            key[(*count)++] =
                (row_key){x + i * X.cols, unit + i * terms, X.cols, terms, i};
        }
    }
    qsort(key, *count, sizeof *key, compare_keys);
    *out = key;
    return QX_OK;
}

typedef struct filling {
    double *x, *number, *total;
    uint32_t **unit;
    size_t *cell_of;
} filling;

static void fill(qx_class_cells *out,
                 const filling *to,
                 size_t count,
                 const row_key key[],
                 const double number[])
{
    size_t c = 0;
    for (size_t i = 0; i < count; i++) {
        const double *from = number + key[i].row * out->classes;
        if (i > 0 && compare_likeness(&key[i - 1], &key[i]) != 0) {
            c++;
        }
        to->cell_of[key[i].row] = c;
        memcpy(to->x + c * out->columns, key[i].x, out->columns * sizeof *to->x);
        for (size_t r = 0; r < out->random_count; r++) {
            to->unit[r][c] = key[i].unit[r];
        }
        for (size_t k = 0; k < out->classes; k++) {
            to->number[c * out->classes + k] += from[k];
            to->total[c] += from[k];
        }
    }
    out->cells = count == 0 ? 0 : c + 1;
}

static qx_status make(qx_ctx *cx,
                      qx_arena *arena,
                      const qx_classes_spec *spec,
                      qx_mat X,
                      const double number[],
                      qx_class_cells *out)
{
    const size_t n = spec->frame->n;
    filling to;
    row_key *key = NULL;
    double *total;
    size_t count = 0;
    QX_NEW(cx, total, n);
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < out->classes; k++) {
            total[i] += number[i * out->classes + k];
        }
    }
    QX_TRY(sorted_keys(cx, spec, X, total, &key, &count));
    QX_NEW_IN(cx, arena, to.x, count * X.cols);
    QX_NEW_IN(cx, arena, to.number, count * out->classes);
    QX_NEW_IN(cx, arena, to.total, count);
    QX_NEW_IN(cx, arena, to.cell_of, n);
    QX_NEW_IN(cx, arena, to.unit, spec->random_count);
    for (size_t r = 0; r < spec->random_count; r++) {
        QX_NEW_IN(cx, arena, to.unit[r], count);
    }
    for (size_t i = 0; i < n; i++) {
        to.cell_of[i] = QX_NO_COLUMN;
    }
    fill(out, &to, count, key, number);
    out->x = to.x;
    out->number = to.number;
    out->total = to.total;
    out->cell_of = to.cell_of;
    out->unit = (const uint32_t *const *)to.unit;
    return QX_OK;
}

qx_status qx_class_cells_make(qx_ctx *cx,
                              qx_arena *arena,
                              const qx_classes_spec *spec,
                              qx_mat X,
                              size_t classes,
                              const double number[],
                              qx_class_cells *out)
{
    qx_class_cells result = {.rows = spec->frame->n,
                             .columns = X.cols,
                             .classes = classes,
                             .random_count = spec->random_count};
    qx_status status;
    QX_SCRATCH(cx, status, make(cx, arena, spec, X, number, &result));
    if (status == QX_OK) {
        *out = result;
    }
    return status;
}
