#include "tasks/check_task.h"

#include <inttypes.h>
#include <string.h>

#include "layout/layout.h"
#include "store/trial_file.h"
#include "tasks/changes_told.h"
#include "tasks/lay_out.h"
#include "trial/check.h"
#include "trial/read_yaml.h"
#include "trial/trees_place.h"

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
    qx_layout *drawn;
    qx_trees *trees; /* NULL without a list */
    double reach_m;
    qx_trial_about about;
} checking;

static qx_status tell(const checking *c, const char *expected, const char *wrong)
{
    const qx_place top = {.line = 1, .column = 1};
    return qx_problem_add(c->problems, c->path, top, expected, "%s", wrong);
}

static qx_status check_digests(checking *c)
{
    char digest[65];
    if (strcmp(c->about.protocol_digest, c->protocol->digest) != 0) {
        QX_TRY(tell(c,
                    "expected the protocol as it was when the trial was laid out",
                    "the stored protocol was changed by hand"));
    }
    QX_TRY(qx_trial_layout_digest(c->cx, c->protocol, c->stored, digest));
    if (strcmp(c->about.layout_digest, digest) != 0) {
        QX_TRY(tell(c,
                    "expected the layout as it was drawn",
                    "the stored layout was changed by hand after it was drawn"));
    }
    return QX_OK;
}

/* The drawn layout gets its trees again. */
static qx_status give_trees(checking *c)
{
    qx_trees_placed placed;
    QX_TRY(qx_trial_file_trees(c->cx, c->file, c->problems, &c->trees, &c->reach_m));
    return c->trees == NULL ? QX_OK
                            : qx_trees_place(c->cx,
                                             c->drawn->arena,
                                             c->protocol,
                                             c->trees,
                                             c->reach_m,
                                             c->drawn,
                                             &placed);
}

/* Draws again from the seed and holds the result against what is stored. */
static qx_status check_drawing(checking *c)
{
    char stored[65];
    char drawn[65];
    const qx_status status =
        qx_draw_layout(c->cx, c->protocol, c->stored->seed, c->problems, &c->drawn);
    if (status == QX_E_INPUT) {
        qx_ctx_forgive(c->cx);
        return QX_OK; /* told in the problems */
    }
    QX_TRY(status);
    QX_TRY(give_trees(c));
    if (c->drawn->version != c->stored->version) {
        return tell(c,
                    "expected a version of the program that knows it",
                    "the layout was drawn by another version of the randomisation and "
                    "cannot be replayed");
    }
    QX_TRY(qx_trial_layout_digest(c->cx, c->protocol, c->stored, stored));
    QX_TRY(qx_trial_layout_digest(c->cx, c->protocol, c->drawn, drawn));
    if (strcmp(stored, drawn) != 0) {
        return tell(c,
                    "expected the layout that the seed gives",
                    "the stored layout is not what was drawn from its seed");
    }
    return QX_OK;
}

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
    QX_TRY(check_digests(c));
    QX_TRY(check_drawing(c));
    *out = (qx_checked){.seed = c->stored->seed,
                        .version = c->stored->version,
                        .created_at = c->about.created_at,
                        .created_by = c->about.created_by,
                        .imports = c->about.imports,
                        .values = c->about.values,
                        .corrections = c->about.corrections};
    if (c->trees != NULL) {
        QX_TRY(keep(c->cx, arena, c->trees->file, &out->trees));
        QX_TRY(keep(c->cx, arena, c->trees->digest, &out->trees_digest));
    }
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
    qx_layout_free(c.drawn);
    qx_trees_free(c.trees);
    qx_layout_free(c.stored);
    qx_protocol_free(c.protocol);
    qx_trial_file_close(c.file);
    return status;
}
