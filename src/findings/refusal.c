#include "findings/refusal.h"

#include <string.h>

qx_status qx_tell_refusal(qx_work *w, qx_status status, bool *possible)
{
    char why[256];
    *possible = status == QX_OK;
    if (status != QX_E_INPUT && status != QX_E_RANK && status != QX_E_ARG &&
        status != QX_E_NUMERIC) {
        return status;
    }
    strncpy(why, qx_ctx_message(w->cx), sizeof why - 1);
    why[sizeof why - 1] = '\0';
    qx_ctx_forgive(w->cx);
    return qx_note(w->cx, "%s could not be analysed: %s.", w->variate->name, why);
}
