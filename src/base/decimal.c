/* base/decimal.c - reading.
 *
 * The C library rounds correctly but looks at the locale for the decimal point. We hand
 * it digits and an exponent without a point ("1250e-2"), which every locale reads alike.
 * Writing is in decimal_write.c. */
#include "base/decimal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* More significant digits than this cannot change the double, but for whether anything
 * but zeros follows (the longest exact midpoint between doubles has 767). */
#define DIGITS_MOST 800
/* Digits that are kept exactly. */
#define EXACT_DIGITS 18
#define SCALE_MOST   18
/* Beyond any double, and far from overflow when added up. */
#define EXPONENT_MOST 100000

/* What a text says: 0.d1d2d3... is not used; it is the integer d1d2d3... x 10^exponent. */
struct reading {
    char digits[DIGITS_MOST + 2]; /* no leading zeros; room for a sticky digit and NUL */
    size_t count;
    bool more; /* a non-zero digit was left out */
    bool negative;
    int64_t exponent;
};

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static void take_digit(struct reading *r, char digit, bool after_point)
{
    const bool leading_zero = r->count == 0 && digit == '0';
    if (!leading_zero && r->count < DIGITS_MOST) {
        r->digits[r->count++] = digit;
        r->exponent -= after_point ? 1 : 0;
        return;
    }
    if (leading_zero) {
        r->exponent -= after_point ? 1 : 0;
        return;
    }
    r->more = r->more || digit != '0';
    r->exponent += after_point ? 0 : 1;
}

/* Digits and point; the position after them, or NULL when there is no digit where one
 * must be. ".5" is read; "5." is not: a number that was cut short looks like that. */
static const char *
take_mantissa(struct reading *r, const char *c, const char *end, char point)
{
    const char *start = c;
    for (; c < end && is_digit(*c); c++) {
        take_digit(r, *c, false);
    }
    if (c < end && *c == point) {
        c++;
        start = c;
        for (; c < end && is_digit(*c); c++) {
            take_digit(r, *c, true);
        }
    }
    return c == start ? NULL : c;
}

static const char *take_exponent(struct reading *r, const char *c, const char *end)
{
    if (c == end || (*c != 'e' && *c != 'E')) {
        return c;
    }
    c++;
    bool negative = false;
    if (c < end && (*c == '+' || *c == '-')) {
        negative = *c == '-';
        c++;
    }
    const char *start = c;
    int64_t exponent = 0;
    for (; c < end && is_digit(*c); c++) {
        if (exponent < (int64_t)1 << 50) {
            exponent = exponent * 10 + (*c - '0');
        }
    }
    r->exponent += negative ? -exponent : exponent;
    return c == start ? NULL : c;
}

static bool take(struct reading *r, const char *text, size_t length, char point)
{
    const char *c = text;
    const char *end = text + length;
    if (c < end && (*c == '+' || *c == '-')) {
        r->negative = *c == '-';
        c++;
    }
    c = take_mantissa(r, c, end, point);
    if (c != NULL) {
        c = take_exponent(r, c, end);
    }
    return c != NULL && c == end;
}

/* digits x 10^exponent by the C library; no point, so no locale. */
static double by_library(const char *digits, int64_t exponent)
{
    char text[DIGITS_MOST + 32];
    const int64_t most = EXPONENT_MOST;
    const int64_t clipped = exponent > most ? most : exponent < -most ? -most : exponent;
    (void)snprintf(text, sizeof text, "%se%d", digits, (int)clipped);
    return strtod(text, NULL);
}

/* Exact operands and one rounding, so correctly rounded: Clinger 1990, PLDI '90:92-101.
 * False outside the range where that holds. */
static bool by_one_operation(int64_t coefficient, int64_t exponent, double *value)
{
    static const double powers[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                    1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                    1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
    const int64_t exact_most = (int64_t)1 << 53;
    const int64_t last = (int64_t)QX_COUNT(powers) - 1;
    if (coefficient > exact_most || coefficient < -exact_most || exponent > last ||
        exponent < -last) {
        return false;
    }
    const double c = (double)coefficient;
    *value = exponent < 0 ? c / powers[-exponent] : c * powers[exponent];
    return true;
}

static int64_t to_integer(const char *digits, size_t count)
{
    int64_t value = 0;
    for (size_t i = 0; i < count; i++) {
        value = value * 10 + (digits[i] - '0');
    }
    return value;
}

static qx_decimal to_decimal(const struct reading *r)
{
    size_t count = r->count;
    int64_t scale = -r->exponent;
    while (count > EXACT_DIGITS && r->digits[count - 1] == '0') {
        count--;
        scale--;
    }
    if (count == 0) {
        /* A zero keeps its decimals where they have room. */
        const bool fits = scale >= 0 && scale <= SCALE_MOST;
        return (qx_decimal){0, (int8_t)(fits ? scale : 0)};
    }
    if (r->more || count > EXACT_DIGITS || scale > SCALE_MOST || scale < -SCALE_MOST) {
        return (qx_decimal){0, QX_DECIMAL_INEXACT};
    }
    const int64_t size = to_integer(r->digits, count);
    return (qx_decimal){r->negative ? -size : size, (int8_t)scale};
}

static double to_double(struct reading *r)
{
    double value = 0;
    if (r->count == 0) {
        return 0;
    }
    if (r->count > EXACT_DIGITS ||
        !by_one_operation(to_integer(r->digits, r->count), r->exponent, &value)) {
        int64_t exponent = r->exponent;
        if (r->more) {
            /* Any digit will do: it only says that the rest was not zero. */
            r->digits[r->count++] = '1';
            exponent--;
        }
        r->digits[r->count] = '\0';
        value = by_library(r->digits, exponent);
    }
    return r->negative ? -value : value;
}

bool qx_decimal_read(
    const char *text, size_t length, char point, double *value, qx_decimal *exact)
{
    struct reading r; /* its digits are not cleared: this is called for every cell */
    r.count = 0;
    r.more = false;
    r.negative = false;
    r.exponent = 0;
    if (!take(&r, text, length, point)) {
        return false;
    }
    const qx_decimal decimal = to_decimal(&r);
    const bool zero = r.count == 0;
    const double x = to_double(&r);
    if (!isfinite(x) || (x == 0 && !zero)) {
        return false;
    }
    *value = x;
    if (exact != NULL) {
        *exact = decimal;
    }
    return true;
}

double qx_decimal_value(qx_decimal a)
{
    QX_ASSERT(a.scale != QX_DECIMAL_INEXACT);
    double value = 0;
    if (!by_one_operation(a.coefficient, -a.scale, &value)) {
        char digits[24];
        (void)snprintf(digits, sizeof digits, "%lld", (long long)a.coefficient);
        value = by_library(digits, -a.scale);
    }
    return value;
}

/* Digits of a coefficient with zeros behind them; returns their number. Nought stays one
 * digit, so that the longer of two is the larger. */
static size_t shifted_digits(int64_t size, size_t zeros, char out[64])
{
    zeros = size == 0 ? 0 : zeros;
    const int count = snprintf(out, 64, "%lld", (long long)size);
    memset(out + count, '0', zeros);
    out[(size_t)count + zeros] = '\0';
    return (size_t)count + zeros;
}

/* The larger (or equal) minus the smaller, as decimal digits in place of the larger. */
static void take_away(char *larger, size_t n, const char *smaller, size_t m)
{
    int borrow = 0;
    for (size_t i = 0; i < n; i++) {
        const int other = i < m ? smaller[m - 1 - i] - '0' : 0;
        const int digit = larger[n - 1 - i] - '0' - other - borrow;
        borrow = digit < 0 ? 1 : 0;
        larger[n - 1 - i] = (char)('0' + digit + borrow * 10);
    }
}

static void add_to(char *sum, size_t n, const char *other, size_t m)
{
    int carry = 0;
    for (size_t i = 0; i < n; i++) {
        const int digit =
            sum[n - 1 - i] - '0' + (i < m ? other[m - 1 - i] - '0' : 0) + carry;
        carry = digit / 10;
        sum[n - 1 - i] = (char)('0' + digit % 10);
    }
}

static int64_t size_of(int64_t coefficient)
{
    return coefficient < 0 ? -coefficient : coefficient;
}

/* a - b with both written out to the same scale (at most 18 + 36 digits), so that it is
 * rounded once, by the reader of the result. */
static double minus_in_digits(qx_decimal a, qx_decimal b)
{
    const int scale = a.scale > b.scale ? a.scale : b.scale;
    /* A leading zero is room for a carry. */
    char da[65] = "0";
    char db[65] = "0";
    const size_t na =
        shifted_digits(size_of(a.coefficient), (size_t)(scale - a.scale), da + 1);
    const size_t nb =
        shifted_digits(size_of(b.coefficient), (size_t)(scale - b.scale), db + 1);
    const bool negative_a = a.coefficient < 0;
    const bool a_larger = na != nb ? na > nb : strcmp(da, db) >= 0;
    char *larger = a_larger ? da : db;
    const char *smaller = a_larger ? db : da;
    const size_t n = (a_larger ? na : nb) + 1;
    const size_t m = (a_larger ? nb : na) + 1;
    if (negative_a == (b.coefficient < 0)) {
        take_away(larger, n, smaller, m);
    } else {
        add_to(larger, n, smaller, m);
    }
    const double size = by_library(larger, -scale);
    /* The sign of the larger term decides; b enters with its sign turned. */
    const bool negative = a_larger ? negative_a : b.coefficient > 0;
    return negative && size != 0 ? -size : size;
}

double qx_decimal_minus(qx_decimal a, qx_decimal b)
{
    QX_ASSERT(a.scale != QX_DECIMAL_INEXACT && b.scale != QX_DECIMAL_INEXACT);
    if (a.scale == b.scale) {
        /* Each has at most 18 digits, so the difference fits. */
        return qx_decimal_value((qx_decimal){a.coefficient - b.coefficient, a.scale});
    }
    return minus_in_digits(a, b);
}

char *qx_decimal_text(qx_arena *arena, qx_decimal a)
{
    QX_ASSERT(a.scale != QX_DECIMAL_INEXACT);
    const bool negative = a.coefficient < 0;
    const int64_t size = size_of(a.coefficient);
    char digits[64];
    const size_t count = shifted_digits(size, a.scale < 0 ? (size_t)-a.scale : 0, digits);
    const char *sign = negative ? "-" : "";
    if (a.scale <= 0) {
        return qx_arena_printf(arena, "%s%s", sign, size == 0 ? "0" : digits);
    }
    const size_t scale = (size_t)a.scale;
    if (count > scale) {
        const int whole = (int)(count - scale);
        return qx_arena_printf(arena, "%s%.*s.%s", sign, whole, digits, digits + whole);
    }
    static const char zeros[] = "000000000000000000";
    return qx_arena_printf(
        arena, "%s0.%.*s%s", sign, (int)(scale - count), zeros, digits);
}
