/* tasks/record.h - data files into a trial file: read, check, store. */
#ifndef QX_TASKS_RECORD_H
#define QX_TASKS_RECORD_H

#include "base/ctx.h"
#include "base/problems.h"
#include "store/observations.h"

typedef struct qx_record_wish {
    const char *trial; /* FILE.qx */
    size_t file_count; /* 1 or more */
    const char *const *file;
    const char *by;
    const char *reason; /* "" if not given */
    bool accept_good;
} qx_record_wish;

/* All files in one transaction. QX_E_INPUT when `problems` grew: nothing is stored, unless
 * accept_good is set; then the good rows are stored, the receipt says how many were left
 * out, and the status is QX_E_INPUT all the same. *stored says whether the receipt counts;
 * if not, it tells rows read and rows with problems, and nothing where a file could not be read.
 * The receipt lives in `arena`. */
qx_status qx_record(qx_ctx *cx,
                    const qx_record_wish *wish,
                    qx_problems *problems,
                    qx_arena *arena,
                    bool *stored,
                    qx_receipt *out);

#endif
