#include "tasks/analyse_file.h"

#include "findings/analyse.h"

qx_status qx_analyse_file(qx_ctx *cx,
                          const char *path,
                          const char *data,
                          qx_arithmetic arithmetic,
                          qx_problems *problems,
                          qx_analysed *out)
{
    qx_analysed made = {0};
    QX_TRY(qx_load(cx, path, data, problems, &made.loaded));
    made.loaded.protocol->analysis.arithmetic = arithmetic;
    const qx_status status = qx_analyse(
        cx, made.loaded.protocol, made.loaded.table, made.loaded.layout, &made.findings);
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
