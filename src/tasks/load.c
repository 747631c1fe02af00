#include "tasks/load.h"

#include <fcntl.h>
#include <string.h>
#include <unistd.h>

#include "store/inspect.h"
#include "store/observations.h"
#include "store/trial_file.h"
#include "tasks/changes_told.h"
#include "tasks/inspect_trial.h"
#include "trial/check.h"
#include "trial/join.h"
#include "trial/read_yaml.h"

bool qx_is_trial_file(const char *path)
{
    static const char magic[16] = "SQLite format 3";
    char head[sizeof magic];
    const size_t length = strlen(path);
    const bool named = length > 3 && strcmp(path + length - 3, ".qx") == 0;
    const int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);
    if (fd < 0) {
        return named;
    }
    const ssize_t got = read(fd, head, sizeof head);
    (void)close(fd);
    return named ||
           (got == (ssize_t)sizeof head && memcmp(head, magic, sizeof magic) == 0);
}

static qx_status
load_from(qx_ctx *cx, qx_trial_file *file, qx_problems *problems, qx_loaded *out)
{
    qx_table *stored = NULL;
    QX_TRY(qx_trial_file_protocol(cx, file, problems, &out->protocol));
    QX_TRY(qx_trial_file_layout(cx, file, out->protocol, &out->layout));
    QX_TRY(qx_changes_told(cx,
                           file,
                           out->protocol,
                           out->layout,
                           out->layout->arena,
                           &out->change_count,
                           &out->change));
    QX_TRY(qx_changed_by_hand(
        cx, file, out->protocol, out->layout->arena, &out->by_hand_count, &out->by_hand));
    const size_t before = qx_problems_count(problems);
    QX_TRY(qx_inspect_values(cx, file, out->protocol, problems));
    if (qx_problems_count(problems) > before) {
        return qx_fail(cx, QX_E_INPUT, "%s is not in order", qx_trial_file_path(file));
    }
    QX_TRY(qx_observations_table(cx, file, out->protocol, out->layout, &stored));
    const qx_status status = qx_table_join_layout(
        cx, out->protocol, out->layout, stored, problems, &out->table);
    qx_table_free(stored);
    return status;
}

static qx_status
load_trial_file(qx_ctx *cx, const char *path, qx_problems *problems, qx_loaded *out)
{
    qx_trial_file *file = NULL;
    QX_TRY(qx_trial_file_open(cx, path, QX_TO_READ, &file));
    const qx_status status = load_from(cx, file, problems, out);
    qx_trial_file_close(file);
    return status;
}

static qx_status load_files(
    qx_ctx *cx, const char *path, const char *data, qx_problems *problems, qx_loaded *out)
{
    QX_TRY(qx_protocol_read(cx, path, problems, &out->protocol));
    return qx_data_read(cx, out->protocol, data, false, problems, &out->table, NULL);
}

qx_status qx_load(
    qx_ctx *cx, const char *path, const char *data, qx_problems *problems, qx_loaded *out)
{
    qx_loaded loaded = {0};
    const qx_status status = data == NULL ? load_trial_file(cx, path, problems, &loaded)
                                          : load_files(cx, path, data, problems, &loaded);
    if (status != QX_OK) {
        qx_loaded_free(&loaded);
        return status;
    }
    *out = loaded;
    return QX_OK;
}

void qx_loaded_free(qx_loaded *loaded)
{
    if (loaded != NULL) {
        qx_table_free(loaded->table);
        qx_layout_free(loaded->layout);
        qx_protocol_free(loaded->protocol);
        *loaded = (qx_loaded){0};
    }
}
