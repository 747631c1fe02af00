#include "layout/neighbour.h"

#include "base/map.h"
#include "layout/ground.h"

static qx_status neighbours(qx_ctx *cx,
                            qx_arena *arena,
                            const qx_layout_spec *spec,
                            const qx_layout *layout,
                            size_t unit,
                            qx_neighbours *out)
{
    qx_plan *plan = NULL;
    qx_places places = {0};
    QX_TRY(qx_ground_read(cx, qx_ctx_scratch(cx), spec, layout, &plan, &places));
    if (unit >= spec->unit_count) {
        return qx_fail(cx, QX_E_ARG, "there is no such unit");
    }
    const qx_ground ground = qx_ground_of(plan, &places);
    return qx_ground_neighbours(cx, arena, &ground, unit, out);
}

qx_status qx_neighbours_of(qx_ctx *cx,
                           qx_arena *arena,
                           const qx_layout_spec *spec,
                           const qx_layout *layout,
                           size_t unit,
                           qx_neighbours *out)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, neighbours(cx, arena, spec, layout, unit, out));
    return status;
}

/* --- balance --- */

typedef struct counting {
    qx_ctx *cx;
    const qx_layout_spec *spec;
    const qx_layout *layout;
    size_t treatment_count;
    const size_t *treatment;
    size_t unit;
    uint32_t *code; /* of each placed thing: combination, QX_NO_LEVEL if untreated */
    size_t codes;
} counting;

static qx_status fill_codes(counting *c)
{
    qx_map *map = qx_map_new(qx_ctx_scratch(c->cx));
    uint32_t *key = NULL;
    QX_NEW(c->cx, c->code, c->layout->placed_count);
    QX_NEW(c->cx, key, c->treatment_count);
    if (map == NULL) {
        return qx_fail(c->cx, QX_E_NOMEM, "no memory for the neighbours");
    }
    for (size_t i = 0; i < c->layout->placed_count; i++) {
        bool treated = true;
        for (size_t t = 0; t < c->treatment_count; t++) {
            key[t] = c->layout->level[i * c->layout->treatment_count + c->treatment[t]];
            treated = treated && key[t] != QX_NO_LEVEL;
        }
        c->code[i] = QX_NO_LEVEL;
        if (treated) {
            const size_t at =
                qx_map_add(map, (const char *)key, c->treatment_count * sizeof *key);
            if (at == QX_MAP_NONE) {
                return qx_fail(c->cx, QX_E_NOMEM, "no memory for the neighbours");
            }
            c->code[i] = (uint32_t)at;
        }
    }
    c->codes = qx_map_count(map);
    return QX_OK;
}

static qx_status
count_pairs(const counting *c, const qx_neighbours *n, qx_neighbour_balance *out)
{
    size_t *m = NULL;
    QX_NEW(c->cx, m, c->codes * c->codes + 1);
    for (size_t i = 0; i < n->count; i++) {
        const uint32_t a = c->code[n->pair[i][0]];
        const uint32_t b = c->code[n->pair[i][1]];
        if (a == QX_NO_LEVEL || b == QX_NO_LEVEL) {
            continue;
        }
        out->pairs++;
        out->same += a == b ? 1 : 0;
        m[(a < b ? a : b) * c->codes + (a < b ? b : a)]++;
    }
    bool any = false;
    for (size_t a = 0; a < c->codes; a++) {
        for (size_t b = a + 1; b < c->codes; b++) {
            const size_t times = m[a * c->codes + b];
            out->least = !any || times < out->least ? times : out->least;
            out->most = times > out->most ? times : out->most;
            any = true;
        }
    }
    return QX_OK;
}

/* Stretches of one combination along the neighbours in the order of the things. */
static qx_status
count_runs(const counting *c, const qx_neighbours *n, qx_neighbour_balance *out)
{
    bool *goes_on = NULL; /* the next thing is a neighbour and has the same combination */
    size_t length = 0;
    QX_NEW(c->cx, goes_on, c->layout->placed_count);
    for (size_t i = 0; i < n->count; i++) {
        const size_t a = n->pair[i][0];
        const size_t b = n->pair[i][1];
        goes_on[a] = goes_on[a] || (b == a + 1 && c->code[a] == c->code[b]);
    }
    for (size_t i = 0; i < c->layout->placed_count; i++) {
        if (c->layout->placed[i].unit != c->unit || c->code[i] == QX_NO_LEVEL) {
            continue;
        }
        length++;
        if (!goes_on[i]) {
            out->shortest_run =
                out->runs == 0 || length < out->shortest_run ? length : out->shortest_run;
            out->runs++;
            length = 0;
        }
    }
    return QX_OK;
}

static qx_status balance(counting *c, qx_neighbour_balance *out)
{
    qx_neighbours n = {0};
    qx_neighbour_balance found = {0};
    QX_TRY(fill_codes(c));
    QX_TRY(neighbours(c->cx, qx_ctx_scratch(c->cx), c->spec, c->layout, c->unit, &n));
    QX_TRY(count_pairs(c, &n, &found));
    QX_TRY(count_runs(c, &n, &found));
    *out = found;
    return QX_OK;
}

qx_status qx_neighbour_balance_of(qx_ctx *cx,
                                  const qx_layout_spec *spec,
                                  const qx_layout *layout,
                                  size_t treatment_count,
                                  const size_t treatment[],
                                  qx_neighbour_balance *out)
{
    for (size_t t = 0; t < treatment_count; t++) {
        if (treatment[t] >= spec->treatment_count ||
            spec->treatment[treatment[t]].on != spec->treatment[treatment[0]].on) {
            return qx_fail(cx, QX_E_ARG, "the treatments are not all on one unit");
        }
    }
    if (treatment_count == 0) {
        return qx_fail(cx, QX_E_ARG, "no treatment is named");
    }
    counting c = {.cx = cx,
                  .spec = spec,
                  .layout = layout,
                  .treatment_count = treatment_count,
                  .treatment = treatment,
                  .unit = spec->treatment[treatment[0]].on};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, balance(&c, out));
    return status;
}
