/* findings/checks_units.h - checks of whole units: trees or blocks that stand apart, their
 * distribution, and how much the findings lean on one of them (model/unit_residual.h). */
#ifndef QX_FINDINGS_CHECKS_UNITS_H
#define QX_FINDINGS_CHECKS_UNITS_H

#include "base/array.h"
#include "findings/work.h"

/* Adds to `checks` (qx_check_line), for every random unit: "odd unit" (the largest, p by
 * Bonferroni over its units), "shapiro-wilk units", "brown-forsythe units" where treatments
 * are put on it, and "influence" (the largest Cook's distance). Lists the five oddest units
 * of each in the result. */
qx_status qx_unit_checks_of(qx_work *w, qx_array *checks);

#endif
