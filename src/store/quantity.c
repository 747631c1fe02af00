#include "store/quantity.h"

#include <string.h>

static bool same_dates(const char *a, const char *b)
{
    return a == NULL || b == NULL ? a == b : strcmp(a, b) == 0;
}

static void add(qx_quantity list[], size_t *count, qx_quantity one)
{
    for (size_t i = 0; i < *count; i++) {
        if (list[i].on == one.on && strcmp(list[i].name, one.name) == 0 &&
            same_dates(list[i].dates, one.dates)) {
            return;
        }
    }
    list[(*count)++] = one;
}

static void add_variate(const qx_protocol *p, size_t v, qx_quantity list[], size_t *count)
{
    const qx_variate *variate = &p->variate[v];
    const bool classes = variate->kind == QX_ORDINAL || variate->kind == QX_NOMINAL;
    qx_quantity one = {.name = variate->name,
                       .on = variate->on,
                       .role = QX_OF_VARIATE,
                       .classes = classes,
                       .variate = v,
                       .dates = variate->dates};
    add(list, count, one);
    one.role = QX_OF_COUNT;
    one.classes = false;
    one.variate = QX_NONE;
    if (variate->of[0] != '\0') {
        one.name = variate->of;
        add(list, count, one);
    }
    if (variate->times[0] != '\0') {
        one.name = variate->times;
        add(list, count, one);
    }
}

/* A column that tells a unit by its name is kept as that unit's labels. */
static void add_positions(const qx_protocol *p, qx_quantity list[], size_t *count)
{
    const size_t u = qx_protocol_placed_unit(p);
    for (size_t k = 0; u != QX_NONE && k < 2; k++) {
        const qx_unit *unit = &p->unit[u];
        const char *name = k == 0 ? unit->row_column : unit->place_column;
        if (qx_protocol_find_unit(p, name) == QX_NONE) {
            add(list,
                count,
                (qx_quantity){
                    .name = name, .on = u, .role = QX_OF_POSITION, .variate = QX_NONE});
        }
    }
}

qx_status qx_quantities_of(qx_ctx *cx,
                           qx_arena *arena,
                           const qx_protocol *protocol,
                           qx_quantities *out)
{
    qx_quantity *list = NULL;
    size_t count = 0;
    QX_NEW_IN(
        cx, arena, list, 3 * protocol->variate_count + protocol->covariate_count + 2);
    for (size_t v = 0; v < protocol->variate_count; v++) {
        add_variate(protocol, v, list, &count);
    }
    for (size_t i = 0; i < protocol->covariate_count; i++) {
        const qx_covariate *covariate = &protocol->covariate[i];
        add(list,
            &count,
            (qx_quantity){.name = covariate->name,
                          .on = covariate->on,
                          .role = QX_OF_COVARIATE,
                          .variate = QX_NONE});
    }
    add_positions(protocol, list, &count);
    *out = (qx_quantities){count, list};
    return QX_OK;
}

size_t qx_quantity_whole(const qx_quantities *quantities,
                         const qx_protocol *protocol,
                         size_t share)
{
    const qx_quantity *k = &quantities->quantity[share];
    const char *of = k->role == QX_OF_VARIATE ? protocol->variate[k->variate].of : "";
    for (size_t q = 0; of[0] != '\0' && q < quantities->count; q++) {
        const qx_quantity *n = &quantities->quantity[q];
        if (n->role == QX_OF_COUNT && n->on == k->on && strcmp(n->name, of) == 0 &&
            same_dates(n->dates, k->dates)) {
            return q;
        }
    }
    return QX_NONE;
}
