/* tests/unit/model/model_case.h - a case of tests/reference as a model: factors from the
 * columns of its data, terms spelled as in its SOURCE.md.
 *
 *     {"splitplot-oats", "yield", "variety nitrogen variety:nitrogen", "block block:variety"}
 *
 * Levels: numbers ascending, text in C order, as the cases' README says. A random term is
 * every combination of the columns that its name joins. */
#ifndef QX_TESTS_MODEL_CASE_H
#define QX_TESTS_MODEL_CASE_H

#include "model/lmm.h"

#include "reference_case.h"

typedef double model_transform(double);

typedef struct model_spelling {
    const char *name, *response, *fixed, *random;
    model_transform *transform; /* of the response; NULL: as it is */
} model_spelling;

/* The spec, its frame and data in the scratch of cx. Covariates: a fixed term whose column
 * is named after "~" ("~before"). */
qx_lmm_spec
model_case_spec(qx_ctx *cx, const reference_case *c, const model_spelling *how);

/* Number of a factor of the frame; fails the test when it is not there. */
size_t model_case_factor(const qx_frame *frame, const char *name);
size_t model_case_level(const qx_factor *factor, const char *level);

#endif
