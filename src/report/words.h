/* report/words.h - findings as sentences that a grower understands.
 *
 * Each verdict has its own sentence, with estimate, interval and margin in the unit that
 * was measured. An unsettled pair is never told as "no difference", and no sentence uses
 * the statistician's word for a small p. Numbers follow rounding.h, so that sentence and
 * table show the same figures. */
#ifndef QX_REPORT_WORDS_H
#define QX_REPORT_WORDS_H

#include "findings/findings.h"
#include "report/doc.h"

/* "angle 30°", "pinch early, angle 30°", "season 2025". */
const char *qx_words_cell(qx_doc *doc, const qx_protocol *p, const qx_cell *cell);

/* The levels alone: "early, 30°". */
const char *qx_words_levels(qx_doc *doc, const qx_protocol *p, const qx_cell *cell);

/* The level with its unit, without the factor: "30°", "early". */
const char *
qx_words_level(qx_doc *doc, const qx_protocol *p, const char *factor, const char *level);

/* " cm", " cm²", "°" or "": what follows a number. */
const char *qx_words_unit(qx_doc *doc, const char *unit);

/* Label of the variate with a capital; "the" label inside a sentence is the same text. */
const char *qx_words_label(qx_doc *doc, const qx_result *r);

/* Unit of the numbers that the analysis gives: the variate's, or the scale's name. */
const char *qx_words_scale(qx_doc *doc, const qx_result *r);

/* The same for differences: shares differ by points. */
const char *qx_words_difference_scale(qx_doc *doc, const qx_result *r);

/* The scale of variances and contrasts: that of the link for counts, shares and classes. */
const char *qx_words_model_scale(qx_doc *doc, const qx_result *r);

/* "block:tree" -> "trees within blocks"; "residual" -> what is left. */
const char *qx_words_path(qx_doc *doc, const char *path);

/* "length (cm)" */
const char *qx_words_heading(qx_doc *doc, const qx_result *r);

/* "tree" -> "trees", "branch" -> "branches" */
const char *qx_words_plural(qx_doc *doc, const char *noun);

/* The sentence of one difference. `level`: 0.95. */
const char *qx_words_difference(qx_doc *doc,
                                const qx_protocol *p,
                                const qx_result *r,
                                const qx_difference *d);

/* "higher", "lower", "differs, but too little to matter" ...: the verdict in a word. */
const char *qx_words_verdict(const qx_difference *d);

/* "with angle 30°", "in season 2025"; "on average with the other combinations" for a cell
 * without levels (an added control's rest). */
const char *qx_words_with(qx_doc *doc, const qx_protocol *p, const qx_cell *cell);

/* The same as the subject of a sentence: "angle 30°", "the average of the other
 * combinations". */
const char *qx_words_subject(qx_doc *doc, const qx_protocol *p, const qx_cell *cell);

/* "With pinch early: ", or "" for a difference that lies within nothing. */
const char *qx_words_head(qx_doc *doc, const qx_protocol *p, const qx_difference *d);

/* "about as many (0.90 to 1.1 times)", "2.4 times as many (1.4 to 4.3 times)", "46 % as many
 * (27 to 80 %)": a ratio with its limits (NAN: without), `as` "many" or "much"; `interval`
 * stands before the limits ("95 % interval "). */
const char *
qx_words_times(qx_doc *doc, const char *as, qx_back ratio, const char *interval);

/* What a pair without a verdict lacks, and what would mend it: ": no tree is a replicate ...". */
const char *qx_words_why_not(qx_doc *doc, const qx_difference *d);

/* Adjustment in words: "tukey" -> "Tukey, all pairs". */
const char *qx_words_adjust(const char *adjust);

/* What a sentence is about, before a colon: "Trunk growth with time winter". */
const char *qx_words_topic(qx_doc *doc,
                           const qx_protocol *p,
                           const qx_result *r,
                           const qx_difference *d);

#endif
