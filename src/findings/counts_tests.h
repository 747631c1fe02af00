/* findings/counts_tests.h - tests of whole terms for counts and shares. */
#ifndef QX_FINDINGS_COUNTS_TESTS_H
#define QX_FINDINGS_COUNTS_TESTS_H

#include "findings/work.h"
#include "model/glmm.h"

/* result->test: likelihood ratio (contract rule 11), marginal or sequential, with the
 * small-sample p beside it. */
qx_status qx_counts_tests_of(qx_work *w, const qx_glmm *fit);

#endif
