/* tasks/report_set.h - findings to the files of a report: report.html, findings.json,
 * findings.txt and tables.csv. */
#ifndef QX_TASKS_REPORT_SET_H
#define QX_TASKS_REPORT_SET_H

#include "base/ctx.h"
#include "base/problems.h"
#include "findings/findings.h"

/* Writes the set into `folder`, which is made if it is not there; files of the same names
 * are replaced. Everything is rendered before the first file is written, and each is
 * written as a whole or not at all. QX_E_IO, QX_E_NOMEM. */
qx_status qx_report_write(qx_ctx *cx, const qx_findings *findings, const char *folder);

/* Loads, analyses (tasks/analyse_file.h) and writes. */
qx_status qx_report_set(qx_ctx *cx,
                        const char *path,
                        const char *data,
                        qx_arithmetic arithmetic,
                        const char *by,
                        const char *folder,
                        qx_problems *problems);

/* Names of the files, in the order in which they are told; closed by NULL. */
const char *const *qx_report_files(void);

#endif
