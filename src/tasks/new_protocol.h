/* tasks/new_protocol.h - a file with the protocol to fill in (trial/new_protocol.h). */
#ifndef QX_TASKS_NEW_PROTOCOL_H
#define QX_TASKS_NEW_PROTOCOL_H

#include "base/ctx.h"

/* Writes a protocol with every part explained, valid as it is. QX_E_EXISTS if something is there, QX_E_IO. */
qx_status qx_new_protocol(qx_ctx *cx, const char *path);

#endif
