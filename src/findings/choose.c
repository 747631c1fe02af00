#include "findings/choose.h"

#include <string.h>

typedef struct chooser {
    qx_ctx *cx;
    qx_arena *arena;
    const qx_protocol *protocol;
    const qx_variate *variate;
    const qx_variate_frame *data;
    qx_term *term;
    size_t term_count, term_room;
    size_t factor[QX_TERM_FACTORS_MOST]; /* season and treatments in the model */
    size_t factor_count;
} chooser;

static bool above_every_treatment(const chooser *c, size_t unit)
{
    const qx_protocol *p = c->protocol;
    size_t treated = 0;
    for (size_t t = 0; t < p->treatment_count; t++) {
        const size_t on = p->treatment[t].on;
        if (c->data->treatment[t] == QX_NO_COLUMN) {
            continue;
        }
        treated++;
        if (on == unit || !qx_unit_reaches(p, unit, on)) {
            return false;
        }
    }
    return treated > 0;
}

static bool is_fixed_block(const chooser *c, const qx_frame_unit *u)
{
    return c->protocol->analysis.blocks_fixed && !u->by_season && !u->by_date &&
           above_every_treatment(c, u->unit);
}

/* "a:b:c" from the names of the factors, the covariate last. */
static const char *term_name(const chooser *c, const qx_term *term)
{
    const qx_frame *f = &c->data->frame;
    const char *name = term->factor_count > 0 ? f->factor[term->factor[0]].name
                                              : f->number[term->number].name;
    for (size_t i = 1; i < term->factor_count && name != NULL; i++) {
        name = qx_arena_printf(c->arena, "%s:%s", name, f->factor[term->factor[i]].name);
    }
    if (term->factor_count > 0 && term->number != QX_NO_COLUMN && name != NULL) {
        name = qx_arena_printf(c->arena, "%s:%s", name, f->number[term->number].name);
    }
    return name;
}

static qx_status add_term(chooser *c, size_t count, const size_t factor[], size_t number)
{
    if (c->term_count == c->term_room) {
        const size_t room = 2 * c->term_room + 16;
        qx_term *more;
        QX_NEW_IN(c->cx, c->arena, more, room);
        if (c->term_count > 0) {
            memcpy(more, c->term, c->term_count * sizeof *more);
        }
        c->term = more;
        c->term_room = room;
    }
    qx_term *term = &c->term[c->term_count];
    *term = (qx_term){.factor_count = count, .number = number};
    for (size_t i = 0; i < count; i++) {
        term->factor[i] = factor[i];
    }
    term->name = term_name(c, term);
    if (term->name == NULL) {
        return qx_fail(c->cx, QX_E_NOMEM, "no memory for the terms of the model");
    }
    c->term_count++;
    return QX_OK;
}

static qx_status add_blocks(chooser *c)
{
    for (size_t k = 0; k < c->data->unit_count; k++) {
        const qx_frame_unit *u = &c->data->unit[k];
        if (is_fixed_block(c, u) && u->count > 1) {
            QX_TRY(add_term(c, 1, &u->factor, QX_NO_COLUMN));
        }
    }
    return QX_OK;
}

/* One slope for all. */
static qx_status add_covariates(chooser *c)
{
    for (size_t k = 0; k < c->protocol->covariate_count; k++) {
        if (c->data->covariate[k] != QX_NO_COLUMN) {
            QX_TRY(add_term(c, 0, NULL, c->data->covariate[k]));
        }
    }
    return QX_OK;
}

/* Slopes of their own are interactions: they come after the factors, so that these are not
 * tested with their levels' slopes taken out before. */
static qx_status add_slopes(chooser *c)
{
    const qx_protocol *p = c->protocol;
    for (size_t k = 0; k < p->covariate_count; k++) {
        const size_t number = c->data->covariate[k];
        for (size_t s = 0; number != QX_NO_COLUMN && s < p->covariate[k].slope_count;
             s++) {
            const size_t factor = c->data->treatment[p->covariate[k].slope[s]];
            if (factor != QX_NO_COLUMN) {
                QX_TRY(add_term(c, 1, &factor, number));
            }
        }
    }
    return QX_OK;
}

/* Season and treatments that reach the variate and have more than one level. */
static qx_status list_factors(chooser *c)
{
    const qx_frame *f = &c->data->frame;
    size_t candidate[2 + QX_NAMES_MOST];
    size_t count = 0;
    if (c->data->season != QX_NO_COLUMN) {
        candidate[count++] = c->data->season;
    }
    if (c->data->date != QX_NO_COLUMN) {
        candidate[count++] = c->data->date;
    }
    for (size_t t = 0; t < c->protocol->treatment_count; t++) {
        if (c->data->treatment[t] != QX_NO_COLUMN) {
            candidate[count++] = c->data->treatment[t];
        }
    }
    for (size_t i = 0; i < count; i++) {
        const qx_factor *factor = &f->factor[candidate[i]];
        if (factor->level_count < 2) {
            QX_TRY(qx_note(c->cx,
                           "%s has one level in the data (%s): nothing can be said about "
                           "it.",
                           factor->name,
                           factor->level[0]));
        } else if (c->factor_count == QX_TERM_FACTORS_MOST) {
            return qx_fail(c->cx,
                           QX_E_INPUT,
                           "more than %d treatments act on %s; expected %d or fewer",
                           QX_TERM_FACTORS_MOST,
                           c->variate->name,
                           QX_TERM_FACTORS_MOST);
        } else {
            c->factor[c->factor_count++] = candidate[i];
        }
    }
    return QX_OK;
}

/* All interactions of `size` factors, in the order of the protocol. */
static qx_status add_interactions(chooser *c, size_t size)
{
    size_t pick[QX_TERM_FACTORS_MOST];
    for (size_t i = 0; i < size; i++) {
        pick[i] = i;
    }
    for (;;) {
        size_t factor[QX_TERM_FACTORS_MOST];
        for (size_t i = 0; i < size; i++) {
            factor[i] = c->factor[pick[i]];
        }
        QX_TRY(add_term(c, size, factor, QX_NO_COLUMN));
        size_t i = size;
        while (i > 0 && pick[i - 1] == c->factor_count - size + i - 1) {
            i--;
        }
        if (i == 0) {
            return QX_OK;
        }
        pick[i - 1]++;
        for (size_t j = i; j < size; j++) {
            pick[j] = pick[j - 1] + 1;
        }
    }
}

static qx_status add_factorial(chooser *c)
{
    const qx_interactions how = c->protocol->analysis.interactions;
    size_t most = c->factor_count;
    if (how == QX_INTERACT_NONE && most > 1) {
        most = 1;
    } else if (how == QX_INTERACT_PAIRS && most > 2) {
        most = 2;
    }
    /* Order of contract rule 5: season (and dates), covariates, treatments, then
     * interactions. */
    size_t first = 0;
    while (first < c->factor_count &&
           (c->factor[first] == c->data->season || c->factor[first] == c->data->date)) {
        QX_TRY(add_term(c, 1, &c->factor[first++], QX_NO_COLUMN));
    }
    QX_TRY(add_covariates(c));
    for (size_t i = first; i < c->factor_count; i++) {
        QX_TRY(add_term(c, 1, &c->factor[i], QX_NO_COLUMN));
    }
    QX_TRY(add_slopes(c));
    for (size_t size = 2; size <= most; size++) {
        QX_TRY(add_interactions(c, size));
    }
    return QX_OK;
}

/* Do two units divide the rows in the same way? */
static qx_status same_division(const chooser *c,
                               const qx_frame_unit *a,
                               const qx_frame_unit *b,
                               bool *same)
{
    const uint32_t *x = c->data->frame.factor[a->factor].code;
    const uint32_t *y = c->data->frame.factor[b->factor].code;
    uint32_t *partner; /* 1 + the number in b of each in a */
    *same = a->count == b->count;
    QX_NEW(c->cx, partner, a->count);
    for (size_t i = 0; *same && i < c->data->n; i++) {
        *same = partner[x[i]] == 0 || partner[x[i]] == y[i] + 1;
        partner[x[i]] = y[i] + 1;
    }
    return QX_OK; /* as many in each, and every one seen: one to one */
}

/* Why a unit has no variance of its own, as a note; true if it has none. */
static qx_status merged(const chooser *c, size_t k, size_t lowest, bool *out)
{
    const qx_frame_unit *unit = c->data->unit;
    *out = true;
    if (unit[k].count < 2) {
        return qx_note(
            c->cx, "There is one %s only: it has no variation of its own.", unit[k].path);
    }
    if (unit[k].count == c->data->n) {
        return qx_note(c->cx,
                       "Each %s has one observation of %s: its variation is part of the "
                       "residual.",
                       unit[k].path,
                       c->variate->name);
    }
    for (size_t j = k + 1; j < lowest; j++) {
        bool same;
        QX_TRY(same_division(c, &unit[k], &unit[j], &same));
        if (same) {
            return qx_note(
                c->cx,
                "Each %s has one %s: their variations cannot be told apart and "
                "stand together as %s.",
                unit[k].path,
                unit[j].path,
                unit[j].path);
        }
    }
    *out = false;
    return QX_OK;
}

static qx_status choose_random(chooser *c, qx_choice *out)
{
    const size_t lowest = c->data->unit_count - 1;
    qx_random_term *random;
    size_t *unit;
    QX_NEW_IN(c->cx, c->arena, random, c->data->unit_count);
    QX_NEW_IN(c->cx, c->arena, unit, c->data->unit_count);
    out->random_count = 0;
    for (size_t k = 0; k < lowest; k++) {
        const qx_frame_unit *u = &c->data->unit[k];
        bool is_merged;
        if (is_fixed_block(c, u)) {
            continue;
        }
        QX_TRY(merged(c, k, lowest, &is_merged));
        if (!is_merged) {
            unit[out->random_count] = k;
            random[out->random_count++] = (qx_random_term){u->path, u->factor};
        }
    }
    out->random = random;
    out->random_unit = unit;
    out->residual_unit = lowest;
    out->residual_path = c->data->unit[lowest].path;
    return QX_OK;
}

qx_status qx_choose(qx_ctx *cx,
                    qx_arena *arena,
                    const qx_protocol *protocol,
                    size_t variate,
                    const qx_variate_frame *data,
                    qx_choice *out)
{
    static const qx_df_method method[] = {[QX_DF_KENWARD_ROGER] = QX_KENWARD_ROGER,
                                          [QX_DF_SATTERTHWAITE] = QX_SATTERTHWAITE,
                                          [QX_DF_CONTAINMENT] = QX_CONTAINMENT};
    chooser c = {.cx = cx,
                 .arena = arena,
                 .protocol = protocol,
                 .variate = &protocol->variate[variate],
                 .data = data};
    memset(out, 0, sizeof *out);
    QX_TRY(list_factors(&c));
    QX_TRY(add_blocks(&c));
    out->block_terms = c.term_count;
    QX_TRY(add_factorial(&c));
    QX_TRY(choose_random(&c, out));
    out->term_count = c.term_count;
    out->term = c.term;
    out->df = method[protocol->analysis.df];
    out->unconstrained = !protocol->analysis.df_named;
    return QX_OK;
}

bool qx_choice_is_treatment_term(const qx_choice *choice, size_t term)
{
    return term >= choice->block_terms && choice->term[term].number == QX_NO_COLUMN;
}

qx_lmm_spec
qx_choice_spec(const qx_choice *choice, const qx_variate_frame *data, double level)
{
    return (qx_lmm_spec){.frame = &data->frame,
                         .y = data->y,
                         .shift = data->shift,
                         .term_count = choice->term_count,
                         .term = choice->term,
                         .random_count = choice->random_count,
                         .random = choice->random,
                         .df = choice->df,
                         .unconstrained = choice->unconstrained,
                         .level = level};
}
