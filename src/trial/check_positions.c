/* Where units stand in the field, when a field trend is asked for: given for each unit that
 * was measured, whole numbers, the same in all rows of a unit, no two units in one place. */
#include <math.h>
#include <string.h>

#include "trial/checking.h"
#include "trial/identity.h"
#include "trial/pair_code.h"
#include "trial/positions.h"

typedef struct placing {
    qx_checking *c;
    const qx_unit *unit;
    const qx_column *column[2]; /* row, place */
    const uint32_t *unit_of;    /* rows: unit, or QX_MISSING_CODE */
    size_t units;
} placing;

/* Codes of whole numbers, so that 3 and 3.0 are one; tells what is none. */
static qx_status number_codes(const placing *w, size_t k, uint32_t code[])
{
    qx_checking *c = w->c;
    const qx_column *column = w->column[k];
    for (size_t row = 0; row < c->table->rows; row++) {
        double at = 0.0;
        code[row] = QX_MISSING_CODE;
        if (w->unit_of[row] == QX_MISSING_CODE) {
            continue;
        }
        if (column->code[row] == QX_MISSING_CODE) {
            QX_TELL(c,
                    row,
                    column,
                    "expected where it stands in the field, for a field trend is asked "
                    "for",
                    "%s of %s is missing",
                    column->name,
                    w->unit->name);
            continue;
        }
        const char *text = column->level[column->code[row]];
        if (qx_position_read(text, c->table->separator, &at)) {
            code[row] = (uint32_t)(at + QX_POSITION_MOST);
        } else {
            char shown[QX_SHOWN_ROOM];
            QX_TELL(c,
                    row,
                    column,
                    "expected a whole number: 1 for the first row or place, and so on",
                    "%s \"%s\" is not a position",
                    column->name,
                    qx_shown(text, shown));
        }
    }
    return c->failed;
}

/* The place of a unit in its first row holds for the others. */
static qx_status check_moved(const placing *w, const uint32_t spot[])
{
    qx_checking *c = w->c;
    size_t *first; /* row + 1 */
    QX_NEW(c->cx, first, w->units);
    for (size_t row = 0; row < c->table->rows; row++) {
        const uint32_t u = w->unit_of[row];
        if (u == QX_MISSING_CODE || spot[row] == QX_MISSING_CODE) {
            continue;
        }
        if (first[u] == 0) {
            first[u] = row + 1;
        } else if (spot[first[u] - 1] != spot[row]) {
            QX_TELL(c,
                    row,
                    w->column[0],
                    "expected one place for one unit",
                    "this %s stood in another place on line %u",
                    w->unit->name,
                    (unsigned)c->table->line[first[u] - 1]);
        }
    }
    return c->failed;
}

/* One unit in one place; spots are told by season, for next year's plots may stand where
 * last year's were. */
static qx_status check_shared(const placing *w, const uint32_t spot[], size_t spots)
{
    qx_checking *c = w->c;
    size_t *first; /* row + 1 */
    QX_NEW(c->cx, first, spots);
    for (size_t row = 0; row < c->table->rows; row++) {
        if (spot[row] == QX_MISSING_CODE || w->unit_of[row] == QX_MISSING_CODE) {
            continue;
        }
        const size_t before = first[spot[row]];
        if (before == 0) {
            first[spot[row]] = row + 1;
        } else if (w->unit_of[before - 1] != w->unit_of[row]) {
            char at[2][QX_SHOWN_ROOM];
            QX_TELL(c,
                    row,
                    w->column[1],
                    "expected one unit in one place",
                    "another %s stands at %s %s, %s %s on line %u",
                    w->unit->name,
                    w->column[0]->name,
                    qx_shown(w->column[0]->level[w->column[0]->code[row]], at[0]),
                    w->column[1]->name,
                    qx_shown(w->column[1]->level[w->column[1]->code[row]], at[1]),
                    (unsigned)c->table->line[before - 1]);
        }
    }
    return c->failed;
}

static qx_status check_spots(const placing *w)
{
    qx_checking *c = w->c;
    const size_t rows = c->table->rows;
    const size_t most = (size_t)(2.0 * QX_POSITION_MOST) + 1;
    const qx_column *season = qx_checking_season(c);
    uint32_t *spot, *other;
    size_t spots = 0;
    QX_NEW(c->cx, spot, rows);
    QX_NEW(c->cx, other, rows);
    QX_TRY(number_codes(w, 0, spot));
    QX_TRY(number_codes(w, 1, other));
    QX_TRY(qx_pair_codes(c->cx, rows, spot, most, other, most, spot, &spots));
    QX_TRY(check_moved(w, spot));
    if (season != NULL) {
        QX_TRY(qx_pair_codes(
            c->cx, rows, spot, spots, season->code, season->level_count, spot, &spots));
    }
    return check_shared(w, spot, spots);
}

static qx_status check(qx_checking *c, size_t u, size_t variate, uint64_t set)
{
    placing w = {.c = c, .unit = &c->p->unit[u]};
    qx_identity *identity;
    bool *keep;
    w.column[0] = qx_checking_labels(c, w.unit->row_column);
    w.column[1] = qx_checking_labels(c, w.unit->place_column);
    if (w.column[0] == NULL || w.column[1] == NULL) {
        return QX_OK; /* told where columns are looked for */
    }
    QX_NEW(c->cx, identity, c->p->unit_count);
    QX_TRY(qx_checking_rows(c, set, &keep));
    QX_TRY(qx_identify(
        c->cx, qx_ctx_scratch(c->cx), c->p, c->table, variate, keep, identity));
    w.unit_of = identity[u].code;
    w.units = identity[u].count;
    return check_spots(&w);
}

void qx_check_positions(qx_checking *c)
{
    const size_t u = qx_protocol_placed_unit(c->p);
    if (u == QX_NONE || c->p->analysis.field_trend == QX_FIELD_NONE) {
        return;
    }
    const uint64_t set = qx_checking_below(c, u);
    for (size_t v = 0; v < c->p->variate_count; v++) {
        if ((set >> v & 1U) == 0) {
            continue;
        }
        qx_status status = QX_OK;
        if (qx_unit_untold(c->p, c->table, v) == QX_NONE) {
            QX_SCRATCH(c->cx, status, check(c, u, v, set));
        }
        qx_checking_keep(c, status);
        return;
    }
}
