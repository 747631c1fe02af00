#include "store/spots.h"

#include <string.h>

#include "base/map.h"
#include "trial/structure.h"

#define LAST UINT32_MAX

/* Things of the layout by unit and parents: a list for each cell. */
typedef struct cells {
    qx_map *map;
    uint32_t *first; /* of each cell */
    uint32_t *next;  /* of each placed thing; LAST ends a list */
} cells;

typedef struct cell_key {
    uint32_t unit;
    uint32_t parent[QX_LAYOUT_PARENTS];
} cell_key;

static cell_key key_of_cell(const qx_protocol *p, size_t unit, const uint32_t parent[])
{
    cell_key key = {.unit = (uint32_t)unit};
    memcpy(key.parent, parent, p->unit[unit].parent_count * sizeof parent[0]);
    return key;
}

static qx_status index_cells(qx_ctx *cx, const qx_spots *s, cells *out)
{
    const qx_layout *layout = s->layout;
    out->map = qx_map_new(qx_ctx_scratch(cx));
    if (out->map == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the layout's cells");
    }
    QX_NEW(cx, out->first, layout->placed_count);
    QX_NEW(cx, out->next, layout->placed_count);
    for (size_t i = layout->placed_count; i-- > 0;) {
        const qx_placed *placed = &layout->placed[i];
        const cell_key key = key_of_cell(s->protocol, placed->unit, placed->parent);
        const size_t before = qx_map_count(out->map);
        const size_t cell = qx_map_add(out->map, (const char *)&key, sizeof key);
        if (cell == QX_MAP_NONE) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for the layout's cells");
        }
        out->next[i] = cell == before ? LAST : out->first[cell];
        out->first[cell] = (uint32_t)i;
    }
    return QX_OK;
}

static const qx_column *label_column(const qx_table *table, const char *name)
{
    const qx_column *column = qx_table_find(table, name);
    return column != NULL && column->kind == QX_COLUMN_LABEL ? column : NULL;
}

static bool given(const qx_column *column, size_t row)
{
    return column != NULL && column->code[row] != QX_MISSING_CODE;
}

bool qx_spot_has_level(const qx_spots *s, size_t treatment, size_t row)
{
    return given(label_column(s->table, s->protocol->treatment[treatment].name), row);
}

/* Are all `columns` of the unit there and filled? */
static bool has_columns(const qx_spots *s, size_t unit, size_t row)
{
    const qx_unit *u = &s->protocol->unit[unit];
    for (size_t i = 0; i < u->column_count; i++) {
        if (!given(label_column(s->table, u->column[i]), row)) {
            return false;
        }
    }
    return u->column_count > 0;
}

bool qx_spot_has_label(const qx_spots *s, size_t unit, size_t row)
{
    return s->own[unit] != NULL ? given(s->own[unit], row) : has_columns(s, unit, row);
}

/* Are there treatments on the unit, each with a level in this row? */
static bool told_by_treatments(const qx_spots *s, size_t unit, size_t row)
{
    bool any = false;
    for (size_t t = 0; t < s->protocol->treatment_count; t++) {
        if (s->protocol->treatment[t].on == unit) {
            any = true;
            if (!qx_spot_has_level(s, t, row)) {
                return false;
            }
        }
    }
    return any;
}

/* Does the placed thing carry what the row says of the treatments on its unit? The table's
 * codes of treatments are the protocol's level numbers (trial/check.h). */
static bool treatments_agree(const qx_spots *s, uint32_t placed, size_t row)
{
    const size_t unit = s->layout->placed[placed].unit;
    for (size_t t = 0; t < s->protocol->treatment_count; t++) {
        const qx_column *column = label_column(s->table, s->protocol->treatment[t].name);
        if (s->protocol->treatment[t].on == unit && given(column, row) &&
            column->code[row] !=
                s->layout->level[placed * s->layout->treatment_count + t]) {
            return false;
        }
    }
    return true;
}

static qx_spot
find_placed(const qx_spots *s, const cells *c, size_t unit, size_t row, uint32_t parent[])
{
    const qx_spot none = {.kind = QX_SPOT_NONE};
    const cell_key key = key_of_cell(s->protocol, unit, parent);
    const size_t cell = qx_map_find(c->map, (const char *)&key, sizeof key);
    const qx_column *own = s->own[unit];
    if (cell == QX_MAP_NONE || (own != NULL && !given(own, row))) {
        return none;
    }
    const char *label = own == NULL ? NULL : own->level[own->code[row]];
    size_t found = 0;
    qx_spot spot = none;
    for (uint32_t i = c->first[cell]; i != LAST; i = c->next[i]) {
        const bool named =
            label == NULL || strcmp(label, s->layout->placed[i].label) == 0;
        if (named && treatments_agree(s, i, row)) {
            found++;
            spot = (qx_spot){.kind = QX_SPOT_PLACED, .placed = i};
        }
    }
    return found < 2 ? spot : (qx_spot){.kind = QX_SPOT_ROW};
}

static qx_spot find_loose(const qx_spots *s, size_t unit, size_t row)
{
    const qx_unit *u = &s->protocol->unit[unit];
    const qx_spot none = {.kind = QX_SPOT_NONE};
    const qx_spot labelled = {.kind = QX_SPOT_LABELLED};
    if (s->own[unit] != NULL) {
        return given(s->own[unit], row) ? labelled : none;
    }
    const bool by_parents =
        u->parent_count > 1 && !u->sample && (u->count == QX_NONE || u->count == 1);
    if (has_columns(s, unit, row) || told_by_treatments(s, unit, row) || by_parents) {
        return labelled;
    }
    return (qx_spot){.kind = QX_SPOT_ROW};
}

static qx_spot find_spot(const qx_spots *s, const cells *c, size_t unit, size_t row)
{
    const qx_unit *u = &s->protocol->unit[unit];
    uint32_t parent[QX_LAYOUT_PARENTS] = {0};
    bool placed = !qx_unit_sampled(s->protocol, unit) &&
                  (s->own[unit] != NULL || !has_columns(s, unit, row));
    for (size_t i = 0; i < u->parent_count; i++) {
        const qx_spot above = s->spot[u->parent[i]][row];
        if (above.kind == QX_SPOT_NONE || above.kind == QX_SPOT_ROW) {
            return (qx_spot){.kind = QX_SPOT_NONE};
        }
        placed = placed && above.kind == QX_SPOT_PLACED;
        parent[i] = above.placed;
    }
    return placed ? find_placed(s, c, unit, row, parent) : find_loose(s, unit, row);
}

static qx_status find_all(qx_ctx *cx, qx_spots *s)
{
    cells c = {0};
    QX_TRY(index_cells(cx, s, &c));
    for (size_t i = 0; i < s->protocol->unit_count; i++) {
        const size_t unit = s->protocol->unit_order[i];
        for (size_t row = 0; row < s->table->rows; row++) {
            s->spot[unit][row] = find_spot(s, &c, unit, row);
        }
    }
    return QX_OK;
}

qx_status qx_spots_find(qx_ctx *cx,
                        qx_arena *arena,
                        const qx_protocol *protocol,
                        const qx_layout *layout,
                        const qx_table *table,
                        const char *digest,
                        qx_spots *out)
{
    *out = (qx_spots){
        .protocol = protocol, .layout = layout, .table = table, .digest = digest};
    QX_NEW_IN(cx, arena, out->spot, protocol->unit_count);
    QX_NEW_IN(cx, arena, out->own, protocol->unit_count);
    for (size_t u = 0; u < protocol->unit_count; u++) {
        QX_NEW_IN(cx, arena, out->spot[u], table->rows);
        out->own[u] = label_column(table, protocol->unit[u].name);
    }
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, find_all(cx, out));
    return status;
}

/* --- keys and words --- */

static void add_label(const qx_column *column, size_t row, qx_text *out)
{
    if (given(column, row)) {
        qx_text_json(out, column->level[column->code[row]]);
    }
}

/* What tells a loose thing from its like. */
static void add_own(const qx_spots *s, size_t unit, size_t row, qx_text *out)
{
    const qx_unit *u = &s->protocol->unit[unit];
    if (s->own[unit] != NULL) {
        add_label(s->own[unit], row, out);
        return;
    }
    if (has_columns(s, unit, row)) {
        for (size_t i = 0; i < u->column_count; i++) {
            add_label(label_column(s->table, u->column[i]), row, out);
        }
        return;
    }
    if (s->spot[unit][row].kind == QX_SPOT_ROW) {
        qx_text_printf(out, "#%.16s:%zu", s->digest, row + 1);
        return;
    }
    for (size_t t = 0; t < s->protocol->treatment_count; t++) {
        if (s->protocol->treatment[t].on == unit) {
            add_label(label_column(s->table, s->protocol->treatment[t].name), row, out);
        }
    }
}

/* As deep as the protocol's units. */
void qx_spot_key(const qx_spots *s, /* NOLINT(misc-no-recursion) */
                 size_t unit,
                 size_t row,
                 qx_text *out)
{
    const qx_spot spot = s->spot[unit][row];
    if (spot.kind == QX_SPOT_PLACED) {
        qx_text_printf(out, "p%u", (unsigned)spot.placed);
        return;
    }
    qx_spot_parent_key(s, unit, row, out);
    qx_text_printf(out, "/%s=", s->protocol->unit[unit].name);
    add_own(s, unit, row, out);
}

void qx_spot_parent_key(const qx_spots *s, /* NOLINT(misc-no-recursion) */
                        size_t unit,
                        size_t row,
                        qx_text *out)
{
    const qx_unit *u = &s->protocol->unit[unit];
    for (size_t i = 0; i < u->parent_count; i++) {
        qx_text_add(out, i == 0 ? "" : "+");
        qx_spot_key(s, u->parent[i], row, out);
    }
}

static void add_words(qx_text *out, const qx_spots *s, size_t unit, size_t row)
{
    const qx_spot spot = s->spot[unit][row];
    const char *label = NULL;
    if (spot.kind == QX_SPOT_PLACED) {
        label = s->layout->placed[spot.placed].label;
    } else if (s->own[unit] != NULL && given(s->own[unit], row)) {
        label = s->own[unit]->level[s->own[unit]->code[row]];
    }
    qx_text_printf(out,
                   "%s%s%s%s",
                   qx_text_length(out) == 0 ? "" : ", ",
                   s->protocol->unit[unit].name,
                   label == NULL ? "" : " ",
                   label == NULL ? "" : label);
}

const char *qx_spot_words(qx_arena *arena, const qx_spots *s, size_t unit, size_t row)
{
    qx_text *text = qx_text_new(arena);
    if (text == NULL) {
        return NULL;
    }
    for (size_t i = 0; i < s->protocol->unit_count; i++) {
        const size_t above = s->protocol->unit_order[i];
        if (qx_unit_reaches(s->protocol, above, unit)) {
            add_words(text, s, above, row);
        }
    }
    return qx_text_failed(text) ? NULL : qx_text_get(text);
}
