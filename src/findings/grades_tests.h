/* findings/grades_tests.h - tests of whole terms for grades and classes, and whether the
 * grades move together. */
#ifndef QX_FINDINGS_GRADES_TESTS_H
#define QX_FINDINGS_GRADES_TESTS_H

#include "findings/work.h"
#include "model/classes.h"

/* The spec of this variate, and its fit by kind (qx_classes_free). */
qx_classes_spec qx_grades_spec(const qx_work *w);
qx_status qx_grades_fit(const qx_work *w, const qx_classes_spec *spec, qx_classes **out);

/* result->test: likelihood ratio, marginal or sequential, with the small-sample p. */
qx_status qx_grades_tests_of(qx_work *w, const qx_classes *fit);

/* The check "grades move together" (proportional odds), with advice. */
qx_status qx_grades_check(qx_work *w, const qx_classes *fit);

#endif
