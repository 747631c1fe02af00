#include "layout/randomise.h"

#include "base/map.h"
#include "layout/drawing.h"
#include "layout/latin_square.h"
#include "layout/restrict.h"

/* --- what the drawers share --- */

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
        if (s->share == NULL) {
            to[c] = order[c];
            continue;
        }
        for (size_t i = 0; i < s->combinations && to[c] == QX_NO_WISH; i++) {
            if (order[i] != QX_NO_WISH && s->share[order[i]] == s->share[c]) {
                to[c] = order[i];
                order[i] = QX_NO_WISH;
            }
        }
    }
    return QX_OK;
}

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

static qx_status plan_step(qx_drawing *d)
{
    switch (d->stratum->rule) {
    case QX_RULE_INCOMPLETE:
        return qx_plan_incomplete(d);
    case QX_RULE_ROWCOL:
        return qx_plan_rowcol(d);
    case QX_RULE_SHUFFLE:
    case QX_RULE_LATIN:
    case QX_RULE_UNEQUAL:
    case QX_RULE_AUGMENTED:
        return QX_OK;
    case QX_RULE_NONE:
        break;
    }
    return qx_fail(d->cx, QX_E_ARG, "the units cannot hold the levels");
}

static qx_status draw_step(qx_drawing *d)
{
    switch (d->stratum->rule) {
    case QX_RULE_SHUFFLE:
        return qx_draw_shuffles(d);
    case QX_RULE_LATIN:
        return qx_draw_squares(d);
    case QX_RULE_UNEQUAL:
        return qx_draw_unequal(d);
    case QX_RULE_INCOMPLETE:
        return qx_draw_incomplete(d);
    case QX_RULE_ROWCOL:
        return qx_draw_rowcol(d);
    case QX_RULE_AUGMENTED:
        return qx_draw_augmented(d);
    case QX_RULE_NONE:
        break;
    }
    return qx_fail(d->cx, QX_E_ARG, "the units cannot hold the levels");
}

/* --- one stratum --- */

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

static qx_status list_plots(qx_drawing *d)
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

static void put(const qx_drawing *d, size_t plot, uint32_t level[])
{
    const qx_layout_spec *spec = d->plan->spec;
    const qx_stratum *s = d->stratum;
    size_t cell = d->combination[plot];
    cell = s->cell == NULL ? cell : s->cell[cell];
    for (size_t i = s->treatment_count; i-- > 0;) {
        const size_t t = s->treatment[i];
        const size_t levels = spec->treatment[t].level_count;
        level[d->plot[plot] * spec->treatment_count + t] = (uint32_t)(cell % levels);
        cell /= levels;
    }
}

static qx_status draw(qx_drawing *d, uint32_t level[])
{
    QX_TRY(list_plots(d));
    QX_TRY(plan_step(d));
    QX_TRY(qx_restrict(d, draw_step));
    for (size_t i = 0; i < d->plots; i++) {
        put(d, i, level);
    }
    return QX_OK;
}

qx_status qx_randomise(qx_ctx *cx,
                       const qx_plan *plan,
                       const qx_places *places,
                       size_t s,
                       uint64_t seed,
                       uint32_t level[])
{
    qx_drawing d = {.cx = cx,
                    .plan = plan,
                    .places = places,
                    .stratum = &plan->stratum[s],
                    .rng = qx_rng_stream(seed, s),
                    .search = qx_rng_stream(seed, QX_UNITS_MOST + s)};
    d.level = level;
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, draw(&d, level));
    return status;
}

uint32_t qx_randomise_version(const qx_plan *plan)
{
    for (size_t s = 0; s < plan->stratum_count; s++) {
        const qx_stratum *stratum = &plan->stratum[s];
        const bool first =
            stratum->rule == QX_RULE_SHUFFLE || stratum->rule == QX_RULE_LATIN;
        if (!first || stratum->cell != NULL || stratum->share != NULL ||
            stratum->guards > 0 || qx_restricts(plan, stratum)) {
            return 2;
        }
    }
    return 1;
}
