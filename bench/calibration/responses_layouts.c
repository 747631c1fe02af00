/* bench/calibration/responses_layouts.c - three layouts of shares, three of counts, two of
 * grades, at the sizes of orchard trials. Standard deviations are on the scale of the link. */
#include "responses.h"

#define HEAD(title) "quincunx: 1\ntitle: " title "\n"
#define BLOCKS4                                                                          \
    "units:\n  block: {count: 6}\n  tree: {within: block, count: 4}\n"                   \
    "  limb: {within: tree, count: 3}\n"                                                 \
    "treatments:\n  spray: {levels: [a, b, c, d], on: tree}\n"
#define TREES4                                                                           \
    "units:\n  block: {count: 6}\n  tree: {within: block, count: 4}\n"                   \
    "treatments:\n  spray: {levels: [a, b, c, d], on: tree}\n"
#define TREES3                                                                           \
    "units:\n  tree: {count: 30}\n"                                                      \
    "treatments:\n  spray: {levels: [a, b, c], on: tree}\n"

#define M(level_, mean_)                                                                 \
    {                                                                                    \
        .count = 1, .factor = {"spray"}, .level = {level_}, .mean = (mean_)              \
    }
#define S(level_, share_)                                                                \
    {                                                                                    \
        .count = 1, .factor = {"spray"}, .level = {level_}, .share = (share_)            \
    }
#define ALL(mean_)                                                                       \
    {                                                                                    \
        {                                                                                \
            .mean = (mean_)                                                              \
        }                                                                                \
    }

#define RESPONSES(key_, name_, title_)                                                   \
    const calibration_layout calibration_##key_ = {.key = (name_),                       \
                                                   .title = (title_),                    \
                                                   .about = &(key_),                     \
                                                   .open = responses_open,               \
                                                   .close = responses_close,             \
                                                   .measures = responses_measures,       \
                                                   .trial = responses_trial}

/* Truth of a variate: what all layouts of it share. */
#define TRUTH(spread_, size_, extra_, assumed_)                                          \
    {                                                                                    \
        .variate = "y", .spread_count = QX_COUNT(spread_), .spread = (spread_),          \
        .size = (size_), .extra = (extra_), .assumed_count = QX_COUNT(assumed_),         \
        .assumed = (assumed_)                                                            \
    }

static const qx_truth_spread shares_in[] = {{"block", 0.3, 0.0}, {"tree", 0.4, 0.0}};
static const qx_truth_spread blocks_in[] = {{"block", 0.3, 0.0}};
static const qx_truth_spread counts_in[] = {{"block", 0.2, 0.0}, {"tree", 0.3, 0.0}};
static const qx_truth_spread grades_in[] = {{"block", 0.3, 0.0}, {"tree", 0.6, 0.0}};
static const qx_truth_spread none_in[] = {{"tree", 0.0, 0.0}};

static const qx_truth_mean half[] = ALL(0.5);
static const qx_truth_mean halves[] = {
    M("a", 0.45), M("b", 0.65), M("c", 0.5), M("d", 0.6)};
static const responses shares_limbs = {
    HEAD("shares of 20 spurs") BLOCKS4
    "measure:\n  y: {kind: proportion, of: n, on: limb, margin: 0.20}\n",
    TRUTH(shares_in, 20.0, 0.0, half),
    TRUTH(shares_in, 20.0, 0.0, halves)};
RESPONSES(shares_limbs,
          "shares-limbs",
          "shares of 20 spurs: 6 blocks of 4 treatments on trees, 3 limbs a tree; sd of "
          "blocks 0.3, trees 0.4");

static const qx_truth_mean forty[] = ALL(0.4);
static const qx_truth_mean forties[] = {M("a", 0.3), M("b", 0.5), M("c", 0.4)};
static const responses shares_buds = {
    HEAD("shares of 5 buds") TREES3
    "measure:\n  y: {kind: proportion, of: n, on: tree, margin: 0.20}\n",
    TRUTH(none_in, 5.0, 0.0, forty),
    TRUTH(none_in, 5.0, 0.0, forties)};
RESPONSES(shares_buds,
          "shares-buds",
          "shares of 5 buds: 10 trees of each of 3 treatments");

static const qx_truth_mean thirty[] = ALL(0.3);
static const qx_truth_mean thirties[] = {
    M("a", 0.2), M("b", 0.4), M("c", 0.3), M("d", 0.35)};
static const responses shares_varying = {
    HEAD("shares that vary") TREES4
    "measure:\n  y: {kind: proportion, of: n, on: tree, margin: 0.20}\n",
    TRUTH(blocks_in, 20.0, 10.0, thirty),
    TRUTH(blocks_in, 20.0, 10.0, thirties)};
RESPONSES(shares_varying,
          "shares-varying",
          "shares of 20 spurs: 6 blocks of 4 trees, trees vary (beta-binomial, phi 10)");

static const qx_truth_mean four[] = ALL(4.0);
static const qx_truth_mean fours[] = {M("a", 3.0), M("b", 4.5), M("c", 4.0), M("d", 5.0)};
static const responses counts_limbs = {
    HEAD("shoots on limbs") BLOCKS4
    "measure:\n  y: {kind: count, on: limb, margin: 1.5}\n",
    TRUTH(counts_in, 0.0, 0.0, four),
    TRUTH(counts_in, 0.0, 0.0, fours)};
RESPONSES(
    counts_limbs,
    "counts-limbs",
    "counts, mean 4: 6 blocks of 4 treatments on trees, 3 limbs a tree; sd of blocks "
    "0.2, trees 0.3");

static const qx_truth_mean five[] = ALL(5.0);
static const qx_truth_mean fives[] = {M("a", 4.0), M("b", 7.0), M("c", 5.0)};
static const responses counts_varying = {
    HEAD("counts that vary") TREES3 "measure:\n  y: {kind: count, on: tree, margin: 3}\n",
    TRUTH(none_in, 0.0, 3.0, five),
    TRUTH(none_in, 0.0, 3.0, fives)};
RESPONSES(
    counts_varying,
    "counts-varying",
    "counts, mean 5: 10 trees of each of 3 treatments (negative binomial, theta 3)");

static const qx_truth_mean three[] = ALL(3.0);
static const qx_truth_mean threes[] = {
    M("a", 2.0), M("b", 4.0), M("c", 3.0), M("d", 3.5)};
static const responses counts_blocks = {
    HEAD("counts in blocks") TREES4 "measure:\n  y: {kind: count, on: tree, margin: 2}\n",
    TRUTH(blocks_in, 0.0, 0.0, three),
    TRUTH(blocks_in, 0.0, 0.0, threes)};
RESPONSES(counts_blocks,
          "counts-blocks",
          "counts, mean 3: 6 blocks of 4 trees; sd of blocks 0.3");

static const double even[] = {0.3, 0.4, 0.3};
static const double low[] = {0.4, 0.4, 0.2};
static const double high[] = {0.2, 0.4, 0.4};
static const qx_truth_mean graded[] = {{.share = even}};
static const qx_truth_mean grades4[] = {
    S("a", low), S("b", high), S("c", even), S("d", even)};
static const qx_truth_mean grades3[] = {S("a", low), S("b", high), S("c", even)};
static const responses grades_limbs = {
    HEAD("grades of limbs") BLOCKS4
    "measure:\n  y: {kind: ordinal, levels: [low, fair, high], on: limb, margin: 0.20}\n",
    TRUTH(grades_in, 0.0, 0.0, graded),
    TRUTH(grades_in, 0.0, 0.0, grades4)};
RESPONSES(
    grades_limbs,
    "grades-limbs",
    "three grades: 6 blocks of 4 treatments on trees, 3 limbs a tree; sd of blocks 0.3, "
    "trees 0.6");

static const responses grades_trees = {
    HEAD("grades of trees") TREES3
    "measure:\n  y: {kind: ordinal, levels: [low, fair, high], on: tree, margin: 0.20}\n",
    TRUTH(none_in, 0.0, 0.0, graded),
    TRUTH(none_in, 0.0, 0.0, grades3)};
RESPONSES(grades_trees, "grades-trees", "three grades: 10 trees of each of 3 treatments");

/* Classes without order: shares at random effects of zero (findings/simulate.h). */
static const qx_truth_spread classes_in[] = {{"block", 0.3, 0.0}, {"tree", 0.4, 0.0}};
static const double shoots[] = {0.5, 0.3, 0.2};
static const double more_long[] = {0.4, 0.3, 0.3};
static const double less_long[] = {0.6, 0.3, 0.1};
static const qx_truth_mean shoots_all[] = {{.share = shoots}};
static const qx_truth_mean shoots4[] = {
    S("a", less_long), S("b", more_long), S("c", shoots), S("d", shoots)};
static const responses classes_trees = {
    HEAD("classes of shoots") "units:\n  block: {count: 6}\n  tree: {within: block, "
                              "count: 4}\n"
                              "  shoot: {within: tree, count: 12}\n"
                              "treatments:\n  spray: {levels: [a, b, c, d], on: tree}\n"
                              "measure:\n  y: {kind: nominal, levels: [short, medium, "
                              "long], on: shoot, margin: "
                              "0.20}\n",
    TRUTH(classes_in, 0.0, 0.0, shoots_all),
    TRUTH(classes_in, 0.0, 0.0, shoots4)};
RESPONSES(classes_trees,
          "classes-trees",
          "three classes without order: 12 shoots on each of 6 blocks of 4 trees; sd of "
          "blocks 0.3, trees 0.4");
