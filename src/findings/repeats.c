#include "findings/repeats.h"

/* The name of what the response follows from: a fixed term, then a unit; NULL: said by
 * others. */
static const char *name_of_part(const qx_work *w, size_t i)
{
    const qx_choice *c = &w->choice;
    if (i < c->term_count) {
        return c->term[i].factor_count > 1 || w->design->term_df[i] == 0
                   ? NULL
                   : c->term[i].name;
    }
    const size_t unit = c->random_unit[i - c->term_count];
    const qx_frame_unit *u = unit == QX_NONE ? NULL : &w->data.unit[unit];
    return u == NULL || u->by_season || u->by_date ? c->random[i - c->term_count].name
                                                   : w->protocol->unit[u->unit].name;
}

/* "pinch, angle and tree": all that the response follows from. */
static qx_status list_parts(qx_work *w, const char **text, size_t *told)
{
    const bool units = w->fit->exhausted == QX_NIL_WITHIN_UNITS;
    const size_t parts = w->choice.term_count + (units ? w->choice.random_count : 0);
    size_t left = 0;
    *text = "";
    *told = 0;
    for (size_t i = 0; i < parts; i++) {
        left += name_of_part(w, i) != NULL ? 1 : 0;
    }
    for (size_t i = 0; i < parts; i++) {
        const char *name = name_of_part(w, i);
        if (name == NULL) {
            continue;
        }
        const char *join = *told == 0 ? "" : --left > 1 ? ", " : " and ";
        *text = qx_arena_printf(w->temporary, "%s%s%s", *text, join, name);
        if (*text == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for a sentence");
        }
        ++*told;
    }
    return QX_OK;
}

qx_status qx_tell_repeats(qx_work *w)
{
    const char *parts;
    size_t told;
    QX_TRY(list_parts(w, &parts, &told));
    return qx_note(w->cx,
                   "The values of %s repeat exactly: once %s %s known, nothing is left "
                   "that varies by chance. Without chance variation nothing can be "
                   "tested, so no standard errors, intervals or p values are given. Look "
                   "whether values were copied or calculated.",
                   w->variate->name,
                   told > 0 ? parts : "the mean",
                   told > 1 ? "are" : "is");
}
