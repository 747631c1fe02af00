/* base/decimal_write.c - doubles to text.
 *
 * Every writer starts from the shortest decimal of 15 to 17 digits that reads back, so
 * that 2.675 is rounded as the 2.675 that a person sees and not as the binary neighbour
 * just below it. The C library's point is cut out wherever it stands, so the locale does
 * not matter. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/decimal.h"

#define DIGITS_ROOM 24
/* Decimals and digits that a caller may ask for; more would be noise. */
#define DECIMALS_MOST 60
#define DIGITS_MOST   17

static const char not_a_number[] = "–";

/* 0.d1d2d3... x 10^point, no trailing zeros; zero has no digits and point 0. */
struct expansion {
    char digits[DIGITS_ROOM];
    int count;
    int point;
    bool negative;
};

/* Takes "d<point>ddde<sign>xx" apart. */
static void split(const char *text, struct expansion *e)
{
    e->count = 0;
    const char *c = text;
    for (; *c != 'e'; c++) {
        if (*c >= '0' && *c <= '9') {
            e->digits[e->count++] = *c;
        }
    }
    e->digits[e->count] = '\0';
    c++;
    const bool negative = *c == '-';
    int exponent = 0;
    for (c++; *c != '\0'; c++) {
        exponent = exponent * 10 + (*c - '0');
    }
    e->point = (negative ? -exponent : exponent) + 1;
}

static bool reads_back(const struct expansion *e, double x)
{
    char text[DIGITS_ROOM + 16];
    (void)snprintf(text, sizeof text, "%se%d", e->digits, e->point - e->count);
    double value = 0;
    return qx_decimal_read(text, strlen(text), '.', &value, NULL) && value == x;
}

static void trim(struct expansion *e)
{
    while (e->count > 0 && e->digits[e->count - 1] == '0') {
        e->count--;
    }
    e->digits[e->count] = '\0';
    if (e->count == 0) {
        e->point = 0;
    }
}

static struct expansion expand(double x)
{
    struct expansion e = {.count = 0};
    const double size = fabs(x);
    if (size != 0) {
        char text[64];
        for (int digits = 15; digits <= 17; digits++) {
            (void)snprintf(text, sizeof text, "%.*e", digits - 1, size);
            split(text, &e);
            if (reads_back(&e, size)) {
                break;
            }
        }
    }
    trim(&e);
    e.negative = x < 0;
    return e;
}

/* Keeps the first `keep` digits, half away from zero. */
static void round_to(struct expansion *e, int keep)
{
    if (keep >= e->count) {
        return;
    }
    const bool up = keep >= 0 && e->digits[keep] >= '5';
    e->count = keep < 0 ? 0 : keep;
    int i = e->count - 1;
    while (up && i >= 0 && e->digits[i] == '9') {
        e->digits[i] = '0';
        i--;
    }
    if (up && i >= 0) {
        e->digits[i] = (char)(e->digits[i] + 1);
    } else if (up) {
        e->digits[0] = '1';
        e->count = 1;
        e->point++;
    }
    trim(e);
}

static char digit_at(const struct expansion *e, int place)
{
    const int i = e->point - 1 - place;
    return (char)(i >= 0 && i < e->count ? e->digits[i] : '0');
}

/* Fixed notation with `decimals` digits after the point. */
static void put_fixed(const struct expansion *e, int decimals, char *out)
{
    if (e->negative && e->count > 0) {
        *out++ = '-';
    }
    for (int place = e->point > 1 ? e->point - 1 : 0; place >= 0; place--) {
        *out++ = digit_at(e, place);
    }
    if (decimals > 0) {
        *out++ = '.';
    }
    for (int place = -1; place >= -decimals; place--) {
        *out++ = digit_at(e, place);
    }
    *out = '\0';
}

/* d.ddde-7 with `digits` significant digits. */
static void put_exponent(const struct expansion *e, int digits, char *out)
{
    if (e->negative) {
        *out++ = '-';
    }
    *out++ = e->digits[0];
    if (digits > 1) {
        *out++ = '.';
    }
    for (int i = 1; i < digits; i++) {
        *out++ = (char)(i < e->count ? e->digits[i] : '0');
    }
    (void)snprintf(out, 16, "e%d", e->point - 1);
}

static bool put_special(double x, char *out)
{
    if (isfinite(x)) {
        return false;
    }
    const char *word = isnan(x) ? not_a_number : x > 0 ? "∞" : "-∞";
    memcpy(out, word, strlen(word) + 1);
    return true;
}

static int clip(int value, int least, int most)
{
    return value < least ? least : value > most ? most : value;
}

const char *qx_number_exact(double x, char out[QX_NUMBER_ROOM])
{
    if (!isfinite(x)) {
        memcpy(out, "null", 5);
        return out;
    }
    const struct expansion e = expand(x);
    if (e.point < -4 || e.point > 17) {
        put_exponent(&e, e.count, out);
    } else {
        put_fixed(&e, e.count > e.point ? e.count - e.point : 0, out);
    }
    return out;
}

const char *qx_number_fixed(double x, int decimals, char out[QX_NUMBER_ROOM])
{
    if (put_special(x, out)) {
        return out;
    }
    const int shown = clip(decimals, 0, DECIMALS_MOST);
    struct expansion e = expand(x);
    round_to(&e, e.point + shown);
    put_fixed(&e, shown, out);
    return out;
}

const char *qx_number_significant(double x, int digits, char out[QX_NUMBER_ROOM])
{
    if (put_special(x, out)) {
        return out;
    }
    const int shown = clip(digits, 1, DIGITS_MOST);
    struct expansion e = expand(x);
    round_to(&e, shown);
    if (e.count == 0) {
        put_fixed(&e, 0, out);
    } else if (e.point < -3 || e.point > 15) {
        put_exponent(&e, shown, out);
    } else {
        put_fixed(&e, shown > e.point ? shown - e.point : 0, out);
    }
    return out;
}

#define MINUS         "\xe2\x88\x92"
#define SPOKEN_PLACES 9 /* noughts behind the point that still read */

/* "⁻¹²" */
static char *put_superscript(int x, char *out)
{
    static const char *const digit[] = {"\xe2\x81\xb0",
                                        "\xc2\xb9",
                                        "\xc2\xb2",
                                        "\xc2\xb3",
                                        "\xe2\x81\xb4",
                                        "\xe2\x81\xb5",
                                        "\xe2\x81\xb6",
                                        "\xe2\x81\xb7",
                                        "\xe2\x81\xb8",
                                        "\xe2\x81\xb9"};
    char text[16];
    (void)snprintf(text, sizeof text, "%d", x);
    for (const char *c = text; *c != '\0'; c++) {
        const char *sign = *c == '-' ? "\xe2\x81\xbb" : digit[*c - '0'];
        memcpy(out, sign, strlen(sign) + 1);
        out += strlen(sign);
    }
    return out;
}

/* The number without its sign; `count` digits. */
static void put_spoken(const struct expansion *e, int count, char *out)
{
    if (e->point > 15 || e->point <= -SPOKEN_PLACES) {
        put_exponent(e, count, out);
        char *power = strchr(out, 'e');
        memcpy(power, " \xc3\x97 10", sizeof " \xc3\x97 10");
        (void)put_superscript(e->point - 1, power + strlen(power));
    } else {
        put_fixed(e, count > e->point ? count - e->point : 0, out);
    }
}

const char *qx_number_spoken(double x, int digits, char out[QX_NUMBER_ROOM])
{
    if (isnan(x)) {
        (void)put_special(x, out);
        return out;
    }
    char *to = out;
    if (x < 0.0) {
        memcpy(to, MINUS, sizeof MINUS);
        to += sizeof MINUS - 1;
    }
    if (!put_special(fabs(x), to)) {
        struct expansion e = expand(fabs(x));
        const int shown = digits > 0 ? clip(digits, 1, DIGITS_MOST) : e.count;
        round_to(&e, shown);
        if (e.count == 0) {
            put_fixed(&e, 0, out); /* nought has no sign */
        } else {
            put_spoken(&e, shown, to);
        }
    }
    return out;
}
