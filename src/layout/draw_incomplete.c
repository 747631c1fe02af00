/* Incomplete blocks. The plan is the best that the search finds, from a construction where
 * one is known. Chance then names the combinations (those wished equally often among each
 * other), orders the sets, the blocks inside each set and the places inside each block: the
 * layout is uniform among all that come from the plan in this way, every pair of
 * combinations is as likely to meet as any other, and the usual analysis with blocks holds
 * whatever the trees were (Bailey & Rowley 1987, Proc R Soc Lond A 410:105-124, from
 * memory).
 *
 * Below a unit with treatments (limbs in trees that have them) each combination of those is
 * a family: its blocks get a plan of their own, so that the interaction can be told, where
 * they are enough for one. */
#include <math.h>

#include "base/map.h"
#include "layout/construct.h"
#include "layout/drawing.h"
#include "layout/search.h"

/* Codes of what stands above each plot already. */
static qx_status family_codes(qx_drawing *d, size_t code[], size_t *codes)
{
    const qx_layout_spec *spec = d->plan->spec;
    qx_map *map = qx_map_new(qx_ctx_scratch(d->cx));
    uint32_t *key = NULL;
    QX_NEW(d->cx, key, spec->treatment_count + 1);
    if (map == NULL) {
        return qx_fail(d->cx, QX_E_NOMEM, "no memory for the parts of a layout");
    }
    for (size_t i = 0; i < d->plots; i++) {
        for (size_t t = 0; t < spec->treatment_count; t++) {
            const size_t on = spec->treatment[t].on;
            key[t] = QX_NO_LEVEL;
            if (on != d->stratum->unit && qx_plan_above(d->plan, d->stratum->unit, on)) {
                const size_t thing = qx_place_above(d->plan, d->places, d->plot[i], on);
                key[t] = d->level[thing * spec->treatment_count + t];
            }
        }
        code[i] =
            qx_map_add(map, (const char *)key, (spec->treatment_count + 1) * sizeof *key);
        if (code[i] == QX_MAP_NONE) {
            return qx_fail(d->cx, QX_E_NOMEM, "no memory for the parts of a layout");
        }
    }
    *codes = qx_map_count(map);
    return QX_OK;
}

/* Has every family plots enough to tell all combinations apart? Blocks lie in one family. */
static qx_status
families_suffice(qx_drawing *d, const size_t code[], size_t codes, bool *out)
{
    size_t *plots = NULL;
    size_t *blocks = NULL;
    bool *seen = NULL;
    QX_NEW(d->cx, plots, codes);
    QX_NEW(d->cx, blocks, codes);
    QX_NEW(d->cx, seen, d->group_count);
    for (size_t i = 0; i < d->plots; i++) {
        plots[code[i]]++;
        blocks[code[i]] += seen[d->group[i]] ? 0 : 1;
        seen[d->group[i]] = true;
    }
    *out = codes > 1;
    for (size_t f = 0; f < codes; f++) {
        *out = *out && plots[f] + 1 >= d->stratum->combinations + blocks[f];
    }
    return QX_OK;
}

static qx_status find_parts(qx_drawing *d)
{
    size_t families = 0;
    const size_t set[1] = {d->stratum->set};
    QX_TRY(family_codes(d, d->part, &families));
    QX_TRY(families_suffice(d, d->part, families, &d->families));
    d->part_count = families;
    if (d->families) {
        return QX_OK;
    }
    return qx_drawing_codes(
        d, d->stratum->set == QX_WHOLE_TRIAL ? 0 : 1, set, d->part, &d->part_count);
}

/* Blocks of each part in their order: block number `order[part_start[p] ... ]`. */
typedef struct blocks {
    size_t *order;
    size_t *part_start; /* part_count + 1 */
    size_t *size;       /* of block b: what is held, less what is left out */
    size_t *plot;       /* plots of block b: from plot[b * held] on, `size` of them */
} blocks;

static qx_status list_blocks(const qx_drawing *d, blocks *out)
{
    const size_t held = d->stratum->held;
    size_t *part = NULL;
    QX_NEW(d->cx, part, d->group_count);
    QX_NEW(d->cx, out->size, d->group_count);
    QX_NEW(d->cx, out->plot, d->group_count * held);
    QX_NEW(d->cx, out->order, d->group_count);
    QX_NEW(d->cx, out->part_start, d->part_count + 1);
    for (size_t i = 0; i < d->plots; i++) {
        const size_t b = d->group[i];
        out->plot[b * held + out->size[b]++] = i;
        part[b] = d->part[i];
    }
    size_t n = 0;
    for (size_t p = 0; p < d->part_count; p++) {
        out->part_start[p] = n;
        for (size_t b = 0; b < d->group_count; b++) {
            if (part[b] == p) {
                out->order[n++] = b;
            }
        }
    }
    out->part_start[d->part_count] = n;
    return QX_OK;
}

/* Deals the combinations of one part onto its blocks, one to each in turn, so that no block
 * has one twice as long as that can be avoided. */
static qx_status deal_part(qx_drawing *d, const blocks *in, size_t p)
{
    const qx_stratum *s = d->stratum;
    const size_t from = in->part_start[p];
    const size_t count = in->part_start[p + 1] - from;
    size_t *times = NULL;
    size_t *list = NULL;
    size_t plots = 0;
    size_t n = 0;
    for (size_t k = 0; k < count; k++) {
        plots += in->size[in->order[from + k]];
    }
    QX_NEW(d->cx, times, s->combinations);
    QX_NEW(d->cx, list, plots);
    qx_drawing_share_out(s, plots, times);
    for (size_t c = 0; c < s->combinations; c++) {
        /* each family gives what is left over to others than the one before */
        const size_t extra = plots % s->combinations;
        const size_t to = s->share == NULL ? (c + p * extra) % s->combinations : c;
        for (size_t k = 0; k < times[c]; k++) {
            list[n++] = to;
        }
    }
    n = 0;
    for (size_t place = 0; place < s->held; place++) {
        for (size_t k = 0; k < count; k++) {
            const size_t block = in->order[from + k];
            if (place < in->size[block]) {
                d->design[in->plot[block * s->held + place]] = list[n++];
            }
        }
    }
    return QX_OK;
}

static qx_status construct(qx_drawing *d, const blocks *in, bool *found)
{
    const qx_stratum *s = d->stratum;
    const size_t v = s->combinations;
    const size_t b = d->group_count;
    uint32_t *made = NULL;
    *found = false;
    if (s->share != NULL || s->left_out > 0 || d->families || d->plots % v != 0) {
        return QX_OK;
    }
    QX_NEW(d->cx, made, d->plots);
    if (s->set != QX_WHOLE_TRIAL && s->set_held == v && v % s->held == 0) {
        *found = true;
        QX_TRY(qx_construct_sets(d->cx, s->held, v / s->held, d->part_count, made));
    } else {
        const size_t each =
            d->plots / d->part_count; /* every set is balanced by itself */
        QX_TRY(qx_construct_balanced(d->cx, v, s->held, b / d->part_count, made, found));
        for (size_t i = each; *found && i < d->plots; i++) {
            made[i] = made[i - each];
        }
    }
    for (size_t k = 0; *found && k < b; k++) {
        for (size_t i = 0; i < s->held; i++) {
            d->design[in->plot[in->order[k] * s->held + i]] = made[k * s->held + i];
        }
    }
    return QX_OK;
}

/* Trace that no layout can go below; 0 when that is not known. */
static qx_status target_of(qx_drawing *d, const qx_search *in, double *target)
{
    const size_t v = d->stratum->combinations;
    size_t *replicates = NULL;
    double bound = 0;
    *target = 0;
    if (d->families || d->stratum->share != NULL || d->plots % v != 0) {
        return QX_OK;
    }
    QX_NEW(d->cx, replicates, v);
    for (size_t c = 0; c < v; c++) {
        replicates[c] = d->plots / v;
    }
    const qx_blocking ways[2] = {in->blocking[0], {in->set_count, in->set}};
    QX_TRY(qx_criteria_bound(d->cx, d->plots, v, replicates, 2, ways, &bound));
    *target = (double)(v - 1) / ((double)replicates[0] * bound);
    return QX_OK;
}

static qx_status search(qx_drawing *d, bool good)
{
    const size_t v = d->stratum->combinations;
    const size_t families = d->families ? d->part_count : 1;
    uint32_t *block = NULL;
    uint32_t *part = NULL;
    uint32_t *treatment = NULL;
    uint32_t *family = NULL;
    double trace = 0;
    if (v < 2 || families * v > QX_SEARCH_TREATMENTS_MOST) {
        return QX_OK;
    }
    QX_NEW(d->cx, block, d->plots);
    QX_NEW(d->cx, part, d->plots);
    QX_NEW(d->cx, treatment, d->plots);
    QX_NEW(d->cx, family, families * v);
    for (size_t i = 0; i < d->plots; i++) {
        block[i] = (uint32_t)d->group[i];
        part[i] = (uint32_t)d->part[i];
        treatment[i] = (uint32_t)((d->families ? d->part[i] * v : 0) + d->design[i]);
    }
    for (size_t t = 0; t < families * v; t++) {
        family[t] = (uint32_t)(t / v);
    }
    qx_search in = {.plots = d->plots,
                    .treatments = families * v,
                    .family = family,
                    .family_count = families,
                    .blocking_count = 1,
                    .blocking = {{d->group_count, block}},
                    .sign = {1},
                    .set_count = d->part_count,
                    .set = part,
                    .good_start = good,
                    .work = QX_SEARCH_WORK};
    QX_TRY(target_of(d, &in, &in.target));
    QX_TRY(qx_search_run(d->cx, &in, &d->search, treatment, &trace));
    if (isinf(trace)) {
        return qx_fail(d->cx,
                       QX_E_INPUT,
                       "no layout was found in which every two combinations can be "
                       "compared inside the blocks; expected more or larger blocks");
    }
    for (size_t i = 0; i < d->plots; i++) {
        d->design[i] = treatment[i] % v;
    }
    return QX_OK;
}

qx_status qx_plan_incomplete(qx_drawing *d)
{
    blocks in = {0};
    bool good = false;
    QX_TRY(find_parts(d));
    QX_TRY(list_blocks(d, &in));
    QX_TRY(construct(d, &in, &good));
    for (size_t p = 0; !good && p < d->part_count; p++) {
        QX_TRY(deal_part(d, &in, p));
    }
    return search(d, good);
}

/* --- chance --- */

/* The next block of the plan's part, in random order, that is as large as `size`. */
static size_t take_block(const blocks *in, size_t count, size_t order[], size_t size)
{
    for (size_t k = 0; k < count; k++) {
        if (order[k] != SIZE_MAX && in->size[order[k]] == size) {
            const size_t block = order[k];
            order[k] = SIZE_MAX;
            return block;
        }
    }
    return in->order[0]; /* never: both parts hold the same sizes */
}

/* Blocks of part `from` of the plan onto those of part `to`: among blocks of one size. */
static void draw_part(qx_drawing *d,
                      const blocks *in,
                      size_t from,
                      size_t to,
                      size_t order[],
                      const size_t name[])
{
    const size_t held = d->stratum->held;
    const size_t count = in->part_start[to + 1] - in->part_start[to];
    size_t *drawn = order + count;
    for (size_t k = 0; k < count; k++) {
        order[k] = in->order[in->part_start[from] + k];
    }
    qx_rng_shuffle(&d->rng, count, order);
    for (size_t k = 0; k < count; k++) {
        const size_t block = in->order[in->part_start[to] + k];
        const size_t size = in->size[block];
        const size_t *target = in->plot + block * held;
        const size_t *source = in->plot + take_block(in, count, order, size) * held;
        for (size_t i = 0; i < size; i++) {
            drawn[i] = name[d->design[source[i]]];
        }
        qx_rng_shuffle(&d->rng, size, drawn);
        for (size_t i = 0; i < size; i++) {
            d->combination[target[i]] = drawn[i];
        }
    }
}

qx_status qx_draw_incomplete(qx_drawing *d)
{
    blocks in = {0};
    size_t *order = NULL;
    size_t *name = NULL;
    size_t *part = NULL;
    QX_TRY(list_blocks(d, &in));
    QX_NEW(d->cx, order, d->group_count + d->stratum->held);
    QX_NEW(d->cx, name, d->stratum->combinations);
    QX_NEW(d->cx, part, d->part_count);
    for (size_t p = 0; p < d->part_count; p++) {
        part[p] = p;
    }
    if (!d->families) {
        QX_TRY(qx_drawing_relabel(d, name));
        qx_rng_shuffle(&d->rng, d->part_count, part);
    }
    for (size_t p = 0; p < d->part_count; p++) {
        if (d->families) {
            QX_TRY(qx_drawing_relabel(d, name));
        }
        draw_part(d, &in, part[p], p, order, name);
    }
    return QX_OK;
}
