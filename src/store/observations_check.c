/* store/observations_check.c - what a recording refuses. */
#include <math.h>
#include <string.h>

#include "base/decimal.h"
#include "store/recording.h"
#include "trial/positions.h"

const qx_data_part *qx_part_of(const qx_recording *r, const qx_cell *c)
{
    return &r->order->part[c->part];
}

qx_status qx_record_complain(qx_recording *r,
                             const qx_cell *c,
                             const char *expected,
                             const char *wrong)
{
    const qx_data_part *part = qx_part_of(r, c);
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
static bool lacks_level(const qx_recording *r, const qx_cell *c)
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
static size_t untold_unit(const qx_recording *r, const qx_cell *c)
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

static qx_status check_told(qx_recording *r, const qx_cell *c)
{
    const qx_spot_kind kind = r->spots[c->part].spot[c->quantity->on][c->row].kind;
    if (kind != QX_SPOT_NONE && !(kind == QX_SPOT_ROW && lacks_level(r, c))) {
        return QX_OK;
    }
    qx_arena *scratch = qx_ctx_scratch(r->cx);
    const char *unit = r->order->protocol->unit[untold_unit(r, c)].name;
    return qx_record_complain(
        r,
        c,
        qx_arena_printf(
            scratch, "expected a column \"%s\" with labels of the layout", unit),
        qx_arena_printf(scratch,
                        "the row does not tell which %s %s was measured on",
                        unit,
                        c->quantity->name));
}

static const char *missing_date(const qx_recording *r, const qx_cell *c, bool expected)
{
    const char *dates = c->quantity->dates;
    qx_arena *scratch = qx_ctx_scratch(r->cx);
    return expected
               ? qx_arena_printf(scratch, "expected a date in a column \"%s\"", dates)
               : qx_arena_printf(scratch,
                                 "the row does not tell when %s was measured",
                                 c->quantity->name);
}

static qx_status check_dated(qx_recording *r, const qx_cell *c)
{
    const char *date =
        qx_cell_date(qx_ctx_scratch(r->cx), qx_part_of(r, c)->table, c->quantity, c->row);
    if (date == NULL) {
        return qx_fail(r->cx, QX_E_NOMEM, "no memory for a date");
    }
    return c->quantity->dates == NULL || date[0] != '\0'
               ? QX_OK
               : qx_record_complain(
                     r, c, missing_date(r, c, true), missing_date(r, c, false));
}

/* A position is a whole number, and what the list of trees says if there is one. */
static qx_status check_position(qx_recording *r, const qx_cell *c)
{
    qx_arena *scratch = qx_ctx_scratch(r->cx);
    const qx_spot spot = r->spots[c->part].spot[c->quantity->on][c->row];
    const char *text =
        qx_cell_text(scratch, qx_part_of(r, c)->table, c->quantity, c->row);
    double at;
    if (text == NULL) {
        return qx_fail(r->cx, QX_E_NOMEM, "no memory for a position");
    }
    if (!qx_position_read(text, '.', &at)) {
        return qx_record_complain(
            r,
            c,
            "expected a whole number: 1 for the first row or place, and so on",
            qx_arena_printf(
                scratch, "%s \"%s\" is not a position", c->quantity->name, text));
    }
    const double listed =
        spot.kind == QX_SPOT_PLACED
            ? qx_position_listed(
                  r->order->protocol, r->order->layout, spot.placed, c->quantity->name)
            : (double)NAN;
    if (isnan(listed) || listed == at) {
        return QX_OK;
    }
    return qx_record_complain(
        r,
        c,
        qx_arena_printf(scratch, "expected %.0f, or the column left out", listed),
        qx_arena_printf(scratch,
                        "%s is %s here, but the list of trees says %.0f",
                        c->quantity->name,
                        text,
                        listed));
}

/* A covariate may also be told by a smaller unit's rows; without its thing it says nothing
 * here. */
static qx_status check_cell(qx_recording *r, const qx_cell *c)
{
    const bool *bad = &qx_part_of(r, c)->bad[c->row];
    switch (c->quantity->role) {
    case QX_OF_COUNT:
        return QX_OK;
    case QX_OF_POSITION:
        return check_position(r, c);
    case QX_OF_VARIATE:
    case QX_OF_COVARIATE:
        break;
    }
    QX_TRY(check_told(r, c));
    return *bad ? QX_OK : check_dated(r, c);
}

qx_status qx_record_check_part(qx_recording *r, size_t part)
{
    const qx_table *table = r->order->part[part].table;
    for (size_t row = 0; row < table->rows; row++) {
        for (size_t q = 0; q < r->quantities.count; q++) {
            const qx_cell c = {
                .part = part, .row = row, .quantity = &r->quantities.quantity[q]};
            if (!r->order->part[part].bad[row] && qx_cell_given(table, c.quantity, row)) {
                qx_status status = QX_OK;
                QX_SCRATCH(r->cx, status, check_cell(r, &c));
                QX_TRY(status);
            }
        }
    }
    return QX_OK;
}

/* Has another file brought things like this one, which only its row tells? */
qx_status qx_record_check_rival(qx_recording *r, const qx_cell *c)
{
    const qx_spots *spots = &r->spots[c->part];
    const size_t unit = c->quantity->on;
    bool rival = false;
    if (spots->spot[unit][c->row].kind == QX_SPOT_ROW) {
        QX_TRY(qx_thing_has_rival(
            r->cx, r->db, spots, unit, c->row, c->season, c->date, &rival));
    }
    if (!rival) {
        return QX_OK;
    }
    const char *name = r->order->protocol->unit[unit].name;
    qx_arena *scratch = qx_ctx_scratch(r->cx);
    return qx_record_complain(
        r,
        c,
        qx_arena_printf(scratch,
                        "expected a column \"%s\" with labels, to tell new "
                        "ones from corrected ones",
                        name),
        qx_arena_printf(scratch,
                        "%s has no label, and another file brought such ones "
                        "to the same place already",
                        name));
}

static qx_status
find_dates(qx_recording *r, const qx_quantity *quantity, qx_date_kind *out)
{
    static const char ask[] =
        "SELECT date FROM observation JOIN thing ON thing.id = thing"
        " WHERE quantity = ?1 AND unit = ?2 AND date <> '' LIMIT 1";
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(r->cx, r->db, ask, &statement));
    qx_bind_text(statement, 1, quantity->name);
    qx_bind_text(statement, 2, r->order->protocol->unit[quantity->on].name);
    QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    const char *date = row ? qx_row_text(statement, 0, NULL) : NULL;
    *out = date == NULL                ? QX_DATES_NONE
           : qx_date_of_calendar(date) ? QX_DATES_CALENDAR
                                       : QX_DATES_NUMBERS;
    return row ? qx_db_do(r->cx, r->db, statement) : QX_OK;
}

/* The dates of one variate are of one kind, in all files together. */
qx_status qx_record_check_kind(qx_recording *r, const qx_cell *c)
{
    qx_date_kind *stored = &r->dates[c->quantity - r->quantities.quantity];
    if (c->date[0] == '\0') {
        return QX_OK;
    }
    const qx_date_kind now =
        qx_date_of_calendar(c->date) ? QX_DATES_CALENDAR : QX_DATES_NUMBERS;
    if (*stored == QX_DATES_UNKNOWN) {
        QX_TRY(find_dates(r, c->quantity, stored));
    }
    if (*stored == QX_DATES_NONE) {
        *stored = now;
    }
    return *stored == now
               ? QX_OK
               : qx_record_complain(r,
                                    c,
                                    *stored == QX_DATES_CALENDAR
                                        ? "expected a date such as 2025-05-12"
                                        : "expected a number",
                                    qx_arena_printf(qx_ctx_scratch(r->cx),
                                                    "%s \"%s\" is not of the same kind "
                                                    "as the dates recorded already",
                                                    c->quantity->dates,
                                                    c->date));
}

/* --- shares --- */

/* A number of the row, else as it is stored for this thing, season and date; NAN: neither. */
static qx_status
number_now(qx_recording *r, qx_cell *c, size_t q, int64_t thing, double *out)
{
    const qx_table *table = qx_part_of(r, c)->table;
    qx_newest stored = {0};
    c->quantity = &r->quantities.quantity[q];
    *out = (double)NAN;
    if (qx_cell_given(table, c->quantity, c->row)) {
        *out = qx_table_find(table, c->quantity->name)->value[c->row];
        return QX_OK;
    }
    if (thing == 0) {
        return QX_OK;
    }
    QX_TRY(qx_record_newest(r, c, thing, &stored));
    if (stored.value != NULL &&
        !qx_decimal_read(stored.value, strlen(stored.value), '.', out, NULL)) {
        *out = (double)NAN; /* told by check */
    }
    return QX_OK;
}

static qx_status
tell_share(qx_recording *r, const qx_cell *c, double k, double n, size_t whole)
{
    const char *name = c->quantity->name;
    const char *of = r->quantities.quantity[whole].name;
    qx_arena *scratch = qx_ctx_scratch(r->cx);
    return isnan(n)
               ? qx_record_complain(
                     r,
                     c,
                     qx_arena_printf(
                         scratch,
                         "expected how many were looked at in a column \"%s\"",
                         of),
                     qx_arena_printf(
                         scratch, "%s is missing, of which %s is a share", of, name))
               : qx_record_complain(
                     r,
                     c,
                     "expected at most as many as were looked at",
                     qx_arena_printf(scratch,
                                     "%s is %g with this row, more than %s, which is %g",
                                     name,
                                     k,
                                     of,
                                     n));
}

static qx_status check_share(qx_recording *r, qx_cell *c, size_t share, size_t whole)
{
    const qx_quantity *quantity = &r->quantities.quantity[share];
    const qx_table *table = qx_part_of(r, c)->table;
    const bool told = qx_cell_given(table, quantity, c->row) ||
                      qx_cell_given(table, &r->quantities.quantity[whole], c->row);
    const qx_spots *spots = &r->spots[c->part];
    int64_t thing = 0;
    double k, n;
    if (!told || spots->spot[quantity->on][c->row].kind == QX_SPOT_NONE) {
        return QX_OK;
    }
    c->season = qx_cell_season(r->order->protocol, table, c->row);
    c->date = qx_cell_date(qx_ctx_scratch(r->cx), table, quantity, c->row);
    if (c->date == NULL) {
        return qx_fail(r->cx, QX_E_NOMEM, "no memory for a date");
    }
    QX_TRY(qx_thing_find(r->cx, r->db, spots, quantity->on, c->row, &thing));
    QX_TRY(number_now(r, c, whole, thing, &n));
    QX_TRY(number_now(r, c, share, thing, &k));
    return isnan(k) || k <= n ? QX_OK : tell_share(r, c, k, n, whole);
}

qx_status qx_record_check_shares(qx_recording *r, size_t part, size_t row)
{
    const bool *bad = &r->order->part[part].bad[row];
    for (size_t q = 0; q < r->quantities.count && !*bad; q++) {
        const size_t whole = qx_quantity_whole(&r->quantities, r->order->protocol, q);
        qx_cell c = {.part = part, .row = row};
        QX_TRY(whole == QX_NONE ? QX_OK : check_share(r, &c, q, whole));
    }
    return QX_OK;
}
