/* findings/joint_test.h - a line of the tests from rows, whatever the kind of the variate. */
#ifndef QX_FINDINGS_JOINT_TEST_H
#define QX_FINDINGS_JOINT_TEST_H

#include "findings/work.h"

/* A line in which nothing is given yet but its name. */
qx_test_line qx_test_nothing(const char *term, const char *unit);

/* What few units change in a line whose ratio and degrees of freedom are known: the p for
 * few units, or none where there is no replicate (replicated.h). */
qx_status qx_test_few_units(qx_work *w, qx_mat L, double chisq, qx_test_line *line);

/* Tests L beta = 0 (L: r x design->p, full row rank) and fills the line's numbers, those
 * of few units included. */
qx_status qx_test_rows(qx_work *w, qx_mat L, qx_test_line *line);

#endif
