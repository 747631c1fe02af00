/* report/pairs.h - what belongs to a pair of levels: its verdict over all classes of grades and
 * classes, and the means behind it. */
#ifndef QX_REPORT_PAIRS_H
#define QX_REPORT_PAIRS_H

#include "findings/findings.h"

/* The verdict of a pair: of grades and classes that of all classes together. */
qx_verdict qx_pair_verdict(const qx_result *r, const qx_difference *d);

/* "higher", "unsettled" ...: "differs" for classes without order. */
const char *qx_pair_word(const qx_result *r, const qx_difference *d);

/* Does the pair's sentence stand at this difference? (The first class speaks for all.) */
bool qx_pair_speaks(const qx_result *r, const qx_difference *d);

/* The same pair in another class (its number); NULL: not listed. */
const qx_difference *
qx_pair_in_class(const qx_result *r, const qx_difference *d, size_t class_);

/* The mean behind one side of a pair (`cell`: its first or second), of its class; for effects
 * inside a level that of the interaction. NULL: there is none. */
const qx_mean *
qx_mean_of_pair(const qx_result *r, const qx_difference *d, const qx_cell *cell);

/* Both means on the scale that was measured; false (and not-a-number) when one is not known. */
bool qx_pair_means(const qx_result *r,
                   const qx_difference *d,
                   double *first,
                   double *second);

/* Have the classes an order (grades)? */
bool qx_classes_ordered(const qx_result *r);

#endif
