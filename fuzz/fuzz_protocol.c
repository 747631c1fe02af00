/* Any bytes as a protocol: the reader tells what is wrong, or gives a protocol that the
 * floors above can use; it never crashes, hangs or leaks. */
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include "base/ctx.h"
#include "fuzz.h"
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
        (void)qx_structure_of(cx, arena, p, &spec);
        (void)qx_data_parse(
            cx, p, "d.csv", rows, sizeof rows - 1, false, problems, &table, NULL);
        qx_table_free(table);
        qx_protocol_free(p);
    }
    qx_arena_free(arena);
    qx_ctx_free(cx);
    return 0;
}
