/* base/date.h - calendar days (proleptic Gregorian) and instants (UTC, ISO 8601).
 *
 * The library never asks the clock by itself: qx_now is for cli/ and store/, and obeys
 * SOURCE_DATE_EPOCH (reproducible-builds.org) so that tests and demonstrations repeat. */
#ifndef QX_BASE_DATE_H
#define QX_BASE_DATE_H

#include <stdbool.h>
#include <stdint.h>

#include "base/attr.h"

typedef struct qx_date {
    int year, month, day;
} qx_date;

/* "2026-11-25" and nothing else; false for days that do not exist. */
QX_API bool qx_date_read(const char *text, qx_date *out);
QX_API void qx_date_write(qx_date date, char out[11]);

/* Days since 1970-01-01, and back. */
QX_API int64_t qx_date_days(qx_date date);
QX_API qx_date qx_date_from_days(int64_t days);

/* Seconds since the epoch, and "2026-11-25T12:47:00Z". */
QX_API int64_t qx_now(void);
QX_API void qx_instant_write(int64_t seconds, char out[21]);

#endif
