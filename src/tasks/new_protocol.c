#include "tasks/new_protocol.h"

#include <string.h>

#include "base/file.h"
#include "trial/new_protocol.h"

qx_status qx_new_protocol(qx_ctx *cx, const char *path)
{
    const char *text = qx_new_protocol_text();
    if (qx_file_exists(path)) {
        return qx_fail(cx,
                       QX_E_EXISTS,
                       "%s is there already; expected a new name: nothing is overwritten",
                       path);
    }
    return qx_file_create(cx, path, text, strlen(text));
}
