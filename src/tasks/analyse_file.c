#include "tasks/analyse_file.h"

#include "findings/analyse.h"
#include "tasks/look.h"

/* Looks are kept in trial files alone. */
static qx_status
look(qx_ctx *cx, const char *path, bool trial, const char *by, qx_analysed *made)
{
    const qx_loaded *l = &made->loaded;
    const qx_look_history *history = NULL;
    if (trial) {
        QX_TRY(qx_looks_before(cx, path, l->protocol, l->protocol->arena, &history));
    }
    QX_TRY(
        qx_analyse_looks(cx, l->protocol, l->table, l->layout, history, &made->findings));
    made->findings->change_count = l->change_count;
    made->findings->change = l->change;
    made->findings->by_hand_count = l->by_hand_count;
    made->findings->by_hand = l->by_hand;
    return trial && by != NULL ? qx_looks_take(cx, path, made->findings, by) : QX_OK;
}

qx_status qx_analyse_file(qx_ctx *cx,
                          const char *path,
                          const char *data,
                          qx_arithmetic arithmetic,
                          const char *by,
                          qx_problems *problems,
                          qx_analysed *out)
{
    qx_analysed made = {0};
    QX_TRY(qx_load(cx, path, data, problems, &made.loaded));
    made.loaded.protocol->analysis.arithmetic = arithmetic;
    const qx_status status = look(cx, path, data == NULL, by, &made);
    if (status != QX_OK) {
        qx_analysed_free(&made);
        return status;
    }
    *out = made;
    return QX_OK;
}

void qx_analysed_free(qx_analysed *analysed)
{
    if (analysed != NULL) {
        qx_findings_free(analysed->findings);
        qx_loaded_free(&analysed->loaded);
        analysed->findings = NULL;
    }
}
