/* base/status.h - every way in which a call can fail, in one list.
 *
 * X(code, text, HTTP status, exit status of the command line)
 *
 * A failure is not an outcome: a variance on its boundary or a fit that did not
 * converge is told in the result (model/lmm.h), never as a status. */
#ifndef QX_BASE_STATUS_H
#define QX_BASE_STATUS_H

#include "base/attr.h"

#define QX_STATUS_LIST(X)                                                                \
    X(QX_OK, "done", 200, 0)                                                             \
    X(QX_E_ARG, "argument out of its range", 400, 2)                                     \
    X(QX_E_SHAPE, "sizes do not fit together", 400, 2)                                   \
    X(QX_E_USAGE, "command line is wrong", 400, 2)                                       \
    X(QX_E_INPUT, "input has problems", 422, 1)                                          \
    X(QX_E_EXISTS, "file exists already", 409, 1)                                        \
    X(QX_E_RANK, "not estimable", 422, 1)                                                \
    X(QX_E_NOT_PD, "matrix is not positive definite", 500, 3)                            \
    X(QX_E_NUMERIC, "computation failed", 500, 3)                                        \
    X(QX_E_NOMEM, "out of memory", 507, 3)                                               \
    X(QX_E_IO, "file could not be read or written", 500, 3)                              \
    X(QX_E_CANCELLED, "stopped on request", 499, 3)

typedef enum {
#define X(code, text, http, exit_status) code,
    QX_STATUS_LIST(X)
#undef X
} qx_status;

/* Text, HTTP status and exit status of a code; unknown codes give those of QX_E_NUMERIC. */
QX_API const char *qx_status_text(qx_status status);
QX_API int qx_status_http(qx_status status);
QX_API int qx_status_exit(qx_status status);

#endif
