#include "tasks/demo_trial.h"

#include "findings/simulate.h"

static const char protocol_text[] =
    "# The demonstration trial. EVERYTHING HERE IS INVENTED: people, place, data.\n"
    "# Copy this file, make it your own trial, and run `quincunx check` on it.\n"
    "quincunx: 1\n"
    "title: Limb angle and early pinching in young pear (invented demonstration)\n"
    "question: >-\n"
    "  Do limbs tied flatter make shorter shoots, enough to be worth the string, and\n"
    "  does an early pinch change that or hold back the tree? (All data are invented.)\n"
    "institution: Example Fruit Station (invented)\n"
    "people:\n"
    "  - {name: Fruit specialist (invented), role: lead}\n"
    "  - {name: Technician A (invented), role: technician}\n"
    "  - {name: Summer intern B (invented), role: recorder}\n"
    "crop:\n"
    "  {species: pear, cultivar: invented cultivar, rootstock: quince, planted: 2022}\n"
    "site:\n"
    "  {name: Example orchard (invented), row_spacing_m: 3.5, tree_spacing_m: 1.2}\n"
    "\n"
    "seasons: [2024, 2025]     # the same trees and limbs in both, new shoots in each\n"
    "units:                    # the things in the orchard, from large to small\n"
    "  block: {count: 6}\n"
    "  tree:  {within: block, count: 2}\n"
    "  limb:  {within: tree, count: 3}\n"
    "  shoot: {within: limb, sample: true}\n"
    "\n"
    "treatments:               # each stands on the unit that it was put on\n"
    "  pinch: {levels: [none, early], on: tree, control: none}\n"
    "  angle: {levels: [30, 60, 90], on: limb, unit: degree, control: 30}\n"
    "\n"
    "measure:                  # margin: the least difference that would matter\n"
    "  length:\n"
    "    {kind: continuous, on: shoot, unit: cm, decimals: 1, range: [0, 250],\n"
    "     better: none, margin: 8, label: New shoot length,\n"
    "     method: tape to the tip after leaf fall and read to 0.5 cm}\n"
    "  girth:\n"
    "    {kind: continuous, on: limb, unit: cm, decimals: 1, range: [-1, 20],\n"
    "     better: none, margin: 0.6, label: Growth of limb girth,\n"
    "     method: tape at a paint mark 5 cm from the trunk; from winter to winter}\n"
    "  trunk:\n"
    "    {kind: continuous, on: tree, unit: cm2, decimals: 1, range: [-5, 60],\n"
    "     better: more, margin: 1.5, label: Growth of trunk cross-section,\n"
    "     method: from the girth 25 cm above the union; from winter to winter}\n"
    "\n"
    "contrasts:\n"
    "  angle_trend: {of: angle, trend: linear}          # does it change steadily?\n"
    "  flat_or_steep: {of: angle, weights: {30: 1, 90: -1}}\n"
    "\n"
    "analysis:\n"
    "  blocks: random\n"
    "  df: kenward-roger\n"
    "  compare: tukey\n"
    "  level: 0.95\n";

static const char readme_text[] =
    "The demonstration trial\n"
    "=======================\n"
    "\n"
    "EVERYTHING IN THIS FOLDER IS INVENTED: no such trees, people or place. The data\n"
    "were drawn by a seeded generator with a known truth. Do not quote any number.\n"
    "\n"
    "Young pear trees, limbs tied at 30, 60 or 90 degrees from the vertical, trees\n"
    "pinched early or not, six blocks, seasons 2024 and 2025. One row of the data for\n"
    "each thing measured: a shoot, a limb or a tree. An empty value was lost: two limbs\n"
    "broke before the second season, and some shoots could not be found again.\n"
    "\n"
    "What the generator put in, so that you can judge the findings against it:\n"
    "\n"
    "                        shoot length   limb girth   trunk section\n"
    "                        cm             cm           cm2\n"
    "pinched early            -1.0           none        -0.6\n"
    "60 instead of 30         -9.0          -0.05         not measured by limb\n"
    "90 instead of 30        -20.0          -0.30         not measured by limb\n"
    "2025 instead of 2024     +4.0          +0.20        +2.0\n"
    "margin (what matters)     8             0.6          1.5\n";

/* The layout draws from its seed; the data must not draw the same numbers again. */
#define DATA_SEED UINT64_C(0x5ba7e1d2c3904f68)

#define EFFECTS(array) .effect_count = QX_COUNT(array), .effect = (array)
#define SPREADS(array) .spread_count = QX_COUNT(array), .spread = (array)

static const qx_truth_effect length_effects[] = {{"pinch", "early", -1.0},
                                                 {"angle", "60", -9.0},
                                                 {"angle", "90", -20.0},
                                                 {"season", "2025", 4.0}};
static const qx_truth_spread length_spreads[] = {
    {"block", 3.0, 1.5}, {"tree", 2.0, 1.5}, {"limb", 2.5, 2.5}, {"shoot", 8.0, 0.0}};

static const qx_truth_effect girth_effects[] = {
    {"angle", "60", -0.05}, {"angle", "90", -0.3}, {"season", "2025", 0.2}};
static const qx_truth_spread girth_spreads[] = {
    {"block", 0.1, 0.05}, {"tree", 0.06, 0.06}, {"limb", 0.12, 0.15}};

static const qx_truth_effect trunk_effects[] = {{"pinch", "early", -0.6},
                                                {"season", "2025", 2.0}};
static const qx_truth_spread trunk_spreads[] = {{"block", 0.6, 0.3}, {"tree", 0.9, 0.8}};

static const qx_truth truths[] = {{.variate = "length",
                                   .mean = 52.0,
                                   EFFECTS(length_effects),
                                   SPREADS(length_spreads),
                                   .step = 0.5,
                                   .lost = 1.0 / 30.0},
                                  {.variate = "girth",
                                   .mean = 2.4,
                                   EFFECTS(girth_effects),
                                   SPREADS(girth_spreads),
                                   .step = 0.1},
                                  {.variate = "trunk",
                                   .mean = 6.0,
                                   EFFECTS(trunk_effects),
                                   SPREADS(trunk_spreads),
                                   .step = 0.1}};

static const qx_truth_loss losses[] = {{.unit = "limb", .things = 2, .season = 1}};

const char *qx_demo_protocol(void)
{
    return protocol_text;
}

const char *qx_demo_readme(void)
{
    return readme_text;
}

uint64_t qx_demo_seed(void)
{
    return 20240310;
}

qx_status qx_demo_data(qx_ctx *cx,
                       const qx_protocol *protocol,
                       const qx_layout *layout,
                       qx_text *csv)
{
    const qx_simulation simulation = {.seed = layout->seed ^ DATA_SEED,
                                      .samples = 4,
                                      .truth_count = QX_COUNT(truths),
                                      .truth = truths,
                                      .loss_count = QX_COUNT(losses),
                                      .loss = losses};
    return qx_simulate_csv(cx, protocol, layout, &simulation, csv);
}
