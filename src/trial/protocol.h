/* trial/protocol.h - a trial's protocol as plain structs: question, units, treatments,
 * variates, contrasts, analysis. The file format is contract section 2 (docs/manual).
 *
 * One arena owns it all; indices instead of pointers tie the parts together, QX_NONE means
 * "not given". Every named thing knows its place in the file, so that later checks can
 * point at it. Read by trial/read_yaml.h; nothing here knows statistics. */
#ifndef QX_TRIAL_PROTOCOL_H
#define QX_TRIAL_PROTOCOL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/problems.h"

#define QX_NONE         ((size_t)-1)
#define QX_PARENTS_MOST 4  /* units that one unit may cross */
#define QX_NAMES_MOST   64 /* units, treatments, covariates, variates, contrasts: each */
#define QX_LEVELS_MOST  1000

typedef struct qx_person {
    const char *name, *role; /* role "" if not given */
} qx_person;

typedef struct qx_crop {
    const char *species, *cultivar, *rootstock; /* "" if not given */
    int planted;                                /* year, 0 if not given */
} qx_crop;

typedef struct qx_site {
    const char *name, *country; /* "" if not given; country ISO 3166 two letters */
    double latitude, longitude; /* degrees; NAN if not given */
    double row_spacing_m, tree_spacing_m;
    double
        row_bearing; /* degrees clockwise from north in which places are counted; NAN */
} qx_site;

typedef struct qx_seasons {
    const char *column;       /* data column that separates them, "season" by default */
    size_t level_count;       /* 0: one season, not separated */
    const char *const *level; /* as written */
} qx_seasons;

typedef struct qx_unit {
    const char *name;
    qx_place at;
    size_t parent_count;            /* 0: outermost; 2 or more: crossed */
    size_t parent[QX_PARENTS_MOST]; /* unit numbers, in the order written */
    size_t count;        /* planned per parent (per cell if crossed); QX_NONE */
    bool sample;         /* any number per parent */
    size_t column_count; /* `columns: [...]`: labels that tell it together */
    const char *const *column;
    const char *row_column; /* `position: {row:, place:}`: its place in the field; NULL */
    const char *place_column;
    const char *path; /* "block:tree": parents' paths without repetition */
} qx_unit;

typedef struct qx_treatment {
    const char *name;
    qx_place at;
    size_t level_count;
    const char *const *level; /* as written, protocol's order */
    bool numeric;             /* every level is a number */
    const double *score;      /* the numbers, or NULL */
    size_t on;                /* unit number */
    size_t control;           /* level number or QX_NONE */
    const char *unit;         /* unit of the levels ("degree"), "" if none */
} qx_treatment;

typedef struct qx_covariate {
    const char *name;
    qx_place at;
    size_t on;          /* unit number */
    const char *unit;   /* "cm2" or "" */
    size_t slope_count; /* treatments whose levels have slopes of their own */
    const size_t *slope;
} qx_covariate;

typedef enum {
    QX_CONTINUOUS,
    QX_COUNT,
    QX_PROPORTION,
    QX_ORDINAL,
    QX_NOMINAL
} qx_variate_kind;

typedef enum { QX_BETTER_NONE, QX_BETTER_MORE, QX_BETTER_LESS } qx_better;

typedef enum {
    QX_VARIATION_AUTO,
    QX_VARIATION_NONE,
    QX_VARIATION_SCALED,
    QX_VARIATION_MODELLED,
    QX_VARIATION_UNIT
} qx_variation;

typedef enum {
    QX_TRANSFORM_NONE,
    QX_TRANSFORM_LOG,
    QX_TRANSFORM_LOG10,
    QX_TRANSFORM_LOG10_1, /* log10(x+1) */
    QX_TRANSFORM_SQRT,
    QX_TRANSFORM_SQRT_HALF, /* sqrt(x+0.5) */
    QX_TRANSFORM_ARCSINE
} qx_transform;

typedef enum { QX_SHARE_LOGIT, QX_SHARE_PROBIT, QX_SHARE_CLOGLOG } qx_share_link;

/* What somebody expects before there are data (`expect`), to plan with. */
typedef struct qx_expectation {
    qx_place at;
    double mean; /* of an untreated unit, on the variate's own scale; NAN */
    const double
        *sd; /* unit_count: standard deviation between things of each unit (counts
                         and shares: on the link's scale), NAN where not given; or NULL */
    const double *sd_season; /* unit_count: what one season adds to each thing; or NULL */
    double cv_percent;       /* between single units, per cent of the mean; NAN */
    const char *like;        /* line of trial/usual.h that cv_percent is from, or NULL */
    double of;               /* things that a share is out of; 0 if not given */
    double dispersion;       /* theta or phi of the extra variation; NAN */
    size_t share_count;      /* grades and classes: shares that add up to 1 */
    const double *share;
} qx_expectation;

#define QX_PLANNED_POWER 0.8

typedef struct qx_planning {
    double power;       /* wanted; QX_PLANNED_POWER if not given */
    const double *cost; /* unit_count: of one more thing, NAN where not given; or NULL */
    size_t samples;     /* things sampled in each parent; 0 if not given */
} qx_planning;

typedef struct qx_variate {
    const char *name, *label, *method; /* label falls back to name; method "" */
    qx_place at;
    qx_variate_kind kind;
    size_t on;        /* unit number */
    const char *of;   /* proportion: column of n, or "" (1 or 0 for each thing) */
    const char *unit; /* "cm" or "" */
    int decimals;     /* -1 if not given */
    bool has_range;
    double low, high;
    qx_better better;
    double margin; /* NAN if not given */
    qx_transform transform;
    qx_variation extra_variation;
    qx_share_link link;
    size_t level_count; /* ordinal, nominal */
    const char *const *level;
    const char *times;     /* column: how many alike things a row stands for, or "" */
    bool compare_as_ratio; /* count, proportion: differences are also told as ratios */
    const qx_expectation *expect; /* NULL if not given */
    const char *dates; /* column: on which of several dates a row was measured, or NULL */
} qx_variate;

typedef enum {
    QX_TREND_NONE,
    QX_TREND_LINEAR,
    QX_TREND_QUADRATIC,
    QX_TREND_CUBIC,
    QX_TREND_QUARTIC
} qx_trend;

typedef struct qx_contrast_def {
    const char *name;
    qx_place at;
    size_t of;            /* treatment number; QX_OF_SEASON for the seasons */
    qx_trend trend;       /* QX_TREND_NONE: weights */
    const double *weight; /* one a level of the treatment, or NULL */
} qx_contrast_def;

#define QX_OF_SEASON ((size_t)-2)

typedef enum { QX_DF_KENWARD_ROGER, QX_DF_SATTERTHWAITE, QX_DF_CONTAINMENT } qx_df_choice;
typedef enum {
    QX_COMPARE_TUKEY,
    QX_COMPARE_DUNNETT,
    QX_COMPARE_SIDAK,
    QX_COMPARE_HOLM,
    QX_COMPARE_BONFERRONI,
    QX_COMPARE_NONE
} qx_compare_choice;
typedef enum { QX_SUMS_MARGINAL, QX_SUMS_SEQUENTIAL } qx_sums_choice;
typedef enum { QX_INTERACT_ALL, QX_INTERACT_PAIRS, QX_INTERACT_NONE } qx_interactions;

/* How the place in the field enters: random rows, places or both, or correlated
 * neighbours; chosen by the data with `auto`. */
typedef enum {
    QX_FIELD_NONE,
    QX_FIELD_AUTO,
    QX_FIELD_ROWS,
    QX_FIELD_PLACES,
    QX_FIELD_ROWS_AND_PLACES,
    QX_FIELD_NEIGHBOURS
} qx_field_trend;

/* How the random part is computed: a check of the arithmetic that a caller may ask for, not
 * something that a file says. */
typedef enum {
    QX_ARITHMETIC_AUTO,
    QX_ARITHMETIC_DENSE,
    QX_ARITHMETIC_SPARSE
} qx_arithmetic;

typedef struct qx_analysis {
    bool blocks_fixed;
    qx_df_choice df;
    bool df_named; /* the protocol says which */
    qx_compare_choice compare;
    qx_sums_choice sums;
    qx_interactions interactions;
    int quadrature; /* 1 ... 100 */
    int bootstrap; /* counts, shares, classes: simulated samples for the tests; 0: none */
    double level;  /* 0.5 < level < 1, default 0.95 */
    int looks;     /* at the data that are declared, 1 ... 20 */
    bool residual_by_season; /* a residual variation of its own for each season */
    qx_place residual_at;    /* where that stands in the file */
    qx_field_trend field_trend;
    qx_arithmetic arithmetic; /* not from the file: AUTO, or what the caller sets */
} qx_analysis;

struct qx_layout_wishes;

typedef struct qx_protocol {
    qx_arena *arena;  /* owns everything below */
    const char *file; /* as named by the user */
    const char *text; /* the protocol's own bytes */
    size_t text_length;
    char digest[65];                            /* SHA-256 of the text */
    const char *title, *question, *institution; /* "" if not given */
    size_t person_count;
    const qx_person *person;
    qx_crop crop;
    qx_site site;
    qx_seasons seasons;
    size_t unit_count; /* at least 1; parents may stand anywhere in the file */
    const qx_unit *unit;
    const size_t *unit_order; /* unit numbers, parents before children */
    size_t treatment_count;
    const qx_treatment *treatment;
    size_t covariate_count;
    const qx_covariate *covariate;
    size_t variate_count; /* at least 1 */
    const qx_variate *variate;
    size_t contrast_count;
    const qx_contrast_def *contrast;
    qx_analysis analysis;
    const struct qx_layout_wishes *wishes; /* `layout` (layout/wishes.h); NULL: none */
    qx_place wishes_at;
    qx_planning planning;
} qx_protocol;

void qx_protocol_free(qx_protocol *protocol); /* NULL is accepted */

size_t qx_protocol_find_unit(const qx_protocol *p, const char *name); /* QX_NONE */
size_t qx_protocol_find_treatment(const qx_protocol *p, const char *name);

/* Does unit `above` stand above (or is it) `below`? */
bool qx_unit_reaches(const qx_protocol *p, size_t above, size_t below);

/* Grades or classes: the response is a level, not a number. */
bool qx_variate_has_classes(const qx_variate *variate);

/* Number of the level written as `text` (numbers: 30 and 30.0 are the same); QX_NONE. */
size_t qx_level_find(size_t level_count,
                     const char *const level[],
                     const char *text,
                     size_t length);

/* "continuous", "tukey", "log10(x+1)" ...: the words of the file format. */
const char *qx_variate_kind_word(qx_variate_kind kind);
const char *qx_transform_word(qx_transform transform);
const char *qx_compare_word(qx_compare_choice compare);
const char *qx_df_word(qx_df_choice df);
const char *qx_trend_word(qx_trend trend);
const char *qx_field_trend_word(qx_field_trend trend);

/* Number of the unit that has a position in the field; QX_NONE. */
size_t qx_protocol_placed_unit(const qx_protocol *p);

#endif
