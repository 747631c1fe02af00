/* tests/unit/model/reference_case.h - a case of tests/reference as arrays: the columns of
 * its data.csv and the quantities of its expected.csv with their tolerances (their source:
 * SOURCE.md beside them). Everything in the arena of the context; a missing file, column or
 * quantity fails the test. */
#ifndef QX_TESTS_REFERENCE_CASE_H
#define QX_TESTS_REFERENCE_CASE_H

#include <stdbool.h>
#include <stdint.h>

#include "base/ctx.h"

typedef struct reference_case reference_case;

reference_case *reference_open(qx_ctx *cx, const char *name);

size_t reference_rows(const reference_case *c);
const double *reference_numbers(const reference_case *c, const char *column);

/* Levels in order of their first row; *levels: how many. */
const uint32_t *
reference_codes(const reference_case *c, const char *column, size_t *levels);
const char *reference_level(const reference_case *c, const char *column, size_t level);

/* The text in row i (from 0) of a column. */
const char *reference_text(const reference_case *c, const char *column, size_t i);

/* The expected quantities one by one. */
size_t reference_count(const reference_case *c);
const char *reference_quantity(const reference_case *c, size_t i);

bool reference_has(const reference_case *c, const char *quantity);
double reference_value(const reference_case *c, const char *quantity);

/* Within the tolerance of the row (relative; absolute where 0 is expected); a quantity
 * that ends on "p" may also agree to 1e-10. */
bool reference_agrees(const reference_case *c, const char *quantity, double got);
void reference_assert(const reference_case *c, const char *quantity, double got);

#endif
