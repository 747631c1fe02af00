/* store/observations.c - recording. Reading back is observations_table.c. */
#include "store/observations.h"

#include <math.h>
#include <string.h>

#include "base/array.h"
#include "base/date.h"
#include "base/decimal.h"
#include "store/people.h"
#include "store/quantity.h"
#include "store/thing.h"
#include "store/trial_file_inner.h"

/* Rows between two reports of progress. */
#define PROGRESS_ROWS 512

typedef struct recording {
    qx_ctx *cx;
    qx_db *db;
    const qx_record_order *order;
    qx_problems *problems;
    qx_arena *arena; /* of the receipt */
    qx_quantities quantities;
    qx_spots *spots; /* of each part */
    qx_things things;
    qx_array corrections; /* qx_correction */
    qx_receipt receipt;
    int64_t import;
    size_t done; /* rows, for the progress */
} recording;

/* One value of one row on its way. */
typedef struct cell {
    size_t part, row;
    const qx_quantity *quantity;
    const char *season;
    const char *value; /* NULL: missing */
} cell;

static const qx_data_part *part_of(const recording *r, const cell *c)
{
    return &r->order->part[c->part];
}

/* --- what a row says --- */

static bool has_value(const qx_table *table, const qx_quantity *quantity, size_t row)
{
    const qx_column *column = qx_table_find(table, quantity->name);
    if (column == NULL) {
        return false;
    }
    return column->kind == QX_COLUMN_LABEL ? column->code[row] != QX_MISSING_CODE
                                           : !isnan(column->value[row]);
}

static const char *season_of(const recording *r, const qx_table *table, size_t row)
{
    const qx_seasons *seasons = &r->order->protocol->seasons;
    if (seasons->level_count == 0) {
        return "";
    }
    const qx_column *column = qx_table_find(table, seasons->column);
    if (column == NULL || column->kind != QX_COLUMN_LABEL) {
        return seasons->level_count == 1 ? seasons->level[0] : "";
    }
    return column->code[row] == QX_MISSING_CODE ? "" : column->level[column->code[row]];
}

/* Is the row about this unit and nothing else? Then an empty field is a value that was
 * looked for and not found: no label of a smaller unit, no value of another unit. */
static bool is_about(const recording *r, size_t part, size_t unit, size_t row)
{
    const qx_protocol *p = r->order->protocol;
    const qx_spots *spots = &r->spots[part];
    if (spots->spot[unit][row].kind == QX_SPOT_NONE) {
        return false;
    }
    for (size_t u = 0; u < p->unit_count; u++) {
        if (u != unit && qx_unit_reaches(p, unit, u) &&
            qx_spot_has_label(spots, u, row)) {
            return false;
        }
    }
    for (size_t q = 0; q < r->quantities.count; q++) {
        const qx_quantity *other = &r->quantities.quantity[q];
        if (other->role == QX_OF_VARIATE && other->on != unit &&
            has_value(spots->table, other, row)) {
            return false;
        }
    }
    return true;
}

/* Text of the value in the arena of the receipt. NULL: no memory. */
static const char *text_of(const recording *r, const qx_column *column, size_t row)
{
    if (column->kind == QX_COLUMN_LABEL) {
        return column->level[column->code[row]];
    }
    if (column->exact[row].scale != QX_DECIMAL_INEXACT) {
        return qx_decimal_text(r->arena, column->exact[row]);
    }
    char number[QX_NUMBER_ROOM];
    return qx_arena_copy(r->arena, qx_number_exact(column->value[row], number));
}

/* --- problems --- */

static qx_status
complain(recording *r, const cell *c, const char *expected, const char *wrong)
{
    const qx_data_part *part = part_of(r, c);
    const qx_place at = {.line = part->table->line == NULL ? c->row + 2
                                                           : part->table->line[c->row],
                         .column = 1};
    part->bad[c->row] = true;
    if (wrong == NULL || expected == NULL) {
        return qx_fail(r->cx, QX_E_NOMEM, "no memory for a message");
    }
    return qx_problem_add(r->problems, part->table->file, at, expected, "%s", wrong);
}

/* Treatments that stand on a thing which only its row tells must be given in the row. */
static bool lacks_level(const recording *r, const cell *c)
{
    const qx_protocol *p = r->order->protocol;
    for (size_t t = 0; t < p->treatment_count; t++) {
        if (p->treatment[t].on == c->quantity->on &&
            !qx_spot_has_level(&r->spots[c->part], t, c->row)) {
            return true;
        }
    }
    return false;
}

/* The first unit of the path that the row does not tell. */
static size_t untold_unit(const recording *r, const cell *c)
{
    const qx_protocol *p = r->order->protocol;
    for (size_t i = 0; i < p->unit_count; i++) {
        const size_t u = p->unit_order[i];
        const qx_spot_kind kind = r->spots[c->part].spot[u][c->row].kind;
        const bool above = u != c->quantity->on && qx_unit_reaches(p, u, c->quantity->on);
        if (above && (kind == QX_SPOT_NONE || kind == QX_SPOT_ROW)) {
            return u;
        }
    }
    return c->quantity->on;
}

static qx_status check_told(recording *r, const cell *c)
{
    const qx_spot_kind kind = r->spots[c->part].spot[c->quantity->on][c->row].kind;
    if (kind != QX_SPOT_NONE && !(kind == QX_SPOT_ROW && lacks_level(r, c))) {
        return QX_OK;
    }
    qx_arena *scratch = qx_ctx_scratch(r->cx);
    const char *unit = r->order->protocol->unit[untold_unit(r, c)].name;
    return complain(r,
                    c,
                    qx_arena_printf(scratch,
                                    "expected a column \"%s\" with labels of the layout",
                                    unit),
                    qx_arena_printf(scratch,
                                    "the row does not tell which %s %s was measured on",
                                    unit,
                                    c->quantity->name));
}

static qx_status check_part(recording *r, size_t part)
{
    const qx_table *table = r->order->part[part].table;
    for (size_t row = 0; row < table->rows; row++) {
        for (size_t q = 0; q < r->quantities.count; q++) {
            const cell c = {
                .part = part, .row = row, .quantity = &r->quantities.quantity[q]};
            /* A covariate may also be told by a smaller unit's rows; without its thing it
             * says nothing here. */
            if (!r->order->part[part].bad[row] && c.quantity->role != QX_OF_COUNT &&
                has_value(table, c.quantity, row)) {
                qx_status status = QX_OK;
                QX_SCRATCH(r->cx, status, check_told(r, &c));
                QX_TRY(status);
            }
        }
    }
    return QX_OK;
}

/* --- one value --- */

static bool same_value(const cell *c, const char *stored)
{
    double a = 0;
    double b = 0;
    qx_decimal exact_a = {0};
    qx_decimal exact_b = {0};
    if (strcmp(c->value, stored) == 0) {
        return true;
    }
    if (c->quantity->classes ||
        !qx_decimal_read(c->value, strlen(c->value), '.', &a, &exact_a) ||
        !qx_decimal_read(stored, strlen(stored), '.', &b, &exact_b)) {
        return false;
    }
    if (exact_a.scale == QX_DECIMAL_INEXACT || exact_b.scale == QX_DECIMAL_INEXACT) {
        return a == b;
    }
    return qx_decimal_minus(exact_a, exact_b) == 0;
}

static qx_status insert(recording *r, const cell *c, int64_t thing, int64_t revision)
{
    static const char add[] =
        "INSERT INTO observation (thing, season, quantity, revision, value, row, import)"
        " VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)";
    qx_statement *statement = NULL;
    QX_TRY(qx_db_statement(r->cx, r->db, add, &statement));
    qx_bind_whole(statement, 1, thing);
    qx_bind_text(statement, 2, c->season);
    qx_bind_text(statement, 3, c->quantity->name);
    qx_bind_whole(statement, 4, revision);
    qx_bind_text(statement, 5, c->value);
    qx_bind_whole(statement, 6, (int64_t)c->row + 1);
    qx_bind_whole(statement, 7, r->import);
    return qx_db_do(r->cx, r->db, statement);
}

static qx_status note_correction(recording *r, const cell *c, const char *before)
{
    const qx_table *table = part_of(r, c)->table;
    qx_correction *correction = qx_array_push(&r->corrections);
    const char *thing =
        qx_spot_words(r->arena, &r->spots[c->part], c->quantity->on, c->row);
    const char *season = qx_arena_copy(r->arena, c->season);
    const char *name = qx_arena_copy(r->arena, c->quantity->name);
    const char *after = qx_arena_copy(r->arena, c->value);
    const char *file = qx_arena_copy(r->arena, table->file);
    if (file == NULL || correction == NULL || thing == NULL || season == NULL ||
        name == NULL || after == NULL) {
        return qx_fail(r->cx, QX_E_NOMEM, "no memory for the corrections");
    }
    *correction =
        (qx_correction){.file = file,
                        .line = table->line == NULL ? c->row + 2 : table->line[c->row],
                        .thing = thing,
                        .season = season,
                        .quantity = name,
                        .before = before,
                        .after = after};
    return QX_OK;
}

static qx_status clash(recording *r, const cell *c, const char *stored)
{
    qx_arena *scratch = qx_ctx_scratch(r->cx);
    const char *thing =
        qx_spot_words(scratch, &r->spots[c->part], c->quantity->on, c->row);
    const char *wrong = thing == NULL
                            ? NULL
                            : qx_arena_printf(scratch,
                                              "%s of %s is %s here, but another row of "
                                              "this file says %s",
                                              c->quantity->name,
                                              thing,
                                              c->value,
                                              stored);
    return complain(r, c, "expected one value for each thing and season", wrong);
}

typedef struct newest {
    int64_t revision; /* 0: nothing stored yet */
    int64_t import;
    const char *value; /* NULL: missing; in scratch */
} newest;

static qx_status find_newest(recording *r, const cell *c, int64_t thing, newest *out)
{
    static const char ask[] = "SELECT revision, import, value FROM observation"
                              " WHERE thing = ?1 AND season = ?2 AND quantity = ?3"
                              " ORDER BY revision DESC LIMIT 1";
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(r->cx, r->db, ask, &statement));
    qx_bind_whole(statement, 1, thing);
    qx_bind_text(statement, 2, c->season);
    qx_bind_text(statement, 3, c->quantity->name);
    QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    *out = (newest){0};
    if (!row) {
        return QX_OK;
    }
    out->revision = qx_row_whole(statement, 0);
    out->import = qx_row_whole(statement, 1);
    const char *value = qx_row_text(statement, 2, NULL);
    if (value != NULL) {
        out->value = qx_arena_copy(r->arena, value);
        if (out->value == NULL) {
            return qx_fail(r->cx, QX_E_NOMEM, "no memory for a value");
        }
    }
    return qx_db_do(r->cx, r->db, statement);
}

static qx_status store_against(recording *r, const cell *c, int64_t thing, newest old)
{
    if (c->value == NULL) {
        if (old.revision > 0) {
            return QX_OK;
        }
        r->receipt.blank++;
        return insert(r, c, thing, 1);
    }
    if (old.value == NULL) {
        r->receipt.stored++;
        return insert(r, c, thing, old.revision + 1);
    }
    if (same_value(c, old.value)) {
        r->receipt.repeated += c->quantity->role == QX_OF_VARIATE ? 1 : 0;
        return QX_OK;
    }
    if (old.import == r->import) {
        return clash(r, c, old.value);
    }
    QX_TRY(note_correction(r, c, old.value));
    return insert(r, c, thing, old.revision + 1);
}

static qx_status store_cell(recording *r, const cell *c)
{
    const qx_spots *spots = &r->spots[c->part];
    const size_t unit = c->quantity->on;
    int64_t thing = 0;
    if (spots->spot[unit][c->row].kind == QX_SPOT_ROW) {
        bool rival = false;
        QX_TRY(qx_thing_has_rival(r->cx, r->db, spots, unit, c->row, c->season, &rival));
        if (rival) {
            const char *name = r->order->protocol->unit[unit].name;
            qx_arena *scratch = qx_ctx_scratch(r->cx);
            return complain(r,
                            c,
                            qx_arena_printf(scratch,
                                            "expected a column \"%s\" with labels, to "
                                            "tell new ones from corrected ones",
                                            name),
                            qx_arena_printf(scratch,
                                            "%s has no label, and another file brought "
                                            "such ones to the same place already",
                                            name));
        }
    }
    newest old = {0};
    QX_TRY(qx_thing_of(r->cx, r->db, &r->things, spots, unit, c->row, &thing));
    QX_TRY(find_newest(r, c, thing, &old));
    return store_against(r, c, thing, old);
}

/* --- rows and parts --- */

static qx_status store_row(recording *r, size_t part, size_t row)
{
    const qx_data_part *data = &r->order->part[part];
    for (size_t q = 0; q < r->quantities.count && !data->bad[row]; q++) {
        cell c = {.part = part,
                  .row = row,
                  .quantity = &r->quantities.quantity[q],
                  .season = season_of(r, data->table, row)};
        const qx_column *column = qx_table_find(data->table, c.quantity->name);
        const qx_spot_kind kind = r->spots[part].spot[c.quantity->on][row].kind;
        if (column == NULL || kind == QX_SPOT_NONE) {
            continue;
        }
        if (has_value(data->table, c.quantity, row)) {
            c.value = text_of(r, column, row);
            if (c.value == NULL) {
                return qx_fail(r->cx, QX_E_NOMEM, "no memory for a value");
            }
        } else if (c.quantity->role != QX_OF_VARIATE ||
                   !is_about(r, part, c.quantity->on, row)) {
            continue;
        }
        QX_TRY(store_cell(r, &c));
    }
    return QX_OK;
}

static qx_status add_import(recording *r, const qx_data_part *part)
{
    static const char add[] =
        "INSERT INTO import (file, digest, recorded_at, recorded_by, reason)"
        " VALUES (?1, ?2, ?3, ?4, ?5)";
    char when[21];
    int64_t person = 0;
    qx_statement *statement = NULL;
    qx_instant_write(qx_now(), when);
    QX_TRY(qx_person_of(r->cx, r->db, r->order->by, &person));
    QX_TRY(qx_db_statement(r->cx, r->db, add, &statement));
    qx_bind_text(statement, 1, part->table->file);
    qx_bind_text(statement, 2, part->digest);
    qx_bind_text(statement, 3, when);
    qx_bind_whole(statement, 4, person);
    qx_bind_text(statement, 5, r->order->reason);
    QX_TRY(qx_db_do(r->cx, r->db, statement));
    r->import = qx_db_last_id(r->db);
    return QX_OK;
}

static size_t kept(const recording *r)
{
    return r->receipt.stored + r->receipt.blank + r->corrections.count;
}

static qx_status drop_import(recording *r)
{
    static const char drop[] = "DELETE FROM import WHERE id = ?1";
    qx_statement *statement = NULL;
    QX_TRY(qx_db_statement(r->cx, r->db, drop, &statement));
    qx_bind_whole(statement, 1, r->import);
    return qx_db_do(r->cx, r->db, statement);
}

static qx_status store_part(recording *r, size_t part)
{
    const qx_data_part *data = &r->order->part[part];
    const size_t before = kept(r);
    QX_TRY(add_import(r, data));
    for (size_t row = 0; row < data->table->rows; row++, r->done++) {
        if (r->done % PROGRESS_ROWS == 0) {
            qx_ctx_progress(r->cx, "recording", r->done, r->receipt.rows);
            if (qx_ctx_cancelled(r->cx)) {
                return qx_fail(r->cx, QX_E_CANCELLED, "stopped; nothing was stored");
            }
        }
        qx_status status = QX_OK;
        QX_SCRATCH(r->cx, status, store_row(r, part, row));
        QX_TRY(status);
    }
    /* A file that brought nothing leaves no trace. */
    return kept(r) == before ? drop_import(r) : QX_OK;
}

static qx_status store_parts(recording *r)
{
    for (size_t part = 0; part < r->order->part_count; part++) {
        QX_TRY(store_part(r, part));
    }
    if (qx_problems_count(r->problems) > 0 && !r->order->accept_good) {
        return qx_fail(r->cx, QX_E_INPUT, "the data have problems; nothing was stored");
    }
    return kept(r) == 0 ? QX_OK : qx_db_commit(r->cx, r->db);
}

static void finish(recording *r, qx_receipt *out)
{
    for (size_t part = 0; part < r->order->part_count; part++) {
        for (size_t row = 0; row < r->order->part[part].table->rows; row++) {
            r->receipt.left_out += r->order->part[part].bad[row] ? 1 : 0;
        }
    }
    r->receipt.correction_count = r->corrections.count;
    r->receipt.correction = r->corrections.items;
    *out = r->receipt;
}

static qx_status record(recording *r, qx_receipt *out)
{
    const qx_record_order *order = r->order;
    qx_arena *scratch = qx_ctx_scratch(r->cx);
    QX_TRY(qx_quantities_of(r->cx, scratch, order->protocol, &r->quantities));
    QX_NEW(r->cx, r->spots, order->part_count);
    for (size_t part = 0; part < order->part_count; part++) {
        const qx_data_part *data = &order->part[part];
        QX_TRY(qx_spots_find(r->cx,
                             scratch,
                             order->protocol,
                             order->layout,
                             data->table,
                             data->digest,
                             &r->spots[part]));
        QX_TRY(check_part(r, part));
        r->receipt.rows += data->table->rows;
    }
    if (qx_problems_count(r->problems) > 0 && !order->accept_good) {
        return qx_fail(r->cx, QX_E_INPUT, "the data have problems; nothing was stored");
    }
    QX_TRY(qx_things_begin(r->cx, r->arena, &r->things));
    QX_TRY(qx_db_begin(r->cx, r->db));
    const qx_status status = store_parts(r);
    qx_db_undo(r->db); /* what was committed stays */
    QX_TRY(status);
    finish(r, out);
    return QX_OK;
}

qx_status qx_observations_record(qx_ctx *cx,
                                 qx_trial_file *file,
                                 const qx_record_order *order,
                                 qx_problems *problems,
                                 qx_arena *arena,
                                 qx_receipt *out)
{
    const qx_array corrections = QX_ARRAY(arena, sizeof(qx_correction));
    recording r = {.cx = cx,
                   .db = file->db,
                   .order = order,
                   .problems = problems,
                   .arena = arena,
                   .corrections = corrections};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, record(&r, out));
    return status;
}
