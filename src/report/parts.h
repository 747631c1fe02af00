/* report/parts.h - what the documents, tables and charts of one result ask of it. */
#ifndef QX_REPORT_PARTS_H
#define QX_REPORT_PARTS_H

#include "findings/findings.h"

/* Factors in a term: "pinch:angle" has two. */
size_t qx_term_factors(const char *term);

/* Does the term hold this factor? */
bool qx_term_has(const char *term, const char *factor);

/* What the name of a term says of its part: " (factorial part)", " (added control)" or "". */
const char *qx_term_part(const char *term);

/* The test of a term, or NULL. */
const qx_test_line *qx_result_test(const qx_result *r, const char *term);

/* The p that is told: the small-sample one where there is one. */
double qx_test_p(const qx_test_line *test);

/* Interactions that hold this factor and whose p is below alpha; the first, or NULL. */
const qx_test_line *
qx_result_interaction(const qx_result *r, const char *factor, double alpha);

/* Is the term told on its own: a single factor, or an interaction with p below alpha? The
 * cells of other interactions only repeat the averages. */
bool qx_result_matters(const qx_findings *f, const qx_result *r, const char *term);

/* Means of a term stand together: first and how many. 0 where there are none. */
size_t qx_result_means(const qx_result *r, const char *term, size_t *first);

/* Is any mean of the term known? */
bool qx_result_known(const qx_result *r, const char *term);

/* The k-th term that has means, in their order, or NULL. */
const char *qx_result_term(const qx_result *r, size_t k);

/* Number of the mean (of `count` from `first`) whose cell the data row belongs to, or
 * QX_NONE when a column is not there. `row` counts from 1. */
size_t qx_result_cell_of_row(
    const qx_findings *f, const qx_result *r, size_t first, size_t count, size_t row);

/* True when every level of the treatment is a number. */
bool qx_factor_numeric(const qx_protocol *p, const char *factor);

/* Shares, and shares of classes, are shown in per cent: 100; everything else: 1. */
double qx_result_scale(const qx_result *r);

/* Was it analysed on another scale than it was measured on? */
bool qx_result_transformed(const qx_result *r);

/* Are the numbers counts or shares as they were counted, not on a transformed scale? */
bool qx_result_counted(const qx_result *r);

/* Value on the scale that is shown: back from the scale of analysis, shares in per cent. */
double qx_result_shown(const qx_result *r, double y);

/* A mean and its limits on the scale that is shown. */
qx_back qx_mean_shown(const qx_result *r, const qx_mean *m);

#endif
