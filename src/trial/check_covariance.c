/* Parts of a protocol that say how observations hang together beyond their units: dates,
 * positions in the field, a residual variation for each season. */
#include <string.h>

#include "trial/reading.h"

/* What a column is already, or NULL. */
static const char *taken_by(const qx_reading *r, const char *column, bool unit_too)
{
    for (size_t v = 0; v < r->p->variate_count; v++) {
        if (strcmp(r->variate[v].name, column) == 0) {
            return "a variate";
        }
    }
    for (size_t i = 0; i < r->p->covariate_count; i++) {
        if (strcmp(r->covariate[i].name, column) == 0) {
            return "a covariate";
        }
    }
    if (qx_protocol_find_treatment(r->p, column) != QX_NONE) {
        return "a treatment";
    }
    if (unit_too && qx_protocol_find_unit(r->p, column) != QX_NONE) {
        return "a unit";
    }
    const bool season =
        r->p->seasons.level_count > 0 && (strcmp(r->p->seasons.column, column) == 0 ||
                                          (unit_too && strcmp("season", column) == 0));
    return season ? "the season" : NULL;
}

static void check_dates(qx_reading *r, size_t v)
{
    const qx_variate *variate = &r->variate[v];
    const qx_place at = qx_reading_place(r->variate_node[v], "dates");
    if (variate->dates == NULL || variate->dates[0] == '\0') {
        return; /* not given, or told already */
    }
    const char *taken = taken_by(r, variate->dates, true);
    if (taken != NULL) {
        QX_COMPLAIN(r,
                    at,
                    "expected the column that holds the date of each observation",
                    "\"dates\" names \"%s\", which is %s",
                    variate->dates,
                    taken);
    }
    if (variate->kind != QX_CONTINUOUS && variate->transform == QX_TRANSFORM_NONE) {
        QX_COMPLAIN(r,
                    at,
                    "expected kind: continuous, or a count or proportion with a "
                    "transform",
                    "\"%s\" is measured on several dates, and its kind is %s",
                    variate->name,
                    qx_variate_kind_word(variate->kind));
    }
    if (variate->times[0] != '\0') {
        QX_COMPLAIN(r,
                    at,
                    "expected a row for each thing and date",
                    "\"%s\" has dates and \"times\": rows that stand for several "
                    "things cannot be followed from date to date",
                    variate->name);
    }
}

static void check_position(qx_reading *r, size_t u, size_t *placed)
{
    const qx_unit *unit = &r->unit[u];
    const qx_place at = qx_reading_place(r->unit_node[u], "position");
    const char *const column[] = {unit->row_column, unit->place_column};
    if (column[0] == NULL || column[1] == NULL) {
        return;
    }
    if (*placed != QX_NONE) {
        QX_COMPLAIN(r,
                    at,
                    "expected the position of one unit only",
                    "\"%s\" has a position, and so has \"%s\"",
                    unit->name,
                    r->unit[*placed].name);
    }
    *placed = u;
    for (size_t k = 0; k < 2; k++) {
        const char *taken = taken_by(r, column[k], false);
        if (taken != NULL) {
            QX_COMPLAIN(r,
                        at,
                        "expected the columns of its row and its place in the row",
                        "the position of \"%s\" names \"%s\", which is %s",
                        unit->name,
                        column[k],
                        taken);
        }
    }
    if (strcmp(column[0], column[1]) == 0) {
        QX_COMPLAIN(r,
                    at,
                    "expected two columns, such as {row: row, place: place}",
                    "row and place of \"%s\" are the same column",
                    unit->name);
    }
}

void qx_protocol_check_covariance(qx_reading *r)
{
    const qx_analysis *analysis = &r->p->analysis;
    size_t placed = QX_NONE;
    for (size_t v = 0; v < r->p->variate_count; v++) {
        check_dates(r, v);
    }
    for (size_t u = 0; u < r->p->unit_count; u++) {
        check_position(r, u, &placed);
    }
    if (analysis->field_trend != QX_FIELD_NONE && placed == QX_NONE) {
        QX_COMPLAIN(r,
                    qx_reading_place(r->analysis_node, "field_trend"),
                    "expected a unit with a position, such as tree: {within: block, "
                    "position: {row: row, place: place}}",
                    "a field trend is asked for, but no unit has a position");
    }
    if (analysis->residual_by_season && r->p->seasons.level_count < 2) {
        QX_COMPLAIN(r,
                    analysis->residual_at,
                    "expected seasons: [2025, 2026], or no \"residual\"",
                    "a residual for each season needs two seasons or more");
    }
}
