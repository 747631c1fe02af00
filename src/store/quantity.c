#include "store/quantity.h"

#include <string.h>

static void add(qx_quantity list[], size_t *count, qx_quantity one)
{
    for (size_t i = 0; i < *count; i++) {
        if (list[i].on == one.on && strcmp(list[i].name, one.name) == 0) {
            return;
        }
    }
    list[(*count)++] = one;
}

static void add_variate(const qx_protocol *p, size_t v, qx_quantity list[], size_t *count)
{
    const qx_variate *variate = &p->variate[v];
    const bool classes = variate->kind == QX_ORDINAL || variate->kind == QX_NOMINAL;
    add(list,
        count,
        (qx_quantity){variate->name, variate->on, QX_OF_VARIATE, classes, v});
    if (variate->of[0] != '\0') {
        add(list,
            count,
            (qx_quantity){variate->of, variate->on, QX_OF_COUNT, false, QX_NONE});
    }
    if (variate->times[0] != '\0') {
        add(list,
            count,
            (qx_quantity){variate->times, variate->on, QX_OF_COUNT, false, QX_NONE});
    }
}

qx_status qx_quantities_of(qx_ctx *cx,
                           qx_arena *arena,
                           const qx_protocol *protocol,
                           qx_quantities *out)
{
    qx_quantity *list = NULL;
    size_t count = 0;
    QX_NEW_IN(cx, arena, list, 3 * protocol->variate_count + protocol->covariate_count);
    for (size_t v = 0; v < protocol->variate_count; v++) {
        add_variate(protocol, v, list, &count);
    }
    for (size_t i = 0; i < protocol->covariate_count; i++) {
        const qx_covariate *covariate = &protocol->covariate[i];
        add(list,
            &count,
            (qx_quantity){
                covariate->name, covariate->on, QX_OF_COVARIATE, false, QX_NONE});
    }
    *out = (qx_quantities){count, list};
    return QX_OK;
}
