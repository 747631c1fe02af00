/* findings/small_error.h - an error that came out smaller than it can be. */
#ifndef QX_FINDINGS_SMALL_ERROR_H
#define QX_FINDINGS_SMALL_ERROR_H

#include "findings/work.h"

/* A note, once for a variate, where treatments are tested against units whose variance is
 * estimated below nil (model/unconstrained.h), with few degrees of freedom: over all trials
 * such tests keep their level, but in this one the error is too small. Needs the tests. */
qx_status qx_tell_small_error(qx_work *w);

#endif
