#include <math.h>

#include "findings/frame_builder.h"

/* Things that rows may stand for in all (`times`). */
#define THINGS_MOST 10000000

/* The share k/n or the value itself; NAN when missing. */
double qx_frame_response(const qx_column *value, const qx_column *of, size_t row)
{
    const double x = value->value[row];
    return of == NULL ? x : of->value[row] > 0.0 ? x / of->value[row] : (double)NAN;
}

static bool number_missing(const qx_column *column, size_t row)
{
    return column != NULL && column->kind == QX_COLUMN_NUMBER &&
           !isfinite(column->value[row]);
}

static bool label_missing(const qx_column *column, size_t row)
{
    return column != NULL && column->kind == QX_COLUMN_LABEL &&
           column->code[row] == QX_MISSING_CODE;
}

/* Is `unit` the variate's own unit or above it? */
bool qx_frame_applies(const qx_frame_builder *b, size_t unit)
{
    return qx_unit_reaches(b->protocol, unit, b->variate->on);
}

/* The treatment, covariate, date or season whose value this row lacks, or NULL. */
static const char *lacks(const qx_frame_builder *b, size_t row)
{
    const qx_protocol *p = b->protocol;
    for (size_t t = 0; t < p->treatment_count; t++) {
        if (qx_frame_applies(b, p->treatment[t].on) &&
            label_missing(qx_table_find(b->table, p->treatment[t].name), row)) {
            return p->treatment[t].name;
        }
    }
    for (size_t c = 0; c < p->covariate_count; c++) {
        if (qx_frame_applies(b, p->covariate[c].on) &&
            number_missing(qx_table_find(b->table, p->covariate[c].name), row)) {
            return p->covariate[c].name;
        }
    }
    if (b->variate->dates != NULL &&
        label_missing(qx_table_find(b->table, b->variate->dates), row)) {
        return b->variate->dates;
    }
    return p->seasons.level_count > 0 &&
                   label_missing(qx_table_find(b->table, p->seasons.column), row)
               ? p->seasons.column
               : NULL;
}

/* Says how many values there are that cannot be used, for each column that lacks. */
static qx_status tell_lacking(qx_frame_builder *b, const char *const lack[])
{
    const char **told;
    size_t count = 0;
    QX_NEW(b->cx, told, b->protocol->treatment_count + b->protocol->covariate_count + 2);
    for (size_t row = 0; row < b->table->rows; row++) {
        size_t k = 0, values = 0;
        while (lack[row] != NULL && k < count && told[k] != lack[row]) {
            k++;
        }
        if (lack[row] == NULL || k < count) {
            continue;
        }
        told[count++] = lack[row];
        for (size_t i = row; i < b->table->rows; i++) {
            values += lack[i] == lack[row] ? 1 : 0;
        }
        b->without = b->without == NULL ? lack[row] : b->without;
        QX_TRY(qx_note(b->cx,
                       "%zu value%s of %s cannot be used: %s is not known there.",
                       values,
                       values == 1 ? "" : "s",
                       b->variate->name,
                       lack[row]));
    }
    return QX_OK;
}

/* Is this a row about a thing of the variate's own unit? With trees, limbs and shoots in one
 * file, a row about a limb is not a shoot whose length is missing: it has no shoot label; and
 * a row about a shoot is not a tree without a value: it has the label of something smaller.
 * Where a unit has no label column, nothing speaks against it. */
static bool belongs(const qx_frame_builder *b, size_t row)
{
    const qx_protocol *p = b->protocol;
    const size_t own = b->variate->on;
    for (size_t u = 0; u < p->unit_count; u++) {
        const qx_column *column = qx_table_find(b->table, p->unit[u].name);
        if (column == NULL || column->kind != QX_COLUMN_LABEL ||
            !qx_unit_reaches(p, own, u)) {
            continue;
        }
        if (label_missing(column, row) == (u == own)) {
            return false;
        }
    }
    return true;
}

/* Marks complete rows; gives the number of incomplete ones that belong to this variate. */
qx_status qx_frame_mark_complete(qx_frame_builder *b, size_t *missing)
{
    const qx_column *value = qx_table_find(b->table, b->variate->name);
    const qx_column *of =
        b->variate->of[0] != '\0' ? qx_table_find(b->table, b->variate->of) : NULL;
    QX_NEW_IN(b->cx, b->arena, b->keep, b->table->rows);
    *missing = 0;
    const bool classes = qx_variate_has_classes(b->variate);
    if (value == NULL || (value->kind == QX_COLUMN_LABEL) != classes) {
        *missing = b->table->rows;
        return QX_OK;
    }
    const char **lack;
    QX_NEW(b->cx, lack, b->table->rows);
    for (size_t row = 0; row < b->table->rows; row++) {
        const bool seen = classes ? !label_missing(value, row)
                                  : isfinite(qx_frame_response(value, of, row)) != 0;
        lack[row] = seen ? lacks(b, row) : NULL;
        b->keep[row] = seen && lack[row] == NULL;
        *missing += !b->keep[row] && belongs(b, row) ? 1 : 0;
    }
    return tell_lacking(b, lack);
}

/* Rows whose unit cannot be told are left out too. */
void qx_frame_drop_unknown(qx_frame_builder *b,
                           const qx_identity identity[],
                           size_t *missing)
{
    for (size_t u = 0; u < b->protocol->unit_count; u++) {
        if (identity[u].unit == QX_NONE) {
            continue;
        }
        for (size_t row = 0; row < b->table->rows; row++) {
            if (b->keep[row] && identity[u].code[row] == QX_MISSING_CODE) {
                b->keep[row] = false;
                (*missing)++;
            }
        }
    }
}

/* How often a row stands in the frame: 1, or what the column `times` says. */
static double times_of(const qx_column *times, size_t row)
{
    if (times == NULL || times->kind != QX_COLUMN_NUMBER) {
        return 1.0;
    }
    const double x = times->value[row];
    return isfinite(x) && x >= 1.0 ? floor(x) : 0.0;
}

/* Rows of the table, each as often as it stands for a thing. */
qx_status qx_frame_list_rows(qx_frame_builder *b, size_t *missing)
{
    const qx_column *times =
        b->variate->times[0] != '\0' ? qx_table_find(b->table, b->variate->times) : NULL;
    double n = 0.0;
    for (size_t row = 0; row < b->table->rows; row++) {
        const double count = b->keep[row] ? times_of(times, row) : 0.0;
        *missing += b->keep[row] && count < 1.0 ? 1 : 0;
        n += count;
    }
    if (n > (double)THINGS_MOST) {
        return qx_fail(b->cx,
                       QX_E_INPUT,
                       "the column %s adds up to %.0f things of %s; expected at most %d",
                       b->variate->times,
                       n,
                       b->variate->name,
                       THINGS_MOST);
    }
    QX_NEW_IN(b->cx, b->arena, b->source, (size_t)n);
    b->n = 0;
    for (size_t row = 0; row < b->table->rows; row++) {
        const size_t count = b->keep[row] ? (size_t)times_of(times, row) : 0;
        for (size_t k = 0; k < count; k++) {
            b->source[b->n++] = row;
        }
    }
    return QX_OK;
}
