/* tests/unit/model/classes_case.h - a case of tests/reference whose response is classes. */
#ifndef QX_TESTS_CLASSES_CASE_H
#define QX_TESTS_CLASSES_CASE_H

#include "model/classes.h"

#include "model_case.h"

/* The frame with the levels of a factor in this order instead. */
const qx_frame *classes_case_relevel(qx_ctx *cx,
                                     const qx_frame *frame,
                                     const char *name,
                                     size_t count,
                                     const char *const level[]);

/* Codes of the texts in a column; each must be one of `level`. */
const uint32_t *classes_case_codes(qx_ctx *cx,
                                   const reference_case *c,
                                   const char *column,
                                   size_t count,
                                   const char *const level[]);

/* The spec with frame and terms of `how`; its response column must be of numbers. */
qx_classes_spec
classes_case_spec(qx_ctx *cx, const reference_case *c, const model_spelling *how);

/* Wine: classes "1" ... "5", fixed "temp contact", random as given ("" or "judge"). */
qx_classes_spec
classes_case_wine(qx_ctx *cx, const reference_case *c, const char *random);

/* estimate and se of every coefficient against coef.NAME.estimate, .se after a prefix;
 * colons in our names are points in theirs. */
void classes_case_assert_coefs(const reference_case *c,
                               const char *prefix,
                               const qx_classes *fit);

/* Likelihood ratio test of a whole term. */
qx_classes_test classes_case_lrt(qx_ctx *cx, const qx_classes *fit, const char *term);

/* Row of the mean at levels of all factors of the fixed part, in their order. */
void classes_case_row(qx_ctx *cx,
                      const qx_classes *fit,
                      size_t count,
                      const char *const name[],
                      const char *const level[],
                      double row[]);

#endif
