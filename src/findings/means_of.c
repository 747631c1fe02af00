#include "findings/means_of.h"

#include <math.h>

#include "base/decimal.h"
#include "findings/cell_means.h"
#include "findings/family.h"
#include "findings/not_estimable.h"
#include "findings/transform.h"

static qx_status
one_term(qx_work *w, const qx_term *term, qx_array *means, qx_array *differences)
{
    qx_cells cells;
    if (qx_cells_count(w, term->factor_count, term->factor) > QX_CELLS_MOST) {
        return qx_note(w->cx,
                       "%s has more than %d means: they are not listed.",
                       term->name,
                       QX_CELLS_MOST);
    }
    QX_TRY(qx_cells_make(w, term->factor_count, term->factor, &cells));
    QX_TRY(qx_tell_not_estimable(w, term->name, &cells));
    if (w->protocol->analysis.compare == QX_COMPARE_DUNNETT && term->factor_count == 1 &&
        qx_control_level(w, term->factor[0]) == QX_NO_COLUMN) {
        QX_TRY(qx_note(w->cx,
                       "%s has no control: its levels are compared in all pairs "
                       "(Tukey).",
                       term->name));
    }
    return qx_cell_means_add(w, term->name, &cells, means, differences);
}

/* The margin on the scale of analysis, around the mean of all data there. */
static qx_status place_margin(qx_work *w)
{
    const qx_variate *v = w->variate;
    w->margin = v->margin;
    if (isnan(v->margin) || v->transform == QX_TRANSFORM_NONE) {
        return QX_OK;
    }
    double sum = 0.0;
    for (size_t i = 0; i < w->data.n; i++) {
        sum += w->data.scaled[i];
    }
    char given[QX_NUMBER_ROOM], there[QX_NUMBER_ROOM], mean[QX_NUMBER_ROOM];
    const double z = sum / (double)w->data.n;
    w->margin = qx_transform_margin(v->transform, v->margin, z);
    return qx_note(
        w->cx,
        "%s is analysed as %s; its margin of %s is %s on that scale, around the "
        "back-transformed mean of %s.",
        v->name,
        qx_transform_word(v->transform),
        qx_number_spoken(v->margin, 4, given),
        qx_number_spoken(w->margin, 4, there),
        qx_number_spoken(qx_transform_back(v->transform, z), 4, mean));
}

qx_status qx_means_of(qx_work *w)
{
    qx_array means = QX_ARRAY(w->arena, sizeof(qx_mean));
    qx_array differences = QX_ARRAY(w->arena, sizeof(qx_difference));
    QX_TRY(place_margin(w));
    for (size_t t = 0; t < w->choice.term_count; t++) {
        qx_status status;
        if (!qx_choice_is_treatment_term(&w->choice, t) || w->design->term_df[t] == 0) {
            continue;
        }
        QX_SCRATCH(w->cx, status, one_term(w, &w->choice.term[t], &means, &differences));
        QX_TRY(status);
    }
    w->result->mean = means.items;
    w->result->mean_count = means.count;
    w->result->difference = differences.items;
    w->result->difference_count = differences.count;
    return QX_OK;
}

size_t qx_partners(const qx_work *w, size_t factor, size_t out[])
{
    size_t count = 0;
    for (size_t t = 0; t < w->choice.term_count; t++) {
        const qx_term *term = &w->choice.term[t];
        bool has = false;
        for (size_t i = 0; i < term->factor_count; i++) {
            has = has || term->factor[i] == factor;
        }
        if (!has || !qx_choice_is_treatment_term(&w->choice, t) ||
            w->design->term_df[t] == 0) {
            continue;
        }
        for (size_t i = 0; i < term->factor_count; i++) {
            size_t at = 0;
            while (at < count && out[at] != term->factor[i]) {
                at++;
            }
            if (at == count && term->factor[i] != factor) {
                out[count++] = term->factor[i];
            }
        }
    }
    return count;
}

static qx_status simple_effects(qx_work *w, size_t factor, qx_array *out)
{
    size_t all[QX_TERM_FACTORS_MOST + 1] = {factor};
    const size_t others = qx_partners(w, factor, all + 1);
    const size_t levels = w->data.frame.factor[factor].level_count;
    qx_cells cells;
    size_t *member;
    if (others == 0 || qx_cells_count(w, others + 1, all) > QX_CELLS_MOST) {
        return QX_OK;
    }
    QX_TRY(qx_cells_make(w, others + 1, all, &cells));
    QX_NEW(w->cx, member, levels);
    const size_t inside = cells.count / levels;
    qx_pair_family family = {.term = w->data.frame.factor[factor].name,
                             .cells = &cells,
                             .member_count = levels,
                             .member = member,
                             .named = 1,
                             .control = qx_control_level(w, factor),
                             .unit = qx_replicate_unit(w, others + 1, all)};
    for (size_t c = 0; c < inside; c++) {
        for (size_t l = 0; l < levels; l++) {
            member[l] = l * inside + c; /* `factor` is the slowest */
        }
        QX_TRY(qx_family_compare(w, &family, out, NULL));
    }
    return QX_OK;
}

qx_status qx_simple_effects_of(qx_work *w)
{
    qx_array simple = QX_ARRAY(w->arena, sizeof(qx_difference));
    for (size_t t = 0; t < w->choice.term_count; t++) {
        const qx_term *term = &w->choice.term[t];
        qx_status status;
        if (!qx_choice_is_treatment_term(&w->choice, t) || term->factor_count != 1) {
            continue;
        }
        QX_SCRATCH(w->cx, status, simple_effects(w, term->factor[0], &simple));
        QX_TRY(status);
    }
    w->result->simple = simple.items;
    w->result->simple_count = simple.count;
    return QX_OK;
}
