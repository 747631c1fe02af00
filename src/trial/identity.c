#include "trial/identity.h"

#include <string.h>

#include "base/text.h"
#include "trial/level_code.h"
#include "trial/pair_code.h"
#include "trial/unit_order.h"

typedef struct identifying {
    qx_ctx *cx;
    qx_arena *arena;
    const qx_protocol *p;
    const qx_table *table;
    size_t lowest; /* unit of the variate */
    const bool *keep;
    qx_identity *out;
    uint32_t *season; /* rows codes, or NULL: one season; with dates, season and date */
    size_t season_count;
    bool dated; /* the lowest unit is measured on several dates */
} identifying;

/* Codes of one unit while they are put together from their parts. */
typedef struct joining {
    uint32_t *code; /* rows entries, in the arena */
    size_t count;
    qx_text *parts; /* "block and variety" */
    size_t part_count;
} joining;

static const qx_column *label_column(const qx_table *table, const char *name)
{
    const qx_column *column = qx_table_find(table, name);
    return column != NULL && column->kind == QX_COLUMN_LABEL ? column : NULL;
}

/* Codes by the protocol's levels, so that 30 and 30.0 are one. */
static qx_status level_codes(const identifying *t,
                             const qx_column *column,
                             size_t level_count,
                             const char *const level[],
                             uint32_t **out)
{
    uint32_t *map = NULL;
    uint32_t *code = NULL;
    QX_NEW(t->cx, map, column->level_count);
    QX_NEW(t->cx, code, t->table->rows);
    qx_column_levels(column, t->table->separator, level_count, level, map);
    for (size_t i = 0; i < t->table->rows; i++) {
        code[i] =
            column->code[i] == QX_MISSING_CODE ? QX_MISSING_CODE : map[column->code[i]];
    }
    *out = code;
    return QX_OK;
}

static void name_part(joining *j, const char *name, bool last)
{
    const char *between = j->part_count == 0 ? "" : last ? " and " : ", ";
    qx_text_add(j->parts, between);
    qx_text_add(j->parts, name);
    j->part_count++;
}

static qx_status
join_codes(const identifying *t, joining *j, const uint32_t code[], size_t count)
{
    return qx_pair_codes(
        t->cx, t->table->rows, j->code, j->count, code, count, j->code, &j->count);
}

static size_t treatments_on(const identifying *t, size_t u)
{
    size_t count = 0;
    for (size_t i = 0; i < t->p->treatment_count; i++) {
        count += t->p->treatment[i].on == u ? 1 : 0;
    }
    return count;
}

/* Begins with what stands above: all kept rows are one, then they split by parents. */
static qx_status begin(const identifying *t, size_t u, joining *j)
{
    const qx_unit *unit = &t->p->unit[u];
    *j = (joining){.count = 1};
    QX_NEW_IN(t->cx, t->arena, j->code, t->table->rows);
    j->parts = qx_text_new(qx_ctx_scratch(t->cx));
    if (j->parts == NULL) {
        return qx_fail(t->cx, QX_E_NOMEM, "no memory to tell the units apart");
    }
    for (size_t i = 0; t->keep != NULL && i < t->table->rows; i++) {
        j->code[i] = t->keep[i] ? 0 : QX_MISSING_CODE;
    }
    for (size_t i = 0; i < unit->parent_count; i++) {
        const qx_identity *parent = &t->out[unit->parent[i]];
        QX_TRY(join_codes(t, j, parent->code, parent->count));
    }
    return QX_OK;
}

static void name_parents(const identifying *t, size_t u, joining *j, bool more)
{
    const qx_unit *unit = &t->p->unit[u];
    for (size_t i = 0; i < unit->parent_count; i++) {
        name_part(
            j, t->p->unit[unit->parent[i]].name, !more && i + 1 == unit->parent_count);
    }
}

/* `columns` of the protocol; *told is false when one is not in the data. */
static qx_status by_columns(const identifying *t, size_t u, joining *j, bool *told)
{
    const qx_unit *unit = &t->p->unit[u];
    *told = unit->column_count > 0;
    for (size_t i = 0; *told && i < unit->column_count; i++) {
        *told = label_column(t->table, unit->column[i]) != NULL;
    }
    for (size_t i = 0; *told && i < unit->column_count; i++) {
        const qx_column *column = label_column(t->table, unit->column[i]);
        const size_t treatment = qx_protocol_find_treatment(t->p, unit->column[i]);
        if (treatment == QX_NONE) {
            QX_TRY(join_codes(t, j, column->code, column->level_count));
        } else {
            const qx_treatment *levels = &t->p->treatment[treatment];
            uint32_t *code = NULL;
            QX_TRY(level_codes(t, column, levels->level_count, levels->level, &code));
            QX_TRY(join_codes(t, j, code, levels->level_count));
        }
        name_part(j, unit->column[i], i + 1 == unit->column_count);
    }
    return QX_OK;
}

static qx_status by_treatments(const identifying *t, size_t u, joining *j, bool *told)
{
    size_t left = treatments_on(t, u);
    *told = left > 0;
    for (size_t i = 0; *told && i < t->p->treatment_count; i++) {
        const qx_treatment *treatment = &t->p->treatment[i];
        if (treatment->on != u) {
            continue;
        }
        const qx_column *column = label_column(t->table, treatment->name);
        *told = column != NULL;
        if (*told) {
            uint32_t *code = NULL;
            QX_TRY(
                level_codes(t, column, treatment->level_count, treatment->level, &code));
            QX_TRY(join_codes(t, j, code, treatment->level_count));
            left--;
            name_part(j, treatment->name, left == 0);
        }
    }
    return QX_OK;
}

/* Do two rows of one season share a code? */
static qx_status rows_coincide(const identifying *t, const joining *j, bool *coincide)
{
    const size_t rows = t->table->rows;
    const uint32_t *code = j->code;
    size_t count = j->count;
    if (t->season != NULL) {
        uint32_t *both = NULL;
        QX_NEW(t->cx, both, rows);
        QX_TRY(qx_pair_codes(
            t->cx, rows, j->code, j->count, t->season, t->season_count, both, &count));
        code = both;
    }
    bool *seen = NULL;
    QX_NEW(t->cx, seen, count);
    *coincide = false;
    for (size_t i = 0; i < rows && !*coincide; i++) {
        if (code[i] != QX_MISSING_CODE) {
            *coincide = seen[code[i]];
            seen[code[i]] = true;
        }
    }
    return QX_OK;
}

static void by_row(const identifying *t, joining *j)
{
    uint32_t next = 0;
    for (size_t i = 0; i < t->table->rows; i++) {
        if (j->code[i] != QX_MISSING_CODE) {
            j->code[i] = next;
            next++;
        }
    }
    j->count = next;
}

static qx_status
say(const identifying *t, size_t u, const joining *j, bool row, const char **how)
{
    const char *name = t->p->unit[u].name;
    *how =
        row ? qx_arena_printf(t->arena, "%s has no column: each row is one", name)
            : qx_arena_printf(
                  t->arena, "%s has no column: told by %s", name, qx_text_get(j->parts));
    return *how == NULL || qx_text_failed(j->parts)
               ? qx_fail(t->cx, QX_E_NOMEM, "no memory to tell the units apart")
               : QX_OK;
}

/* Does anything but the row tell one from the other? */
static bool can_be_told(const qx_protocol *p, const qx_table *table, size_t u)
{
    const qx_unit *unit = &p->unit[u];
    if (label_column(table, unit->name) != NULL) {
        return true;
    }
    bool columns = unit->column_count > 0;
    for (size_t i = 0; columns && i < unit->column_count; i++) {
        columns = label_column(table, unit->column[i]) != NULL;
    }
    bool treated = false;
    bool complete = true;
    for (size_t i = 0; i < p->treatment_count; i++) {
        if (p->treatment[i].on == u) {
            treated = true;
            complete = complete && label_column(table, p->treatment[i].name) != NULL;
        }
    }
    return columns || (treated ? complete : unit->parent_count > 1);
}

size_t qx_unit_untold(const qx_protocol *protocol, const qx_table *table, size_t variate)
{
    size_t path[QX_NAMES_MOST];
    const size_t length = qx_unit_path(protocol, protocol->variate[variate].on, path);
    for (size_t i = 0; i + 1 < length; i++) {
        if (!can_be_told(protocol, table, path[i])) {
            return path[i];
        }
    }
    return QX_NONE;
}

static qx_status cannot_tell(const identifying *t, size_t u)
{
    return qx_fail(t->cx,
                   QX_E_INPUT,
                   "%s has no column, and neither treatments nor crossed units tell one "
                   "from the other; expected a column \"%s\" in the data",
                   t->p->unit[u].name,
                   t->p->unit[u].name);
}

/* Contract section 2, rule 1, in its order. */
static qx_status tell(const identifying *t, size_t u, joining *j, const char **how)
{
    const qx_unit *unit = &t->p->unit[u];
    const qx_column *own = label_column(t->table, unit->name);
    *how = NULL;
    if (own != NULL) {
        return join_codes(t, j, own->code, own->level_count);
    }
    const bool lowest = u == t->lowest;
    const bool parts = unit->column_count > 0 || treatments_on(t, u) > 0;
    name_parents(t, u, j, parts);
    bool told = false;
    QX_TRY(by_columns(t, u, j, &told));
    if (told) {
        return say(t, u, j, false, how);
    }
    QX_TRY(by_treatments(t, u, j, &told));
    const bool crossed = treatments_on(t, u) == 0 && unit->parent_count > 1;
    told = told || crossed;
    bool coincide = false;
    if (told && lowest) {
        QX_TRY(rows_coincide(t, j, &coincide));
    }
    if (told && !coincide) {
        return say(t, u, j, false, how);
    }
    if (!lowest || t->dated) {
        return cannot_tell(t, u);
    }
    by_row(t, j);
    return say(t, u, j, true, how);
}

static qx_status first_rows(const identifying *t, const joining *j, const size_t **out)
{
    size_t *first = NULL;
    QX_NEW_IN(t->cx, t->arena, first, j->count);
    for (size_t i = t->table->rows; i > 0; i--) {
        if (j->code[i - 1] != QX_MISSING_CODE) {
            first[j->code[i - 1]] = i - 1;
        }
    }
    *out = first;
    return QX_OK;
}

static qx_status identify_unit(const identifying *t, size_t u)
{
    joining j;
    QX_TRY(begin(t, u, &j));
    const char *how = NULL;
    QX_TRY(tell(t, u, &j, &how));
    const size_t *first = NULL;
    QX_TRY(first_rows(t, &j, &first));
    t->out[u] = (qx_identity){
        .unit = u, .count = j.count, .code = j.code, .first = first, .how = how};
    return QX_OK;
}

/* Rows of one unit on several dates do not coincide. */
static qx_status add_dates(identifying *t, const qx_variate *variate)
{
    const size_t rows = t->table->rows;
    const qx_column *dates =
        variate->dates != NULL ? label_column(t->table, variate->dates) : NULL;
    t->dated = dates != NULL;
    if (dates == NULL) {
        return QX_OK;
    }
    if (t->season == NULL) {
        QX_NEW(t->cx, t->season, rows);
        t->season_count = 1;
    }
    return qx_pair_codes(t->cx,
                         rows,
                         t->season,
                         t->season_count,
                         dates->code,
                         dates->level_count,
                         t->season,
                         &t->season_count);
}

static qx_status identify(identifying *t, const qx_variate *variate)
{
    const qx_seasons *seasons = &t->p->seasons;
    const qx_column *column =
        seasons->level_count > 0 ? label_column(t->table, seasons->column) : NULL;
    if (column != NULL) {
        t->season_count = seasons->level_count;
        QX_TRY(level_codes(t, column, seasons->level_count, seasons->level, &t->season));
    }
    QX_TRY(add_dates(t, variate));
    size_t path[QX_NAMES_MOST];
    const size_t length = qx_unit_path(t->p, t->lowest, path);
    const bool own_arena = t->arena != qx_ctx_scratch(t->cx);
    for (size_t i = 0; i < length; i++) {
        qx_status status = QX_OK;
        if (own_arena) {
            QX_SCRATCH(t->cx, status, identify_unit(t, path[i]));
        } else { /* the caller's scratch holds what is given back */
            status = identify_unit(t, path[i]);
        }
        QX_TRY(status);
    }
    return QX_OK;
}

qx_status qx_identify(qx_ctx *cx,
                      qx_arena *arena,
                      const qx_protocol *protocol,
                      const qx_table *table,
                      size_t variate,
                      const bool keep[],
                      qx_identity out[])
{
    if (variate >= protocol->variate_count) {
        return qx_fail(cx, QX_E_ARG, "the protocol has no variate number %zu", variate);
    }
    for (size_t u = 0; u < protocol->unit_count; u++) {
        out[u] = (qx_identity){.unit = QX_NONE};
    }
    identifying t = {.cx = cx,
                     .arena = arena,
                     .p = protocol,
                     .table = table,
                     .lowest = protocol->variate[variate].on,
                     .keep = keep,
                     .out = out};
    qx_status status = QX_OK;
    if (arena == qx_ctx_scratch(cx)) {
        return identify(&t, &protocol->variate[variate]);
    }
    QX_SCRATCH(cx, status, identify(&t, &protocol->variate[variate]));
    return status;
}
