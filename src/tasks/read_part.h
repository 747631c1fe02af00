/* tasks/read_part.h - one data file of a trial file: read, checked against the protocol and
 * the layout, with its digest (inner header). */
#ifndef QX_TASKS_READ_PART_H
#define QX_TASKS_READ_PART_H

#include "base/problems.h"
#include "store/observations.h"

typedef struct qx_read_file {
    qx_table *table;
    bool *bad; /* in the table's arena */
    const char *digest;
} qx_read_file;

/* The caller frees out->table. QX_OK also when the file has problems but could be
 * read; then they are in `problems` and out->bad marks their rows. QX_E_INPUT: it could
 * not be read. Digest in `arena`. */
qx_status qx_read_part(qx_ctx *cx,
                       const qx_protocol *protocol,
                       const qx_layout *layout,
                       const char *path,
                       qx_problems *problems,
                       qx_arena *arena,
                       qx_read_file *out);

#endif
