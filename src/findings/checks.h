/* findings/checks.h - are the assumptions of the analysis met, which trees are odd, and
 * what would a trained adviser do next. Nothing is ever deleted. */
#ifndef QX_FINDINGS_CHECKS_H
#define QX_FINDINGS_CHECKS_H

#include "findings/work.h"

/* A check is remarkable below this p. */
#define QX_CHECK_ALPHA 0.05

/* Fills result->check, result->residual and result->point. */
qx_status qx_checks_of(qx_work *w);

#endif
