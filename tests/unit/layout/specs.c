#include "specs.h"

#include <stdint.h>

const char *const letters[12] = {
    "a", "b", "c", "d", "e", "f", "g", "h", "i", "j", "k", "l"};

static const qx_layout_unit crd_units[] = {{.name = "tree", .count = 12}};
static const qx_layout_treatment crd_treatments[] = {{"thinning", 3, letters, 0}};
const qx_layout_spec crd_spec = {1, crd_units, 1, crd_treatments, NULL};

static const qx_layout_unit blocks_units[] = {
    {.name = "tree", .parent_count = 1, .parent = {1}, .count = 12},
    {.name = "block", .count = 6}};
static const qx_layout_treatment blocks_treatments[] = {{"pinch", 2, letters, 0},
                                                        {"angle", 3, letters, 0}};
const qx_layout_spec blocks_spec = {2, blocks_units, 2, blocks_treatments, NULL};

void latin_spec(size_t n, latin_case *out)
{
    out->unit[0] = (qx_layout_unit){.name = "row", .count = n};
    out->unit[1] = (qx_layout_unit){.name = "column", .count = n};
    out->unit[2] =
        (qx_layout_unit){.name = "plot", .parent_count = 2, .parent = {0, 1}, .count = 1};
    out->treatment = (qx_layout_treatment){"spray", n, letters, 2};
    out->spec = (qx_layout_spec){3, out->unit, 1, &out->treatment, NULL};
}

static const qx_layout_unit split_units[] = {
    {.name = "block", .count = 4},
    {.name = "tree", .parent_count = 1, .parent = {0}, .count = 2},
    {.name = "limb", .parent_count = 1, .parent = {1}, .count = 3},
    {.name = "bud", .parent_count = 1, .parent = {2}, .count = 4},
    {.name = "shoot", .parent_count = 1, .parent = {3}, .count = 1, .sample = true}};
static const qx_layout_treatment split_treatments[] = {{"pinch", 2, letters, 1},
                                                       {"angle", 3, letters, 2},
                                                       {"paste", 2, letters, 3},
                                                       {"tie", 2, letters, 3}};
const qx_layout_spec split_spec = {5, split_units, 4, split_treatments, NULL};

static const qx_layout_unit strip_units[] = {
    {.name = "block", .count = 3},
    {.name = "strip", .parent_count = 1, .parent = {0}, .count = 2},
    {.name = "cross_strip", .parent_count = 1, .parent = {0}, .count = 4},
    {.name = "plot", .parent_count = 2, .parent = {1, 2}, .count = 1},
    {.name = "tree", .parent_count = 1, .parent = {3}, .count = 3}};
static const qx_layout_treatment strip_treatments[] = {
    {"cover", 2, letters, 1}, {"water", 4, letters, 2}, {"prune", 3, letters, 4}};
const qx_layout_spec strip_spec = {5, strip_units, 3, strip_treatments, NULL};

static const qx_layout_unit none_units[] = {
    {.name = "block", .count = 3},
    {.name = "tree", .parent_count = 1, .parent = {0}, .count = 2}};
const qx_layout_spec none_spec = {2, none_units, 0, NULL, NULL};
