/* base/date.c
 *
 * A year is taken to begin in March: leap days then come last, and months have lengths
 * that repeat every five. One era is 400 years, 146097 days. The algorithm is worked out
 * with these three facts; nothing is taken from the C library's calendar, which knows
 * time zones and locales. */
#include "base/date.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define DAYS_ERA      146097
#define DAYS_1970     719468 /* from 0000-03-01 to 1970-01-01 */
#define SECONDS_A_DAY 86400

static bool is_leap(int year)
{
    return year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
}

static int days_in(int year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    return days[month - 1] + (month == 2 && is_leap(year) ? 1 : 0);
}

static bool digits(const char *text, size_t count, int *out)
{
    int value = 0;
    for (size_t i = 0; i < count; i++) {
        if (text[i] < '0' || text[i] > '9') {
            return false;
        }
        value = value * 10 + (text[i] - '0');
    }
    *out = value;
    return true;
}

bool qx_date_read(const char *text, qx_date *out)
{
    qx_date date;
    if (strlen(text) != 10 || text[4] != '-' || text[7] != '-' ||
        !digits(text, 4, &date.year) || !digits(text + 5, 2, &date.month) ||
        !digits(text + 8, 2, &date.day)) {
        return false;
    }
    if (date.month < 1 || date.month > 12 || date.day < 1 ||
        date.day > days_in(date.year, date.month)) {
        return false;
    }
    *out = date;
    return true;
}

static void put(char *out, int64_t value, int count)
{
    for (int i = count - 1; i >= 0; i--) {
        out[i] = (char)('0' + value % 10);
        value /= 10;
    }
}

void qx_date_write(qx_date date, char out[11])
{
    put(out, date.year, 4);
    out[4] = '-';
    put(out + 5, date.month, 2);
    out[7] = '-';
    put(out + 8, date.day, 2);
    out[10] = '\0';
}

int64_t qx_date_days(qx_date date)
{
    const int64_t year = date.month <= 2 ? (int64_t)date.year - 1 : date.year;
    const int64_t era = (year >= 0 ? year : year - 399) / 400;
    const int64_t year_of_era = year - era * 400;
    const int64_t month = (date.month + 9) % 12; /* March is 0 */
    const int64_t day_of_year = (153 * month + 2) / 5 + date.day - 1;
    const int64_t day_of_era =
        year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    return era * DAYS_ERA + day_of_era - DAYS_1970;
}

qx_date qx_date_from_days(int64_t days)
{
    const int64_t shifted = days + DAYS_1970;
    const int64_t era = (shifted >= 0 ? shifted : shifted - (DAYS_ERA - 1)) / DAYS_ERA;
    const int64_t day_of_era = shifted - era * DAYS_ERA;
    const int64_t year_of_era = (day_of_era - day_of_era / 1460 + day_of_era / 36524 -
                                 day_of_era / (DAYS_ERA - 1)) /
                                365;
    const int64_t day_of_year =
        day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    const int64_t month = (5 * day_of_year + 2) / 153;
    const int64_t year = year_of_era + era * 400;
    return (qx_date){
        .year = (int)(month >= 10 ? year + 1 : year),
        .month = (int)(month >= 10 ? month - 9 : month + 3),
        .day = (int)(day_of_year - (153 * month + 2) / 5 + 1),
    };
}

/* SOURCE_DATE_EPOCH: whole seconds, https://reproducible-builds.org/specs/. Anything else
 * in it is ignored. */
int64_t qx_now(void)
{
    const char *fixed = getenv("SOURCE_DATE_EPOCH");
    if (fixed != NULL && *fixed != '\0') {
        char *end = NULL;
        errno = 0;
        const long long seconds = strtoll(fixed, &end, 10);
        if (errno == 0 && *end == '\0' && seconds >= 0) {
            return seconds;
        }
    }
    return (int64_t)time(NULL);
}

/* Four digits of year is all the room there is; what lies outside is put at its edge. */
static int64_t within_four_digits(int64_t seconds)
{
    const int64_t first = qx_date_days((qx_date){0, 1, 1}) * SECONDS_A_DAY;
    const int64_t last =
        qx_date_days((qx_date){9999, 12, 31}) * SECONDS_A_DAY + SECONDS_A_DAY - 1;
    if (seconds < first) {
        return first;
    }
    return seconds > last ? last : seconds;
}

void qx_instant_write(int64_t seconds, char out[21])
{
    const int64_t shown = within_four_digits(seconds);
    int64_t days = shown / SECONDS_A_DAY;
    int64_t rest = shown % SECONDS_A_DAY;
    if (rest < 0) {
        rest += SECONDS_A_DAY;
        days--;
    }
    qx_date_write(qx_date_from_days(days), out);
    out[10] = 'T';
    put(out + 11, rest / 3600, 2);
    out[13] = ':';
    put(out + 14, rest / 60 % 60, 2);
    out[16] = ':';
    put(out + 17, rest % 60, 2);
    out[19] = 'Z';
    out[20] = '\0';
}
