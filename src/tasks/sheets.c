#include "tasks/sheets.h"

#include "base/file.h"
#include "base/text.h"
#include "report/blank_sheet.h"
#include "store/trial_file.h"

typedef struct sheets {
    qx_ctx *cx;
    const char *folder;
    qx_arena *arena;
    qx_trial_file *file;
    qx_protocol *protocol;
    qx_layout *layout;
    size_t count;
    qx_sheet_made *made;
    qx_text **text;
} sheets;

static qx_status make_one(sheets *s, size_t unit, size_t season)
{
    const char *name = s->protocol->unit[unit].name;
    const char *file =
        season == QX_NONE
            ? qx_arena_printf(s->arena, "%s.csv", name)
            : qx_arena_printf(
                  s->arena, "%s-%s.csv", name, s->protocol->seasons.level[season]);
    const char *path = file == NULL ? NULL : qx_path_join(s->arena, s->folder, file);
    qx_text *text = qx_text_new(s->arena);
    if (path == NULL || text == NULL) {
        return qx_fail(s->cx, QX_E_NOMEM, "no memory for the sheets");
    }
    if (qx_file_exists(path)) {
        return qx_fail(s->cx,
                       QX_E_EXISTS,
                       "%s is there already; expected another folder: a sheet is never "
                       "overwritten, it may be filled in",
                       path);
    }
    size_t rows = 0;
    QX_TRY(qx_blank_sheet(s->cx, s->protocol, s->layout, unit, season, text, &rows));
    if (qx_text_failed(text)) {
        return qx_fail(s->cx, QX_E_NOMEM, "no memory for the sheets");
    }
    s->text[s->count] = text;
    s->made[s->count++] = (qx_sheet_made){.path = path, .rows = rows};
    return QX_OK;
}

static qx_status make_all(sheets *s)
{
    const size_t seasons = s->protocol->seasons.level_count;
    const size_t most = s->protocol->unit_count * (seasons == 0 ? 1 : seasons);
    QX_NEW_IN(s->cx, s->arena, s->made, most);
    QX_NEW_IN(s->cx, s->arena, s->text, most);
    for (size_t i = 0; i < s->protocol->unit_count; i++) {
        const size_t unit = s->protocol->unit_order[i];
        for (size_t k = 0; k < (seasons == 0 ? 1 : seasons); k++) {
            if (qx_sheet_wanted(s->protocol, unit)) {
                QX_TRY(make_one(s, unit, seasons == 0 ? QX_NONE : k));
            }
        }
    }
    return QX_OK;
}

static qx_status carry_out(sheets *s, const char *trial, qx_problems *problems)
{
    QX_TRY(qx_trial_file_open(s->cx, trial, QX_TO_READ, &s->file));
    QX_TRY(qx_trial_file_protocol(s->cx, s->file, problems, &s->protocol));
    QX_TRY(qx_trial_file_layout(s->cx, s->file, s->protocol, &s->layout));
    QX_TRY(make_all(s));
    QX_TRY(qx_folder_make(s->cx, s->folder));
    for (size_t i = 0; i < s->count; i++) {
        QX_TRY(qx_file_write(
            s->cx, s->made[i].path, qx_text_get(s->text[i]), qx_text_length(s->text[i])));
    }
    return QX_OK;
}

qx_status qx_sheets(qx_ctx *cx,
                    const char *trial,
                    const char *folder,
                    qx_problems *problems,
                    qx_arena *arena,
                    size_t *count,
                    const qx_sheet_made **out)
{
    sheets s = {.cx = cx, .folder = folder, .arena = arena};
    const qx_status status = carry_out(&s, trial, problems);
    qx_layout_free(s.layout);
    qx_protocol_free(s.protocol);
    qx_trial_file_close(s.file);
    *count = s.count;
    *out = s.made;
    return status;
}
