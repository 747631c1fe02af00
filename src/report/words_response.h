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

#endif
