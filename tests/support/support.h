/* tests/support/support.h - what the tests of every folder share.
 *
 * Needs stdarg.h, stddef.h, stdint.h, setjmp.h and cmocka.h before it.
 *
 * assert_digits(got, "123.456", 6)  agrees in 6 significant digits: the relative error is
 *                                   at most half a unit of the 6th
 * assert_printed(got, "2.36")       rounds to what was printed: at most half a unit of the
 *                                   last printed digit
 * assert_near(got, want, 1e-10)     relative to the larger of the two; 0 only equals 0
 *
 * All three fail for not-a-number, whatever was expected. */
#ifndef QX_TESTS_SUPPORT_H
#define QX_TESTS_SUPPORT_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/ctx.h"

/* The bare comparisons, for the tests of the tests. */
bool near_digits(double got, const char *expected, int digits);
bool near_printed(double got, const char *expected);
bool near_relative(double got, double want, double relative);

void assert_digits_at(
    double got, const char *expected, int digits, const char *file, int line);
void assert_printed_at(double got, const char *expected, const char *file, int line);
void assert_near_at(double got, double want, double relative, const char *file, int line);

#define assert_digits(got, expected, digits)                                             \
    assert_digits_at((got), (expected), (digits), __FILE__, __LINE__)
#define assert_printed(got, expected)                                                    \
    assert_printed_at((got), (expected), __FILE__, __LINE__)
#define assert_near(got, want, relative)                                                 \
    assert_near_at((got), (want), (relative), __FILE__, __LINE__)

/* cmocka fixtures: *state is a fresh qx_ctx. */
int support_ctx_new(void **state);
int support_ctx_free(void **state);

/* Fails with the message of the context unless `status` is QX_OK. */
void assert_ok_at(qx_ctx *cx, qx_status status, const char *file, int line);
#define assert_ok(cx, status) assert_ok_at((cx), (status), __FILE__, __LINE__)

/* The call must fail in this way, with `part` in its message; then forgets the failure. */
void assert_fails_at(qx_ctx *cx,
                     qx_status got,
                     qx_status expected,
                     const char *part,
                     const char *file,
                     int line);
#define assert_fails(cx, got, expected, part)                                            \
    assert_fails_at((cx), (got), (expected), (part), __FILE__, __LINE__)

/* Runs `work` again and again, failing its first, second, ... allocation, until it gets
 * through; each failed run must say QX_E_NOMEM. `work` gets a fresh context every time
 * (made without failures). Gives the number of allocations that were failed. Under the
 * sanitizers this shows leaks and wild reads on every such path.
 * Idea: CSparse, Tcov (Davis 2006, Direct Methods for Sparse Linear Systems). */
typedef qx_status support_work(qx_ctx *cx, void *given);
size_t fail_each_allocation(support_work *work, void *given);

/* An empty folder for the files of one test, removed with all that is in it. */
char *support_folder_new(void); /* free with support_folder_free */
void support_folder_free(char *folder);

#endif
