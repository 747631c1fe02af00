/* tests/unit/base/test.h - the includes that every test of this folder needs, in the order
 * that cmocka wants. */
#ifndef QX_TESTS_BASE_TEST_H
#define QX_TESTS_BASE_TEST_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "support.h"

#define CTX_TEST(name)                                                                   \
    cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)

#endif
