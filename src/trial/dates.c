#include "trial/dates.h"

#include <stdio.h>
#include <string.h>

#include "base/date.h"

bool qx_day_read(const char *text, char separator, double *day, bool *calendar)
{
    const size_t length = strlen(text);
    qx_date date;
    *calendar = length == 10 && text[4] == '-' && text[7] == '-';
    if (*calendar) {
        if (!qx_date_read(text, &date)) {
            return false;
        }
        *day = (double)qx_date_days(date);
        return true;
    }
    return qx_decimal_read(text, length, '.', day, NULL) ||
           (separator == ';' && qx_decimal_read(text, length, ',', day, NULL));
}

/* A whole number of at most `most` digits at *at, which moves on; -1 if there is none. */
static int digits(const char **at, int most)
{
    int number = 0, count = 0;
    while (count < most && **at >= '0' && **at <= '9') {
        number = 10 * number + (**at - '0');
        count++;
        (*at)++;
    }
    return count == 0 ? -1 : number;
}

/* Does the mark stand there? Then it is passed. */
static bool passed(const char **at, char mark)
{
    const bool there = **at == mark;
    *at += there ? 1 : 0;
    return there;
}

const char *qx_date_meant(const char *text, char out[11])
{
    const char *at = text;
    qx_date date;
    int year = digits(&at, 4), month, day;
    if (at - text == 4) {
        const char *mark = at;
        const bool apart = passed(&at, '/') || passed(&at, '.') || passed(&at, '-');
        month = digits(&at, 2);
        day = apart && !passed(&at, *mark) ? -1 : digits(&at, 2);
    } else {
        day = year;
        month = passed(&at, '.') ? digits(&at, 2) : -1;
        year = passed(&at, '.') ? digits(&at, 4) : -1;
    }
    if (*at != '\0' || year < 1000 || month < 1 || month > 12 || day < 1 || day > 31) {
        return NULL;
    }
    char room[40]; /* more than three numbers take, whatever they are */
    (void)snprintf(room, sizeof room, "%04d-%02d-%02d", year, month, day);
    memcpy(out, room, 10);
    out[10] = '\0';
    return qx_date_read(out, &date) ? out : NULL;
}

/* Which kind most of the rows have. */
static bool mostly_calendar(const qx_column *column, char separator, const size_t used[])
{
    size_t kinds[2] = {0, 0};
    for (size_t l = 0; l < column->level_count; l++) {
        double day;
        bool calendar;
        if (qx_day_read(column->level[l], separator, &day, &calendar)) {
            kinds[calendar ? 1 : 0] += used[l];
        }
    }
    return kinds[1] > 0 && kinds[1] >= kinds[0];
}

/* Place of a day among those that are there, put in if it is new; QX_MISSING_CODE when
 * there are too many already. */
static uint32_t place_of(double day, const char *label, double list[], qx_dates *out)
{
    size_t at = 0;
    while (at < out->count && list[at] < day) {
        at++;
    }
    if (at == out->count || list[at] != day) {
        if (out->count == QX_DATES_MOST) {
            return QX_MISSING_CODE;
        }
        for (size_t k = out->count; k > at; k--) {
            list[k] = list[k - 1];
            out->label[k] = out->label[k - 1];
        }
        list[at] = day;
        out->label[at] = label;
        out->count++;
    }
    return (uint32_t)at;
}

qx_status qx_dates_of(qx_ctx *cx,
                      qx_arena *arena,
                      const qx_column *column,
                      char separator,
                      const size_t used[],
                      qx_dates *out)
{
    const size_t labels = column->level_count;
    double *list;
    double day;
    bool calendar;
    *out = (qx_dates){.calendar = mostly_calendar(column, separator, used)};
    QX_NEW_IN(cx, arena, list, labels);
    QX_NEW_IN(cx, arena, out->label, labels);
    QX_NEW_IN(cx, arena, out->code, labels);
    for (size_t l = 0; l < labels; l++) {
        out->code[l] = QX_MISSING_CODE;
        if (used[l] > 0 && qx_day_read(column->level[l], separator, &day, &calendar) &&
            calendar == out->calendar) {
            (void)place_of(day, column->level[l], list, out);
        }
    }
    for (size_t l = 0; l < labels; l++) {
        if (used[l] > 0 && qx_day_read(column->level[l], separator, &day, &calendar) &&
            calendar == out->calendar) {
            out->code[l] = place_of(day, column->level[l], list, out);
        }
        out->bad += used[l] > 0 && out->code[l] == QX_MISSING_CODE ? 1 : 0;
    }
    out->day = list;
    return QX_OK;
}
