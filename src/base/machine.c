/* base/machine.c */
#include "base/machine.h"

#include <stdio.h>
#include <string.h>

const char *qx_reason(int error, char out[QX_REASON_ROOM])
{
    if (strerror_r(error, out, QX_REASON_ROOM) != 0) {
        (void)snprintf(out, QX_REASON_ROOM, "error %d of the machine", error);
    }
    return out;
}
