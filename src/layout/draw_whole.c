/* Groups that hold every combination: shuffled, in Latin squares, or as equally as the
 * trial's number of plots allows. */
#include "layout/drawing.h"
#include "layout/latin_square.h"

/* --- version 1 --- */

qx_status qx_draw_shuffles(qx_drawing *d)
{
    const qx_stratum *s = d->stratum;
    size_t *list = NULL;
    size_t *next = NULL;
    QX_NEW(d->cx, list, d->plots);
    QX_NEW(d->cx, next, d->group_count);
    for (size_t g = 0; g < d->group_count; g++) {
        size_t n = g * s->held;
        for (size_t c = 0; c < s->combinations; c++) {
            const size_t share = s->share == NULL ? 1 : s->share[c];
            for (size_t k = 0; k < s->held / s->share_sum * share; k++) {
                list[n++] = c;
            }
        }
        qx_rng_shuffle(&d->rng, s->held, list + g * s->held);
        next[g] = g * s->held;
    }
    for (size_t i = 0; i < d->plots; i++) {
        d->combination[i] = list[next[d->group[i]]++];
    }
    return QX_OK;
}

qx_status qx_draw_squares(qx_drawing *d)
{
    const qx_stratum *s = d->stratum;
    const size_t n = s->combinations;
    uint32_t *square = NULL;
    QX_NEW(d->cx, square, d->group_count * n * n);
    for (size_t g = 0; g < d->group_count; g++) {
        QX_TRY(qx_latin_square(d->cx, &d->rng, n, square + g * n * n));
    }
    for (size_t i = 0; i < d->plots; i++) {
        const size_t row = qx_drawing_line(d, i, s->rows);
        const size_t column = qx_drawing_line(d, i, s->columns);
        d->combination[i] = square[(d->group[i] * n + row) * n + column];
    }
    return QX_OK;
}

/* --- version 2 --- */

qx_status qx_draw_unequal(qx_drawing *d)
{
    const qx_stratum *s = d->stratum;
    size_t *times = NULL;
    size_t *to = NULL;
    size_t n = 0;
    QX_NEW(d->cx, times, s->combinations);
    QX_NEW(d->cx, to, s->combinations);
    qx_drawing_share_out(s, d->plots, times);
    QX_TRY(qx_drawing_relabel(d, to));
    for (size_t c = 0; c < s->combinations; c++) {
        for (size_t k = 0; k < times[c]; k++) {
            d->combination[n++] = to[c];
        }
    }
    qx_rng_shuffle(&d->rng, d->plots, d->combination);
    return QX_OK;
}
