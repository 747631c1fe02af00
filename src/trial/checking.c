/* What the parts of the data check ask of the table, the protocol and the file. */
#include "trial/checking.h"

#include <math.h>
#include <string.h>

#include "base/decimal.h"
#include "base/text.h"

void qx_checking_keep(qx_checking *c, qx_status status)
{
    if (status != QX_OK && c->failed == QX_OK) {
        c->failed = status;
    }
}

qx_place qx_checking_place(qx_checking *c, size_t row, const qx_column *column)
{
    const size_t line = c->table->line[row];
    const qx_place start = {.line = line, .column = 1};
    if (column == NULL || qx_problems_count(c->problems) >= QX_PROBLEMS_MOST) {
        return start; /* from here on problems are only counted */
    }
    if (c->record->line > line) {
        c->scan = qx_csv_begin(c->bytes, c->length);
        c->record->line = 0;
    }
    return qx_csv_find(&c->scan, c->record, line, column->place - 1);
}

const char *qx_checking_typed(qx_checking *c,
                              size_t row,
                              const qx_column *column,
                              char out[QX_SHOWN_ROOM])
{
    (void)qx_checking_place(c, row, column);
    const qx_csv_record *record = c->record;
    const size_t field = column->place - 1;
    if (record->line == c->table->line[row] && field < record->count) {
        return qx_shown_bytes(
            record->field[field].text, record->field[field].length, out);
    }
    out[0] = '\0';
    return out;
}

static void list_levels(qx_text *text, size_t count, const char *const level[])
{
    /* A message that lists more than this helps nobody. */
    enum { LEVELS_TOLD = 16 };
    for (size_t i = 0; i < count && i < LEVELS_TOLD; i++) {
        char shown[QX_SHOWN_ROOM];
        qx_text_add(text, i == 0 ? "" : i + 1 == count ? " or " : ", ");
        qx_text_add(text, qx_shown(level[i], shown));
    }
    qx_text_add(text, count > LEVELS_TOLD ? " ..." : "");
}

/* Looking for the nearest of a thousand long levels takes time: a file that is wrong
 * throughout shows its pattern in fewer rows than this. */
#define SEARCHES_MOST 200

const char *qx_checking_expect(qx_checking *c,
                               const char *name,
                               size_t count,
                               const char *const level[])
{
    if (qx_problems_count(c->problems) >= QX_PROBLEMS_MOST) {
        return ""; /* from here on problems are only counted */
    }
    qx_text *text = qx_text_new(qx_ctx_scratch(c->cx));
    if (text == NULL) {
        qx_checking_keep(c, qx_fail(c->cx, QX_E_NOMEM, "no memory for a message"));
        return "";
    }
    double value = 0;
    const bool number = qx_decimal_read(name, strlen(name), '.', &value, NULL);
    const char *nearest = NULL;
    /* One letter is as near to any other as to the one that was meant. */
    if (!number && strlen(name) > 1 && c->searches < SEARCHES_MOST) {
        c->searches++;
        nearest = qx_text_nearest(name, level, count);
    }
    qx_text_add(text, "expected ");
    if (nearest != NULL) {
        char shown[QX_SHOWN_ROOM];
        qx_text_printf(
            text, "\"%s\", the nearest that is known", qx_shown(nearest, shown));
    } else {
        list_levels(text, count, level);
    }
    if (qx_text_failed(text)) {
        qx_checking_keep(c, qx_fail(c->cx, QX_E_NOMEM, "no memory for a message"));
    }
    return qx_text_get(text);
}

bool qx_checking_has(const qx_column *column, size_t row)
{
    return column->kind == QX_COLUMN_LABEL ? column->code[row] != QX_MISSING_CODE
                                           : !isnan(column->value[row]);
}

const qx_column *qx_checking_variate(const qx_checking *c, size_t variate)
{
    return qx_table_find(c->table, c->p->variate[variate].name);
}

const qx_column *qx_checking_labels(const qx_checking *c, const char *name)
{
    const qx_column *column = qx_table_find(c->table, name);
    return column != NULL && column->kind == QX_COLUMN_LABEL ? column : NULL;
}

const qx_column *qx_checking_own(const qx_checking *c, size_t unit)
{
    return qx_checking_labels(c, c->p->unit[unit].name);
}

const qx_column *qx_checking_season(const qx_checking *c)
{
    return c->p->seasons.level_count > 0 ? qx_checking_labels(c, c->p->seasons.column)
                                         : NULL;
}

uint64_t qx_checking_below(const qx_checking *c, size_t unit)
{
    uint64_t set = 0;
    for (size_t v = 0; v < c->p->variate_count; v++) {
        if (qx_checking_variate(c, v) != NULL &&
            qx_unit_reaches(c->p, unit, c->p->variate[v].on)) {
            set |= UINT64_C(1) << v;
        }
    }
    return set;
}

/* Rows in which one of the variates has a value. */
qx_status qx_checking_rows(qx_checking *c, uint64_t set, bool **out)
{
    bool *keep = NULL;
    QX_NEW(c->cx, keep, c->table->rows);
    for (size_t v = 0; v < c->p->variate_count; v++) {
        const qx_column *column = qx_checking_variate(c, v);
        for (size_t row = 0; (set >> v & 1U) != 0 && row < c->table->rows; row++) {
            keep[row] = keep[row] || qx_checking_has(column, row);
        }
    }
    *out = keep;
    return QX_OK;
}
