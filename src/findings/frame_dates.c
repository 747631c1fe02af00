#include <math.h>

#include "findings/frame_builder.h"
#include "trial/dates.h"

/* Steps this near to a whole number are whole: dates with decimals divide inexactly. */
static const double WHOLE = 1e-9;

/* Days from the first date in units of the shortest step. */
static qx_status add_time(const qx_frame_builder *b,
                          const qx_dates *dates,
                          const uint32_t code[],
                          qx_variate_frame *out)
{
    double *time;
    double shortest = INFINITY;
    QX_NEW_IN(b->cx, b->arena, time, b->n);
    for (size_t d = 1; d < dates->count; d++) {
        shortest = fmin(shortest, dates->day[d] - dates->day[d - 1]);
    }
    for (size_t i = 0; i < b->n; i++) {
        const double steps = (dates->day[code[i]] - dates->day[0]) / shortest;
        time[i] = fabs(steps - round(steps)) < WHOLE ? round(steps) : steps;
    }
    out->time = time;
    return QX_OK;
}

static qx_status
add_factor(qx_frame_builder *b, const qx_column *column, qx_variate_frame *out)
{
    qx_dates dates;
    size_t *used;
    uint32_t *code;
    QX_NEW(b->cx, used, column->level_count);
    QX_NEW_IN(b->cx, b->arena, code, b->n);
    for (size_t i = 0; i < b->n; i++) {
        used[column->code[b->source[i]]]++;
    }
    QX_TRY(qx_dates_of(b->cx, b->arena, column, b->table->separator, used, &dates));
    for (size_t i = 0; i < b->n; i++) {
        const uint32_t label = column->code[b->source[i]];
        if (dates.code[label] == QX_MISSING_CODE) {
            return qx_fail(b->cx,
                           QX_E_INPUT,
                           "row %zu: %s \"%s\" is not a date like the others; expected "
                           "dates such as 2025-05-12, or numbers, throughout",
                           b->source[i] + 1,
                           column->name,
                           column->level[label]);
        }
        code[i] = dates.code[label];
    }
    if (dates.count < 2) {
        return qx_note(b->cx,
                       "All of %s was measured on one date (%s %s): there is no course "
                       "over dates to follow.",
                       b->variate->name,
                       column->name,
                       dates.label[0]);
    }
    QX_TRY(add_time(b, &dates, code, out));
    out->date = b->factor_count;
    b->factor[b->factor_count++] = (qx_factor){.name = b->variate->dates,
                                               .level_count = dates.count,
                                               .level = dates.label,
                                               .code = code};
    return QX_OK;
}

qx_status qx_frame_add_dates(qx_frame_builder *b, qx_variate_frame *out)
{
    const qx_column *column =
        b->variate->dates != NULL ? qx_table_find(b->table, b->variate->dates) : NULL;
    if (column == NULL || column->kind != QX_COLUMN_LABEL) {
        return b->variate->dates == NULL
                   ? QX_OK
                   : qx_note(b->cx,
                             "The data have no column %s: %s is analysed without dates.",
                             b->variate->dates,
                             b->variate->name);
    }
    return add_factor(b, column, out);
}
