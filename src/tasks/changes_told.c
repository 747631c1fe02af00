#include "tasks/changes_told.h"

qx_status qx_changes_told(qx_ctx *cx,
                          qx_trial_file *file,
                          const qx_protocol *protocol,
                          const qx_layout *layout,
                          qx_arena *arena,
                          size_t *count,
                          const char *const **out)
{
    const qx_layout_change *change;
    const char **line;
    QX_TRY(qx_layout_changes_read(cx, file, protocol, arena, count, &change));
    QX_NEW_IN(cx, arena, line, *count);
    for (size_t i = 0; i < *count; i++) {
        const qx_treatment *t = &protocol->treatment[change[i].treatment];
        if (change[i].placed >= layout->placed_count) {
            return qx_fail(cx,
                           QX_E_INPUT,
                           "%s: a change of the layout names a thing that is not there; "
                           "the file was changed by hand or is damaged",
                           qx_trial_file_path(file));
        }
        line[i] = qx_arena_printf(arena,
                                  "%s %s got %s %s instead of %s (%s, %s): %s",
                                  protocol->unit[t->on].name,
                                  layout->placed[change[i].placed].label,
                                  t->name,
                                  t->level[change[i].level],
                                  change[i].drawn == QX_NONE ? "nothing"
                                                             : t->level[change[i].drawn],
                                  change[i].changed_by,
                                  change[i].changed_at,
                                  change[i].reason);
        if (line[i] == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for the changes");
        }
    }
    *out = line;
    return QX_OK;
}
