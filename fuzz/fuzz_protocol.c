/* Any bytes as a protocol: the reader tells what is wrong, or gives a protocol that the
 * floors above can use; it never crashes, hangs or leaks. */
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include "base/ctx.h"
#include "fuzz.h"
#include "layout/layout.h"
#include "trial/check.h"
#include "trial/protocol.h"
#include "trial/read_yaml.h"
#include "trial/structure.h"

static void must(bool fact)
{
    if (!fact) {
        abort();
    }
}

/* What every protocol promises to those who use it. */
static void hold_promises(const qx_protocol *p)
{
    must(p->unit_count >= 1 && p->variate_count >= 1);
    for (size_t u = 0; u < p->unit_count; u++) {
        must(p->unit_order[u] < p->unit_count);
        must(p->unit[u].path != NULL && p->unit[u].parent_count <= QX_PARENTS_MOST);
    }
    for (size_t v = 0; v < p->variate_count; v++) {
        must(p->variate[v].on < p->unit_count);
    }
    for (size_t t = 0; t < p->treatment_count; t++) {
        must(p->treatment[t].on < p->unit_count && p->treatment[t].level_count >= 2);
        must(p->treatment[t].numeric == (p->treatment[t].score != NULL));
    }
    for (size_t c = 0; c < p->contrast_count; c++) {
        must((p->contrast[c].weight != NULL) != (p->contrast[c].trend != QX_TREND_NONE));
    }
}

/* Things of all units together; large layouts would only take time. */
static bool is_small(const qx_layout_spec *spec)
{
    size_t things = 1;
    for (size_t u = 0; u < spec->unit_count; u++) {
        things =
            things > 12 || spec->unit[u].count > 12 ? 13 : things * spec->unit[u].count;
    }
    return things <= 12;
}

/* What can be laid out without a complaint is laid out, or is told why not. */
static void lay_out(qx_ctx *cx, const qx_layout_spec *spec)
{
    qx_layout *layout = NULL;
    const size_t problems = qx_layout_problems(cx, spec, NULL, NULL);
    if (problems == 0 && is_small(spec)) {
        const qx_status status = qx_layout_make(cx, spec, 1, &layout);
        must(status == QX_OK || status == QX_E_INPUT);
        must((status == QX_OK) == (layout != NULL));
        qx_layout_free(layout);
        qx_ctx_clear(cx);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const char rows[] = "block,tree,limb,season,pinch,angle,y,length\n"
                               "1,1,1,2025,none,30,1,2\n1,1,2,2025,none,60,0,3.5\n"
                               "1,2,1,2026,early,30,,NA\n";
    qx_ctx *cx = qx_ctx_new();
    qx_arena *arena = qx_arena_new();
    must(cx != NULL && arena != NULL);
    qx_problems *problems = qx_problems_new(arena);
    must(problems != NULL);
    qx_protocol *p = NULL;
    const qx_status status =
        qx_protocol_parse(cx, "p.yaml", (const char *)data, size, problems, &p);
    must((status == QX_OK) == (p != NULL));
    must((status == QX_OK) == (qx_problems_count(problems) == 0));
    if (p != NULL) {
        hold_promises(p);
        qx_layout_spec spec;
        qx_table *table = NULL;
        if (qx_structure_of(cx, arena, p, &spec) == QX_OK) {
            lay_out(cx, &spec);
        }
        qx_ctx_clear(cx);
        (void)qx_data_parse(
            cx, p, "d.csv", rows, sizeof rows - 1, false, problems, &table, NULL);
        qx_table_free(table);
        qx_protocol_free(p);
    }
    qx_arena_free(arena);
    qx_ctx_free(cx);
    return 0;
}
