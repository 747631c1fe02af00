#include "store/cell.h"

#include <math.h>
#include <string.h>

#include "base/decimal.h"
#include "trial/dates.h"
#include "trial/positions.h"

bool qx_cell_given(const qx_table *table, const qx_quantity *quantity, size_t row)
{
    const qx_column *column = qx_table_find(table, quantity->name);
    if (column == NULL) {
        return false;
    }
    return column->kind == QX_COLUMN_LABEL ? column->code[row] != QX_MISSING_CODE
                                           : !isnan(column->value[row]);
}

const char *qx_cell_season(const qx_protocol *protocol, const qx_table *table, size_t row)
{
    const qx_seasons *seasons = &protocol->seasons;
    if (seasons->level_count == 0) {
        return "";
    }
    const qx_column *column = qx_table_find(table, seasons->column);
    if (column == NULL || column->kind != QX_COLUMN_LABEL) {
        return seasons->level_count == 1 ? seasons->level[0] : "";
    }
    return column->code[row] == QX_MISSING_CODE ? "" : column->level[column->code[row]];
}

/* 8.0 and 8 are one day. */
static const char *number_of_day(qx_arena *arena, double day)
{
    char number[QX_NUMBER_ROOM];
    return qx_arena_copy(arena, qx_number_exact(day == 0.0 ? 0.0 : day, number));
}

const char *qx_cell_date(qx_arena *arena,
                         const qx_table *table,
                         const qx_quantity *quantity,
                         size_t row)
{
    double day;
    bool calendar;
    const qx_column *column =
        quantity->dates == NULL ? NULL : qx_table_find(table, quantity->dates);
    if (column == NULL || column->kind != QX_COLUMN_LABEL ||
        column->code[row] == QX_MISSING_CODE) {
        return "";
    }
    const char *label = column->level[column->code[row]];
    if (!qx_day_read(label, table->separator, &day, &calendar)) {
        return "";
    }
    return calendar ? label : number_of_day(arena, day);
}

bool qx_date_of_calendar(const char *date)
{
    double day;
    bool calendar = false;
    return qx_day_read(date, ',', &day, &calendar) && calendar;
}

const char *qx_cell_text(qx_arena *arena,
                         const qx_table *table,
                         const qx_quantity *quantity,
                         size_t row)
{
    const qx_column *column = qx_table_find(table, quantity->name);
    if (column->kind == QX_COLUMN_LABEL) {
        const char *label = column->level[column->code[row]];
        double at;
        return quantity->role == QX_OF_POSITION &&
                       qx_position_read(label, table->separator, &at)
                   ? qx_arena_printf(arena, "%.0f", at)
                   : label;
    }
    if (column->exact[row].scale != QX_DECIMAL_INEXACT) {
        return qx_decimal_text(arena, column->exact[row]);
    }
    char number[QX_NUMBER_ROOM];
    return qx_arena_copy(arena, qx_number_exact(column->value[row], number));
}

bool qx_cell_same(const qx_cell *cell, const char *stored)
{
    double a = 0;
    double b = 0;
    qx_decimal exact_a = {0};
    qx_decimal exact_b = {0};
    if (strcmp(cell->value, stored) == 0) {
        return true;
    }
    if (cell->quantity->classes ||
        !qx_decimal_read(cell->value, strlen(cell->value), '.', &a, &exact_a) ||
        !qx_decimal_read(stored, strlen(stored), '.', &b, &exact_b)) {
        return false;
    }
    if (exact_a.scale == QX_DECIMAL_INEXACT || exact_b.scale == QX_DECIMAL_INEXACT) {
        return a == b;
    }
    return qx_decimal_minus(exact_a, exact_b) == 0;
}

double qx_position_listed(const qx_protocol *protocol,
                          const qx_layout *layout,
                          uint32_t placed,
                          const char *column)
{
    const qx_unit *unit = &protocol->unit[layout->placed[placed].unit];
    if (layout->stand == NULL || unit->row_column == NULL) {
        return (double)NAN;
    }
    return strcmp(column, unit->row_column) == 0 ? layout->stand[placed].row
                                                 : layout->stand[placed].place;
}
