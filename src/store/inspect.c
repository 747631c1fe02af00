#include "store/inspect.h"

#include <math.h>
#include <string.h>

#include "base/decimal.h"
#include "store/migrate.h"
#include "store/quantity.h"
#include "store/trial_file_inner.h"
#include "trial/dates.h"
#include "trial/positions.h"
#include "trial/shown.h"

static const char by_hand[] =
    "expected what the program stores; the file was changed by hand or is damaged: take "
    "the last good copy, or mend it with record";

static qx_status tell(qx_trial_file *file, qx_problems *problems, const char *wrong)
{
    const qx_place top = {.line = 1, .column = 1};
    return qx_problem_add(problems, file->path, top, by_hand, "%s", wrong);
}

/* --- records: each query counts what should not be --- */

typedef struct counted {
    const char *sql;
    const char *one, *many; /* after the number */
} counted;

/* Numbers are given in their order and nothing is ever deleted, so none is missing. */
static const counted records[] = {
    {"SELECT coalesce(max(id), 0) - count(*) FROM observation",
     "recorded value is no longer there: it was deleted",
     "recorded values are no longer there: they were deleted"},
    {"SELECT coalesce(max(id), 0) - count(*) FROM import",
     "data file is no longer listed among those that were recorded",
     "data files are no longer listed among those that were recorded"},
    {"SELECT count(*) FROM pragma_foreign_key_check",
     "entry hangs on something that is not in the file",
     "entries hang on something that is not in the file"},
    {"SELECT count(*) FROM sqlite_schema WHERE type IN ('trigger', 'view')",
     "trigger or view is in the file that the program did not make",
     "triggers or views are in the file that the program did not make"},
};

/* A thing that stands in a placed one, as its key says, but has lost that place. */
static const counted places = {
    "SELECT count(*) FROM thing WHERE key GLOB 'p[0-9]*' AND NOT EXISTS (SELECT 1 FROM"
    " thing_place WHERE thing_place.thing = thing.id AND"
    " thing_place.placed = CAST(substr(thing.key, 2) AS INTEGER))",
    "thing that was measured has lost its place in the layout",
    "things that were measured have lost their place in the layout"};

/* The revisions of one value are 1, 2, 3 ...: as many as the greatest says. */
static const counted revisions[] = {
    {"SELECT count(*) FROM (SELECT 1 FROM observation GROUP BY thing, season, quantity"
     " HAVING max(revision) <> count(*))",
     "value has lost some of its revisions",
     "values have lost some of their revisions"},
    {"SELECT count(*) FROM (SELECT 1 FROM observation GROUP BY thing, season, date,"
     " quantity HAVING max(revision) <> count(*))",
     "value has lost some of its revisions",
     "values have lost some of their revisions"}};

static qx_status
count_one(qx_ctx *cx, qx_trial_file *file, const counted *what, qx_problems *problems)
{
    int64_t number = 0;
    QX_TRY(qx_db_whole(cx, file->db, what->sql, 0, &number));
    if (number == 0) {
        return QX_OK;
    }
    const char *wrong = qx_arena_printf(qx_ctx_scratch(cx),
                                        "%lld %s",
                                        (long long)number,
                                        number == 1 ? what->one : what->many);
    return wrong == NULL ? qx_fail(cx, QX_E_NOMEM, "no memory for a message")
                         : tell(file, problems, wrong);
}

static qx_status inspect_records(qx_ctx *cx, qx_trial_file *file, qx_problems *problems)
{
    int64_t schema = 0;
    QX_TRY(qx_schema_of(cx, file->db, &schema));
    for (size_t i = 0; i < QX_COUNT(records); i++) {
        QX_TRY(count_one(cx, file, &records[i], problems));
    }
    return count_one(cx, file, &revisions[schema < 3 ? 0 : 1], problems);
}

qx_status qx_inspect_records(qx_ctx *cx, qx_trial_file *file, qx_problems *problems)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, inspect_records(cx, file, problems));
    return status;
}

/* --- values --- */

/* The newest value of one quantity of one thing, season and date. */
typedef struct kept {
    int64_t thing;
    const char *unit, *season, *date, *name;
    const char *value; /* NULL: missing */
    const char *file;  /* that brought it */
    long long row;
} kept;

typedef struct inspecting {
    qx_ctx *cx;
    qx_trial_file *file;
    const qx_protocol *p;
    qx_problems *problems;
    qx_quantities quantities;
    double *number; /* of the line that is being read: by quantity, NAN if missing */
    bool *there;    /* of the line: by quantity, is a value kept? */
} inspecting;

static qx_status
tell_value(const inspecting *in, const kept *k, const char *wrong, const char *expected)
{
    const qx_place top = {.line = 1, .column = 1};
    char shown[QX_SHOWN_ROOM];
    return qx_problem_add(in->problems,
                          in->file->path,
                          top,
                          expected,
                          "%s \"%s\" (from row %lld of %s) %s",
                          k->name,
                          k->value == NULL ? "" : qx_shown(k->value, shown),
                          k->row,
                          k->file == NULL ? "a file that is not listed" : k->file,
                          wrong);
}

static bool is_count(const qx_quantity *quantity, const qx_variate *variate)
{
    return quantity->role == QX_OF_COUNT ||
           (variate != NULL &&
            (variate->kind == QX_COUNT || variate->kind == QX_PROPORTION));
}

static qx_status check_number(const inspecting *in, const kept *k, size_t q, double x)
{
    const qx_quantity *quantity = &in->quantities.quantity[q];
    const qx_variate *variate =
        quantity->variate == QX_NONE ? NULL : &in->p->variate[quantity->variate];
    if (is_count(quantity, variate) && (x < 0 || x != floor(x))) {
        return tell_value(in, k, "is not a count", "expected a count: 0, 1, 2 ...");
    }
    if (variate != NULL && variate->has_range &&
        (x < variate->low || x > variate->high)) {
        return tell_value(in,
                          k,
                          "is outside the range that the protocol gives",
                          "expected a value that record takes; take the last good copy, "
                          "or record the right value");
    }
    return QX_OK;
}

static qx_status check_text(inspecting *in, const kept *k, size_t q)
{
    const qx_quantity *quantity = &in->quantities.quantity[q];
    double x = (double)NAN;
    in->number[q] = x;
    in->there[q] = k->value != NULL;
    if (k->value == NULL) {
        return QX_OK;
    }
    if (quantity->classes) {
        const qx_variate *variate = &in->p->variate[quantity->variate];
        return qx_level_find(
                   variate->level_count, variate->level, k->value, strlen(k->value)) !=
                       QX_NONE
                   ? QX_OK
                   : tell_value(in, k, "is no class of the protocol", by_hand);
    }
    const bool read = quantity->role == QX_OF_POSITION
                          ? qx_position_read(k->value, '.', &x)
                          : qx_decimal_read(k->value, strlen(k->value), '.', &x, NULL);
    if (!read || !isfinite(x)) {
        return tell_value(in, k, "is not a number", by_hand);
    }
    in->number[q] = x;
    return check_number(in, k, q, x);
}

/* The number of the quantity; one with the same dates if there are two of the name. */
static size_t quantity_of(const inspecting *in, const kept *k)
{
    size_t found = QX_NONE;
    for (size_t q = 0; q < in->quantities.count; q++) {
        const qx_quantity *quantity = &in->quantities.quantity[q];
        if (strcmp(quantity->name, k->name) != 0 ||
            strcmp(in->p->unit[quantity->on].name, k->unit) != 0) {
            continue;
        }
        if ((quantity->dates != NULL) == (k->date[0] != '\0')) {
            return q;
        }
        found = q;
    }
    return found;
}

static qx_status check_when(const inspecting *in, const kept *k)
{
    const qx_seasons *seasons = &in->p->seasons;
    double day;
    bool calendar;
    if (k->season[0] != '\0' && qx_level_find(seasons->level_count,
                                              seasons->level,
                                              k->season,
                                              strlen(k->season)) == QX_NONE) {
        return tell_value(in, k, "is of a season that the protocol lacks", by_hand);
    }
    return k->date[0] == '\0' || qx_day_read(k->date, '.', &day, &calendar)
               ? QX_OK
               : tell_value(in, k, "is of a date that cannot be read", by_hand);
}

static qx_status check_kept(inspecting *in, const kept *k)
{
    const size_t q = k->unit == NULL ? QX_NONE : quantity_of(in, k);
    if (q == QX_NONE) {
        return tell_value(in,
                          k,
                          k->unit == NULL ? "belongs to nothing that is in the file"
                                          : "is nothing that the protocol measures there",
                          by_hand);
    }
    QX_TRY(check_when(in, k));
    return check_text(in, k, q);
}

/* --- shares: two values of one thing, season and date --- */

static qx_status check_share(const inspecting *in, const kept *line, size_t q, size_t n)
{
    const double k = in->number[q], of = in->number[n];
    const char *name = in->quantities.quantity[q].name;
    const char *whole = in->quantities.quantity[n].name;
    const qx_place top = {.line = 1, .column = 1};
    if (!in->there[q] || isnan(k) || (in->there[n] && isnan(of)) || k <= of) {
        return QX_OK; /* missing, in order, or told already */
    }
    return !in->there[n]
               ? qx_problem_add(in->problems,
                                in->file->path,
                                top,
                                by_hand,
                                "%s is %g (row %lld of %s), but %s, of which it is a "
                                "share, is not there",
                                name,
                                k,
                                line->row,
                                line->file == NULL ? "?" : line->file,
                                whole)
               : qx_problem_add(in->problems,
                                in->file->path,
                                top,
                                by_hand,
                                "%s is %g (row %lld of %s), more than %s, which is %g",
                                name,
                                k,
                                line->row,
                                line->file == NULL ? "?" : line->file,
                                whole,
                                of);
}

static void forget_line(const inspecting *in)
{
    for (size_t q = 0; q < in->quantities.count; q++) {
        in->number[q] = (double)NAN;
        in->there[q] = false;
    }
}

/* All shares of the line that ends here, which is then forgotten. */
static qx_status end_line(inspecting *in, const kept *last)
{
    for (size_t q = 0; q < in->quantities.count; q++) {
        const size_t n = qx_quantity_whole(&in->quantities, in->p, q);
        if (n != QX_NONE) {
            QX_TRY(check_share(in, last, q, n));
        }
    }
    forget_line(in);
    return QX_OK;
}

/* Is the statement still at the same thing, season and date? */
static bool same_line(const kept *last, qx_statement *statement)
{
    const char *season = qx_row_text(statement, 2, NULL);
    const char *date = qx_row_text(statement, 3, NULL);
    return last->thing == qx_row_whole(statement, 0) && season != NULL && date != NULL &&
           strcmp(last->season, season) == 0 && strcmp(last->date, date) == 0;
}

static qx_status read_kept(const inspecting *in, qx_statement *statement, kept *out)
{
    qx_arena *arena = qx_ctx_scratch(in->cx);
    kept k = {.thing = qx_row_whole(statement, 0),
              .row = (long long)qx_row_whole(statement, 7)};
    const char **const to[] = {&k.unit, &k.season, &k.date, &k.name, &k.value, &k.file};
    for (size_t i = 0; i < QX_COUNT(to); i++) {
        const char *text = qx_row_text(statement, (int)i + 1, NULL);
        *to[i] = text == NULL ? NULL : qx_arena_copy(arena, text);
        if (text != NULL && *to[i] == NULL) {
            return qx_fail(in->cx, QX_E_NOMEM, "no memory to read %s", in->file->path);
        }
    }
    if (k.season == NULL || k.date == NULL || k.name == NULL) {
        return qx_fail(in->cx, QX_E_NOMEM, "no memory to read %s", in->file->path);
    }
    *out = k;
    return QX_OK;
}

/* The newest revision of each value, thing by thing. */
static const char *const ask[] = {
    "SELECT o.thing, t.unit, o.season, '', o.quantity, o.value, i.file, o.row, "
    "max(o.revision) FROM observation AS o LEFT JOIN thing AS t ON t.id = o.thing LEFT "
    "JOIN import AS i ON i.id = o.import GROUP BY o.thing, o.season, o.quantity "
    "ORDER BY o.thing, o.season",
    "SELECT o.thing, t.unit, o.season, o.date, o.quantity, o.value, i.file, o.row, "
    "max(o.revision) FROM observation AS o LEFT JOIN thing AS t ON t.id = o.thing LEFT "
    "JOIN import AS i ON i.id = o.import GROUP BY o.thing, o.season, o.date, o.quantity "
    "ORDER BY o.thing, o.season, o.date"};

static qx_status inspect_lines(inspecting *in, qx_statement *statement)
{
    qx_arena *scratch = qx_ctx_scratch(in->cx);
    const qx_arena_mark mark = qx_arena_get_mark(scratch);
    kept last = {0};
    bool row = false, open = false;
    QX_TRY(qx_db_step(in->cx, in->file->db, statement, &row));
    while (row) {
        if (open && !same_line(&last, statement)) {
            QX_TRY(end_line(in, &last));
            qx_arena_rewind(scratch, mark);
        }
        QX_TRY(read_kept(in, statement, &last));
        open = true;
        QX_TRY(check_kept(in, &last));
        QX_TRY(qx_db_step(in->cx, in->file->db, statement, &row));
    }
    return open ? end_line(in, &last) : QX_OK;
}

static qx_status inspect_all(inspecting *in)
{
    qx_statement *statement = NULL;
    int64_t schema = 0;
    QX_TRY(qx_schema_of(in->cx, in->file->db, &schema));
    QX_TRY(count_one(in->cx, in->file, &places, in->problems));
    QX_TRY(qx_quantities_of(in->cx, qx_ctx_scratch(in->cx), in->p, &in->quantities));
    QX_NEW(in->cx, in->number, in->quantities.count);
    QX_NEW(in->cx, in->there, in->quantities.count);
    forget_line(in);
    QX_TRY(qx_db_statement(in->cx, in->file->db, ask[schema < 3 ? 0 : 1], &statement));
    return inspect_lines(in, statement);
}

qx_status qx_inspect_values(qx_ctx *cx,
                            qx_trial_file *file,
                            const qx_protocol *protocol,
                            qx_problems *problems)
{
    inspecting in = {.cx = cx, .file = file, .p = protocol, .problems = problems};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, inspect_all(&in));
    return status;
}
