#include "findings/observed_cells.h"

#include "findings/cell_means.h"
#include "findings/family.h"
#include "findings/not_estimable.h"

/* Some cells without data, and two or more that can be estimated? */
static bool partly_there(const qx_work *w, const qx_cells *cells)
{
    size_t empty = 0, known = 0;
    for (size_t c = 0; c < cells->count; c++) {
        known += cells->estimable[c] ? 1 : 0;
        empty += qx_cells_observations(w, cells, c) == 0 ? 1 : 0;
    }
    return empty > 0 && known > 1;
}

/* Factor `which` of the term inside each combination of the others. */
static qx_status
inside_levels(qx_work *w, const qx_term *term, size_t which, qx_array *out)
{
    size_t factor[QX_TERM_FACTORS_MOST];
    size_t count = 1;
    qx_cells cells;
    size_t *member;
    factor[0] = term->factor[which];
    for (size_t i = 0; i < term->factor_count; i++) {
        if (i != which) {
            factor[count++] = term->factor[i];
        }
    }
    const qx_factor *f = &w->data.frame.factor[factor[0]];
    QX_TRY(qx_cells_make(w, count, factor, &cells));
    QX_NEW(w->cx, member, f->level_count);
    const qx_pair_family family = {.term = f->name,
                                   .cells = &cells,
                                   .member_count = f->level_count,
                                   .member = member,
                                   .named = 1,
                                   .control = qx_control_level(w, factor[0]),
                                   .unit = qx_replicate_unit(w, count, factor)};
    const size_t inside = cells.count / f->level_count;
    for (size_t c = 0; c < inside; c++) {
        for (size_t l = 0; l < f->level_count; l++) {
            member[l] = l * inside + c; /* the first factor is the slowest */
        }
        QX_TRY(qx_family_compare(w, &family, out, NULL));
    }
    return QX_OK;
}

static qx_status simple_effects(qx_work *w, const qx_term *term)
{
    qx_array list = QX_ARRAY(w->arena, sizeof(qx_difference));
    QX_TRY(qx_list_reopen(w, w->result->simple, w->result->simple_count, &list));
    for (size_t i = 0; i < term->factor_count; i++) {
        QX_TRY(inside_levels(w, term, i, &list));
    }
    w->result->simple = list.items;
    w->result->simple_count = list.count;
    return QX_OK;
}

static qx_status one_term(qx_work *w, const qx_term *term)
{
    qx_cells cells;
    if (qx_cells_count(w, term->factor_count, term->factor) > QX_CELLS_MOST) {
        return QX_OK;
    }
    QX_TRY(qx_cells_make(w, term->factor_count, term->factor, &cells));
    if (!partly_there(w, &cells)) {
        return QX_OK;
    }
    QX_TRY(qx_tell_not_estimable(w, term->name, &cells));
    QX_TRY(qx_cell_means(w, term->name, &cells));
    return simple_effects(w, term);
}

qx_status qx_observed_cells_of(qx_work *w)
{
    for (size_t t = 0; t < w->choice.term_count; t++) {
        qx_status status;
        if (!qx_choice_is_treatment_term(&w->choice, t) ||
            w->choice.term[t].factor_count < 2 || w->design->term_df[t] > 0) {
            continue;
        }
        QX_SCRATCH(w->cx, status, one_term(w, &w->choice.term[t]));
        QX_TRY(status);
    }
    return QX_OK;
}
