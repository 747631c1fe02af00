/* report/words_response.h - differences of counts, shares, grades and classes as sentences:
 * so many of 100, so many for each limb, never a logit. Inner part of words.c. */
#ifndef QX_REPORT_WORDS_RESPONSE_H
#define QX_REPORT_WORDS_RESPONSE_H

#include "findings/findings.h"
#include "report/doc.h"

/* The sentence of one pair. Of grades and classes: of the pair that `d` belongs to, all
 * classes in one sentence. */
const char *qx_words_response(qx_doc *doc,
                              const qx_protocol *p,
                              const qx_result *r,
                              const qx_difference *d);

/* The verdict of a pair: of grades and classes that of all classes together. */
qx_verdict qx_pair_verdict(const qx_result *r, const qx_difference *d);

/* "higher", "unsettled" ...: "differs" for classes without order. */
const char *qx_pair_word(const qx_result *r, const qx_difference *d);

/* Does the pair's sentence stand at this difference? (The first class speaks for all.) */
bool qx_pair_speaks(const qx_result *r, const qx_difference *d);

/* The same pair in another class (its number); NULL: not listed. */
const qx_difference *
qx_pair_in_class(const qx_result *r, const qx_difference *d, size_t class_);

/* The mean of a cell of this term, in this class (NULL: the only one); NULL: none. */
const qx_mean *qx_mean_of_cell(const qx_result *r,
                               const char *term,
                               const qx_cell *cell,
                               const char *class_);

#endif
