/* bench/calibration/layouts.c - which layouts are calibrated. Standard deviations are in
 * units of that of the smallest units. A new kind of data adds its descriptors to the list
 * at the end. */
#include "continuous.h"
#include "responses.h"

#define FIXED(name_, bits)                                                               \
    {                                                                                    \
        .name = (name_), .dimensions = (bits)                                            \
    }
#define RANDOM(name_, bits, sd_)                                                         \
    {                                                                                    \
        .name = (name_), .dimensions = (bits), .random = true, .sd = (sd_)               \
    }
#define TREATMENT .term_count = 1, .term = {{"treatment", 1, {0}}}, .compared = 0
#define LAYOUT(key_, title_, about_)                                                     \
    static const calibration_layout about_##_layout = {.key = (key_),                    \
                                                       .title = (title_),                \
                                                       .about = &(about_),               \
                                                       .open = continuous_open,          \
                                                       .close = continuous_close,        \
                                                       .measures = continuous_measures,  \
                                                       .trial = continuous_trial}

static const char few_units[] =
    "few units of this kind: the likelihood's interval leans on a large-sample law";
static const char few_df[] =
    "likelihood's interval at few degrees of freedom, where its law is not yet reached";
static const char pooled[] = "likelihood's interval; units that do not vary are pooled "
                             "with the residual in half of "
                             "the trials, which makes it too narrow";

#define BLOCKS(name_, blocks, sd_, margin_, why_)                                        \
    static const continuous name_ = {                                                    \
        .dimension_count = 2,                                                            \
        .dimension = {(blocks), 4},                                                      \
        .factor_count = 2,                                                               \
        .factor = {FIXED("treatment", 2U), RANDOM("block", 1U, (sd_))},                  \
        TREATMENT,                                                                       \
        .margin = (margin_),                                                             \
        .note_intervals = few_units,                                                     \
        .note_residual = (why_)}

BLOCKS(blocks3, 3, 1.0, 4.0, few_df);
BLOCKS(blocks4, 4, 1.0, 3.5, few_df);
BLOCKS(blocks6, 6, 1.0, 3.0, few_df);
BLOCKS(blocks10, 10, 1.0, 2.0, few_df);
BLOCKS(blocks_nil, 6, 0.0, 3.0, pooled);
LAYOUT("blocks-3",
       "complete blocks, 4 treatments, 3 replicates; sd of blocks 1",
       blocks3);
LAYOUT("blocks-4",
       "complete blocks, 4 treatments, 4 replicates; sd of blocks 1",
       blocks4);
LAYOUT("blocks-6",
       "complete blocks, 4 treatments, 6 replicates; sd of blocks 1",
       blocks6);
LAYOUT("blocks-10",
       "complete blocks, 4 treatments, 10 replicates; sd of blocks 1",
       blocks10);
LAYOUT("blocks-nil",
       "complete blocks, 4 treatments, 6 replicates; blocks do not vary",
       blocks_nil);

static const continuous split_plot = {
    .dimension_count = 3,
    .dimension = {6, 3, 4},
    .factor_count = 4,
    .factor = {FIXED("variety", 2U),
               FIXED("spray", 4U),
               RANDOM("block", 1U, 1.0),
               RANDOM("block:plot", 3U, 0.7)},
    .term_count = 3,
    .term = {{"variety", 1, {0}}, {"spray", 1, {1}}, {"variety:spray", 2, {0, 1}}},
    .compared = 0,
    .margin = 2.5,
    .note_intervals = few_units,
    .note_residual = NULL};
LAYOUT(
    "split-plot",
    "split plot, 6 blocks, 3 varieties on plots, 4 sprays inside; sd of blocks 1, plots "
    "0.7; varieties compared",
    split_plot);

static uint32_t square_5(const uint32_t at[])
{
    return (at[0] + at[1]) % 5;
}
static const continuous latin = {
    .dimension_count = 2,
    .dimension = {5, 5},
    .factor_count = 3,
    .factor = {{.name = "treatment", .level = square_5, .levels = 5},
               RANDOM("row", 1U, 1.0),
               RANDOM("column", 2U, 0.5)},
    TREATMENT,
    .margin = 3.0,
    .note_intervals = few_units,
    .note_residual = few_df};
LAYOUT("latin-square", "Latin square of 5; sd of rows 1, columns 0.5", latin);

/* Seven treatments in blocks of three, each pair together in one block of every seven: the
 * cyclic design from the difference set 0, 1, 3. */
static uint32_t cyclic_7(const uint32_t at[])
{
    static const uint32_t start[] = {0, 1, 3};
    return (at[0] + start[at[1]]) % 7;
}
#define INCOMPLETE(name_, sd_, why_)                                                     \
    static const continuous name_ = {                                                    \
        .dimension_count = 2,                                                            \
        .dimension = {14, 3},                                                            \
        .factor_count = 2,                                                               \
        .factor = {{.name = "treatment", .level = cyclic_7, .levels = 7},                \
                   RANDOM("block", 1U, (sd_))},                                          \
        TREATMENT,                                                                       \
        .margin = 3.0,                                                                   \
        .note_intervals = few_units,                                                     \
        .note_residual = (why_)}
INCOMPLETE(incomplete, 1.0, few_df);
INCOMPLETE(incomplete_nil, 0.0, pooled);
LAYOUT("incomplete",
       "incomplete blocks of 3, 7 treatments, 14 blocks; sd of blocks 1",
       incomplete);
LAYOUT("incomplete-nil",
       "incomplete blocks of 3, 7 treatments, 14 blocks; blocks do not vary",
       incomplete_nil);

#define LIMBS(name_, sd_, why_)                                                          \
    static const continuous name_ = {                                                    \
        .dimension_count = 3,                                                            \
        .dimension = {4, 5, 4},                                                          \
        .factor_count = 2,                                                               \
        .factor = {FIXED("treatment", 1U), RANDOM("tree", 3U, (sd_))},                   \
        TREATMENT,                                                                       \
        .margin = 1.5 + (sd_),                                                           \
        .note_intervals = NULL,                                                          \
        .note_residual = (why_)}
LIMBS(limbs, 1.0, NULL);
LIMBS(limbs_nil, 0.0, pooled);
LAYOUT("limbs", "4 treatments on 5 trees each, 4 limbs a tree; sd of trees 1", limbs);
LAYOUT("limbs-nil",
       "4 treatments on 5 trees each, 4 limbs a tree; trees do not vary",
       limbs_nil);

/* Limbs in trees in blocks. */
#define NESTED(name_, sd_block, sd_tree, lost_, why_)                                    \
    static const continuous name_ = {.dimension_count = 3,                               \
                                     .dimension = {6, 4, 3},                             \
                                     .factor_count = 3,                                  \
                                     .factor = {FIXED("treatment", 2U),                  \
                                                RANDOM("block", 1U, (sd_block)),         \
                                                RANDOM("block:tree", 3U, (sd_tree))},    \
                                     TREATMENT,                                          \
                                     .margin = 1.5 + (sd_tree),                          \
                                     .lost = (lost_),                                    \
                                     .lost_dimensions = 7U,                              \
                                     .note_intervals = few_units,                        \
                                     .note_residual = (why_)}
NESTED(limbs_lost, 1.0, 1.0, 0.15, NULL);
NESTED(limbs_lost_nil, 0.0, 0.0, 0.15, pooled);
LAYOUT("limbs-lost",
       "6 blocks of 4 treatments, a tree each with 3 limbs, 15 % of limbs lost; sd of "
       "blocks "
       "1, trees 1",
       limbs_lost);
LAYOUT("limbs-lost-nil",
       "6 blocks of 4 treatments, a tree each with 3 limbs, 15 % of limbs lost; neither "
       "blocks nor trees vary",
       limbs_lost_nil);

#define TREES_LOST(name_, sd_, why_)                                                     \
    static const continuous name_ = {                                                    \
        .dimension_count = 2,                                                            \
        .dimension = {8, 4},                                                             \
        .factor_count = 2,                                                               \
        .factor = {FIXED("treatment", 2U), RANDOM("block", 1U, (sd_))},                  \
        TREATMENT,                                                                       \
        .margin = 2.5,                                                                   \
        .lost = 0.15,                                                                    \
        .lost_dimensions = 3U,                                                           \
        .note_intervals = few_units,                                                     \
        .note_residual = (why_)}
TREES_LOST(trees_lost, 1.0, few_df);
TREES_LOST(trees_lost_nil, 0.0, pooled);
LAYOUT("trees-lost",
       "8 blocks of 4 treatments, 15 % of trees lost; sd of blocks 1",
       trees_lost);
LAYOUT("trees-lost-nil",
       "8 blocks of 4 treatments, 15 % of trees lost; blocks do not vary",
       trees_lost_nil);

#define SEASONS(name_, sd_block, sd_tree, why_)                                          \
    static const continuous name_ = {.dimension_count = 3,                               \
                                     .dimension = {5, 4, 2},                             \
                                     .factor_count = 4,                                  \
                                     .factor = {FIXED("treatment", 2U),                  \
                                                FIXED("season", 4U),                     \
                                                RANDOM("block", 1U, (sd_block)),         \
                                                RANDOM("block:tree", 3U, (sd_tree))},    \
                                     .term_count = 3,                                    \
                                     .term = {{"season", 1, {1}},                        \
                                              {"treatment", 1, {0}},                     \
                                              {"treatment:season", 2, {0, 1}}},          \
                                     .compared = 0,                                      \
                                     .margin = 2.0 + (sd_tree),                          \
                                     .note_intervals = few_units,                        \
                                     .note_residual = (why_)}
SEASONS(seasons, 1.0, 1.0, few_df);
SEASONS(seasons_nil, 0.0, 0.0, pooled);
LAYOUT("seasons",
       "5 blocks of 4 treatments, the same trees in two seasons; sd of blocks 1, trees 1",
       seasons);
LAYOUT(
    "seasons-nil",
    "5 blocks of 4 treatments, the same trees in two seasons; neither blocks nor trees "
    "vary",
    seasons_nil);

const calibration_layout *const calibration_layouts[] = {
    &blocks3_layout,
    &blocks4_layout,
    &blocks6_layout,
    &blocks10_layout,
    &blocks_nil_layout,
    &split_plot_layout,
    &latin_layout,
    &incomplete_layout,
    &incomplete_nil_layout,
    &limbs_layout,
    &limbs_nil_layout,
    &limbs_lost_layout,
    &limbs_lost_nil_layout,
    &trees_lost_layout,
    &trees_lost_nil_layout,
    &seasons_layout,
    &seasons_nil_layout,
    &calibration_shares_limbs,
    &calibration_shares_buds,
    &calibration_shares_varying,
    &calibration_counts_limbs,
    &calibration_counts_varying,
    &calibration_counts_blocks,
    &calibration_grades_limbs,
    &calibration_grades_trees,
    &calibration_classes_trees,
};
const size_t calibration_layout_count = QX_COUNT(calibration_layouts);
