/* store/covariates.h - which covariates of the protocol have no value yet in a trial file. */
#ifndef QX_STORE_COVARIATES_H
#define QX_STORE_COVARIATES_H

#include "store/trial_file.h"

/* A note for each covariate without any value, when something that needs it has values: that
 * variate cannot be analysed before. Errors: those of trial_file.h. */
qx_status qx_covariates_note(qx_ctx *cx,
                             qx_trial_file *file,
                             const qx_protocol *protocol,
                             qx_problems *problems);

#endif
