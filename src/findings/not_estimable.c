#include "findings/not_estimable.h"

#include <stdio.h>

#include "findings/cannot_tell.h"

#define NAMED_MOST 8 /* further ones are counted */

/* "early, 90": the levels of a cell. */
static const char *levels_of(const qx_work *w, const qx_cells *cells, size_t cell)
{
    const char *text = "";
    for (size_t i = 0; i < cells->factor_count && text != NULL; i++) {
        const qx_factor *f = &w->data.frame.factor[cells->factor[i]];
        text = qx_arena_printf(w->temporary,
                               "%s%s%s",
                               text,
                               i > 0 ? " with " : "",
                               f->level[cells->level[cell * cells->factor_count + i]]);
    }
    return text;
}

typedef struct named {
    size_t count;
    const char *list;
} named;

static qx_status add(qx_work *w, const qx_cells *cells, size_t cell, named *to)
{
    if (to->count++ >= NAMED_MOST) {
        return QX_OK;
    }
    const char *levels = levels_of(w, cells, cell);
    to->list =
        levels == NULL
            ? NULL
            : qx_arena_printf(
                  w->temporary, "%s%s%s", to->list, to->count > 1 ? ", " : "", levels);
    return to->list != NULL
               ? QX_OK
               : qx_fail(w->cx, QX_E_NOMEM, "no memory for the names of empty cells");
}

static qx_status tell(qx_work *w, const char *term, const named *n, const char *why)
{
    char more[48] = "";
    if (n->count == 0) {
        return QX_OK;
    }
    if (n->count > NAMED_MOST) {
        (void)snprintf(more, sizeof more, " and %zu more", n->count - NAMED_MOST);
    }
    return qx_note(w->cx, "%s: no mean for %s%s, %s", term, n->list, more, why);
}

qx_status qx_tell_not_estimable(qx_work *w, const char *term, const qx_cells *cells)
{
    named empty = {0, ""}, leaning = {0, ""}, mixed = {0, ""};
    for (size_t c = 0; c < cells->count; c++) {
        const char *inside = NULL;
        if (cells->estimable[c]) {
            continue;
        }
        const bool none = qx_cells_observations(w, cells, c) == 0;
        if (!none) {
            QX_TRY(qx_empty_inside(w, cells, c, &inside));
        }
        QX_TRY(add(w, cells, c, none ? &empty : inside != NULL ? &leaning : &mixed));
    }
    QX_TRY(tell(w,
                term,
                &empty,
                empty.count == 1 ? "which has no data." : "which have no data."));
    QX_TRY(tell(w,
                term,
                &leaning,
                "since a combination that belongs to it has no data; what stands inside "
                "the levels of the others can be compared."));
    return tell(w,
                term,
                &mixed,
                "since it cannot be told apart from the effects of other columns.");
}
