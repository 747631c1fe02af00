/* store/layout_store.h - a layout into the tables of a trial file, and out of them.
 *
 * Inner header of the folder. */
#ifndef QX_STORE_LAYOUT_STORE_H
#define QX_STORE_LAYOUT_STORE_H

#include "layout/layout.h"
#include "store/db.h"
#include "trial/protocol.h"

/* SHA-256 over kind, version, seed and every place with its label and levels, in words that
 * do not depend on the machine. QX_E_NOMEM. */
qx_status qx_layout_digest(qx_ctx *cx,
                           const qx_protocol *protocol,
                           const qx_layout *layout,
                           char out[65]);

/* Writes it; inside a transaction of a new file. `when` is UTC. */
qx_status qx_layout_write(qx_ctx *cx,
                          qx_db *db,
                          const qx_protocol *protocol,
                          const qx_layout *layout,
                          const char *when);

/* Reads it; the caller frees *out. QX_E_INPUT when it does not fit the protocol. */
qx_status
qx_layout_read(qx_ctx *cx, qx_db *db, const qx_protocol *protocol, qx_layout **out);

#endif
