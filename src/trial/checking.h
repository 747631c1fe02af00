/* trial/checking.h - what the parts of the data check share (inner header).
 *
 * checking.c       what all of them ask (below)
 * check.c          wishes, levels as the protocol's, the whole
 * check_values.c   each value by itself: counts, shares, ranges, classes
 * check_labels.c   labels and levels that are missing, units that nothing tells
 * check_dates.c    dates of what was measured more than once
 * check_positions.c  where units stand in the field
 * check_units.c    rows together: repeated, counts planned, two levels in one unit */
#ifndef QX_TRIAL_CHECKING_H
#define QX_TRIAL_CHECKING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/ctx.h"
#include "base/problems.h"
#include "trial/csv_scan.h"
#include "trial/protocol.h"
#include "trial/shown.h"
#include "trial/table.h"

typedef struct qx_checking {
    qx_ctx *cx;
    const qx_protocol *p;
    const qx_table *table;
    bool *bad; /* rows with problems */
    qx_problems *problems;
    bool layout_known;
    qx_status failed; /* first failure of the machine */
    size_t searches;  /* for nearest levels, so far */
    /* The file once more, to point at fields; only read when there is a problem. */
    const char *bytes;
    size_t length;
    qx_csv_scan scan;
    qx_csv_record *record;
} qx_checking;

/* A problem of one field: marks the row as bad. `column` NULL: the row as a whole. */
#define QX_TELL(c, row, column, expected, ...)                                           \
    do {                                                                                 \
        const qx_place qx_tell_at = qx_checking_place((c), (row), (column));             \
        qx_checking_keep(                                                                \
            (c),                                                                         \
            qx_problem_add(                                                              \
                (c)->problems, (c)->table->file, qx_tell_at, (expected), __VA_ARGS__));  \
        (c)->bad[(row)] = true;                                                          \
    } while (0)

void qx_checking_keep(qx_checking *c, qx_status status);
qx_place qx_checking_place(qx_checking *c, size_t row, const qx_column *column);

/* The field as it was typed, for a message. */
const char *qx_checking_typed(qx_checking *c,
                              size_t row,
                              const qx_column *column,
                              char out[QX_SHOWN_ROOM]);

/* "expected X, the nearest that is known" or a list, in scratch memory. */
const char *qx_checking_expect(qx_checking *c,
                               const char *name,
                               size_t count,
                               const char *const level[]);

/* Has the variate a value in this row? Its column is NULL when the file has none. */
bool qx_checking_has(const qx_column *column, size_t row);
const qx_column *qx_checking_variate(const qx_checking *c, size_t variate);

/* The label column of this name, of a unit, of the seasons; NULL if there is none. */
const qx_column *qx_checking_labels(const qx_checking *c, const char *name);
const qx_column *qx_checking_own(const qx_checking *c, size_t unit);
const qx_column *qx_checking_season(const qx_checking *c);

/* The variates in the file that are measured on this unit or below: bit v for variate v. */
uint64_t qx_checking_below(const qx_checking *c, size_t unit);

/* Rows in which one of these variates has a value, in scratch memory. */
qx_status qx_checking_rows(qx_checking *c, uint64_t set, bool **out);

void qx_check_dates(qx_checking *c);
void qx_check_positions(qx_checking *c);
void qx_check_values(qx_checking *c);
void qx_check_labels(qx_checking *c, bool lacking); /* a needed column is missing */
void qx_check_units(qx_checking *c);

#endif
