#include "trial/check.h"

#include <math.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"
#include "trial/checking.h"
#include "trial/level_code.h"
#include "trial/read_csv.h"

/* --- wishes: the columns that the protocol knows --- */

typedef struct wishing {
    qx_column_wish *wish;
    size_t count;
} wishing;

/* A column may be wished for twice (a treatment that also tells a unit). */
static void wish(wishing *w, const char *name, qx_column_kind kind, bool needed)
{
    for (size_t i = 0; i < w->count; i++) {
        if (strcmp(w->wish[i].name, name) == 0) {
            w->wish[i].needed = w->wish[i].needed || needed;
            return;
        }
    }
    w->wish[w->count] = (qx_column_wish){.name = name, .kind = kind, .needed = needed};
    w->count++;
}

static qx_column_kind kind_of(const qx_variate *variate)
{
    const bool classes = variate->kind == QX_ORDINAL || variate->kind == QX_NOMINAL;
    return classes ? QX_COLUMN_LABEL : QX_COLUMN_NUMBER;
}

/* Data of a trial file may come in parts, and the layout knows the treatments. */
static void wish_all(wishing *w, const qx_protocol *p, bool layout_known)
{
    for (size_t u = 0; u < p->unit_count; u++) {
        wish(w, p->unit[u].name, QX_COLUMN_LABEL, false);
        for (size_t i = 0; i < p->unit[u].column_count; i++) {
            wish(w, p->unit[u].column[i], QX_COLUMN_LABEL, false);
        }
    }
    for (size_t t = 0; t < p->treatment_count; t++) {
        wish(w, p->treatment[t].name, QX_COLUMN_LABEL, !layout_known);
    }
    if (p->seasons.level_count > 0) {
        wish(w, p->seasons.column, QX_COLUMN_LABEL, p->seasons.level_count > 1);
    }
    for (size_t i = 0; i < p->covariate_count; i++) {
        wish(w, p->covariate[i].name, QX_COLUMN_NUMBER, !layout_known);
    }
    for (size_t v = 0; v < p->variate_count; v++) {
        const qx_variate *variate = &p->variate[v];
        wish(w, variate->name, kind_of(variate), !layout_known);
        if (variate->of[0] != '\0') {
            wish(w, variate->of, QX_COLUMN_NUMBER, !layout_known);
        }
        if (variate->times[0] != '\0') {
            wish(w, variate->times, QX_COLUMN_NUMBER, !layout_known);
        }
        if (variate->dates != NULL) {
            wish(w, variate->dates, QX_COLUMN_LABEL, !layout_known);
        }
    }
    const size_t placed = qx_protocol_placed_unit(p);
    if (placed != QX_NONE) {
        const bool needed = p->analysis.field_trend != QX_FIELD_NONE && !layout_known;
        wish(w, p->unit[placed].row_column, QX_COLUMN_LABEL, needed);
        wish(w, p->unit[placed].place_column, QX_COLUMN_LABEL, needed);
    }
}

static size_t wishes_most(const qx_protocol *p)
{
    size_t most = p->unit_count + p->treatment_count + p->covariate_count +
                  4 * p->variate_count + 3;
    for (size_t u = 0; u < p->unit_count; u++) {
        most += p->unit[u].column_count;
    }
    return most;
}

/* --- levels: codes of known columns become the protocol's level numbers --- */

static void tell_unknown(qx_checking *c,
                         const qx_column *column,
                         const uint32_t known[],
                         size_t level_count,
                         const char *const level[])
{
    for (size_t row = 0; row < c->table->rows; row++) {
        const uint32_t code = column->code[row];
        if (code != QX_MISSING_CODE && known[code] == QX_MISSING_CODE) {
            char shown[QX_SHOWN_ROOM];
            const qx_arena_mark mark = qx_arena_get_mark(qx_ctx_scratch(c->cx));
            QX_TELL(c,
                    row,
                    column,
                    qx_checking_expect(c, column->level[code], level_count, level),
                    "%s \"%s\" is not in the protocol",
                    column->name,
                    qx_shown(column->level[code], shown));
            qx_arena_rewind(qx_ctx_scratch(c->cx), mark);
        }
    }
}

static qx_status
recode(qx_checking *c, qx_column *column, size_t level_count, const char *const level[])
{
    uint32_t *known = NULL;
    uint32_t *code = NULL;
    qx_arena *arena = c->table->arena;
    QX_NEW(c->cx, known, column->level_count);
    QX_NEW_IN(c->cx, arena, code, c->table->rows);
    qx_column_levels(column, c->table->separator, level_count, level, known);
    tell_unknown(c, column, known, level_count, level);
    for (size_t row = 0; row < c->table->rows; row++) {
        const uint32_t old = column->code[row];
        code[row] = old == QX_MISSING_CODE ? QX_MISSING_CODE : known[old];
    }
    QX_TRY(qx_levels_copy(c->cx, arena, level_count, level, &column->level));
    column->code = code;
    column->level_count = level_count;
    return QX_OK;
}

static void levels_of(const qx_protocol *p,
                      const char *name,
                      size_t *count,
                      const char *const **level)
{
    *count = 0;
    for (size_t t = 0; t < p->treatment_count; t++) {
        if (strcmp(p->treatment[t].name, name) == 0) {
            *count = p->treatment[t].level_count;
            *level = p->treatment[t].level;
        }
    }
    for (size_t v = 0; v < p->variate_count; v++) {
        if (strcmp(p->variate[v].name, name) == 0) {
            *count = p->variate[v].level_count;
            *level = p->variate[v].level;
        }
    }
    if (p->seasons.level_count > 0 && strcmp(p->seasons.column, name) == 0) {
        *count = p->seasons.level_count;
        *level = p->seasons.level;
    }
}

static qx_status recode_all(qx_checking *c, qx_table *table)
{
    qx_column *columns = NULL;
    QX_NEW_IN(c->cx, table->arena, columns, table->column_count);
    for (size_t i = 0; i < table->column_count; i++) {
        columns[i] = table->column[i];
        size_t count = 0;
        const char *const *level = NULL;
        levels_of(c->p, columns[i].name, &count, &level);
        if (count > 0 && columns[i].kind == QX_COLUMN_LABEL) {
            QX_TRY(recode(c, &columns[i], count, level));
        }
    }
    table->column = columns;
    return QX_OK;
}

/* --- the whole --- */

/* Where the units stand may come to a trial file before anything is measured. */
static bool tells_positions(const qx_checking *c)
{
    const size_t u = qx_protocol_placed_unit(c->p);
    return c->layout_known && u != QX_NONE &&
           qx_checking_labels(c, c->p->unit[u].row_column) != NULL &&
           qx_checking_labels(c, c->p->unit[u].place_column) != NULL;
}

static void check_any_variate(qx_checking *c)
{
    if (tells_positions(c)) {
        return;
    }
    for (size_t v = 0; v < c->p->variate_count; v++) {
        if (qx_checking_variate(c, v) != NULL) {
            return;
        }
    }
    const qx_place top = {.line = 1, .column = 1};
    qx_checking_keep(c,
                     qx_problem_add(c->problems,
                                    c->table->file,
                                    top,
                                    "expected a column for at least one variate",
                                    "the file holds nothing that the protocol measures"));
    for (size_t row = 0; row < c->table->rows; row++) {
        c->bad[row] = true; /* no row of it is good */
    }
}

/* Is a column missing that has been told with the header? Then what goes by all columns
 * together would only tell it again in other words. */
static bool lacks_column(const wishing *w, const qx_table *table)
{
    for (size_t i = 0; i < w->count; i++) {
        if (w->wish[i].needed && qx_table_find(table, w->wish[i].name) == NULL) {
            return true;
        }
    }
    return false;
}

static qx_status check_table(qx_checking *c, qx_table *table, bool lacking)
{
    QX_NEW(c->cx, c->record, 1);
    c->scan = qx_csv_begin(c->bytes, c->length);
    if (!lacking) {
        check_any_variate(c);
    }
    QX_TRY(recode_all(c, table));
    qx_check_values(c);
    if (c->failed == QX_OK) {
        qx_check_labels(c, lacking);
    }
    if (c->failed == QX_OK) {
        qx_check_dates(c);
    }
    if (lacking) {
        return c->failed;
    }
    if (c->failed == QX_OK) {
        qx_check_units(c);
    }
    if (c->failed == QX_OK) {
        qx_check_positions(c);
    }
    return c->failed;
}

static qx_status parse(qx_checking *c, const char *file, qx_table **table)
{
    wishing w = {.count = 0};
    QX_NEW(c->cx, w.wish, wishes_most(c->p));
    wish_all(&w, c->p, c->layout_known);
    const qx_status status = qx_csv_parse(
        c->cx, file, c->bytes, c->length, w.count, w.wish, c->problems, table, &c->bad);
    if (*table == NULL) {
        return status;
    }
    c->table = *table;
    const qx_status checked = check_table(c, *table, lacks_column(&w, *table));
    return checked == QX_OK ? status : checked;
}

static qx_status parse_file(qx_checking *c, const char *file, qx_table **out, bool **bad)
{
    const size_t before = qx_problems_count(c->problems);
    qx_table *table = NULL;
    qx_status status = parse(c, file, &table);
    qx_problems_sort(c->problems);
    if (status == QX_OK && qx_problems_count(c->problems) > before) {
        status = qx_fail(c->cx, QX_E_INPUT, "the data in %s have problems", file);
    }
    if (status != QX_OK && status != QX_E_INPUT) {
        qx_table_free(table);
        table = NULL;
    }
    *out = table;
    if (bad != NULL) {
        *bad = table == NULL ? NULL : c->bad;
    }
    return status;
}

qx_status qx_data_parse(qx_ctx *cx,
                        const qx_protocol *protocol,
                        const char *file,
                        const char *bytes,
                        size_t length,
                        bool layout_known,
                        qx_problems *problems,
                        qx_table **out,
                        bool **bad)
{
    qx_checking c = {.cx = cx,
                     .p = protocol,
                     .problems = problems,
                     .layout_known = layout_known,
                     .bytes = bytes,
                     .length = length};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, parse_file(&c, file, out, bad));
    return status;
}

qx_status qx_data_read(qx_ctx *cx,
                       const qx_protocol *protocol,
                       const char *path,
                       bool layout_known,
                       qx_problems *problems,
                       qx_table **out,
                       bool **bad)
{
    /* The text may be as large as the table: it goes before the caller uses the table. */
    qx_arena *text = qx_arena_new();
    if (text == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for %s", path);
    }
    qx_bytes file = {0};
    qx_status status = qx_file_read(cx, text, path, QX_DATA_BYTES_MOST, &file);
    if (status == QX_OK) {
        status = qx_data_parse(cx,
                               protocol,
                               path,
                               file.bytes,
                               file.length,
                               layout_known,
                               problems,
                               out,
                               bad);
    }
    qx_arena_free(text);
    return status;
}
