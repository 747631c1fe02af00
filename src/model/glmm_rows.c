/* model/glmm_rows.c - from the rows of the data to those of the engine: joined where several
 * say the same, copied where one stands for several that differ by chance. */
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "model/glmm_inner.h"
#include "numeric/dist.h"

/* Copies for `times` that still are a data set. */
static const double COPIES_MOST = 1e6;
/* Logarithms of factorials kept in a table. */
static const size_t TABLE_MOST = 2048;

/* What makes rows alike: X row and units, as bytes. */
typedef struct alike {
    const unsigned char *key;
    size_t width;
    size_t row;
} alike;

static int by_key(const void *a, const void *b)
{
    const alike *x = a, *y = b;
    const int order = memcmp(x->key, y->key, x->width);
    return order != 0 ? order : (x->row > y->row) - (x->row < y->row);
}

static qx_status
make_keys(qx_ctx *cx, const qx_glmm *fit, const uint32_t *const code[], alike **out)
{
    const size_t n = fit->n, p = fit->p, m = fit->m;
    const size_t width = p * sizeof(double) + m * sizeof(uint32_t);
    unsigned char *keys;
    alike *list;
    QX_NEW(cx, keys, n * width);
    QX_NEW(cx, list, n);
    for (size_t i = 0; i < n; i++) {
        unsigned char *key = &keys[i * width];
        for (size_t j = 0; j < p; j++) {
            const double x = QX_AT(fit->design.X, i, j) + 0.0; /* no minus nil */
            memcpy(&key[j * sizeof x], &x, sizeof x);
        }
        for (size_t k = 0; k < m; k++) {
            memcpy(&key[p * sizeof(double) + k * sizeof(uint32_t)],
                   &code[k][i],
                   sizeof(uint32_t));
        }
        list[i] = (alike){.key = key, .width = width, .row = i};
    }
    *out = list;
    return QX_OK;
}

/* Numbers groups in the order of their first row; `first` receives that row. */
static qx_status number_groups(
    qx_ctx *cx, size_t n, alike list[], size_t group[], size_t first[], size_t *count)
{
    size_t *leader;
    QX_NEW(cx, leader, n);
    qsort(list, n, sizeof *list, by_key);
    for (size_t i = 0; i < n; i++) {
        const bool same =
            i > 0 && memcmp(list[i].key, list[i - 1].key, list[i].width) == 0;
        leader[list[i].row] = same ? leader[list[i - 1].row] : list[i].row;
    }
    *count = 0;
    for (size_t i = 0; i < n; i++) {
        if (leader[i] == i) {
            first[*count] = i;
            group[i] = (*count)++;
        } else {
            group[i] = group[leader[i]];
        }
    }
    return QX_OK;
}

/* first[g]: a row of the data for each row of the engine. */
static qx_status
join(qx_ctx *cx, qx_glmm *fit, const uint32_t *const code[], size_t *first[])
{
    qx_glmm_rows *rows = &fit->inner->rows;
    size_t *group;
    QX_NEW_IN(cx, fit->arena, group, fit->n);
    QX_NEW(cx, *first, fit->n);
    if (fit->family->collapses && fit->extra != QX_EXTRA_UNIT) {
        alike *list = NULL;
        QX_TRY(make_keys(cx, fit, code, &list));
        QX_TRY(number_groups(cx, fit->n, list, group, *first, &rows->n));
    } else {
        rows->n = fit->n;
        for (size_t i = 0; i < fit->n; i++) {
            group[i] = (*first)[i] = i;
        }
    }
    rows->group = group;
    return QX_OK;
}

/* QX_EXTRA_UNIT and `times`: each of the alike things has an effect of its own. */
static qx_status copy_rows(qx_ctx *cx, qx_glmm *fit, size_t *first[])
{
    struct qx_glmm_inner *inner = fit->inner;
    size_t *copies, *group, *row, at = 0;
    double total = 0.0;
    for (size_t i = 0; i < fit->n; i++) {
        total += inner->times[i];
        if (floor(inner->times[i]) != inner->times[i] || total > COPIES_MOST) {
            return qx_fail(cx,
                           QX_E_INPUT,
                           "row %zu stands for a number of things that cannot have an "
                           "effect each; whole numbers, together at most a million, were "
                           "expected",
                           i + 1);
        }
    }
    QX_NEW_IN(cx, fit->arena, copies, fit->n);
    QX_NEW_IN(cx, fit->arena, group, fit->n);
    QX_NEW(cx, row, (size_t)total);
    for (size_t i = 0; i < fit->n; i++) {
        copies[i] = (size_t)inner->times[i];
        group[i] = at;
        for (size_t c = 0; c < copies[i]; c++) {
            row[at++] = i;
        }
    }
    inner->rows.n = at;
    inner->rows.group = group;
    inner->rows.copies = copies;
    *first = row;
    return QX_OK;
}

static bool all_one(size_t n, const double times[])
{
    for (size_t i = 0; times != NULL && i < n; i++) {
        if (times[i] != 1.0) {
            return false;
        }
    }
    return true;
}

/* Weights and sizes of the engine's rows. A joined binomial row has the sums; a joined count
 * has the sum of `times` as its weight and the weighted mean as its k. */
static qx_status weigh(qx_ctx *cx, qx_glmm *fit)
{
    struct qx_glmm_inner *inner = fit->inner;
    qx_glmm_rows *rows = &inner->rows;
    const bool share = fit->family->serves == QX_SERVES_SHARE;
    const bool sums = share && fit->family->collapses;
    double *weight, *size;
    QX_NEW_IN(cx, fit->arena, weight, rows->n);
    QX_NEW_IN(cx, fit->arena, size, rows->n);
    for (size_t i = 0; i < fit->n; i++) {
        const double times = inner->times == NULL ? 1.0 : inner->times[i];
        if (rows->copies != NULL) {
            for (size_t c = 0; c < rows->copies[i]; c++) {
                weight[rows->group[i] + c] = 1.0;
                size[rows->group[i] + c] = share ? inner->size[i] : 0.0;
            }
            continue;
        }
        weight[rows->group[i]] += times;
        if (share) {
            size[rows->group[i]] =
                sums ? size[rows->group[i]] + times * inner->size[i] : inner->size[i];
        }
    }
    rows->weight = sums && rows->copies == NULL ? NULL : weight;
    rows->size = share ? size : NULL;
    return QX_OK;
}

/* log j! up to the largest size or count. */
static qx_status make_table(qx_ctx *cx, qx_glmm *fit)
{
    struct qx_glmm_inner *inner = fit->inner;
    const bool share = fit->family->serves == QX_SERVES_SHARE;
    double most = share ? 0.0 : 255.0;
    double *table, sum = 0.0;
    for (size_t i = 0; i < fit->n; i++) {
        most = fmax(most, share ? inner->size[i] : inner->k[i]);
    }
    inner->rows.table = most < (double)TABLE_MOST ? (size_t)most + 1 : TABLE_MOST;
    QX_NEW_IN(cx, fit->arena, table, inner->rows.table);
    for (size_t j = 1; j < inner->rows.table; j++) {
        sum = qx_lgamma((double)j + 1.0);
        table[j] = sum;
    }
    inner->rows.log_factorial = table;
    return QX_OK;
}

qx_status qx_glmm_join(qx_ctx *cx,
                       const qx_glmm_spec *spec,
                       qx_glmm *fit,
                       const uint32_t *const code[],
                       const uint32_t *engine_code[],
                       qx_mat *X)
{
    struct qx_glmm_inner *inner = fit->inner;
    const bool copied = fit->extra == QX_EXTRA_UNIT && !all_one(fit->n, spec->times);
    size_t *first = NULL;
    inner->rows.rows = fit->n;
    if (copied) {
        QX_TRY(copy_rows(cx, fit, &first));
    } else {
        QX_TRY(join(cx, fit, code, &first));
    }
    QX_TRY(weigh(cx, fit));
    QX_TRY(make_table(cx, fit));
    for (size_t k = 0; k < fit->m; k++) {
        const bool own = copied && k + 1 == fit->m;
        uint32_t *to;
        QX_NEW_IN(cx, fit->arena, to, inner->rows.n);
        for (size_t j = 0; j < inner->rows.n; j++) {
            to[j] = own ? (uint32_t)j : code[k][first[j]];
        }
        engine_code[k] = to;
    }
    QX_TRY(qx_mat_new(cx, fit->arena, inner->rows.n, fit->p, X));
    for (size_t c = 0; c < fit->p; c++) {
        for (size_t j = 0; j < inner->rows.n; j++) {
            QX_AT(*X, j, c) = QX_AT(fit->design.X, first[j], c);
        }
    }
    return QX_OK;
}

/* The part of log L that k and n alone make; by the table where it reaches. */
static double constant_of(const qx_glmm *fit, double k, double n)
{
    const qx_glmm_rows *rows = &fit->inner->rows;
    const double *lf = rows->log_factorial;
    if (fit->family->serves == QX_SERVES_SHARE && n < (double)rows->table) {
        return lf[(size_t)n] - lf[(size_t)k] - lf[(size_t)(n - k)];
    }
    if (fit->family->serves == QX_SERVES_COUNT && k < (double)rows->table) {
        return -lf[(size_t)k];
    }
    return fit->family->constant(k, n);
}

/* Rounding of log L beside which a fit can be had: with random terms spreads are searched by
 * log L itself; without, slopes alone find the top, and only likelihood ratios feel it. */
static const double ROUNDING_RANDOM = 1e-5, ROUNDING_FIXED = 1e-2;

/* Terms of the size of the constants nearly cancel in log L. */
static qx_status
find_rounding(qx_ctx *cx, const qx_glmm *fit, const double k[], qx_family_rows *out)
{
    const qx_glmm_rows *rows = &fit->inner->rows;
    double most = 0.0, sum = 0.0;
    for (size_t j = 0; j < rows->n; j++) {
        sum += fabs(out->constant[j]);
    }
    out->rounding = 4.0 * DBL_EPSILON * sum;
    if (out->rounding < (fit->m > 0 ? ROUNDING_RANDOM : ROUNDING_FIXED)) {
        return QX_OK;
    }
    for (size_t i = 0; i < rows->rows; i++) {
        most = fmax(most, k[i]);
    }
    return qx_fail(
        cx,
        QX_E_INPUT,
        "counts as large as %.6g are more than a model of counts can tell from "
        "rounding; if no number is in the wrong column, measure it as continuous "
        "with \"transform: log\"",
        most);
}

qx_status qx_glmm_data(qx_ctx *cx,
                       qx_arena *arena,
                       const qx_glmm *fit,
                       const double k[],
                       qx_family_rows *out)
{
    const struct qx_glmm_inner *inner = fit->inner;
    const qx_glmm_rows *rows = &inner->rows;
    const bool sums = fit->family->collapses && rows->copies == NULL;
    double *joined, *constant;
    QX_NEW_IN(cx, arena, joined, rows->n);
    QX_NEW_IN(cx, arena, constant, rows->n);
    for (size_t i = 0; i < rows->rows; i++) {
        const double times = inner->times == NULL ? 1.0 : inner->times[i];
        const double n = inner->size == NULL ? 0.0 : inner->size[i];
        const double part = constant_of(fit, k[i], n);
        for (size_t c = 0; rows->copies != NULL && c < rows->copies[i]; c++) {
            joined[rows->group[i] + c] = k[i];
            constant[rows->group[i] + c] = part;
        }
        if (rows->copies == NULL) {
            joined[rows->group[i]] = sums ? joined[rows->group[i]] + times * k[i] : k[i];
            constant[rows->group[i]] += times * part;
        }
    }
    for (size_t j = 0; sums && rows->weight != NULL && j < rows->n; j++) {
        joined[j] /= rows->weight[j];
    }
    *out = (qx_family_rows){.link = fit->link,
                            .k = joined,
                            .size = rows->size,
                            .weight = rows->weight,
                            .constant = constant};
    return find_rounding(cx, fit, k, out);
}
