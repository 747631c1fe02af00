/* base/decimal.h - decimal text to numbers and back, never by locale.
 *
 * A decimal is coefficient x 10^-scale, exactly as a person typed it: "12.50" is 1250
 * with scale 2, and prints as "12.50" again. Up to 18 significant digits are exact; a
 * longer or an exponent form ("1e-5") is kept when it fits, else it is `inexact` and
 * only the correctly rounded double is meant.
 * Differences of decimals are formed in integers and rounded once, so that data such as
 * 1000000000000.4 lose nothing to their large mean (numeric/sums.h). */
#ifndef QX_BASE_DECIMAL_H
#define QX_BASE_DECIMAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/status.h"

typedef struct qx_decimal {
    int64_t coefficient;
    int8_t scale; /* -18 ... 18; QX_DECIMAL_INEXACT: only a double is known */
} qx_decimal;

#define QX_DECIMAL_INEXACT ((int8_t)127)

/* Reads all of `text` (length bytes): optional sign, digits, optional point and digits,
 * optional exponent. `point` is '.' or ','. False if it is anything else (also "inf",
 * "nan", hexadecimal, empty, spaces). `value` is the correctly rounded double. `exact`
 * may be NULL. A number beyond double's range is false. */
QX_API bool qx_decimal_read(
    const char *text, size_t length, char point, double *value, qx_decimal *exact);

/* a - b, rounded once. Both must be exact. */
QX_API double qx_decimal_minus(qx_decimal a, qx_decimal b);

/* The number a decimal stands for, correctly rounded. */
QX_API double qx_decimal_value(qx_decimal a);

/* The text it came with ("12.50"), in `arena`. NULL: no memory. */
QX_API char *qx_decimal_text(qx_arena *arena, qx_decimal a);

/* Buffer for any of the writers below. */
#define QX_NUMBER_ROOM 400

/* Seventeen significant digits, shortest that reads back exactly; "null" for not-a-number
 * and infinities (JSON). Returns `out`. */
QX_API const char *qx_number_exact(double x, char out[QX_NUMBER_ROOM]);

/* Fixed number of decimals, rounded half away from zero on the decimal expansion; "-0"
 * never appears; "–" for not-a-number. Returns `out`. */
QX_API const char *qx_number_fixed(double x, int decimals, char out[QX_NUMBER_ROOM]);

/* `digits` significant digits, fixed notation between 1e-4 and 1e15, else exponent.
 * "–" for not-a-number. Returns `out`. */
QX_API const char *qx_number_significant(double x, int digits, char out[QX_NUMBER_ROOM]);

/* The same for sentences (digits 0: as short as it reads back): fixed notation between 1e-9
 * and 1e15, beyond it "3.5 × 10⁻¹²"; the minus is U+2212, which screen readers speak.
 * Returns `out`. */
QX_API const char *qx_number_spoken(double x, int digits, char out[QX_NUMBER_ROOM]);

#endif
