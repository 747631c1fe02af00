/* What the drawers share: groups of plots, lines, shares, names by chance. */
#include "layout/drawing.h"

#include "base/map.h"

qx_status qx_drawing_codes(
    qx_drawing *d, size_t count, const size_t unit[], size_t code[], size_t *codes)
{
    qx_map *map = qx_map_new(qx_ctx_scratch(d->cx));
    if (map == NULL) {
        return qx_fail(d->cx, QX_E_NOMEM, "no memory for the groups of a layout");
    }
    for (size_t i = 0; i < d->plots; i++) {
        size_t key[QX_LAYOUT_PARENTS] = {0};
        for (size_t k = 0; k < count; k++) {
            key[k] = qx_place_above(d->plan, d->places, d->plot[i], unit[k]);
        }
        code[i] = qx_map_add(map, (const char *)key, sizeof key);
        if (code[i] == QX_MAP_NONE) {
            return qx_fail(d->cx, QX_E_NOMEM, "no memory for the groups of a layout");
        }
    }
    *codes = qx_map_count(map);
    return QX_OK;
}

size_t qx_drawing_line(const qx_drawing *d, size_t plot, size_t line)
{
    const size_t at = qx_place_above(d->plan, d->places, d->plot[plot], line);
    return d->places->placed[at].number - 1;
}

void qx_drawing_share_out(const qx_stratum *s, size_t n, size_t times[])
{
    size_t left = n;
    for (size_t c = 0; c < s->combinations; c++) {
        const size_t share = s->share == NULL ? 1 : s->share[c];
        times[c] = n / s->share_sum * share + n % s->share_sum * share / s->share_sum;
        left -= times[c];
    }
    for (; left > 0; left--) { /* fewer than there are combinations */
        size_t best = 0;
        double most = -1;
        for (size_t c = 0; c < s->combinations; c++) {
            const size_t share = s->share == NULL ? 1 : s->share[c];
            const double rest =
                (double)n * (double)share / (double)s->share_sum - (double)times[c];
            if (rest > most + 1e-9) {
                most = rest;
                best = c;
            }
        }
        times[best]++;
    }
}

static bool wished_alike(const qx_stratum *s, size_t a, size_t b)
{
    return (s->share == NULL || s->share[a] == s->share[b]) &&
           (s->check == NULL || s->check[a] == s->check[b]);
}

qx_status qx_drawing_relabel(qx_drawing *d, size_t to[])
{
    const qx_stratum *s = d->stratum;
    size_t *order = NULL;
    QX_NEW(d->cx, order, s->combinations);
    for (size_t c = 0; c < s->combinations; c++) {
        order[c] = c;
        to[c] = QX_NO_WISH;
    }
    /* A random order of all; those of one share then take their own places in that order. */
    qx_rng_shuffle(&d->rng, s->combinations, order);
    for (size_t c = 0; c < s->combinations; c++) {
        if (s->share == NULL && s->check == NULL) {
            to[c] = order[c];
            continue;
        }
        for (size_t i = 0; i < s->combinations && to[c] == QX_NO_WISH; i++) {
            if (order[i] != QX_NO_WISH && wished_alike(s, order[i], c)) {
                to[c] = order[i];
                order[i] = QX_NO_WISH;
            }
        }
    }
    return QX_OK;
}

/* --- plots --- */

static bool is_left_out(const qx_drawing *d, size_t thing)
{
    const qx_layout_wishes *wishes = d->plan->spec->wishes;
    size_t path[QX_UNITS_MOST];
    const size_t depth = qx_plan_path(d->plan, d->stratum->unit, path);
    for (size_t i = 0; d->stratum->left_out > 0 && i < wishes->left_out_count; i++) {
        const qx_left_out *out = &wishes->left_out[i];
        bool same = out->unit == d->stratum->unit && out->depth == depth;
        for (size_t k = 0; same && k < depth; k++) {
            const size_t above = qx_place_above(d->plan, d->places, thing, path[k]);
            same = d->places->placed[above].number == out->number[k];
        }
        if (same) {
            return true;
        }
    }
    return false;
}

qx_status qx_drawing_list(qx_drawing *d)
{
    const qx_stratum *s = d->stratum;
    const size_t first = d->places->first[s->unit];
    const size_t things = d->places->things[s->unit];
    QX_NEW(d->cx, d->plot, things);
    QX_NEW(d->cx, d->group, things);
    QX_NEW(d->cx, d->combination, things);
    QX_NEW(d->cx, d->design, things);
    QX_NEW(d->cx, d->part, things);
    for (size_t i = 0; i < things; i++) {
        if (qx_stratum_treats(s, d->places->placed[first + i].number) &&
            !is_left_out(d, first + i)) {
            d->plot[d->plots++] = first + i;
        }
    }
    return qx_drawing_codes(d, s->group_count, s->group, d->group, &d->group_count);
}
