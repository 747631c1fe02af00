#include "tasks/check_task.h"

#include "layout/layout.h"
#include "store/covariates.h"
#include "store/inspect.h"
#include "store/trial_file.h"
#include "tasks/changes_told.h"
#include "tasks/inspect_trial.h"
#include "tasks/lay_out.h"
#include "trial/check.h"
#include "trial/read_yaml.h"

qx_status
qx_check_protocol(qx_ctx *cx, const char *path, const char *data, qx_problems *problems)
{
    qx_protocol *protocol = NULL;
    qx_table *table = NULL;
    QX_TRY(qx_protocol_read(cx, path, problems, &protocol));
    qx_status status =
        data == NULL ? qx_layout_complaints(cx, protocol, true, problems)
                     : qx_data_read(cx, protocol, data, false, problems, &table, NULL);
    qx_table_free(table);
    qx_protocol_free(protocol);
    return status;
}

typedef struct checking {
    qx_ctx *cx;
    const char *path;
    qx_problems *problems;
    qx_trial_file *file;
    qx_protocol *protocol;
    qx_layout *stored;
    qx_trial_about about;
} checking;

static qx_status keep(qx_ctx *cx, qx_arena *arena, const char *text, const char **out)
{
    *out = qx_arena_copy(arena, text);
    return *out == NULL ? qx_fail(cx, QX_E_NOMEM, "no memory for the answer") : QX_OK;
}

static qx_status check_file(checking *c, qx_arena *arena, qx_checked *out)
{
    QX_TRY(qx_trial_file_open(c->cx, c->path, QX_TO_READ, &c->file));
    QX_TRY(qx_trial_file_about(c->cx, c->file, arena, &c->about));
    QX_TRY(qx_trial_file_protocol(c->cx, c->file, c->problems, &c->protocol));
    QX_TRY(qx_trial_file_drawn(c->cx, c->file, c->protocol, &c->stored));
    const char *trees, *digest;
    QX_TRY(qx_inspect_trial(
        c->cx, c->file, c->protocol, c->stored, c->problems, arena, &trees, &digest));
    QX_TRY(qx_inspect_values(c->cx, c->file, c->protocol, c->problems));
    QX_TRY(qx_covariates_note(c->cx, c->file, c->protocol, c->problems));
    *out = (qx_checked){.seed = c->stored->seed,
                        .version = c->stored->version,
                        .created_at = c->about.created_at,
                        .created_by = c->about.created_by,
                        .imports = c->about.imports,
                        .values = c->about.values,
                        .corrections = c->about.corrections,
                        .trees = trees,
                        .trees_digest = digest};
    QX_TRY(qx_changes_told(
        c->cx, c->file, c->protocol, c->stored, arena, &out->change_count, &out->change));
    QX_TRY(keep(c->cx, arena, c->stored->kind, &out->kind));
    QX_TRY(keep(c->cx, arena, c->stored->describe, &out->describe));
    return qx_problems_count(c->problems) > 0
               ? qx_fail(c->cx, QX_E_INPUT, "%s is not in order", c->path)
               : QX_OK;
}

qx_status qx_check_trial(
    qx_ctx *cx, const char *path, qx_problems *problems, qx_arena *arena, qx_checked *out)
{
    checking c = {.cx = cx, .path = path, .problems = problems};
    const qx_status status = check_file(&c, arena, out);
    qx_layout_free(c.stored);
    qx_protocol_free(c.protocol);
    qx_trial_file_close(c.file);
    return status;
}
