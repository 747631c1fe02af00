/* report/doc_parts.h - the chapters of a report, each written by one file. Inner header.
 *
 *   doc_answer.c   the findings in sentences, strongest first (doc_pairs.c: the pairs)
 *   doc_journal.c  means as a horticultural journal lays them out
 *   doc_tables.c   differences, contrasts, tests, components
 *   doc_classical.c  the classical analysis of variance, efficiency of the blocking
 *   doc_contrast.c   planned contrasts as sentences
 *   doc_covariate.c  where means hold, slopes, differences at low and high values
 *   doc_dose.c     dose and response: the sentence and the table
 *   doc_method.c   how it was analysed, checks, cautions
 *   doc_report.c   all of it in order */
#ifndef QX_REPORT_DOC_PARTS_H
#define QX_REPORT_DOC_PARTS_H

#include "findings/findings.h"
#include "report/doc.h"

typedef struct qx_report_choice {
    bool charts;      /* false: no pictures, for a terminal */
    bool answer_only; /* question and findings in sentences, nothing else */
} qx_report_choice;

/* The whole report; NULL: no memory. Borrows texts of the findings. */
qx_doc *
qx_doc_report(qx_arena *arena, const qx_findings *f, const qx_report_choice *choice);

/* Sentences of one variate, grouped by treatment. */
void qx_doc_answer(qx_doc *doc, const qx_findings *f, const qx_result *r);

/* All variates beside each other: treatments as rows, tests at the foot. Adds nothing when
 * there is only one variate or too many. True when it was added. */
bool qx_doc_summary_table(qx_doc *doc, const qx_findings *f);

/* Tables of one variate: means, differences, contrasts, analysis of variance, components. */
void qx_doc_mean_tables(qx_doc *doc, const qx_findings *f, const qx_result *r);
void qx_doc_difference_tables(qx_doc *doc, const qx_findings *f, const qx_result *r);
void qx_doc_contrast_table(qx_doc *doc, const qx_findings *f, const qx_result *r);
void qx_doc_test_table(qx_doc *doc, const qx_findings *f, const qx_result *r);
void qx_doc_classical(qx_doc *doc, const qx_result *r);

/* What the blocking was worth, in sentences. */
void qx_doc_efficiency(qx_doc *doc, const qx_result *r);
void qx_doc_variance_table(qx_doc *doc, const qx_findings *f, const qx_result *r);

/* Neighbours in time and in the field (doc_correlation.c); nothing where none were asked. */
void qx_doc_correlation_table(qx_doc *doc, const qx_result *r);

/* Means of grades and classes: the shares of each in a table. */
void qx_doc_class_table(qx_doc *doc,
                        const qx_findings *f,
                        const qx_result *r,
                        const char *term);

/* Likelihood ratios of counts, shares and classes. */
void qx_doc_ratio_table(qx_doc *doc, const qx_findings *f, const qx_result *r);

/* How much units differ beyond chance, in a sentence; "" where nothing is known. */
const char *qx_doc_unit_words(qx_doc *doc, const qx_result *r);

/* Where the variation lies, in a sentence; "" where nothing is known. */
const char *qx_doc_variance_words(qx_doc *doc, const qx_findings *f, const qx_result *r);

/* The treatment's trend contrasts, as sentences. Gives how many. */
size_t
qx_doc_trends(qx_doc *doc, const qx_findings *f, const qx_result *r, const char *factor);

/* A factorial with an added control: the control against the rest under a heading of its own,
 * when `term` is the control's mean (false: it is not, or there is none). */
bool qx_doc_against(qx_doc *doc,
                    const qx_findings *f,
                    const qx_result *r,
                    const char *term);

/* Dose and response: the sentences of one treatment (false: there is none), averaged over the
 * other treatments or inside their levels, and the table of all. */
bool qx_doc_dose(qx_doc *doc,
                 const qx_findings *f,
                 const qx_result *r,
                 const char *factor,
                 bool inside);
void qx_doc_dose_table(qx_doc *doc, const qx_findings *f, const qx_result *r);

/* Planned contrasts with weights of one treatment, as sentences. */
void qx_doc_planned(qx_doc *doc,
                    const qx_findings *f,
                    const qx_result *r,
                    const char *factor);

/* Covariates: at which values means hold; at the differences of a factor whose levels have
 * slopes of their own, a warning and both ends; the tables. Nothing without covariates. */
void qx_doc_covariate_held(qx_doc *doc, const qx_result *r);
void qx_doc_covariate_slopes(qx_doc *doc,
                             const qx_findings *f,
                             const qx_result *r,
                             const char *factor);
void qx_doc_covariate_tables(qx_doc *doc, const qx_findings *f, const qx_result *r);

/* Limits of a contrast at the protocol's level: NAN without df. */
double qx_contrast_half(const qx_contrast_line *c);

void qx_doc_checks(qx_doc *doc, const qx_findings *f, const qx_result *r);
void qx_doc_model(qx_doc *doc, const qx_findings *f, const qx_result *r);
void qx_doc_method(qx_doc *doc, const qx_findings *f);
void qx_doc_cautions(qx_doc *doc, const qx_findings *f);

#endif
