/* findings/tests_of.h - fixed terms tested against the variation of the units that they
 * were put on, the lines left over in each stratum, coefficients and contrasts. */
#ifndef QX_FINDINGS_TESTS_OF_H
#define QX_FINDINGS_TESTS_OF_H

#include "findings/work.h"

qx_status qx_tests_of(qx_work *w);        /* result->test */
qx_status qx_coefficients_of(qx_work *w); /* result->coefficient */
qx_status qx_contrasts_of(qx_work *w);    /* result->contrast */
qx_status qx_variance_of(qx_work *w);     /* result->variance */

/* The unit against whose variation a term is tested: its stratum in a balanced layout,
 * else the lowest unit that one of its treatments is put on; NULL where nobody knows. */
const char *qx_unit_of_test(const qx_work *w, size_t term);

/* A note on random term i whose variance came out at zero, in the words of the orchard. */
qx_status qx_tell_zero(qx_work *w, size_t i);

/* Completes a line of which name, of and compares are set: the estimate of row'beta, its test
 * (also as few units allow), limits and verdict. */
qx_status qx_contrast_told(qx_work *w,
                           const double row[],
                           const qx_estimate *e,
                           qx_contrast_line *line);

#endif
