#include "report/axis.h"

#include <math.h>

#include "base/text.h"
#include "report/palette.h"
#include "report/rounding.h"

/* Half the largest double: sums and differences of two such stay finite. */
#define REACH 8e307

static void widen(qx_extent *e)
{
    if (e->low > e->high) {
        *e = (qx_extent){0.0, 1.0};
        return;
    }
    e->low = fmax(e->low, -REACH);
    e->high = fmin(e->high, REACH);
    const double size = fmax(fabs(e->low), fabs(e->high));
    if (e->high - e->low <= 1e-13 * size || e->low == e->high) {
        const double add = size > 0.0 ? 0.05 * size : 1.0;
        e->low -= add;
        e->high += add;
    }
}

static double round_step(double raw)
{
    const double ten = pow(10.0, floor(log10(raw)));
    const double times = raw / ten;
    if (times <= 1.0) {
        return ten;
    }
    if (times <= 2.0) {
        return 2.0 * ten;
    }
    return times <= 5.0 ? 5.0 * ten : 10.0 * ten;
}

static bool label_ticks(qx_arena *arena, double step, qx_axis *out)
{
    const int decimals = step >= 1.0 ? 0 : (int)ceil(-log10(step) - 1e-9);
    const double size = fmax(fabs(out->low), fabs(out->high));
    for (size_t i = 0; i < out->count; i++) {
        const bool fixed = decimals <= 8 && size < 1e15;
        out->label[i] = fixed ? qx_rounded(arena, out->tick[i], decimals)
                              : qx_short_number(arena, out->tick[i], 3);
        if (out->label[i] == NULL) {
            return false;
        }
    }
    return true;
}

static bool try_steps(qx_arena *arena, const qx_extent *e, double most, qx_axis *out)
{
    const double step = round_step((e->high - e->low) / most);
    const double first = floor(e->low / step + 1e-9);
    const double last = ceil(e->high / step - 1e-9);
    out->count = 0;
    while (out->count < QX_TICKS_MOST) {
        const double k = first + (double)out->count;
        const double tick = k * step;
        if (k > last || (out->count > 0 && tick <= out->tick[out->count - 1])) {
            break; /* done, or steps finer than a double tells apart */
        }
        out->tick[out->count++] = fabs(tick) < 1e-9 * step ? 0.0 : tick;
    }
    out->low = fmin(out->tick[0], e->low);
    out->high = fmax(out->tick[out->count - 1], e->high);
    return label_ticks(arena, step, out);
}

bool qx_axis_make(
    qx_arena *arena, qx_extent extent, double length, bool across, qx_axis *out)
{
    widen(&extent);
    for (int most = across ? 6 : 8;; most--) {
        double used = 0.0;
        if (!try_steps(arena, &extent, (double)most, out)) {
            return false;
        }
        for (size_t i = 0; i < out->count; i++) {
            used += across ? qx_text_width(out->label[i], QX_TEXT_SMALL) + 10.0
                           : QX_TEXT_SMALL * 1.8;
        }
        if (used <= length || most <= 1) {
            return true;
        }
    }
}
