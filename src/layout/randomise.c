#include "layout/randomise.h"

#include "base/map.h"
#include "layout/latin_square.h"
#include "numeric/rng.h"

typedef struct drawing {
    qx_ctx *cx;
    const qx_plan *plan;
    const qx_places *places;
    const qx_stratum *stratum;
    qx_rng rng;
    uint32_t *level;
    size_t group_count;
    size_t *group; /* of each thing of the unit, numbered by first appearance */
} drawing;

static void put(const drawing *d, size_t thing, size_t combination)
{
    const qx_layout_spec *spec = d->plan->spec;
    for (size_t i = d->stratum->treatment_count; i-- > 0;) {
        const size_t t = d->stratum->treatment[i];
        const size_t levels = spec->treatment[t].level_count;
        d->level[thing * spec->treatment_count + t] = (uint32_t)(combination % levels);
        combination /= levels;
    }
}

/* Things are grouped by the things above them of the stratum's group units. */
static qx_status find_groups(drawing *d)
{
    const qx_stratum *s = d->stratum;
    const size_t things = d->places->things[s->unit];
    QX_NEW(d->cx, d->group, things);
    qx_map *map = qx_map_new(qx_ctx_scratch(d->cx));
    if (map == NULL) {
        return qx_fail(d->cx, QX_E_NOMEM, "no memory for the groups of a layout");
    }
    for (size_t i = 0; i < things; i++) {
        size_t key[QX_LAYOUT_PARENTS] = {0};
        for (size_t k = 0; k < s->group_count; k++) {
            key[k] = qx_place_above(
                d->plan, d->places, d->places->first[s->unit] + i, s->group[k]);
        }
        d->group[i] = qx_map_add(map, (const char *)key, sizeof key);
        if (d->group[i] == QX_MAP_NONE) {
            return qx_fail(d->cx, QX_E_NOMEM, "no memory for the groups of a layout");
        }
    }
    d->group_count = qx_map_count(map);
    return QX_OK;
}

static qx_status draw_shuffles(drawing *d)
{
    const qx_stratum *s = d->stratum;
    const size_t things = d->places->things[s->unit];
    const size_t each = s->held / s->combinations; /* 1 or more: the rule says so */
    QX_ASSERT(each > 0);
    size_t *list = NULL;
    size_t *next = NULL;
    QX_NEW(d->cx, list, things);
    QX_NEW(d->cx, next, d->group_count);
    for (size_t g = 0; g < d->group_count; g++) {
        for (size_t i = 0; i < s->held; i++) {
            list[g * s->held + i] = each > 0 ? i / each : 0;
        }
        qx_rng_shuffle(&d->rng, s->held, list + g * s->held);
        next[g] = g * s->held;
    }
    for (size_t i = 0; i < things; i++) {
        put(d, d->places->first[s->unit] + i, list[next[d->group[i]]++]);
    }
    return QX_OK;
}

/* Number of a row or column inside the group: its own number inside its parent. */
static size_t line_number(const drawing *d, size_t thing, size_t line)
{
    const size_t at = qx_place_above(d->plan, d->places, thing, line);
    return d->places->placed[at].number - 1;
}

static qx_status draw_squares(drawing *d)
{
    const qx_stratum *s = d->stratum;
    const size_t n = s->combinations;
    uint32_t *square = NULL;
    QX_NEW(d->cx, square, d->group_count * n * n);
    for (size_t g = 0; g < d->group_count; g++) {
        QX_TRY(qx_latin_square(d->cx, &d->rng, n, square + g * n * n));
    }
    for (size_t i = 0; i < d->places->things[s->unit]; i++) {
        const size_t thing = d->places->first[s->unit] + i;
        const size_t row = line_number(d, thing, s->rows);
        const size_t column = line_number(d, thing, s->columns);
        put(d, thing, square[(d->group[i] * n + row) * n + column]);
    }
    return QX_OK;
}

static qx_status draw(drawing *d)
{
    QX_TRY(find_groups(d));
    switch (d->stratum->rule) {
    case QX_RULE_SHUFFLE:
        return draw_shuffles(d);
    case QX_RULE_LATIN:
        return draw_squares(d);
    case QX_RULE_NONE:
        break;
    }
    return qx_fail(d->cx, QX_E_ARG, "the units cannot hold the levels");
}

qx_status qx_randomise(qx_ctx *cx,
                       const qx_plan *plan,
                       const qx_places *places,
                       size_t s,
                       uint64_t seed,
                       uint32_t level[])
{
    drawing d = {.cx = cx,
                 .plan = plan,
                 .places = places,
                 .stratum = &plan->stratum[s],
                 .rng = qx_rng_stream(seed, s)};
    d.level = level;
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, draw(&d));
    return status;
}
