#include "trial/trees.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/digest.h"
#include "base/file.h"
#include "base/map.h"
#include "trial/csv_scan.h"
#include "trial/read_csv.h"
#include "trial/read_xlsx.h"
#include "trial/shown.h"

#define PI 3.14159265358979323846

typedef enum {
    ROW,
    PLACE,
    LABEL,
    GIRTH_CM,
    GIRTH_MM,
    DIAMETER,
    DIAMETER_2,
    AREA,
    STATUS,
    NOTES,
    COLUMNS
} column;

static const qx_column_wish wishes[COLUMNS] = {
    [ROW] = {"row", QX_COLUMN_LABEL, true},
    [PLACE] = {"place", QX_COLUMN_LABEL, true},
    [LABEL] = {"tree", QX_COLUMN_LABEL, false},
    [GIRTH_CM] = {"circumference_cm", QX_COLUMN_NUMBER, false},
    [GIRTH_MM] = {"circumference_mm", QX_COLUMN_NUMBER, false},
    [DIAMETER] = {"diameter_mm", QX_COLUMN_NUMBER, false},
    [DIAMETER_2] = {"diameter2_mm", QX_COLUMN_NUMBER, false},
    [AREA] = {"trunk_area_cm2", QX_COLUMN_NUMBER, false},
    [STATUS] = {"status", QX_COLUMN_LABEL, false},
    [NOTES] = {"notes", QX_COLUMN_LABEL, false}};

typedef struct listing {
    qx_ctx *cx;
    qx_problems *problems;
    qx_status failed;
    qx_trees *out;
    qx_tree *tree;
    const qx_table *table;
    const qx_column *column[COLUMNS];
    qx_csv_scan scan; /* to find the places of problems */
    qx_csv_record *record;
} listing;

double qx_trunk_area(double girth_cm)
{
    return girth_cm * girth_cm / (4.0 * PI);
}

const char *qx_tree_status_word(qx_tree_status status)
{
    static const char *const words[] = {"ok", "missing", "guard", "odd"};
    return words[status];
}

static void keep(listing *l, qx_status status)
{
    l->failed = l->failed == QX_OK ? status : l->failed;
}

/* Where row i of the table has this column. */
static qx_place place_of(listing *l, size_t i, column which)
{
    const size_t line = l->table->line[i];
    const qx_place start = {.line = line, .column = 1};
    if (l->column[which] == NULL || qx_problems_count(l->problems) >= QX_PROBLEMS_MOST) {
        return start; /* from here on problems are only counted */
    }
    if (l->record->line > line) {
        l->scan = qx_csv_begin(l->out->text, l->out->text_length);
        l->record->line = 0;
    }
    return qx_csv_find(&l->scan, l->record, line, l->column[which]->place - 1);
}

#define COMPLAIN(l, i, which, expected, ...)                                             \
    keep((l),                                                                            \
         qx_problem_add((l)->problems,                                                   \
                        (l)->out->file,                                                  \
                        place_of((l), (i), (which)),                                     \
                        (expected),                                                      \
                        __VA_ARGS__))

static const char *text_of(const listing *l, column which, size_t i)
{
    const qx_column *c = l->column[which];
    return c == NULL || c->code[i] == QX_MISSING_CODE ? "" : c->level[c->code[i]];
}

static double number_of(const listing *l, column which, size_t i)
{
    const qx_column *c = l->column[which];
    return c == NULL ? (double)NAN : c->value[i];
}

/* "12", "12.0" or a letter; NAN otherwise. */
static double position(const char *text)
{
    double value;
    const char letter = (char)(text[0] & ~0x20); /* upper case of a letter */
    if (letter >= 'A' && letter <= 'Z' && text[1] == '\0') {
        return (double)(letter - 'A' + 1);
    }
    if (!qx_decimal_read(text, strlen(text), '.', &value, NULL) || value < 1.0 ||
        value > 1e6 || value != floor(value)) {
        return (double)NAN;
    }
    return value;
}

static const char *copy(listing *l, const char *text)
{
    const char *out = qx_arena_copy(l->out->arena, text);
    if (out == NULL) {
        keep(l, qx_fail(l->cx, QX_E_NOMEM, "no memory for %s", l->out->file));
        return "";
    }
    return out;
}

static void
read_place(listing *l, size_t i, column which, const char **text, double *number)
{
    char shown[QX_SHOWN_ROOM];
    *text = copy(l, text_of(l, which, i));
    *number = position(*text);
    if (isnan(*number)) {
        COMPLAIN(l,
                 i,
                 which,
                 "expected a whole number from 1, or one letter",
                 "%s \"%s\" does not say where the tree stands",
                 wishes[which].name,
                 qx_shown(*text, shown));
    }
}

static void read_status(listing *l, size_t i, qx_tree *tree)
{
    static const struct {
        const char *word;
        qx_tree_status status;
    } words[] = {{"", QX_TREE_FREE},
                 {"ok", QX_TREE_FREE},
                 {"missing", QX_TREE_MISSING},
                 {"dead", QX_TREE_MISSING},
                 {"guard", QX_TREE_GUARD},
                 {"odd", QX_TREE_ODD}};
    char shown[QX_SHOWN_ROOM];
    const char *text = text_of(l, STATUS, i);
    for (size_t k = 0; k < QX_COUNT(words); k++) {
        if (strcmp(text, words[k].word) == 0) {
            tree->status = words[k].status;
            return;
        }
    }
    COMPLAIN(l,
             i,
             STATUS,
             "expected ok, missing, guard, odd or nothing",
             "status \"%s\" is not known",
             qx_shown(text, shown));
}

/* A measure in millimetres or centimetres as a number of centimetres; NAN if not given. */
static double length_of(listing *l, size_t i, column which, double unit_cm)
{
    const double value = number_of(l, which, i);
    const double most = which == DIAMETER || which == DIAMETER_2 ? QX_GIRTH_MOST_CM / PI
                                                                 : QX_GIRTH_MOST_CM;
    if (isnan(value)) {
        return value;
    }
    if (!(value > 0.0)) {
        COMPLAIN(l,
                 i,
                 which,
                 "expected more than 0; status missing if there is no tree",
                 "%s %g",
                 wishes[which].name,
                 value);
        return (double)NAN;
    }
    if (value * unit_cm > most) {
        COMPLAIN(l,
                 i,
                 which,
                 "expected the unit that the column names",
                 "%s %g is thicker than any tree",
                 wishes[which].name,
                 value);
        return (double)NAN;
    }
    return value * unit_cm;
}

static void read_size(listing *l, size_t i, qx_tree *tree)
{
    double girth = length_of(l, i, GIRTH_CM, 1.0);
    const double girth_mm = length_of(l, i, GIRTH_MM, 0.1);
    const double one = length_of(l, i, DIAMETER, 0.1);
    const double other = length_of(l, i, DIAMETER_2, 0.1);
    const double area = number_of(l, AREA, i);
    girth = isnan(girth) ? girth_mm : girth;
    tree->trunk_area_cm2 = (double)NAN;
    if (!isnan(girth)) {
        tree->trunk_area_cm2 = qx_trunk_area(girth);
    } else if (!isnan(one)) {
        tree->trunk_area_cm2 = PI / 4.0 * one * (isnan(other) ? one : other);
    } else if (!isnan(area)) {
        if (area > 0.0 && area <= qx_trunk_area(QX_GIRTH_MOST_CM)) {
            tree->trunk_area_cm2 = area;
        } else {
            COMPLAIN(l, i, AREA, "expected cm2, more than 0", "trunk_area_cm2 %g", area);
        }
    }
    tree->girth_cm = sqrt(4.0 * PI * tree->trunk_area_cm2);
}

static void read_tree(listing *l, size_t i)
{
    qx_tree *tree = &l->tree[i];
    tree->line = l->table->line[i];
    read_place(l, i, ROW, &tree->row_text, &tree->row);
    read_place(l, i, PLACE, &tree->place_text, &tree->place);
    tree->notes = copy(l, text_of(l, NOTES, i));
    const char *label = text_of(l, LABEL, i);
    if (*label != '\0') {
        tree->label = copy(l, label);
    } else {
        tree->label =
            qx_arena_printf(l->out->arena, "%s-%s", tree->row_text, tree->place_text);
        if (tree->label == NULL) {
            keep(l, qx_fail(l->cx, QX_E_NOMEM, "no memory for %s", l->out->file));
        }
    }
    read_status(l, i, tree);
    read_size(l, i, tree);
}

/* Two trees in one place, or of one label. */
static void check_twice(listing *l, column which)
{
    const size_t count = l->table->rows;
    qx_map *seen = qx_map_new(qx_ctx_scratch(l->cx));
    size_t *first = qx_arena_alloc(qx_ctx_scratch(l->cx), count + 1, sizeof *first);
    if (seen == NULL || first == NULL) {
        keep(l, qx_fail(l->cx, QX_E_NOMEM, "no memory for %s", l->out->file));
        return;
    }
    for (size_t i = 0; i < count; i++) {
        const qx_tree *tree = &l->tree[i];
        char place[80];
        const char *key = tree->label;
        if (which == PLACE) {
            if (isnan(tree->row) || isnan(tree->place)) {
                continue;
            }
            (void)snprintf(place, sizeof place, "%.0f %.0f", tree->row, tree->place);
            key = place;
        }
        const size_t before = qx_map_count(seen);
        const size_t at = qx_map_add(seen, key, strlen(key));
        if (at == QX_MAP_NONE) {
            keep(l, qx_fail(l->cx, QX_E_NOMEM, "no memory for %s", l->out->file));
            return;
        }
        if (qx_map_count(seen) > before) {
            first[at] = i;
            continue;
        }
        char shown[QX_SHOWN_ROOM];
        if (which == PLACE) {
            COMPLAIN(l,
                     i,
                     PLACE,
                     "expected one tree in each place",
                     "row %s, place %s has a tree already, on line %zu",
                     tree->row_text,
                     tree->place_text,
                     l->tree[first[at]].line);
        } else {
            COMPLAIN(l,
                     i,
                     LABEL,
                     "expected a label of its own for each tree",
                     "tree \"%s\" is on line %zu already",
                     qx_shown(key, shown),
                     l->tree[first[at]].line);
        }
    }
}

static qx_status list(listing *l)
{
    static const column sizes[] = {GIRTH_CM, GIRTH_MM, DIAMETER, AREA};
    for (size_t k = 0; k < COLUMNS; k++) {
        l->column[k] = qx_table_find(l->table, wishes[k].name);
    }
    for (size_t k = 0; k < QX_COUNT(sizes); k++) {
        l->out->sized = l->out->sized || l->column[sizes[k]] != NULL;
    }
    QX_NEW(l->cx, l->record, 1);
    l->scan = qx_csv_begin(l->out->text, l->out->text_length);
    QX_NEW_IN(l->cx, l->out->arena, l->tree, l->table->rows);
    for (size_t i = 0; i < l->table->rows; i++) {
        read_tree(l, i);
    }
    check_twice(l, PLACE);
    if (l->column[LABEL] != NULL) {
        check_twice(l, LABEL);
    }
    l->out->tree = l->tree;
    l->out->count = l->table->rows;
    return l->failed;
}

static qx_status keep_text(qx_ctx *cx, qx_trees *out, const char *bytes, size_t length)
{
    qx_text *csv = qx_text_new(out->arena);
    if (csv == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for %s", out->file);
    }
    if (qx_xlsx_is(bytes, length)) {
        QX_TRY(qx_xlsx_to_csv(cx, out->file, bytes, length, csv));
    } else {
        qx_text_add_bytes(csv, bytes, length);
    }
    if (qx_text_failed(csv)) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for %s", out->file);
    }
    out->text = qx_text_get(csv);
    out->text_length = qx_text_length(csv);
    qx_digest(bytes, length, out->digest);
    return QX_OK;
}

static qx_status read_list(qx_ctx *cx, qx_problems *problems, qx_trees *out)
{
    qx_table *table = NULL;
    qx_status status = qx_csv_parse(cx,
                                    out->file,
                                    out->text,
                                    out->text_length,
                                    COLUMNS,
                                    wishes,
                                    problems,
                                    &table,
                                    NULL);
    if (table != NULL && (status == QX_OK || status == QX_E_INPUT)) {
        qx_ctx_forgive(cx);
        listing l = {.cx = cx, .problems = problems, .out = out, .table = table};
        status = table->rows > QX_TREES_MOST
                     ? qx_fail(cx,
                               QX_E_INPUT,
                               "%s lists %zu trees; expected at most %zu",
                               out->file,
                               table->rows,
                               QX_TREES_MOST)
                     : list(&l);
    }
    qx_table_free(table);
    if (status == QX_OK && qx_problems_count(problems) > 0) {
        return qx_fail(cx, QX_E_INPUT, "%s has problems", out->file);
    }
    return status;
}

/* Beginning of a line (from 1) of the text. */
static const char *line_at(const char *text, size_t line)
{
    for (size_t k = 1; k < line; k++) {
        const char *end = strchr(text, '\n');
        if (end == NULL) {
            break;
        }
        text = end + 1;
    }
    return text;
}

/* Problems of the CSV text become those of the file: a spreadsheet has rows and columns. */
static qx_status
hand_on(const qx_trees *trees, bool sheet, const qx_problems *from, qx_problems *to)
{
    for (size_t i = 0; i < qx_problems_count(from); i++) {
        const bool stored = i < qx_problems_stored(from);
        const qx_problem *problem =
            qx_problems_get(from, stored ? i : qx_problems_stored(from) - 1);
        qx_place at = problem->at;
        if (sheet && stored && at.line > 0) {
            at.column = qx_xlsx_column(line_at(trees->text, at.line), at.column);
        }
        QX_TRY(
            qx_problem_add(to, trees->file, at, problem->expected, "%s", problem->wrong));
    }
    for (size_t i = 0; i < qx_problems_notes(from); i++) {
        const qx_problem *note = qx_problems_get_note(from, i);
        QX_TRY(qx_problem_note(to, trees->file, note->at, "%s", note->wrong));
    }
    return QX_OK;
}

static qx_status
parse(qx_ctx *cx, const char *bytes, size_t length, qx_problems *problems, qx_trees *out)
{
    qx_problems *found = qx_problems_new(out->arena); /* the reader rewinds scratch */
    if (found == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for %s", out->file);
    }
    QX_TRY(keep_text(cx, out, bytes, length));
    const qx_status status = read_list(cx, found, out);
    const qx_status told = hand_on(out, qx_xlsx_is(bytes, length), found, problems);
    return status == QX_OK ? told : status;
}

qx_status qx_trees_parse(qx_ctx *cx,
                         const char *file,
                         const char *bytes,
                         size_t length,
                         qx_problems *problems,
                         qx_trees **out)
{
    qx_arena *arena = qx_arena_new();
    qx_trees *trees = arena == NULL ? NULL : qx_arena_alloc(arena, 1, sizeof *trees);
    const char *name = trees == NULL ? NULL : qx_arena_copy(arena, file);
    if (name == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory for %s", file);
    }
    *trees = (qx_trees){.arena = arena, .file = name};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, parse(cx, bytes, length, problems, trees));
    if (status != QX_OK) {
        qx_arena_free(arena);
        return status;
    }
    *out = trees;
    return QX_OK;
}

static qx_status
read_file(qx_ctx *cx, const char *path, qx_problems *problems, qx_trees **out)
{
    qx_bytes bytes = {0};
    QX_TRY(qx_file_read(cx, qx_ctx_scratch(cx), path, QX_TREE_BYTES_MOST, &bytes));
    return qx_trees_parse(cx, path, bytes.bytes, bytes.length, problems, out);
}

qx_status
qx_trees_read(qx_ctx *cx, const char *path, qx_problems *problems, qx_trees **out)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, read_file(cx, path, problems, out));
    return status;
}

void qx_trees_free(qx_trees *trees)
{
    if (trees != NULL) {
        qx_arena_free(trees->arena);
    }
}
