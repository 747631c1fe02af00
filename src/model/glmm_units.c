/* model/glmm_units.c - the random terms of a fit, and which of them the data cannot show. */
#include <math.h>

#include "model/glmm_inner.h"

/* Do two codes part the rows alike? map: scratch of level_count of a. */
static bool same_parts(
    size_t n, const uint32_t a[], const uint32_t b[], size_t map_a[], size_t map_b[])
{
    for (size_t i = 0; i < n; i++) {
        if (map_a[a[i]] == 0 && map_b[b[i]] == 0) {
            map_a[a[i]] = b[i] + (size_t)1;
            map_b[b[i]] = a[i] + (size_t)1;
        }
        if (map_a[a[i]] != b[i] + (size_t)1 || map_b[b[i]] != a[i] + (size_t)1) {
            return false;
        }
    }
    return true;
}

/* Units of one thing each that is or is not: they differ by chance whatever their variance. */
static qx_status single_things(
    qx_ctx *cx, const qx_glmm *fit, const uint32_t code[], size_t levels, bool *all)
{
    double *things;
    *all = fit->inner->size != NULL;
    QX_NEW(cx, things, levels);
    for (size_t i = 0; *all && i < fit->n; i++) {
        things[code[i]] += fit->inner->size[i];
        *all = things[code[i]] <= 1.0;
    }
    return QX_OK;
}

/* Of two units that always go together the larger is given up, and units of single things
 * that are or are not. */
qx_status qx_glmm_doubled(qx_ctx *cx,
                          qx_glmm *fit,
                          const uint32_t *const code[],
                          const size_t levels[],
                          bool doubled[])
{
    for (size_t a = 0; a < fit->m; a++) {
        bool single;
        QX_TRY(single_things(cx, fit, code[a], levels[a], &single));
        for (size_t b = a + 1; b < fit->m && !doubled[a]; b++) {
            size_t *map_a, *map_b;
            QX_NEW(cx, map_a, levels[a]);
            QX_NEW(cx, map_b, levels[b]);
            doubled[a] = same_parts(fit->n, code[a], code[b], map_a, map_b);
        }
        if (single) {
            QX_TRY(qx_note(cx,
                           "Each %s has one thing that is or is not: the variation "
                           "between them cannot be seen in these data.",
                           fit->component[a].name));
        } else if (doubled[a]) {
            QX_TRY(qx_note(cx,
                           "The variation between %s cannot be told apart from that of "
                           "other units in these data: it has no estimate of its own.",
                           fit->component[a].name));
        }
        doubled[a] = doubled[a] || single;
    }
    return QX_OK;
}

/* Codes and names of the m random terms, that of QX_EXTRA_UNIT last. */
qx_status qx_glmm_units(qx_ctx *cx,
                        const qx_glmm_spec *spec,
                        qx_glmm *fit,
                        const uint32_t *code[],
                        size_t levels[])
{
    QX_NEW_IN(cx, fit->arena, fit->component, fit->m);
    for (size_t k = 0; k < fit->m; k++) {
        const bool own = k == spec->random_count;
        const char *name = own ? spec->unit_name : spec->random[k].name;
        fit->component[k] =
            (qx_component){.lower = NAN, .upper = NAN, .lrt = NAN, .p = NAN};
        fit->component[k].name = qx_arena_copy(fit->arena, name == NULL ? "unit" : name);
        if (fit->component[k].name == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for a name");
        }
        if (own) {
            uint32_t *rows;
            QX_NEW(cx, rows, fit->n);
            for (size_t i = 0; i < fit->n; i++) {
                rows[i] = (uint32_t)i;
            }
            code[k] = rows;
            levels[k] = fit->n;
        } else {
            code[k] = spec->frame->factor[spec->random[k].factor].code;
            levels[k] = spec->frame->factor[spec->random[k].factor].level_count;
        }
    }
    return QX_OK;
}
