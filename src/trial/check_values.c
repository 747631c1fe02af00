/* Each value by itself. */
#include <math.h>
#include <string.h>

#include "base/decimal.h"
#include "trial/checking.h"

static bool whole(double x)
{
    return x == floor(x);
}

static bool same_of_before(const qx_checking *c, size_t v)
{
    for (size_t i = 0; i < v; i++) {
        if (strcmp(c->p->variate[i].of, c->p->variate[v].of) == 0) {
            return true;
        }
    }
    return false;
}

/* A column of counts: whole numbers from 0. */
static void check_counts(qx_checking *c, const qx_column *column)
{
    for (size_t row = 0; row < c->table->rows; row++) {
        const double x = column->value[row];
        char typed[QX_SHOWN_ROOM];
        if (isnan(x)) {
            continue;
        }
        if (x < 0) {
            QX_TELL(c,
                    row,
                    column,
                    "expected a count: 0, 1, 2 ...",
                    "%s \"%s\" is negative",
                    column->name,
                    qx_checking_typed(c, row, column, typed));
        } else if (!whole(x)) {
            QX_TELL(c,
                    row,
                    column,
                    "expected a count: 0, 1, 2 ...",
                    "%s \"%s\" is not a whole number",
                    column->name,
                    qx_checking_typed(c, row, column, typed));
        }
    }
}

static void
check_share_row(qx_checking *c, const qx_column *k, const qx_column *n, size_t row)
{
    char typed[QX_SHOWN_ROOM];
    char most[QX_SHOWN_ROOM];
    const double of = n->value[row];
    if (isnan(of)) {
        QX_TELL(c,
                row,
                n,
                "expected how many were looked at",
                "%s is missing, of which %s is a share",
                n->name,
                k->name);
    } else if (of == 0) {
        QX_TELL(c,
                row,
                n,
                "expected 1 or more; leave both empty if nothing was looked at",
                "%s is 0, so that %s cannot be a share of it",
                n->name,
                k->name);
    } else if (k->value[row] > of) {
        qx_checking_typed(c, row, n, most);
        QX_TELL(c,
                row,
                k,
                "expected at most as many as were looked at",
                "%s \"%s\" is more than %s \"%s\"",
                k->name,
                qx_checking_typed(c, row, k, typed),
                n->name,
                most);
    }
}

static void check_share(qx_checking *c, size_t v, const qx_column *k)
{
    const qx_variate *variate = &c->p->variate[v];
    const qx_column *n = qx_table_find(c->table, variate->of);
    if (n == NULL) {
        return; /* told with the header */
    }
    if (!same_of_before(c, v)) {
        check_counts(c, n);
    }
    for (size_t row = 0; row < c->table->rows; row++) {
        if (!isnan(k->value[row])) {
            check_share_row(c, k, n, row);
        }
    }
}

static void check_one_or_zero(qx_checking *c, const qx_column *column)
{
    for (size_t row = 0; row < c->table->rows; row++) {
        const double x = column->value[row];
        char typed[QX_SHOWN_ROOM];
        if (!isnan(x) && x != 0 && x != 1) {
            QX_TELL(c,
                    row,
                    column,
                    "expected 1 or 0, or \"of\" in the protocol to say of how many",
                    "%s \"%s\" is neither 1 nor 0",
                    column->name,
                    qx_checking_typed(c, row, column, typed));
        }
    }
}

/* A range of a proportion that ends at 1 or below is one of shares, not of counts. */
static double ranged_value(const qx_checking *c,
                           const qx_variate *variate,
                           const qx_column *column,
                           size_t row)
{
    const double x = column->value[row];
    const bool share =
        variate->kind == QX_PROPORTION && variate->of[0] != '\0' && variate->high <= 1;
    const qx_column *n = share ? qx_table_find(c->table, variate->of) : NULL;
    return n == NULL ? x : x / n->value[row];
}

static void
check_range(qx_checking *c, const qx_variate *variate, const qx_column *column)
{
    char low[QX_NUMBER_ROOM];
    char high[QX_NUMBER_ROOM];
    qx_number_exact(variate->low, low);
    qx_number_exact(variate->high, high);
    for (size_t row = 0; variate->has_range && row < c->table->rows; row++) {
        const double x = ranged_value(c, variate, column, row);
        char typed[QX_SHOWN_ROOM];
        /* A negative count is told as such. */
        const bool told = variate->kind != QX_CONTINUOUS && x < 0;
        if (isnan(x) || told || (x >= variate->low && x <= variate->high)) {
            continue;
        }
        QX_TELL(c,
                row,
                column,
                "expected a value inside the range of the protocol",
                "%s \"%s\" is outside the range %s to %s",
                column->name,
                qx_checking_typed(c, row, column, typed),
                low,
                high);
    }
}

static bool in_domain(qx_transform transform, double x)
{
    switch (transform) {
    case QX_TRANSFORM_LOG:
    case QX_TRANSFORM_LOG10:
        return x > 0;
    case QX_TRANSFORM_LOG10_1:
        return x > -1;
    case QX_TRANSFORM_SQRT:
        return x >= 0;
    case QX_TRANSFORM_SQRT_HALF:
        return x >= -0.5;
    case QX_TRANSFORM_ARCSINE:
        return x >= 0 && x <= 1;
    case QX_TRANSFORM_NONE:
        break;
    }
    return true;
}

/* A value is as good as it is when it is recorded; only the analysis needs the scale. */
static void
check_transform(qx_checking *c, const qx_variate *variate, const qx_column *column)
{
    const qx_column *n =
        variate->of[0] != '\0' ? qx_table_find(c->table, variate->of) : NULL;
    for (size_t row = 0; !c->layout_known && row < c->table->rows; row++) {
        const double x =
            n == NULL ? column->value[row] : column->value[row] / n->value[row];
        char typed[QX_SHOWN_ROOM];
        if (!isnan(x) && !c->bad[row] && !in_domain(variate->transform, x)) {
            QX_TELL(c,
                    row,
                    column,
                    "expected another transform, such as log10(x+1) or sqrt(x+0.5)",
                    "%s \"%s\" has no value on the scale of transform %s",
                    column->name,
                    qx_checking_typed(c, row, column, typed),
                    qx_transform_word(variate->transform));
        }
    }
}

static void
check_times(qx_checking *c, const qx_variate *variate, const qx_column *column)
{
    const qx_column *times = qx_table_find(c->table, variate->times);
    if (times == NULL) {
        return; /* told with the header */
    }
    check_counts(c, times);
    for (size_t row = 0; row < c->table->rows; row++) {
        if (qx_checking_has(column, row) && isnan(times->value[row])) {
            QX_TELL(c,
                    row,
                    times,
                    "expected how many alike things the row stands for",
                    "%s is missing",
                    times->name);
        }
    }
}

static void check_variate(qx_checking *c, size_t v)
{
    const qx_variate *variate = &c->p->variate[v];
    const qx_column *column = qx_checking_variate(c, v);
    if (column == NULL) {
        return;
    }
    if (variate->times[0] != '\0') {
        check_times(c, variate, column);
    }
    if (column->kind != QX_COLUMN_NUMBER) {
        return; /* classes are told with the levels */
    }
    if (variate->kind == QX_COUNT) {
        check_counts(c, column);
    } else if (variate->kind == QX_PROPORTION && variate->of[0] != '\0') {
        check_counts(c, column);
        check_share(c, v, column);
    } else if (variate->kind == QX_PROPORTION) {
        check_one_or_zero(c, column);
    }
    check_range(c, variate, column);
    if (variate->transform != QX_TRANSFORM_NONE) {
        check_transform(c, variate, column);
    }
}

void qx_check_values(qx_checking *c)
{
    for (size_t v = 0; v < c->p->variate_count && c->failed == QX_OK; v++) {
        check_variate(c, v);
    }
}
