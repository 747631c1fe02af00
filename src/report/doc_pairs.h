/* report/doc_pairs.h - the pairs of one treatment, in the order of what they show. Inner
 * header. */
#ifndef QX_REPORT_DOC_PAIRS_H
#define QX_REPORT_DOC_PAIRS_H

#include "findings/findings.h"
#include "report/doc.h"

/* Larger is told earlier; 0: cannot be told. */
int qx_pair_strength(const qx_result *r, const qx_difference *d);

/* The differences of one factor from a list, strongest first; NULL: no memory. */
const qx_difference **qx_pairs_strongest(qx_doc *doc,
                                         const qx_result *r,
                                         const qx_difference from[],
                                         size_t all,
                                         const char *factor,
                                         size_t *count);

/* How many of a list in that order can be told: they stand first. */
size_t
qx_pairs_known(const qx_result *r, const qx_difference *const list[], size_t count);

/* Their sentences: 40 levels make 780 pairs, told by number, then the strongest few. Uses up
 * the list. */
void qx_doc_pairs(qx_doc *doc,
                  const qx_findings *f,
                  const qx_result *r,
                  const qx_difference *list[],
                  size_t count);

#endif
