/* store/observations.c - recording. What is refused: observations_check.c; reading back:
 * observations_table.c. */
#include "store/observations.h"

#include <string.h>

#include "base/date.h"
#include "store/people.h"
#include "store/recording.h"
#include "store/trial_file_inner.h"

/* Rows between two reports of progress. */
#define PROGRESS_ROWS 512

/* --- what a row says --- */

/* Is the row about this unit and nothing else? Then an empty field is a value that was
 * looked for and not found: no label of a smaller unit, no value of another unit. */
static bool is_about(const qx_recording *r, size_t part, size_t unit, size_t row)
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
            qx_cell_given(spots->table, other, row)) {
            return false;
        }
    }
    return true;
}

/* --- one value --- */

static qx_status
insert(qx_recording *r, const qx_cell *c, int64_t thing, int64_t revision)
{
    static const char add[] =
        "INSERT INTO observation (thing, season, date, quantity, revision, value, row,"
        " import) VALUES (?1, ?2, ?8, ?3, ?4, ?5, ?6, ?7)";
    qx_statement *statement = NULL;
    QX_TRY(qx_db_statement(r->cx, r->db, add, &statement));
    qx_bind_whole(statement, 1, thing);
    qx_bind_text(statement, 2, c->season);
    qx_bind_text(statement, 3, c->quantity->name);
    qx_bind_whole(statement, 4, revision);
    qx_bind_text(statement, 5, c->value);
    qx_bind_whole(statement, 6, (int64_t)c->row + 1);
    qx_bind_whole(statement, 7, r->import);
    qx_bind_text(statement, 8, c->date);
    return qx_db_do(r->cx, r->db, statement);
}

static qx_status note_correction(qx_recording *r, const qx_cell *c, const char *before)
{
    const qx_table *table = qx_part_of(r, c)->table;
    qx_correction *correction = qx_array_push(&r->corrections);
    const char *thing =
        qx_spot_words(r->arena, &r->spots[c->part], c->quantity->on, c->row);
    const char *season = qx_arena_copy(r->arena, c->season);
    const char *date = qx_arena_copy(r->arena, c->date);
    const char *name = qx_arena_copy(r->arena, c->quantity->name);
    const char *after = qx_arena_copy(r->arena, c->value);
    const char *file = qx_arena_copy(r->arena, table->file);
    if (file == NULL || correction == NULL || thing == NULL || season == NULL ||
        date == NULL || name == NULL || after == NULL) {
        return qx_fail(r->cx, QX_E_NOMEM, "no memory for the corrections");
    }
    *correction =
        (qx_correction){.file = file,
                        .line = table->line == NULL ? c->row + 2 : table->line[c->row],
                        .thing = thing,
                        .season = season,
                        .date = date,
                        .quantity = name,
                        .before = before,
                        .after = after};
    return QX_OK;
}

static qx_status clash(qx_recording *r, const qx_cell *c, const char *stored)
{
    qx_arena *scratch = qx_ctx_scratch(r->cx);
    const char *thing =
        qx_spot_words(scratch, &r->spots[c->part], c->quantity->on, c->row);
    const char *wrong = thing == NULL
                            ? NULL
                            : qx_arena_printf(scratch,
                                              "%s of %s%s%s is %s here, but another row "
                                              "of this file says %s",
                                              c->quantity->name,
                                              thing,
                                              c->date[0] == '\0' ? "" : " on ",
                                              c->date,
                                              c->value,
                                              stored);
    const bool position = c->quantity->role == QX_OF_POSITION;
    return qx_record_complain(r,
                              c,
                              position ? "expected one place for one unit"
                              : c->date[0] == '\0'
                                  ? "expected one value for each thing and season"
                                  : "expected one value for each thing, season and "
                                    "date",
                              wrong);
}

qx_status
qx_record_newest(qx_recording *r, const qx_cell *c, int64_t thing, qx_newest *out)
{
    static const char ask[] = "SELECT revision, import, value, id FROM observation"
                              " WHERE thing = ?1 AND season = ?2 AND date = ?4"
                              " AND quantity = ?3 ORDER BY revision DESC LIMIT 1";
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(r->cx, r->db, ask, &statement));
    qx_bind_whole(statement, 1, thing);
    qx_bind_text(statement, 2, c->season);
    qx_bind_text(statement, 3, c->quantity->name);
    qx_bind_text(statement, 4, c->date);
    QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    *out = (qx_newest){0};
    if (!row) {
        return QX_OK;
    }
    out->revision = qx_row_whole(statement, 0);
    out->import = qx_row_whole(statement, 1);
    out->id = qx_row_whole(statement, 3);
    const char *value = qx_row_text(statement, 2, NULL);
    if (value != NULL) {
        out->value = qx_arena_copy(r->arena, value);
        if (out->value == NULL) {
            return qx_fail(r->cx, QX_E_NOMEM, "no memory for a value");
        }
    }
    return qx_db_do(r->cx, r->db, statement);
}

/* The same value once more: counted once, however many rows of the file hold it, and not
 * where it is this file that brought it. */
static qx_status count_repeated(qx_recording *r, qx_newest old)
{
    if (old.import == r->import) {
        return QX_OK;
    }
    const size_t before = qx_map_count(r->repeats);
    if (qx_map_add(r->repeats, (const char *)&old.id, sizeof old.id) == QX_MAP_NONE) {
        return qx_fail(r->cx, QX_E_NOMEM, "no memory for the values");
    }
    r->receipt.repeated += qx_map_count(r->repeats) > before ? 1 : 0;
    return QX_OK;
}

static qx_status
store_against(qx_recording *r, const qx_cell *c, int64_t thing, qx_newest old)
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
    if (qx_cell_same(c, old.value)) {
        return count_repeated(r, old);
    }
    if (old.import == r->import) {
        return clash(r, c, old.value);
    }
    QX_TRY(note_correction(r, c, old.value));
    return insert(r, c, thing, old.revision + 1);
}

static qx_status store_cell(qx_recording *r, const qx_cell *c)
{
    const bool *bad = &qx_part_of(r, c)->bad[c->row];
    int64_t thing = 0;
    qx_newest old = {0};
    QX_TRY(qx_record_check_kind(r, c));
    if (!*bad && c->quantity->role != QX_OF_POSITION) {
        QX_TRY(qx_record_check_rival(r, c));
    }
    if (*bad) {
        return QX_OK;
    }
    QX_TRY(qx_thing_of(
        r->cx, r->db, &r->things, &r->spots[c->part], c->quantity->on, c->row, &thing));
    QX_TRY(qx_record_newest(r, c, thing, &old));
    return store_against(r, c, thing, old);
}

/* Season, date and value of a field. *skip: it says nothing here. */
static qx_status fill_cell(qx_recording *r, qx_cell *c, bool *skip)
{
    const qx_table *table = qx_part_of(r, c)->table;
    const qx_quantity *quantity = c->quantity;
    const bool given = qx_cell_given(table, quantity, c->row);
    *skip = qx_table_find(table, quantity->name) == NULL ||
            r->spots[c->part].spot[quantity->on][c->row].kind == QX_SPOT_NONE;
    if (*skip) {
        return QX_OK;
    }
    c->season = quantity->role == QX_OF_POSITION
                    ? "" /* it stands where it stood last season */
                    : qx_cell_season(r->order->protocol, table, c->row);
    c->date = qx_cell_date(qx_ctx_scratch(r->cx), table, quantity, c->row);
    c->value = given ? qx_cell_text(r->arena, table, quantity, c->row) : NULL;
    if (c->date == NULL || (given && c->value == NULL)) {
        return qx_fail(r->cx, QX_E_NOMEM, "no memory for a value");
    }
    const bool untold = quantity->dates != NULL && c->date[0] == '\0';
    *skip = untold || (!given && (quantity->role != QX_OF_VARIATE ||
                                  !is_about(r, c->part, quantity->on, c->row)));
    return QX_OK;
}

/* --- rows and parts --- */

static qx_status store_row(qx_recording *r, size_t part, size_t row)
{
    const qx_data_part *data = &r->order->part[part];
    if (!data->bad[row]) {
        QX_TRY(qx_record_check_shares(r, part, row));
    }
    for (size_t q = 0; q < r->quantities.count && !data->bad[row]; q++) {
        qx_cell c = {.part = part, .row = row, .quantity = &r->quantities.quantity[q]};
        bool skip = false;
        QX_TRY(fill_cell(r, &c, &skip));
        if (!skip) {
            QX_TRY(store_cell(r, &c));
        }
    }
    return QX_OK;
}

static qx_status add_import(qx_recording *r, const qx_data_part *part)
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

static size_t kept(const qx_recording *r)
{
    return r->receipt.stored + r->receipt.blank + r->corrections.count;
}

static qx_status drop_import(qx_recording *r)
{
    static const char drop[] = "DELETE FROM import WHERE id = ?1";
    qx_statement *statement = NULL;
    QX_TRY(qx_db_statement(r->cx, r->db, drop, &statement));
    qx_bind_whole(statement, 1, r->import);
    return qx_db_do(r->cx, r->db, statement);
}

static qx_status store_part(qx_recording *r, size_t part)
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

static qx_status store_parts(qx_recording *r)
{
    for (size_t part = 0; part < r->order->part_count; part++) {
        QX_TRY(store_part(r, part));
    }
    if (qx_problems_count(r->problems) > 0 && !r->order->accept_good) {
        return qx_fail(r->cx, QX_E_INPUT, "the data have problems; nothing was stored");
    }
    return kept(r) == 0 ? QX_OK : qx_db_commit(r->cx, r->db);
}

static void finish(qx_recording *r, qx_receipt *out)
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

static qx_status record(qx_recording *r, qx_receipt *out)
{
    const qx_record_order *order = r->order;
    qx_arena *scratch = qx_ctx_scratch(r->cx);
    QX_TRY(qx_quantities_of(r->cx, scratch, order->protocol, &r->quantities));
    QX_NEW(r->cx, r->dates, r->quantities.count);
    r->repeats = qx_map_new(r->arena);
    if (r->repeats == NULL) {
        return qx_fail(r->cx, QX_E_NOMEM, "no memory for the values");
    }
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
        QX_TRY(qx_record_check_part(r, part));
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
    qx_recording r = {.cx = cx,
                      .db = file->db,
                      .order = order,
                      .problems = problems,
                      .arena = arena,
                      .corrections = corrections};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, record(&r, out));
    return status;
}
