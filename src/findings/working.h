/* findings/working.h - the linear model that a model of counts, shares or grades is near to
 * (linearised.h), from its fit. */
#ifndef QX_FINDINGS_WORKING_H
#define QX_FINDINGS_WORKING_H

#include "findings/linearised.h"
#include "findings/work.h"
#include "model/classes.h"
#include "model/glmm.h"

/* In w->temporary; *out NULL where there is nothing to limit the df or too much data. */
qx_status qx_working_counts(qx_work *w,
                            const qx_glmm *fit,
                            const qx_glmm *told,
                            const qx_linearised **out);
qx_status
qx_working_classes(qx_work *w, const qx_classes *fit, const qx_linearised **out);

/* The same fit with its variances held at the restricted estimates; freed by its own free. */
qx_status qx_working_hold_counts(qx_ctx *cx,
                                 const qx_glmm *fit,
                                 const qx_linearised *l,
                                 qx_glmm **out);
qx_status qx_working_hold_classes(qx_ctx *cx,
                                  const qx_classes *fit,
                                  const qx_linearised *l,
                                  qx_classes **out);

#endif
