/* Rows together: rows that repeat, two levels of one treatment inside a unit, and how many
 * units there are against what was planned. */
#include <math.h>
#include <string.h>

#include "base/text.h"
#include "trial/checking.h"
#include "trial/identity.h"
#include "trial/pair_code.h"
#include "trial/unit_order.h"

/* A group of units that the same rows tell: those with a value of the variates in `set`,
 * identified down to variate `deepest`. */
typedef struct group {
    uint64_t set; /* bit v: variate v */
    size_t deepest;
    bool *keep;
    qx_identity *identity;
    uint32_t *season; /* rows codes; all 0 where seasons are not separated */
    size_t season_count;
} group;

/* --- the words for one unit: tree "2" in block "B1" --- */

static const char *describe(qx_checking *c, size_t unit, size_t row)
{
    if (qx_problems_count(c->problems) >= QX_PROBLEMS_MOST) {
        return ""; /* from here on problems are only counted */
    }
    size_t path[QX_NAMES_MOST];
    size_t i = qx_unit_path(c->p, unit, path);
    qx_text *text = qx_text_new(qx_ctx_scratch(c->cx));
    if (text == NULL) {
        qx_checking_keep(c, qx_fail(c->cx, QX_E_NOMEM, "no memory for a message"));
        return "";
    }
    for (bool first = true; i > 0; i--) {
        const qx_column *own = qx_checking_own(c, path[i - 1]);
        const bool labelled = own != NULL && own->code[row] != QX_MISSING_CODE;
        if (labelled || first) {
            char shown[QX_SHOWN_ROOM];
            qx_text_printf(text,
                           labelled ? "%s%s \"%s\"" : "%s%s%s",
                           first ? "" : " in ",
                           c->p->unit[path[i - 1]].name,
                           labelled ? qx_shown(own->level[own->code[row]], shown) : "");
            first = false;
        }
    }
    if (qx_text_failed(text)) {
        qx_checking_keep(c, qx_fail(c->cx, QX_E_NOMEM, "no memory for a message"));
    }
    return qx_text_get(text);
}

/* --- two levels of a treatment inside one unit --- */

static qx_status check_levels_inside(qx_checking *c, const group *g, size_t t)
{
    const qx_treatment *treatment = &c->p->treatment[t];
    const qx_column *column = qx_checking_labels(c, treatment->name);
    const qx_identity *unit = &g->identity[treatment->on];
    if (column == NULL) {
        return QX_OK;
    }
    size_t *first = NULL; /* row + 1 in which a unit first has a level */
    QX_NEW(c->cx, first, unit->count);
    for (size_t row = 0; row < c->table->rows; row++) {
        const uint32_t level = column->code[row];
        const uint32_t code = unit->code[row];
        if (code == QX_MISSING_CODE || level == QX_MISSING_CODE) {
            continue;
        }
        if (first[code] == 0) {
            first[code] = row + 1;
            continue;
        }
        const size_t before = first[code] - 1;
        if (column->code[before] != level) {
            char now[QX_SHOWN_ROOM];
            char then[QX_SHOWN_ROOM];
            QX_TELL(c,
                    row,
                    column,
                    "expected one level in one unit",
                    "%s has %s \"%s\" here, but \"%s\" on line %u",
                    describe(c, treatment->on, row),
                    treatment->name,
                    qx_shown(column->level[level], now),
                    qx_shown(column->level[column->code[before]], then),
                    (unsigned)c->table->line[before]);
        }
    }
    return c->failed;
}

/* --- counts against the plan --- */

/* Codes of the cells that the planned count holds for: one parent, or crossed ones. */
static qx_status
cell_codes(qx_checking *c, const group *g, size_t u, uint32_t cell[], size_t *count)
{
    const qx_unit *unit = &c->p->unit[u];
    const size_t rows = c->table->rows;
    memcpy(cell, g->season, rows * sizeof *cell);
    *count = g->season_count;
    for (size_t i = 0; i < unit->parent_count; i++) {
        const qx_identity *parent = &g->identity[unit->parent[i]];
        QX_TRY(qx_pair_codes(
            c->cx, rows, cell, *count, parent->code, parent->count, cell, count));
    }
    return QX_OK;
}

/* How many alike things a row stands for, where rows are the units. */
static double weight_of(const qx_checking *c, const group *g, size_t u, size_t row)
{
    const qx_variate *variate = &c->p->variate[g->deepest];
    const bool rows_are_units =
        variate->on == u && variate->times[0] != '\0' && qx_checking_own(c, u) == NULL;
    const qx_column *times =
        rows_are_units ? qx_table_find(c->table, variate->times) : NULL;
    return times == NULL || isnan(times->value[row]) ? 1 : times->value[row];
}

static void tell_more(qx_checking *c, size_t u, size_t row, double planned)
{
    const qx_unit *unit = &c->p->unit[u];
    const char *where =
        unit->parent_count == 1 ? describe(c, unit->parent[0], row) : NULL;
    char shown[QX_SHOWN_ROOM];
    const qx_column *own = qx_checking_own(c, u);
    const bool labelled = own != NULL && own->code[row] != QX_MISSING_CODE;
    QX_TELL(c,
            row,
            labelled ? own : NULL,
            "expected no more than the protocol's count; is a label mistyped?",
            "%s%s%s%s is one more than the %.0f planned%s%s",
            unit->name,
            labelled ? " \"" : "",
            labelled ? qx_shown(own->level[own->code[row]], shown) : "",
            labelled ? "\"" : "",
            planned,
            where != NULL            ? " in "
            : unit->parent_count > 1 ? " where its parents cross"
                                     : "",
            where != NULL ? where : "");
}

static void note_fewer(qx_checking *c, const group *g, size_t u, const double found[])
{
    const size_t planned = qx_unit_total(c->p, u);
    const qx_place top = {.line = 1, .column = 1};
    for (size_t s = 0; planned > 0 && s < g->season_count; s++) {
        if (found[s] <= 0 || found[s] >= (double)planned) {
            continue;
        }
        const bool named = qx_checking_season(c) != NULL;
        qx_checking_keep(
            c,
            qx_problem_note(c->problems,
                            c->table->file,
                            top,
                            "%.0f of the %zu planned units \"%s\" are in the "
                            "data%s%s",
                            found[s],
                            planned,
                            c->p->unit[u].name,
                            named ? " of " : "",
                            named ? c->p->seasons.level[s] : ""));
    }
}

static qx_status check_count(qx_checking *c, const group *g, size_t u)
{
    const qx_unit *unit = &c->p->unit[u];
    if (unit->sample || (unit->count == QX_NONE && unit->parent_count < 2)) {
        return QX_OK;
    }
    if (c->layout_known && qx_checking_own(c, u) != NULL) {
        return QX_OK; /* the layout knows every label: trial/join.h */
    }
    const double planned = unit->count == QX_NONE ? 1 : (double)unit->count;
    const size_t rows = c->table->rows;
    uint32_t *cell = NULL;
    uint32_t *one = NULL; /* unit within season */
    double *inside = NULL;
    double *found = NULL;
    bool *seen = NULL;
    size_t cells = 0;
    size_t ones = 0;
    QX_NEW(c->cx, cell, rows);
    QX_NEW(c->cx, one, rows);
    QX_TRY(cell_codes(c, g, u, cell, &cells));
    QX_TRY(qx_pair_codes(c->cx,
                         rows,
                         g->identity[u].code,
                         g->identity[u].count,
                         g->season,
                         g->season_count,
                         one,
                         &ones));
    QX_NEW(c->cx, inside, cells);
    QX_NEW(c->cx, found, g->season_count);
    QX_NEW(c->cx, seen, ones);
    for (size_t row = 0; row < rows; row++) {
        if (one[row] == QX_MISSING_CODE || cell[row] == QX_MISSING_CODE ||
            seen[one[row]]) {
            continue;
        }
        seen[one[row]] = true;
        const double weight = weight_of(c, g, u, row);
        const bool fitted = inside[cell[row]] <= planned;
        inside[cell[row]] += weight;
        found[g->season[row]] += weight;
        if (fitted && inside[cell[row]] > planned) {
            tell_more(c, u, row, planned);
        }
    }
    if (!c->layout_known) { /* data of a trial file may come in parts */
        note_fewer(c, g, u, found);
    }
    return c->failed;
}

/* --- rows that repeat --- */

static bool told_by_labels(const qx_checking *c, size_t u)
{
    const qx_unit *unit = &c->p->unit[u];
    if (qx_checking_own(c, u) != NULL) {
        return true;
    }
    bool columns = unit->column_count > 0;
    for (size_t i = 0; columns && i < unit->column_count; i++) {
        columns = qx_checking_labels(c, unit->column[i]) != NULL;
    }
    return columns;
}

static qx_status check_repeated(qx_checking *c, const group *g, size_t v)
{
    const qx_variate *variate = &c->p->variate[v];
    const qx_column *column = qx_checking_variate(c, v);
    uint32_t *one = NULL;
    size_t ones = 0;
    size_t *first = NULL; /* row + 1 */
    QX_NEW(c->cx, one, c->table->rows);
    QX_TRY(qx_pair_codes(c->cx,
                         c->table->rows,
                         g->identity[variate->on].code,
                         g->identity[variate->on].count,
                         g->season,
                         g->season_count,
                         one,
                         &ones));
    const qx_column *dates =
        variate->dates != NULL ? qx_checking_labels(c, variate->dates) : NULL;
    if (dates != NULL) { /* one row for each date */
        QX_TRY(qx_pair_codes(c->cx,
                             c->table->rows,
                             one,
                             ones,
                             dates->code,
                             dates->level_count,
                             one,
                             &ones));
    }
    QX_NEW(c->cx, first, ones);
    for (size_t row = 0; row < c->table->rows; row++) {
        if (one[row] == QX_MISSING_CODE || !qx_checking_has(column, row)) {
            continue;
        }
        if (first[one[row]] == 0) {
            first[one[row]] = row + 1;
            continue;
        }
        QX_TELL(c,
                row,
                qx_checking_own(c, variate->on),
                dates == NULL ? "expected one row for each thing measured"
                              : "expected one row for each thing and date",
                "%s has a value of %s already on line %u",
                describe(c, variate->on, row),
                variate->name,
                (unsigned)c->table->line[first[one[row]] - 1]);
    }
    return c->failed;
}

/* --- groups --- */

static qx_status season_codes(qx_checking *c, group *g)
{
    const qx_column *column = qx_checking_season(c);
    g->season_count = column == NULL ? 1 : c->p->seasons.level_count;
    QX_NEW(c->cx, g->season, c->table->rows);
    if (column != NULL) {
        memcpy(g->season, column->code, c->table->rows * sizeof *g->season);
    }
    return QX_OK;
}

/* The first of the variates whose own unit is another than `unit`: it shows the unit as
 * one that stands above. Else the first. */
static size_t deepest_of(const qx_checking *c, size_t unit, uint64_t set)
{
    size_t first = QX_NONE;
    for (size_t v = 0; v < c->p->variate_count; v++) {
        if ((set >> v & 1U) == 0) {
            continue;
        }
        if (c->p->variate[v].on != unit) {
            return v;
        }
        first = first == QX_NONE ? v : first;
    }
    return first;
}

/* Identifies the group's units; *told is false when the columns cannot tell them. */
static qx_status fill_group(qx_checking *c, group *g, bool *told)
{
    *told = qx_unit_untold(c->p, c->table, g->deepest) == QX_NONE;
    if (!*told) {
        return QX_OK;
    }
    QX_TRY(qx_checking_rows(c, g->set, &g->keep));
    QX_NEW(c->cx, g->identity, c->p->unit_count);
    QX_TRY(season_codes(c, g));
    return qx_identify(
        c->cx, qx_ctx_scratch(c->cx), c->p, c->table, g->deepest, g->keep, g->identity);
}

static void note_how(qx_checking *c, const group *g, size_t u)
{
    const qx_place top = {.line = 1, .column = 1};
    if (g->identity[u].how != NULL) {
        qx_checking_keep(
            c,
            qx_problem_note(c->problems, c->table->file, top, "%s", g->identity[u].how));
    }
}

static qx_status check_unit(qx_checking *c, const group *g, size_t u)
{
    note_how(c, g, u);
    QX_TRY(check_count(c, g, u));
    for (size_t t = 0; t < c->p->treatment_count; t++) {
        if (c->p->treatment[t].on == u) {
            QX_TRY(check_levels_inside(c, g, t));
        }
    }
    return c->failed;
}

/* All units that share the group of `unit`, which is the first of them. */
static qx_status check_group(qx_checking *c, size_t unit, bool done[])
{
    group g = {.set = qx_checking_below(c, unit)};
    if (g.set == 0) {
        return QX_OK;
    }
    g.deepest = deepest_of(c, unit, g.set);
    bool told = false;
    QX_TRY(fill_group(c, &g, &told));
    for (size_t u = 0; told && u < c->p->unit_count; u++) {
        const bool same = !done[u] && qx_checking_below(c, u) == g.set &&
                          deepest_of(c, u, g.set) == g.deepest;
        if (same) {
            done[u] = true;
            qx_status status = QX_OK;
            QX_SCRATCH(c->cx, status, check_unit(c, &g, u));
            QX_TRY(status);
        }
    }
    return QX_OK;
}

static qx_status check_variate_rows(qx_checking *c, size_t v)
{
    const qx_variate *variate = &c->p->variate[v];
    if (!told_by_labels(c, variate->on) || variate->times[0] != '\0') {
        return QX_OK; /* rows that look alike are different things */
    }
    group g = {.set = UINT64_C(1) << v, .deepest = v};
    bool told = false;
    QX_TRY(fill_group(c, &g, &told));
    return told ? check_repeated(c, &g, v) : QX_OK;
}

static qx_status check_units(qx_checking *c)
{
    qx_status status = QX_OK;
    bool done[QX_NAMES_MOST] = {false};
    for (size_t u = 0; u < c->p->unit_count; u++) {
        if (!done[u]) {
            QX_SCRATCH(c->cx, status, check_group(c, u, done));
            QX_TRY(status);
        }
    }
    for (size_t v = 0; v < c->p->variate_count; v++) {
        if (qx_checking_variate(c, v) != NULL) {
            QX_SCRATCH(c->cx, status, check_variate_rows(c, v));
            QX_TRY(status);
        }
    }
    return c->failed;
}

void qx_check_units(qx_checking *c)
{
    qx_checking_keep(c, check_units(c));
}
