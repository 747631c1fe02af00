#include "report/rounding.h"

#include <math.h>
#include <string.h>

#include "base/decimal.h"

#define DECIMALS_MOST 12
/* Beyond these, fixed notation would be a row of noughts. */
#define FIXED_MOST  1e13
#define WHOLE_MOST  1000.0     /* a larger standard error asks for no single units */
#define EXACT_MOST  1e15       /* a double has no decimals left */
#define NO_BREAK    "\xc2\xa0" /* a number and its sign stay on one line */
#define DASH        "\xe2\x80\x93"
#define MINUS       "\xe2\x88\x92"
#define INFINITY_IS "\xe2\x88\x9e"

int qx_decimals_for(double se)
{
    if (!(se > 0.0) || isinf(se)) {
        return 3;
    }
    int decimals = 1 - (int)floor(log10(se));
    if (round(se * pow(10.0, decimals)) >= 100.0) {
        decimals--; /* 0.0998 has become 0.10 */
    }
    if (decimals < 0) {
        return se < WHOLE_MOST             ? 0
               : decimals < -DECIMALS_MOST ? -DECIMALS_MOST
                                           : decimals;
    }
    return decimals > DECIMALS_MOST ? DECIMALS_MOST : decimals;
}

/* The same number with a minus that is spoken and as wide as a digit. */
static const char *with_minus(qx_arena *arena, const char *number)
{
    return number[0] == '-' ? qx_arena_printf(arena, MINUS "%s", number + 1)
                            : qx_arena_copy(arena, number);
}

static const char *not_finite(qx_arena *arena, double x)
{
    if (isnan(x)) {
        return qx_arena_copy(arena, DASH);
    }
    return qx_arena_copy(arena, x > 0.0 ? INFINITY_IS : MINUS INFINITY_IS);
}

const char *qx_rounded(qx_arena *arena, double x, int decimals)
{
    char room[QX_NUMBER_ROOM];
    if (!isfinite(x)) {
        return not_finite(arena, x);
    }
    if (decimals < 0) {
        const double step = pow(10.0, -decimals);
        x = step * round(x / step);
        decimals = 0;
    }
    const double least = 0.5 * pow(10.0, -DECIMALS_MOST);
    if (fabs(x) >= FIXED_MOST && (decimals == 0 || fabs(x) >= EXACT_MOST)) {
        return qx_short_number(arena, x, 6);
    }
    if (decimals >= DECIMALS_MOST && x != 0.0 && fabs(x) < least) {
        return qx_short_number(arena, x, 2);
    }
    return with_minus(arena, qx_number_fixed(x, decimals, room));
}

const char *qx_plain_number(qx_arena *arena, double x)
{
    char room[QX_NUMBER_ROOM];
    return qx_arena_copy(arena, qx_number_spoken(x, 0, room));
}

const char *qx_short_number(qx_arena *arena, double x, int digits)
{
    char room[QX_NUMBER_ROOM];
    return qx_arena_copy(arena, qx_number_spoken(x, digits, room));
}

static const char *
joined(qx_arena *arena, double low, double high, const char *a, const char *b)
{
    if (a == NULL || b == NULL) {
        return NULL;
    }
    if (isnan(low) && isnan(high)) {
        return qx_arena_copy(arena, DASH);
    }
    return isnan(high)  ? qx_arena_printf(arena, "at least %s", a)
           : isnan(low) ? qx_arena_printf(arena, "at most %s", b)
                        : qx_arena_printf(arena, "%s to %s", a, b);
}

const char *qx_range(qx_arena *arena, double low, double high, int decimals)
{
    return joined(arena,
                  low,
                  high,
                  qx_rounded(arena, low, decimals),
                  qx_rounded(arena, high, decimals));
}

const char *qx_short_range(qx_arena *arena, double low, double high, int digits)
{
    return joined(arena,
                  low,
                  high,
                  qx_short_number(arena, low, digits),
                  qx_short_number(arena, high, digits));
}

const char *qx_p_value(qx_arena *arena, double p)
{
    char room[QX_NUMBER_ROOM];
    if (isnan(p)) {
        return qx_arena_copy(arena, DASH);
    }
    return p < 0.001 ? qx_arena_copy(arena, "< 0.001")
                     : qx_arena_copy(arena, qx_number_fixed(p, 3, room));
}

const char *qx_df_value(qx_arena *arena, double df)
{
    /* Nearer to a whole number than one hundredth: the fraction is rounding. */
    const bool whole = isfinite(df) && fabs(df - round(df)) < 0.01;
    return qx_rounded(arena, df, whole ? 0 : 1);
}

const char *qx_per_cent(qx_arena *arena, double share)
{
    const double per_cent = round(1e6 * share) / 1e4;
    const char *number = qx_plain_number(arena, per_cent);
    return number == NULL ? NULL : qx_arena_printf(arena, "%s" NO_BREAK "%%", number);
}
