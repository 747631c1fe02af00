/* Dates of what was measured more than once: there where something was measured, and dates
 * that can be put in order. */
#include <stdio.h>

#include "trial/checking.h"
#include "trial/dates.h"

/* "expected 2025-05-12", where it is plain what was meant. */
static const char *
date_expected(const char *text, char room[QX_SHOWN_ROOM], const char *otherwise)
{
    char meant[11];
    if (qx_date_meant(text, meant) == NULL) {
        return otherwise;
    }
    (void)snprintf(room, QX_SHOWN_ROOM, "expected %s: year, month, day", meant);
    return room;
}

static void
tell_bad(qx_checking *c, const qx_column *column, const qx_dates *d, size_t row)
{
    char shown[QX_SHOWN_ROOM], room[QX_SHOWN_ROOM];
    const char *text = column->level[column->code[row]];
    double day;
    bool calendar;
    const bool date = qx_day_read(text, c->table->separator, &day, &calendar);
    qx_shown(text, shown);
    if (date && d->count == QX_DATES_MOST) {
        QX_TELL(c,
                row,
                column,
                "expected at most 1000 different dates",
                "%s \"%s\" is one date too many",
                column->name,
                shown);
    } else if (date) {
        QX_TELL(c,
                row,
                column,
                d->calendar
                    ? date_expected(text,
                                    room,
                                    "expected a date like the others, such as 2025-05-12")
                    : "expected a number like the others",
                "%s \"%s\" is not of the same kind as the other dates",
                column->name,
                shown);
    } else {
        QX_TELL(c,
                row,
                column,
                calendar
                    ? "expected a day that is in the calendar"
                    : date_expected(text,
                                    room,
                                    "expected a date such as 2025-05-12, or a number "
                                    "of days or weeks"),
                "%s \"%s\" is not a date",
                column->name,
                shown);
    }
}

static qx_status check_column(qx_checking *c, size_t v, const qx_column *column)
{
    const qx_column *value = qx_checking_variate(c, v);
    size_t *used;
    qx_dates dates;
    QX_NEW(c->cx, used, column->level_count);
    for (size_t row = 0; row < c->table->rows; row++) {
        if (!qx_checking_has(value, row)) {
            continue;
        }
        if (column->code[row] == QX_MISSING_CODE) {
            QX_TELL(c,
                    row,
                    column,
                    "expected the date on which it was measured",
                    "%s is missing, but %s has a value",
                    column->name,
                    value->name);
        } else {
            used[column->code[row]]++;
        }
    }
    QX_TRY(qx_dates_of(
        c->cx, qx_ctx_scratch(c->cx), column, c->table->separator, used, &dates));
    for (size_t row = 0; dates.bad > 0 && row < c->table->rows; row++) {
        const uint32_t code = column->code[row];
        if (code != QX_MISSING_CODE && qx_checking_has(value, row) &&
            dates.code[code] == QX_MISSING_CODE) {
            tell_bad(c, column, &dates, row);
        }
    }
    return c->failed;
}

void qx_check_dates(qx_checking *c)
{
    for (size_t v = 0; v < c->p->variate_count && c->failed == QX_OK; v++) {
        const char *name = c->p->variate[v].dates;
        const qx_column *column = name != NULL ? qx_checking_labels(c, name) : NULL;
        qx_status status = QX_OK;
        if (column == NULL || qx_checking_variate(c, v) == NULL) {
            continue;
        }
        QX_SCRATCH(c->cx, status, check_column(c, v, column));
        qx_checking_keep(c, status);
    }
}
