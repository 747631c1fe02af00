/* findings/findings.h - what a trial's data say: the one structure that every report,
 * chart and JSON document is made from. Field by field it is contract section 3.
 *
 * NAN means "not given" for numbers, NULL for texts. All in the arena of qx_findings. */
#ifndef QX_FINDINGS_FINDINGS_H
#define QX_FINDINGS_FINDINGS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/ctx.h"
#include "trial/protocol.h"
#include "trial/table.h"

struct qx_layout;

/* Names in a factorial with an added control (findings/added_control.h). */
#define QX_PART_SUFFIX   " (factorial part)"
#define QX_ADDED_CONTROL "added control"
#define QX_AGAINST_REST  "control against the rest"

/* Levels of some factors: {"pinch": "early", "angle": "30"}. */
typedef struct qx_cell {
    size_t count;
    const char *const *factor; /* treatment names or "season" */
    const char *const *level;
} qx_cell;

typedef struct qx_variance_line {
    const char *term; /* path of the unit, or "residual" */
    double variance, sd, lower, upper, lrt, p;
    bool at_zero;
    bool field;           /* better and worse parts of the field, not a unit */
    double unconstrained; /* without the bound at zero; NAN where there is none */
} qx_variance_line;

/* Likeness of neighbours in time or in the field, one step apart. */
typedef struct qx_correlation_line {
    const char *name; /* column of the dates, rows or places */
    double estimate, lower, upper, lrt, p;
    bool at_limit;
    bool broken; /* values between the limits that the data do not allow */
} qx_correlation_line;

/* One way in which the place in the field may enter; that with the least
 * criterion + 2 parameters is taken. */
typedef struct qx_field_line {
    const char *trend;     /* "none", "rows", "places", "rows and places", "neighbours" */
    double reml_criterion; /* NAN: did not fit */
    size_t parameters;     /* variances and correlations */
    bool chosen;
} qx_field_line;

typedef struct qx_coefficient {
    const char *term;
    double estimate, se, df, value, p;
} qx_coefficient;

typedef struct qx_test_line {
    const char *term; /* fixed term; "residual" for what is left in a stratum */
    const char *unit; /* residual lines: path of the unit; tests: the unit against
                                whose variation it is tested, or NULL */
    double num_df, den_df;
    const char *statistic; /* "F" or "chisq"; NULL for residual lines */
    double value, p;
    const char *method; /* "Kenward-Roger", "least squares" ... */
    double sum_of_squares, mean_square;
    double p_small_sample;           /* what sentences use where it is given, or NAN */
    const char *method_small_sample; /* NULL: p serves */
} qx_test_line;

typedef struct qx_back {
    double estimate, lower, upper; /* back-transformed; NAN without a transform */
} qx_back;

typedef struct qx_mean {
    const char *term;
    qx_cell cell;
    double estimate, se, df, lower, upper;
    const char *letters; /* NULL where there are none */
    size_t n;            /* observations in these cells */
    double link_estimate, link_se;
    qx_back back;
    const char *class_; /* ordinal and nominal only, else NULL */
    bool averaged;      /* `estimate` is over the random terms, `typical` at their zero */
    struct {
        double estimate, se, lower, upper;
    } typical;
} qx_mean;

typedef enum {
    QX_HIGHER,
    QX_LOWER_VERDICT,
    QX_TRIVIAL,
    QX_EQUIVALENT,
    QX_UNSETTLED,
    QX_CANNOT_TELL /* no verdict: these data hold no test of it */
} qx_verdict;

typedef struct qx_difference {
    const char *term;
    qx_cell within; /* simple effects: levels of the other factors; count 0 otherwise */
    qx_cell first, second;
    double estimate, se, df, value, p, p_adjusted;
    const char *adjust; /* "tukey" ... */
    double lower, upper;
    double link_estimate, link_se;
    double margin; /* NAN without one */
    double p_lower, p_upper, p_equivalence, lower_equivalence, upper_equivalence;
    qx_verdict verdict;
    const char *why_not; /* QX_CANNOT_TELL: what is missing, a clause; else NULL */
    const char *mend;    /* what would let it be told, a clause, or NULL */
    bool beyond_margin;
    double replicates_to_settle; /* NAN if it does not apply */
    const char *replicate;       /* what counts as one: a unit's name ("tree") */
    const char *class_;          /* ordinal and nominal: the class it is about, or NULL */
    double tests; /* classes without order, one fewer than there are: any of them may call
                     the pair different (Bonferroni); 0 or 1 else */
    qx_back ratio;          /* first / second where the protocol asks, else 0 or NAN */
    double df_small_sample; /* counts, shares, classes: df behind verdict and limits */
    double p_small_sample, p_adjusted_small_sample; /* NAN: p and p_adjusted serve */
    const char *method_small_sample;                /* NULL: none */
} qx_difference;

typedef struct qx_contrast_line {
    const char *name;
    const char *of; /* treatment */
    double estimate, se, df, value, p;
    double p_adjusted;   /* all contrasts of the variate as one family; NAN: not made */
    double lower, upper; /* not adjusted */
    double
        margin; /* of the variate, where weights of 1 in all are set against 1 in all and
                      the scale is that of the margin; else NAN */
    qx_verdict verdict; /* of p, as planned */
    bool beyond_margin;
    double p_equivalence, lower_equivalence, upper_equivalence;
    bool compares; /* a mean of some levels against a mean of others */
    /* Counts, shares, grades: Wald's test and limits as few units allow; df 0: p serves. */
    double df_small_sample, p_small_sample;
} qx_contrast_line;

/* The p and df that the verdict of a planned contrast goes by. */
double qx_contrast_p(const qx_contrast_line *line);
double qx_contrast_df(const qx_contrast_line *line);

/* The slope of a covariate: of all (cell.count 0), or of one level of a treatment. For one
 * unit of the covariate, on the scale of the model (of the link, or transformed). */
typedef struct qx_slope_line {
    qx_cell cell;
    double estimate, se, df, lower, upper, p; /* not adjusted */
} qx_slope_line;

/* What a covariate does to means and differences (findings/slopes_of.h). */
typedef struct qx_covariate_line {
    const char *name, *unit; /* unit "" if none */
    double held;      /* its mean over the rows: where means and differences hold */
    double low, high; /* its lowest and highest decile over the rows */
    size_t slope_count;
    const qx_slope_line *slope;
    /* Where levels have slopes of their own: their differences at `low` and at `high`. */
    size_t end_count; /* of each */
    const qx_difference *at_low, *at_high;
} qx_covariate_line;

typedef struct qx_check_line {
    const char *check; /* "shapiro-wilk", "brown-forsythe", "outlier" ... */
    double value, p, num_df, den_df, lower, upper;
    size_t row; /* outlier: row of the data, from 1; 0 otherwise */
    const char
        *advice; /* what a trained adviser would do next, or NULL when unremarkable */
    const char *stratum; /* checks of whole units: path of their kind, else NULL */
    const char *unit;    /* "tree 3 of block 2", where it is about one; else NULL */
} qx_check_line;

/* A whole unit that stands apart (model/unit_residual.h). */
typedef struct qx_unit_line {
    const char *stratum; /* path of its kind */
    const char *unit;    /* "tree 3 of block 2" */
    double studentised, standardised, cook, leverage;
} qx_unit_line;

typedef struct qx_residual_line {
    size_t row; /* from 1 */
    double studentised, standardised, cook, leverage;
} qx_residual_line;

/* One part of a dose response and what the curve up to it leaves (findings/dose.h). */
typedef struct qx_dose_part {
    const char *name; /* "linear", "quadratic", "cubic", "quartic" */
    double estimate, se, df, f, p;
    double lack_num_df, lack_den_df, lack_f, lack_p; /* NAN: no level is left over */
} qx_dose_part;

typedef struct qx_dose {
    const char *of; /* treatment */
    size_t part_count;
    const qx_dose_part *part; /* degree 1, 2 ... */
    size_t degree; /* the lowest whose lack of fit is not shown, at most part_count */
    bool shown;    /* some part up to that degree is shown */
    double slope, slope_se, slope_lower, slope_upper; /* for one unit of the treatment */
    qx_cell within; /* levels of the treatments it interacts with; count 0: averaged */
    double least, most; /* smallest and largest amount that was tried */
    bool turns_down;    /* the parabola has a highest, not a lowest point */
    double turn, turn_lower,
        turn_upper; /* amount at which a parabola (degree 2) turns, also
                              outside of what was tried, and Fieller's limits; NAN where its
                              curvature is not shown (findings/turning_point.h) */
    bool rises;     /* the fitted curve is higher at `most` than at `least` */
    const char
        *end_level; /* degree 3 and more: level inside the range at which the fitted
                              curve is highest (turns_down) or lowest, or NULL */
} qx_dose;

/* One observation as charts need it. */
typedef struct qx_point {
    size_t row; /* of the data, from 1 */
    double y;   /* on the analysis scale, unshifted; a share for k of n; the number of
                   the grade or class, from 0 */
    double fitted, residual, studentised;
} qx_point;

/* One line of the classical table: a treatment, or what is left in its stratum. */
typedef struct qx_classical_line {
    const char *unit;     /* path of the stratum's unit */
    const char *source;   /* fixed term, or "residual" */
    const char *expected; /* "residual + 4 block:tree + effect of pinch" */
    double df, sum_of_squares, mean_square;
    double error_df, f, p; /* NAN for what is left */
} qx_classical_line;

typedef struct qx_classical_component {
    const char *term; /* as in qx_variance_line */
    double variance;  /* from the mean squares, may be negative; NAN: no df */
} qx_classical_component;

/* What a coarser unit was worth to the treatments of a smaller one. */
typedef struct qx_efficiency_line {
    const char *of;      /* path of the unit whose treatments are compared */
    const char *unit;    /* its own name: what counts as a replicate */
    const char *without; /* paths of the units that are done without, "row, column" */
    bool split; /* false: `of` lies inside `without`. true: the treatments of `of`, had
                   they been put on the smaller `without` instead */
    double relative, corrected, df_with, df_without; /* model/anova.h */
} qx_efficiency_line;

/* The classical analysis of variance beside the mixed model (model/anova.h). */
typedef struct qx_classical {
    const char *why; /* why there is none, a sentence; NULL when it is given */
    size_t line_count;
    const qx_classical_line *line;
    size_t component_count;
    const qx_classical_component *component;
    size_t efficiency_count;
    const qx_efficiency_line *efficiency;
} qx_classical;

/* Which look at the data this is (findings/looks_of.h). planned 0: not known. */
typedef struct qx_result_look {
    size_t declared, number;
    size_t things, planned; /* with a value by now; planned over all seasons */
    const char *unit;       /* what is counted: "tree" */
    double share;           /* of the planned things */
    double level;           /* at which differences are called out now; 0: at none */
    bool early;   /* the first look, undeclared, and many values are still to come */
    double error; /* true error rate of one comparison; NAN where looks were declared */
} qx_result_look;

/* Earlier looks at one variate: things by then, rising. */
typedef struct qx_look_history {
    size_t count;
    const size_t *things;
} qx_look_history;

typedef struct qx_result {
    const char *variate, *label, *unit; /* unit of measure, "" if none */
    const qx_variate *definition;       /* borrowed from the protocol */
    const char *kind, *family, *link;
    size_t class_count; /* grades and classes: how many; else 0 */
    const char *const *class_name;
    size_t used, missing;
    const char *without; /* what rows with a value lack and are left out for, or NULL */
    double mean_size;    /* shares: things that one is out of, on average; else 0 */
    size_t
        single_count; /* treatments that only one level has data of: by name, and level */
    const char *const *single, *const *single_level;
    qx_result_look look;
    size_t fixed_count;
    const char *const *fixed;
    size_t random_count;
    const char *const *random;
    const char *method; /* "REML", "least squares" */
    double log_likelihood, reml_criterion, deviance, pearson_chisq, residual_df,
        cv_percent;
    bool converged;
    size_t iterations;
    size_t dose_count;
    const qx_dose *dose;
    const qx_classical *classical; /* continuous variates, else NULL */
    size_t variance_count;
    const qx_variance_line *variance;
    size_t correlation_count;
    const qx_correlation_line *correlation;
    size_t field_count; /* 0: no field trend was asked for */
    const qx_field_line *field;
    double dispersion;
    size_t coefficient_count;
    const qx_coefficient *coefficient;
    size_t test_count;
    const qx_test_line *test;
    size_t mean_count;
    const qx_mean *mean;
    size_t difference_count;
    const qx_difference *difference;
    size_t simple_count;
    const qx_difference *simple;
    size_t against_count; /* added control: control less the average of the rest, one for
                             each class; `second` has no levels. 0: there is none */
    const qx_difference *against;
    size_t contrast_count;
    const qx_contrast_line *contrast;
    size_t covariate_count; /* those that are in the model */
    const qx_covariate_line *covariate;
    size_t check_count;
    const qx_check_line *check;
    size_t residual_count;
    const qx_residual_line *residual;
    size_t unit_line_count; /* the five oddest units of each random term */
    const qx_unit_line *unit_line;
    size_t point_count; /* used */
    const qx_point *point;
    size_t note_count;
    const char *const *note;
} qx_result;

typedef struct qx_findings {
    qx_arena *arena;
    const qx_protocol *protocol;    /* borrowed; must outlive the findings */
    const qx_table *table;          /* borrowed */
    const struct qx_layout *layout; /* borrowed, NULL if unknown */
    size_t change_count; /* what was done otherwise than drawn, in sentences; borrowed */
    const char *const *change;
    size_t
        by_hand_count; /* what was changed in the trial file with another program; borrowed */
    const char *const *by_hand;
    size_t result_count;
    const qx_result *result;
} qx_findings;

/* The contract's word: "higher", "lower", "trivial", "equivalent", "unsettled"; NULL without
 * a verdict. */
const char *qx_verdict_word(qx_verdict verdict);

void qx_findings_free(qx_findings *findings);

#endif
