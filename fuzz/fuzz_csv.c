/* Any bytes as data of a small fixed protocol with every kind of variate; the first byte
 * says whether a layout stands behind them. */
#include <math.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/ctx.h"
#include "fuzz.h"
#include "trial/check.h"
#include "trial/identity.h"
#include "trial/join.h"
#include "trial/protocol.h"
#include "trial/read_yaml.h"

static const char protocol[] =
    "quincunx: 1\n"
    "seasons: [2025, 2026]\n"
    "units:\n"
    "  block: {count: 2}\n"
    "  tree: {within: block, count: 2}\n"
    "  limb: {within: tree, count: 2}\n"
    "  shoot: {within: limb, sample: true}\n"
    "treatments:\n"
    "  pinch: {levels: [none, early], on: tree}\n"
    "  angle: {levels: [30, 60.5], on: limb}\n"
    "covariates: {trunk: {on: tree}}\n"
    "measure:\n"
    "  bloom: {kind: proportion, of: spurs, on: limb}\n"
    "  live: {kind: proportion, on: tree}\n"
    "  shoots: {kind: count, on: limb, range: [0, 60]}\n"
    "  length: {kind: continuous, on: shoot, range: [0, 250], transform: sqrt}\n"
    "  vigour: {kind: ordinal, levels: [low, high], on: tree}\n"
    "  side: {kind: nominal, levels: [upper, lower], on: shoot, times: number}\n";

static void must(bool fact)
{
    if (!fact) {
        abort();
    }
}

static void hold_promises(const qx_table *table)
{
    for (size_t i = 0; i < table->column_count; i++) {
        const qx_column *column = &table->column[i];
        for (size_t row = 0; row < table->rows; row++) {
            if (column->kind == QX_COLUMN_LABEL) {
                must(column->code[row] == QX_MISSING_CODE ||
                     column->code[row] < column->level_count);
            } else {
                must(!isinf(column->value[row]));
            }
        }
    }
}

static void identify_all(qx_ctx *cx, const qx_protocol *p, const qx_table *table)
{
    qx_identity identity[QX_NAMES_MOST];
    for (size_t v = 0; v < p->variate_count; v++) {
        qx_arena *arena = qx_arena_new();
        must(arena != NULL);
        const bool told = qx_unit_untold(p, table, v) == QX_NONE;
        const qx_status status = qx_identify(cx, arena, p, table, v, NULL, identity);
        must((status == QX_OK) == told);
        const size_t lowest = p->variate[v].on;
        for (size_t row = 0; told && row < table->rows; row++) {
            must(identity[lowest].code[row] == QX_MISSING_CODE ||
                 identity[lowest].code[row] < identity[lowest].count);
        }
        qx_arena_free(arena);
    }
}

/* One block of two trees, the first with a limb: labels of the data meet it by chance. */
static void join_layout(qx_ctx *cx, const qx_protocol *p, const qx_table *table)
{
    static const qx_placed placed[] = {{.unit = 0, .number = 1, .label = "1"},
                                       {.unit = 1, .number = 1, .label = "1"},
                                       {.unit = 1, .number = 2, .label = "2"},
                                       {.unit = 2, .parent = {1}, .label = "1"}};
    static const uint32_t level[] = {
        QX_NO_LEVEL, QX_NO_LEVEL, 0, QX_NO_LEVEL, 1, QX_NO_LEVEL, QX_NO_LEVEL, 1};
    const qx_layout layout = {
        .placed_count = 4, .placed = placed, .treatment_count = 2, .level = level};
    qx_arena *arena = qx_arena_new();
    must(arena != NULL);
    qx_problems *problems = qx_problems_new(arena);
    must(problems != NULL);
    qx_table *joined = NULL;
    const qx_status status =
        qx_table_join_layout(cx, p, &layout, table, problems, &joined);
    must((status == QX_OK) == (joined != NULL));
    must((status == QX_OK) == (qx_problems_count(problems) == 0));
    if (joined != NULL) {
        hold_promises(joined);
    }
    qx_table_free(joined);
    qx_arena_free(arena);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    qx_ctx *cx = qx_ctx_new();
    qx_arena *arena = qx_arena_new();
    must(cx != NULL && arena != NULL);
    qx_problems *problems = qx_problems_new(arena);
    must(problems != NULL);
    qx_protocol *p = NULL;
    must(qx_protocol_parse(cx, "p.yaml", protocol, strlen(protocol), problems, &p) ==
         QX_OK);
    const bool layout = size > 0 && data[0] == 'L';
    const size_t skip = size > 0 ? 1 : 0;
    qx_table *table = NULL;
    bool *bad = NULL;
    const qx_status status = qx_data_parse(cx,
                                           p,
                                           "d.csv",
                                           (const char *)data + skip,
                                           size - skip,
                                           layout,
                                           problems,
                                           &table,
                                           &bad);
    must((status == QX_OK) == (qx_problems_count(problems) == 0));
    must(status == QX_OK || status == QX_E_INPUT);
    if (table != NULL) {
        hold_promises(table);
        qx_ctx_clear(cx);
        identify_all(cx, p, table);
        join_layout(cx, p, table);
    }
    qx_table_free(table);
    qx_protocol_free(p);
    qx_arena_free(arena);
    qx_ctx_free(cx);
    return 0;
}
