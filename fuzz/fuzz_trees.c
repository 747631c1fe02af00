/* Any bytes as a list of trees: CSV, or a spreadsheet if they begin like one. */
#include <math.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include "base/ctx.h"
#include "fuzz.h"
#include "trial/trees.h"

static void must(bool fact)
{
    if (!fact) {
        abort();
    }
}

static void hold_promises(const qx_trees *trees)
{
    for (size_t i = 0; i < trees->count; i++) {
        const qx_tree *tree = &trees->tree[i];
        must(tree->row >= 1.0 && tree->place >= 1.0 && tree->label != NULL);
        must(isnan(tree->trunk_area_cm2) ||
             (tree->trunk_area_cm2 > 0.0 && tree->trunk_area_cm2 < 1e4));
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    qx_ctx *cx = qx_ctx_new();
    qx_arena *arena = qx_arena_new();
    qx_problems *problems = arena == NULL ? NULL : qx_problems_new(arena);
    if (cx != NULL && problems != NULL) {
        qx_trees *trees = NULL;
        const qx_status status =
            qx_trees_parse(cx, "trees", (const char *)data, size, problems, &trees);
        must((status == QX_OK) == (trees != NULL));
        must(status == QX_OK || status == QX_E_INPUT);
        if (trees != NULL) {
            must(qx_problems_count(problems) == 0);
            hold_promises(trees);
        }
        qx_trees_free(trees);
    }
    qx_arena_free(arena);
    qx_ctx_free(cx);
    return 0;
}
