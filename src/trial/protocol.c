#include "trial/protocol.h"

#include <string.h>

#include "base/decimal.h"

void qx_protocol_free(qx_protocol *protocol)
{
    if (protocol != NULL) {
        qx_arena_free(protocol->arena);
    }
}

size_t qx_protocol_find_unit(const qx_protocol *p, const char *name)
{
    for (size_t u = 0; u < p->unit_count; u++) {
        if (strcmp(p->unit[u].name, name) == 0) {
            return u;
        }
    }
    return QX_NONE;
}

size_t qx_protocol_find_treatment(const qx_protocol *p, const char *name)
{
    for (size_t t = 0; t < p->treatment_count; t++) {
        if (strcmp(p->treatment[t].name, name) == 0) {
            return t;
        }
    }
    return QX_NONE;
}

bool qx_unit_reaches(const qx_protocol *p, size_t above, size_t below)
{
    /* Each unit enters the stack once, so that many crossings cost no more than few. */
    bool seen[QX_NAMES_MOST] = {false};
    size_t stack[QX_NAMES_MOST];
    size_t depth = 1;
    stack[0] = below;
    seen[below] = true;
    while (depth > 0) {
        depth--;
        const size_t at = stack[depth];
        if (at == above) {
            return true;
        }
        for (size_t i = 0; i < p->unit[at].parent_count; i++) {
            const size_t parent = p->unit[at].parent[i];
            if (!seen[parent]) {
                seen[parent] = true;
                stack[depth] = parent;
                depth++;
            }
        }
    }
    return false;
}

size_t qx_level_find(size_t level_count,
                     const char *const level[],
                     const char *text,
                     size_t length)
{
    for (size_t i = 0; i < level_count; i++) {
        if (strncmp(level[i], text, length) == 0 && level[i][length] == '\0') {
            return i;
        }
    }
    double wanted = 0;
    if (!qx_decimal_read(text, length, '.', &wanted, NULL)) {
        return QX_NONE;
    }
    for (size_t i = 0; i < level_count; i++) {
        double value = 0;
        if (qx_decimal_read(level[i], strlen(level[i]), '.', &value, NULL) &&
            value == wanted) {
            return i;
        }
    }
    return QX_NONE;
}

bool qx_variate_has_classes(const qx_variate *variate)
{
    return variate->kind == QX_ORDINAL || variate->kind == QX_NOMINAL;
}

const char *qx_variate_kind_word(qx_variate_kind kind)
{
    static const char *const words[] = {
        "continuous", "count", "proportion", "ordinal", "nominal"};
    return words[kind];
}

const char *qx_transform_word(qx_transform transform)
{
    static const char *const words[] = {
        "none", "log", "log10", "log10(x+1)", "sqrt", "sqrt(x+0.5)", "arcsine"};
    return words[transform];
}

const char *qx_compare_word(qx_compare_choice compare)
{
    static const char *const words[] = {
        "tukey", "dunnett", "sidak", "holm", "bonferroni", "none"};
    return words[compare];
}

const char *qx_df_word(qx_df_choice df)
{
    static const char *const words[] = {"kenward-roger", "satterthwaite", "containment"};
    return words[df];
}

const char *qx_trend_word(qx_trend trend)
{
    static const char *const words[] = {
        "none", "linear", "quadratic", "cubic", "quartic"};
    return words[trend];
}

const char *qx_field_trend_word(qx_field_trend trend)
{
    static const char *const words[] = {
        "none", "auto", "rows", "places", "rows and places", "neighbours"};
    return words[trend];
}

size_t qx_protocol_placed_unit(const qx_protocol *p)
{
    for (size_t u = 0; u < p->unit_count; u++) {
        if (p->unit[u].row_column != NULL && p->unit[u].place_column != NULL) {
            return u;
        }
    }
    return QX_NONE;
}
