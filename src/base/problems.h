/* base/problems.h - what is wrong in something that a user wrote, with its place.
 *
 * A reader collects every problem and goes on; it never stops at the first. Printed as
 *     file:line:column: what is wrong; what was expected
 * Line and column count from 1; 0 means the file (or row) as a whole and is printed as 1.
 * Notes are told but do not make the input wrong. At most QX_PROBLEMS_MOST are stored;
 * the rest are counted and told in one closing line. */
#ifndef QX_BASE_PROBLEMS_H
#define QX_BASE_PROBLEMS_H

#include <stddef.h>

#include "base/arena.h"
#include "base/status.h"

#define QX_PROBLEMS_MOST 1000

typedef struct qx_place {
    size_t line;
    size_t column;
} qx_place;

typedef struct qx_problem {
    const char *file; /* as the user named it */
    qx_place at;
    const char *wrong;    /* what is wrong */
    const char *expected; /* what was expected, or how to mend it */
} qx_problem;

typedef struct qx_problems qx_problems;

/* Lives in `arena`; NULL when there is no memory. */
QX_API qx_problems *qx_problems_new(qx_arena *arena);

/* Adds a problem (copies all texts). `expected` is plain text, `wrong` a format.
 * QX_E_NOMEM or QX_OK: the caller goes on either way. */
QX_API qx_status qx_problem_add(qx_problems *problems,
                                const char *file,
                                qx_place at,
                                const char *expected,
                                const char *wrong,
                                ...) QX_PRINTF(5, 6);

/* A note with its place: told, not counted. */
QX_API qx_status qx_problem_note(qx_problems *problems,
                                 const char *file,
                                 qx_place at,
                                 const char *format,
                                 ...) QX_PRINTF(4, 5);

QX_API size_t qx_problems_count(const qx_problems *problems); /* all, stored or not */
QX_API size_t qx_problems_stored(const qx_problems *problems);
QX_API const qx_problem *qx_problems_get(const qx_problems *problems, size_t i);
QX_API size_t qx_problems_notes(const qx_problems *problems);
QX_API const qx_problem *qx_problems_get_note(const qx_problems *problems, size_t i);

/* Sorts the stored problems by file, line and column (stable). */
QX_API void qx_problems_sort(qx_problems *problems);

#endif
