#include "tasks/new_protocol.h"

#include <string.h>

#include "base/file.h"

static const char head_text[] =
    "# A protocol: what the trial asks, where it stands, what is done and measured.\n"
    "# Change every line to your own trial; lines that begin with # are comments.\n"
    "# Then: quincunx check FILE.yaml\n"
    "quincunx: 1                       # version of this file format\n"
    "title: Title of the trial\n"
    "question: What a grower would ask, with the difference that would matter\n"
    "institution: Your station\n"
    "people:\n"
    "  - {name: Your name, role: lead} # role: lead, technician, recorder ...\n"
    "crop: {species: pear, cultivar: cultivar, rootstock: rootstock, planted: 2023}\n"
    "site: {name: Orchard, country: CH, row_spacing_m: 3.5, tree_spacing_m: 1.0}\n"
    "# seasons: [2026, 2027]           # if the same units are seen in several\n"
    "\n";

static const char units_text[] =
    "# The things in the orchard, from large to small, each within the one above.\n"
    "# `sample: true`: picked while recording, any number.\n"
    "units:\n"
    "  block: {count: 6}\n"
    "  tree:  {within: block, count: 4}    # 4 in each block\n"
    "  shoot: {within: tree, sample: true}\n"
    "\n"
    "# What is done, and to which unit chance gives it (`on`). A treatment is judged\n"
    "# against the variation between the units it was put on, however many smaller\n"
    "# things are measured.\n"
    "treatments:\n"
    "  pinch: {levels: [none, early], on: tree, control: none}\n"
    "  angle: {levels: [30, 60], on: tree, unit: degree}\n"
    "\n";

static const char measure_text[] =
    "# What is measured. kind: continuous, count, proportion, ordinal or nominal.\n"
    "# margin: the least difference that would matter to a grower, in the unit of the\n"
    "# measurement. Without it nothing can ever be shown not to matter.\n"
    "measure:\n"
    "  length: {kind: continuous, on: shoot, unit: cm, decimals: 1, range: [0, 250],\n"
    "           margin: 8, better: none, label: Length of new shoots}\n"
    "  trunk:  {kind: continuous, on: tree, unit: cm2, decimals: 1, range: [0, 200],\n"
    "           margin: 2, better: more, label: Growth of the trunk's cross-section}\n"
    "\n"
    "# Questions between levels, if there are any beyond all pairs:\n"
    "# contrasts:\n"
    "#   flat_or_steep: {of: angle, weights: {30: 1, 60: -1}}\n"
    "\n"
    "# How it is analysed, if not as usual (see docs/manual/protocol.md):\n"
    "# analysis: {blocks: random, df: kenward-roger, compare: tukey, level: 0.95}\n";

/* ISO C promises literals of 4095 characters: the parts are joined here. */
static char *join(qx_arena *arena)
{
    return qx_arena_printf(arena, "%s%s%s", head_text, units_text, measure_text);
}

qx_status qx_new_protocol(qx_ctx *cx, const char *path)
{
    if (qx_file_exists(path)) {
        return qx_fail(cx,
                       QX_E_EXISTS,
                       "%s is there already; expected a new name: nothing is overwritten",
                       path);
    }
    const char *text = join(qx_ctx_scratch(cx));
    if (text == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the protocol");
    }
    return qx_file_create(cx, path, text, strlen(text));
}
