/* trial/dates.h - the dates on which the same things were measured: a label column read as
 * days.
 *
 * Dates are calendar dates (ISO 8601: 2025-05-12) or numbers (days after full bloom, weeks);
 * one column holds one kind. Numbers may have a decimal comma where the file has. */
#ifndef QX_TRIAL_DATES_H
#define QX_TRIAL_DATES_H

#include <stdbool.h>

#include "base/ctx.h"
#include "trial/table.h"

#define QX_DATES_MOST 1000 /* different dates of one column */

/* Days since 1970-01-01 of a calendar date, or the number; false if it is neither. */
bool qx_day_read(const char *text, char separator, double *day, bool *calendar);

typedef struct qx_dates {
    size_t count;       /* different dates, ascending */
    const double *day;  /* count */
    const char **label; /* count: as first written; borrowed from the column */
    uint32_t *code; /* column->level_count: date of each label; QX_MISSING_CODE for one
                           that is no date, or not of the kind of most */
    size_t bad;     /* labels that are no dates */
    bool calendar;
} qx_dates;

/* The date that is probably meant, written as it is expected ("2025-05-12"): for 20250512,
 * 2025/5/12, 2025.05.12, 12.05.2025. NULL for anything else: 05/06/2025 may be either. */
const char *qx_date_meant(const char *text, char out[11]);

/* The labels in rows, `used` (column->level_count) says in how many, as dates; all in
 * `arena`. Of which kind most rows are (a draw: calendar), all are. */
qx_status qx_dates_of(qx_ctx *cx,
                      qx_arena *arena,
                      const qx_column *column,
                      char separator,
                      const size_t used[],
                      qx_dates *out);

#endif
