/* tasks/sheets.h - recording sheets of a trial file, to be filled in and recorded. */
#ifndef QX_TASKS_SHEETS_H
#define QX_TASKS_SHEETS_H

#include "base/ctx.h"
#include "base/problems.h"

typedef struct qx_sheet_made {
    const char *path;
    size_t rows;
} qx_sheet_made;

/* A file UNIT.csv (UNIT-SEASON.csv where seasons are separated) in `folder` for each unit on
 * which something is measured (report/blank_sheet.h). The folder is made if it is not there; a
 * sheet is never overwritten (QX_E_EXISTS, and none is written): it may be filled in. What was
 * written is told in `arena`. QX_E_INPUT, QX_E_IO, QX_E_NOMEM. */
qx_status qx_sheets(qx_ctx *cx,
                    const char *trial,
                    const char *folder,
                    qx_problems *problems,
                    qx_arena *arena,
                    size_t *count,
                    const qx_sheet_made **out);

#endif
