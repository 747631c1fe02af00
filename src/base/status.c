/* base/status.c - look-up in the list of status.h. */
#include "base/status.h"

#include <stddef.h>

struct row {
    qx_status status;
    const char *text;
    int http;
    int exit_status;
};

static const struct row rows[] = {
#define X(code, text, http, exit_status) {code, text, http, exit_status},
    QX_STATUS_LIST(X)
#undef X
};

static const struct row *find(qx_status status)
{
    const struct row *unknown = NULL;
    for (size_t i = 0; i < QX_COUNT(rows); i++) {
        if (rows[i].status == status) {
            return &rows[i];
        }
        if (rows[i].status == QX_E_NUMERIC) {
            unknown = &rows[i];
        }
    }
    return unknown;
}

const char *qx_status_text(qx_status status)
{
    return find(status)->text;
}

int qx_status_http(qx_status status)
{
    return find(status)->http;
}

int qx_status_exit(qx_status status)
{
    return find(status)->exit_status;
}
