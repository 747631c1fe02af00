#include "tasks/look.h"

#include "store/looks.h"

static qx_status read_all(qx_ctx *cx,
                          qx_trial_file *file,
                          const qx_protocol *protocol,
                          qx_arena *arena,
                          qx_look_history history[])
{
    for (size_t v = 0; v < protocol->variate_count; v++) {
        const qx_look_kept *kept;
        size_t *things;
        QX_TRY(qx_looks_kept(
            cx, file, protocol->variate[v].name, arena, &history[v].count, &kept));
        QX_NEW_IN(cx, arena, things, history[v].count);
        for (size_t i = 0; i < history[v].count; i++) {
            things[i] = kept[i].units;
        }
        history[v].things = things;
    }
    return QX_OK;
}

qx_status qx_looks_before(qx_ctx *cx,
                          const char *path,
                          const qx_protocol *protocol,
                          qx_arena *arena,
                          const qx_look_history **out)
{
    qx_trial_file *file = NULL;
    qx_look_history *history;
    QX_NEW_IN(cx, arena, history, protocol->variate_count);
    QX_TRY(qx_trial_file_open(cx, path, QX_TO_READ, &file));
    const qx_status status = read_all(cx, file, protocol, arena, history);
    qx_trial_file_close(file);
    *out = history;
    return status;
}

/* Is there a look that is not kept yet? Then the file is opened to record, not before. */
static bool is_new(const qx_result *result, const qx_look_history *history)
{
    bool known = false;
    for (size_t i = 0; i < history->count; i++) {
        known = known || history->things[i] == result->look.things;
    }
    return !known && result->look.things > 0 && result->difference_count > 0;
}

static qx_status take(qx_ctx *cx,
                      const char *path,
                      const qx_findings *findings,
                      const qx_look_history history[],
                      const char *by)
{
    qx_trial_file *file = NULL;
    qx_status status = QX_OK;
    for (size_t v = 0; status == QX_OK && v < findings->result_count; v++) {
        const qx_result *result = &findings->result[v];
        if (!is_new(result, &history[v])) {
            continue;
        }
        if (file == NULL) {
            status = qx_trial_file_open(cx, path, QX_TO_RECORD, &file);
        }
        if (status == QX_OK) {
            status = qx_look_keep(cx, file, result->variate, result->look.things, by);
        }
    }
    qx_trial_file_close(file);
    return status;
}

qx_status
qx_looks_take(qx_ctx *cx, const char *path, const qx_findings *findings, const char *by)
{
    const qx_look_history *history;
    qx_status status =
        qx_looks_before(cx, path, findings->protocol, findings->arena, &history);
    if (status == QX_OK) {
        status = take(cx, path, findings, history, by);
    }
    if (status == QX_E_IO) {
        qx_ctx_forgive(cx);
        return qx_note(cx,
                       "%s cannot be written, so this look at the results is not kept; "
                       "note it yourself.",
                       path);
    }
    return status;
}
