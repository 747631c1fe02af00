/* tests/unit/numeric/test.h - the includes that every test of this folder needs, in the
 * order that cmocka wants. */
#ifndef QX_TESTS_NUMERIC_TEST_H
#define QX_TESTS_NUMERIC_TEST_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "support.h"

#define CTX_TEST(name)                                                                   \
    cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)

/* |got - want| <= room: where a relative comparison would have nothing to hold on to. */
#define assert_within(got, want, room) assert_true(fabs((got) - (want)) <= (room))

#endif
