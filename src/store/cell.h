/* store/cell.h - what one field of a data file says: value, season, date, as they are kept.
 *
 * Inner header of the folder. */
#ifndef QX_STORE_CELL_H
#define QX_STORE_CELL_H

#include <stdbool.h>

#include "layout/layout.h"
#include "store/quantity.h"
#include "trial/table.h"

/* One value of one row on its way into the file. */
typedef struct qx_cell {
    size_t part, row;
    const qx_quantity *quantity;
    const char *season; /* "" without seasons */
    const char *date;   /* "" without dates, or where the row tells none */
    const char *value;  /* NULL: missing */
} qx_cell;

/* Has the quantity a value in this row? */
bool qx_cell_given(const qx_table *table, const qx_quantity *quantity, size_t row);

/* The season of a row; "" where it tells none, or without seasons. Borrowed. */
const char *
qx_cell_season(const qx_protocol *protocol, const qx_table *table, size_t row);

/* The date of a quantity in a row, always written the same way: 2025-05-12, or a number
 * with a point and no trailing zeros. "" where the quantity has no dates, or the row tells
 * none that can be read. In `arena` or borrowed; NULL: no memory. */
const char *qx_cell_date(qx_arena *arena,
                         const qx_table *table,
                         const qx_quantity *quantity,
                         size_t row);

/* Is a date (as qx_cell_date writes it) one of the calendar? */
bool qx_date_of_calendar(const char *date);

/* The value as text in `arena`; there is one. A position that is no whole number stays as it
 * was typed. NULL: no memory. */
const char *qx_cell_text(qx_arena *arena,
                         const qx_table *table,
                         const qx_quantity *quantity,
                         size_t row);

/* Is it the value that is stored? 12.5 and 12.50 are the same. */
bool qx_cell_same(const qx_cell *cell, const char *stored);

/* Row or place (by the column's name) of a placed thing in the list of trees that the layout
 * was given; NAN where it tells none. */
double qx_position_listed(const qx_protocol *protocol,
                          const qx_layout *layout,
                          uint32_t placed,
                          const char *column);

#endif
