/* tests/unit/model/glmm_case.h - a case of tests/reference as a model of counts or shares:
 * as model_case.h, with the column of sizes. */
#ifndef QX_TESTS_GLMM_CASE_H
#define QX_TESTS_GLMM_CASE_H

#include "model/glmm.h"

#include "model_case.h"

/* The spec in the scratch of cx, to be changed by the test; `size` NULL: counts. */
qx_glmm_spec glmm_case_spec(qx_ctx *cx,
                            const reference_case *c,
                            const model_spelling *how,
                            const char *size,
                            const char *family);

qx_glmm *glmm_case_fit(qx_ctx *cx, const qx_glmm_spec *spec);

/* Number of a term of the design by its name; fails the test when it is not there. */
size_t glmm_case_term(const qx_glmm *fit, const char *name);

/* Holds what expected.csv has of coefficients ("coef.NAME.estimate", se, z or t, p), fit,
 * components ("varcomp.NAME"), tests ("lrt.TERM.chisq", df, p; "test.TERM.F"), means of the
 * link ("mean.TERM.LEVELS...") and differences ("diff.TERM.A-B...") against the fit, as far
 * as quantities begin with `section`. Gives how many were held. */
size_t glmm_case_check(qx_ctx *cx,
                       const reference_case *c,
                       const qx_glmm *fit,
                       const char *section);

#endif
