#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <ftw.h>
#include <unistd.h>

#include "base/decimal.h"
#include "support.h"

/* Allocations after which a walk is taken for one that never ends. */
#define WALK_MOST 1000000

static double read_expected(const char *expected)
{
    double value = 0;
    if (!qx_decimal_read(expected, strlen(expected), '.', &value, NULL)) {
        fail_msg("the test expects \"%s\", which is not a number", expected);
    }
    return value;
}

bool near_relative(double got, double want, double relative)
{
    if (got == want) {
        return true;
    }
    if (!isfinite(got) || !isfinite(want)) {
        return false;
    }
    return fabs(got - want) <= relative * fmax(fabs(got), fabs(want));
}

bool near_digits(double got, const char *expected, int digits)
{
    const double want = read_expected(expected);
    if (!isfinite(got)) {
        return false;
    }
    if (want == 0) {
        return got == 0;
    }
    return fabs(got - want) <= 0.5 * pow(10, 1 - digits) * fabs(want);
}

/* Power of ten of the last printed digit. */
static int last_place(const char *expected)
{
    const size_t mantissa = strcspn(expected, "eE");
    const char *point = memchr(expected, '.', mantissa);
    const int decimals = point == NULL ? 0 : (int)(expected + mantissa - point - 1);
    const int exponent =
        expected[mantissa] == '\0' ? 0 : (int)strtol(expected + mantissa + 1, NULL, 10);
    return exponent - decimals;
}

bool near_printed(double got, const char *expected)
{
    const double want = read_expected(expected);
    /* The half itself is allowed, with the rounding of one subtraction. */
    const double half = 0.5 * pow(10, last_place(expected)) * (1 + 1e-9);
    return isfinite(got) && fabs(got - want) <= half;
}

void assert_digits_at(
    double got, const char *expected, int digits, const char *file, int line)
{
    if (!near_digits(got, expected, digits)) {
        print_error(
            "%.17g differs from %s in its first %d digits\n", got, expected, digits);
        _fail(file, line);
    }
}

void assert_printed_at(double got, const char *expected, const char *file, int line)
{
    if (!near_printed(got, expected)) {
        print_error("%.17g does not round to the printed %s\n", got, expected);
        _fail(file, line);
    }
}

void assert_near_at(double got, double want, double relative, const char *file, int line)
{
    if (!near_relative(got, want, relative)) {
        print_error("%.17g is not within %g of %.17g\n", got, relative, want);
        _fail(file, line);
    }
}

int support_ctx_new(void **state)
{
    *state = qx_ctx_new();
    return *state == NULL ? -1 : 0;
}

int support_ctx_free(void **state)
{
    qx_ctx_free(*state);
    return 0;
}

void assert_ok_at(qx_ctx *cx, qx_status status, const char *file, int line)
{
    if (status != QX_OK) {
        print_error("%s: %s\n", qx_status_text(status), qx_ctx_message(cx));
        _fail(file, line);
    }
}

void assert_fails_at(qx_ctx *cx,
                     qx_status got,
                     qx_status expected,
                     const char *part,
                     const char *file,
                     int line)
{
    if (got != expected) {
        print_error("got \"%s\" (%s), expected \"%s\"\n",
                    qx_status_text(got),
                    qx_ctx_message(cx),
                    qx_status_text(expected));
        _fail(file, line);
    }
    if (strstr(qx_ctx_message(cx), part) == NULL) {
        print_error("\"%s\" does not say \"%s\"\n", qx_ctx_message(cx), part);
        _fail(file, line);
    }
    qx_ctx_clear(cx);
}

size_t fail_each_allocation(support_work *work, void *given)
{
    for (size_t n = 1; n < WALK_MOST; n++) {
        qx_ctx *cx = qx_ctx_new();
        assert_non_null(cx);
        qx_arena_fail_after(n);
        const qx_status status = work(cx, given);
        qx_arena_fail_after(0);
        if (status == QX_OK) {
            qx_ctx_free(cx);
            return n - 1;
        }
        if (status != QX_E_NOMEM) {
            fail_msg("allocation %zu failed and gave \"%s\" (%s)",
                     n,
                     qx_status_text(status),
                     qx_ctx_message(cx));
        }
        qx_ctx_free(cx);
    }
    fail_msg("no end after %d allocations", WALK_MOST);
    return 0;
}

char *support_folder_new(void)
{
    const char *base = getenv("TMPDIR");
    const char pattern[] = "/quincunx-test-XXXXXX";
    base = base == NULL || *base == '\0' ? "/tmp" : base;
    char *folder = malloc(strlen(base) + sizeof pattern);
    assert_non_null(folder);
    memcpy(folder, base, strlen(base));
    memcpy(folder + strlen(base), pattern, sizeof pattern);
    assert_non_null(mkdtemp(folder));
    return folder;
}

static int
remove_one(const char *path, const struct stat *about, int kind, struct FTW *at)
{
    (void)about;
    (void)kind;
    (void)at;
    return remove(path);
}

void support_folder_free(char *folder)
{
    (void)nftw(folder, remove_one, 16, FTW_DEPTH | FTW_PHYS);
    free(folder);
}
