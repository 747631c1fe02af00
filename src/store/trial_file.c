#include "store/trial_file.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/date.h"
#include "base/digest.h"
#include "base/file.h"
#include "base/machine.h"
#include "store/layout_change.h"
#include "store/layout_store.h"
#include "store/migrate.h"
#include "store/people.h"
#include "store/tree_store.h"
#include "store/trial_file_inner.h"
#include "trial/read_yaml.h"

static const char magic[16] = "SQLite format 3";

/* --- making --- */

static qx_status write_trial(
    qx_ctx *cx, qx_db *db, const qx_protocol *protocol, const char *by, const char *when)
{
    static const char add[] =
        "INSERT INTO trial (id, protocol, file, digest, program, created_at, created_by)"
        " VALUES (1, ?1, ?2, ?3, ?4, ?5, ?6)";
    int64_t person = 0;
    QX_TRY(qx_person_of(cx, db, by, &person));
    qx_statement *statement = NULL;
    QX_TRY(qx_db_statement(cx, db, add, &statement));
    qx_bind_text(statement, 1, protocol->text);
    qx_bind_text(statement, 2, protocol->file);
    qx_bind_text(statement, 3, protocol->digest);
    qx_bind_text(statement, 4, QX_VERSION);
    qx_bind_text(statement, 5, when);
    qx_bind_whole(statement, 6, person);
    return qx_db_do(cx, db, statement);
}

static qx_status fill(qx_ctx *cx,
                      qx_db *db,
                      const qx_protocol *protocol,
                      const qx_layout *layout,
                      const qx_planting *planting,
                      const char *by)
{
    char when[21];
    qx_instant_write(qx_now(), when);
    QX_TRY(qx_migrate(cx, db));
    QX_TRY(qx_db_begin(cx, db));
    QX_TRY(write_trial(cx, db, protocol, by, when));
    QX_TRY(qx_layout_write(cx, db, protocol, layout, when));
    if (planting != NULL) {
        QX_TRY(qx_planting_write(cx, db, planting, layout));
    }
    return qx_db_commit(cx, db);
}

static qx_status create(qx_ctx *cx,
                        const char *path,
                        const qx_protocol *protocol,
                        const qx_layout *layout,
                        const qx_planting *planting,
                        const char *by)
{
    qx_db *db = NULL;
    qx_bytes bytes = {0};
    QX_TRY(qx_db_open_memory(cx, &db));
    qx_status status = fill(cx, db, protocol, layout, planting, by);
    if (status == QX_OK) {
        status = qx_db_bytes(cx, db, qx_ctx_scratch(cx), &bytes);
    }
    qx_db_close(db);
    QX_TRY(status);
    return qx_file_create(cx, path, bytes.bytes, bytes.length);
}

qx_status qx_trial_file_create(qx_ctx *cx,
                               const char *path,
                               const qx_protocol *protocol,
                               const qx_layout *layout,
                               const qx_planting *planting,
                               const char *by)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, create(cx, path, protocol, layout, planting, by));
    return status;
}

static qx_status remove_one(qx_ctx *cx, const char *path, const char *ending)
{
    char why[QX_REASON_ROOM];
    const char *name = qx_arena_printf(qx_ctx_scratch(cx), "%s%s", path, ending);
    if (name == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory to remove %s", path);
    }
    return unlink(name) == 0 || errno == ENOENT ? QX_OK
                                                : qx_fail(cx,
                                                          QX_E_IO,
                                                          "%s could not be removed: %s",
                                                          name,
                                                          qx_reason(errno, why));
}

qx_status qx_trial_file_remove(qx_ctx *cx, const char *path)
{
    /* The log goes first: alone it could not be told from another file's. */
    static const char *const endings[] = {"-wal", "-shm", ""};
    for (size_t i = 0; i < QX_COUNT(endings); i++) {
        qx_status status = QX_OK;
        QX_SCRATCH(cx, status, remove_one(cx, path, endings[i]));
        QX_TRY(status);
    }
    return QX_OK;
}

static qx_status note_log(qx_ctx *cx, const char *path)
{
    struct stat about;
    const char *name = qx_arena_printf(qx_ctx_scratch(cx), "%s-wal", path);
    if (name == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a note");
    }
    return stat(name, &about) != 0 || about.st_size == 0
               ? QX_OK
               : qx_note(
                     cx,
                     "what was stored is safe, but still stands in %s beside the trial "
                     "file (is the disk full, or the file open elsewhere?): copy both "
                     "together; the next record or check brings it over",
                     name);
}

qx_status qx_trial_file_note_log(qx_ctx *cx, const char *path)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, note_log(cx, path));
    return status;
}

/* --- opening --- */

/* SQLite takes an empty file for an empty database and says little about others: the header
 * is looked at first. */
static qx_status check_header(qx_ctx *cx, const char *path)
{
    char why[QX_REASON_ROOM];
    struct stat about;
    char head[sizeof magic] = {0};
    const int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);
    if (fd < 0) {
        if (errno == ENOENT || errno == ENOTDIR) {
            return qx_fail(cx,
                           QX_E_INPUT,
                           "%s cannot be found; check the name and the folder you are in",
                           path);
        }
        return qx_fail(
            cx, QX_E_IO, "%s could not be opened: %s", path, qx_reason(errno, why));
    }
    const bool regular = fstat(fd, &about) == 0 && S_ISREG(about.st_mode);
    const ssize_t got = regular ? read(fd, head, sizeof head) : 0;
    (void)close(fd);
    if (!regular) {
        return qx_fail(cx, QX_E_INPUT, "%s is not a file; expected a trial file", path);
    }
    if (got == 0) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "%s is empty; expected a trial file that \"layout\" made",
                       path);
    }
    if (got != (ssize_t)sizeof head || memcmp(head, magic, sizeof magic) != 0) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "%s is not a trial file; expected one that \"layout\" made",
                       path);
    }
    return QX_OK;
}

static qx_status check_pages(qx_ctx *cx, qx_db *db)
{
    static const char ask[] = "PRAGMA quick_check(1)";
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(cx, db, ask, &statement));
    QX_TRY(qx_db_step(cx, db, statement, &row));
    const char *said = row ? qx_row_text(statement, 0, NULL) : NULL;
    if (said == NULL || strcmp(said, "ok") != 0) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "%s is damaged (%s); take the last good copy",
                       qx_db_path(db),
                       said == NULL ? "no answer" : said);
    }
    return qx_db_do(cx, db, statement);
}

static qx_status check_file(qx_ctx *cx, qx_db *db, qx_trial_use use)
{
    int64_t schema = 0;
    int64_t trials = 0;
    QX_TRY(qx_schema_of(cx, db, &schema));
    QX_TRY(check_pages(cx, db));
    if (use == QX_TO_RECORD) {
        QX_TRY(qx_migrate(cx, db));
    }
    QX_TRY(
        qx_db_whole(cx,
                    db,
                    "SELECT (SELECT count(*) FROM trial) + (SELECT count(*) FROM layout)",
                    0,
                    &trials));
    if (trials != 2) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "%s holds no trial; expected a file that \"layout\" made",
                       qx_db_path(db));
    }
    return QX_OK;
}

static qx_status new_file(qx_ctx *cx, const char *path, qx_db *db, qx_trial_file **out)
{
    qx_arena *arena = qx_arena_new();
    qx_trial_file *file = arena == NULL ? NULL : qx_arena_alloc(arena, 1, sizeof *file);
    const char *copy = file == NULL ? NULL : qx_arena_copy(arena, path);
    if (copy == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory to open %s", path);
    }
    *file = (qx_trial_file){.arena = arena, .db = db, .path = copy};
    *out = file;
    return QX_OK;
}

qx_status
qx_trial_file_open(qx_ctx *cx, const char *path, qx_trial_use use, qx_trial_file **out)
{
    qx_db *db = NULL;
    QX_TRY(check_header(cx, path));
    QX_TRY(qx_db_open(cx, path, use == QX_TO_READ ? QX_DB_READ : QX_DB_WRITE, &db));
    qx_status status = check_file(cx, db, use);
    if (status == QX_OK) {
        status = new_file(cx, path, db, out);
    }
    if (status != QX_OK) {
        qx_db_close(db);
    }
    return status;
}

void qx_trial_file_close(qx_trial_file *file)
{
    if (file != NULL) {
        qx_db_close(file->db);
        qx_arena_free(file->arena);
    }
}

const char *qx_trial_file_path(const qx_trial_file *file)
{
    return file->path;
}

/* --- what is in it --- */

static qx_status
read_protocol(qx_ctx *cx, qx_trial_file *file, qx_problems *problems, qx_protocol **out)
{
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(
        cx, file->db, "SELECT protocol FROM trial WHERE id = 1", &statement));
    QX_TRY(qx_db_step(cx, file->db, statement, &row));
    size_t length = 0;
    const char *text = row ? qx_row_text(statement, 0, &length) : NULL;
    if (text == NULL) {
        return qx_fail(cx, QX_E_INPUT, "%s holds no protocol", file->path);
    }
    const qx_status status =
        qx_protocol_parse(cx, file->path, text, length, problems, out);
    const qx_status done = qx_db_do(cx, file->db, statement);
    return status == QX_OK ? done : status;
}

qx_status qx_trial_file_protocol(qx_ctx *cx,
                                 qx_trial_file *file,
                                 qx_problems *problems,
                                 qx_protocol **out)
{
    qx_protocol *protocol = NULL;
    const qx_status status = read_protocol(cx, file, problems, &protocol);
    if (status != QX_OK) {
        qx_protocol_free(protocol);
        return status;
    }
    *out = protocol;
    return QX_OK;
}

qx_status qx_trial_file_drawn(qx_ctx *cx,
                              qx_trial_file *file,
                              const qx_protocol *protocol,
                              qx_layout **out)
{
    return qx_layout_read(cx, file->db, protocol, out);
}

/* Levels that were changed by hand, the last change of each thing last. */
static qx_status
carry_out(qx_ctx *cx, qx_trial_file *file, const qx_protocol *protocol, qx_layout *layout)
{
    size_t count;
    const qx_layout_change *change;
    uint32_t *level;
    const size_t cells = layout->placed_count * layout->treatment_count;
    QX_TRY(qx_layout_changes_read(cx, file, protocol, layout->arena, &count, &change));
    if (count == 0) {
        return QX_OK;
    }
    QX_NEW_IN(cx, layout->arena, level, cells);
    memcpy(level, layout->level, cells * sizeof *level);
    for (size_t i = 0; i < count; i++) {
        if (change[i].placed >= layout->placed_count) {
            return qx_fail(cx,
                           QX_E_INPUT,
                           "%s: a change of the layout names a thing that is not there; "
                           "the file was changed by hand or is damaged",
                           file->path);
        }
        level[change[i].placed * layout->treatment_count + change[i].treatment] =
            (uint32_t)change[i].level;
    }
    layout->level = level;
    return QX_OK;
}

qx_status qx_trial_file_layout(qx_ctx *cx,
                               qx_trial_file *file,
                               const qx_protocol *protocol,
                               qx_layout **out)
{
    qx_layout *layout = NULL;
    QX_TRY(qx_layout_read(cx, file->db, protocol, &layout));
    const qx_status status = carry_out(cx, file, protocol, layout);
    if (status != QX_OK) {
        qx_layout_free(layout);
        return status;
    }
    *out = layout;
    return QX_OK;
}

qx_status qx_trial_file_trees(qx_ctx *cx,
                              qx_trial_file *file,
                              qx_problems *problems,
                              qx_trees **trees,
                              double *reach_m)
{
    return qx_planting_read(cx, file->db, problems, trees, reach_m);
}

static qx_status count(qx_ctx *cx, qx_trial_file *file, const char *sql, size_t *out)
{
    int64_t number = 0;
    QX_TRY(qx_db_whole(cx, file->db, sql, 0, &number));
    *out = (size_t)number;
    return QX_OK;
}

/* What is newest, and what was corrected, goes by thing, season, date and quantity; files of
 * older schemas have neither dates nor trees. */
static qx_status count_values(qx_ctx *cx, qx_trial_file *file, qx_trial_about *about)
{
    static const char *const values[] = {
        "SELECT count(*) FROM (SELECT value, max(revision) FROM observation"
        " GROUP BY thing, season, quantity) WHERE value IS NOT NULL",
        "SELECT count(*) FROM (SELECT value, max(revision) FROM observation"
        " GROUP BY thing, season, date, quantity) WHERE value IS NOT NULL"};
    static const char *const given[] = {
        "SELECT coalesce(sum(n - 1), 0) FROM (SELECT count(value) AS n FROM observation"
        " GROUP BY thing, season, quantity HAVING n > 0)",
        "SELECT coalesce(sum(n - 1), 0) FROM (SELECT count(value) AS n FROM observation"
        " GROUP BY thing, season, date, quantity HAVING n > 0)"};
    int64_t schema = 0;
    bool there = false;
    QX_TRY(qx_schema_of(cx, file->db, &schema));
    QX_TRY(count(cx, file, values[schema < 3 ? 0 : 1], &about->values));
    QX_TRY(count(cx, file, given[schema < 3 ? 0 : 1], &about->corrections));
    QX_TRY(qx_db_has(cx, file->db, "placed_tree", &there));
    return there
               ? count(cx, file, "SELECT count(*) FROM placed_tree", &about->placed_trees)
               : QX_OK;
}

qx_status
qx_trial_file_about(qx_ctx *cx, qx_trial_file *file, qx_arena *arena, qx_trial_about *out)
{
    static const char ask[] =
        "SELECT trial.file, trial.digest, layout.digest, trial.program, trial.created_at,"
        " person.name FROM trial JOIN layout JOIN person ON person.id = trial.created_by";
    qx_trial_about about = {0};
    const char **const texts[] = {&about.protocol_file,
                                  &about.protocol_digest,
                                  &about.layout_digest,
                                  &about.program,
                                  &about.created_at,
                                  &about.created_by};
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(cx, file->db, ask, &statement));
    QX_TRY(qx_db_step(cx, file->db, statement, &row));
    for (size_t i = 0; i < QX_COUNT(texts); i++) {
        const char *text = row ? qx_row_text(statement, (int)i, NULL) : NULL;
        *texts[i] = qx_arena_copy(arena, text == NULL ? "" : text);
        if (*texts[i] == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory to read %s", file->path);
        }
    }
    QX_TRY(qx_db_do(cx, file->db, statement));
    QX_TRY(count(cx, file, "SELECT count(*) FROM import", &about.imports));
    QX_TRY(count(cx, file, "SELECT count(*) FROM thing", &about.things));
    QX_TRY(count_values(cx, file, &about));
    *out = about;
    return QX_OK;
}

qx_status qx_trial_layout_digest(qx_ctx *cx,
                                 const qx_protocol *protocol,
                                 const qx_layout *layout,
                                 char out[65])
{
    return qx_layout_digest(cx, protocol, layout, out);
}
