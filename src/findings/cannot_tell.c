#include "findings/cannot_tell.h"

#include <string.h>

/* Combinations that are looked through for one without data. */
#define COMBINATIONS_MOST 5000
#define FACTORS_MOST      ((size_t)2 * QX_TERM_FACTORS_MOST)

static qx_status made(qx_work *w, const char *text, const char **out)
{
    *out = text;
    return text != NULL ? QX_OK : qx_fail(w->cx, QX_E_NOMEM, "no memory for a reason");
}

/* "product lime with rate high": a level of each factor. */
static qx_status words(qx_work *w,
                       size_t count,
                       const size_t factor[],
                       const size_t level[],
                       const char **out)
{
    const char *text = "";
    for (size_t i = 0; i < count && text != NULL; i++) {
        const qx_factor *f = &w->data.frame.factor[factor[i]];
        text = qx_arena_printf(w->arena,
                               "%s%s%s %s",
                               text,
                               i > 0 ? " with " : "",
                               f->name,
                               f->level[level[i]]);
    }
    return made(w, text, out);
}

static const size_t *levels_of(const qx_cells *cells, size_t cell)
{
    return &cells->level[cell * cells->factor_count];
}

/* The factors of a cell, then the model's other treatments (and seasons). */
static size_t
all_factors(const qx_work *w, const qx_cells *cells, size_t out[], size_t *combinations)
{
    size_t count = 0;
    *combinations = 1;
    for (; count < cells->factor_count; count++) {
        out[count] = cells->factor[count];
    }
    for (size_t t = 0; t < w->choice.term_count; t++) {
        const qx_term *term = &w->choice.term[t];
        bool known = false;
        for (size_t i = 0; i < count; i++) {
            known = known || out[i] == term->factor[0];
        }
        if (!known && qx_choice_is_treatment_term(&w->choice, t) &&
            term->factor_count == 1 && count < FACTORS_MOST) {
            *combinations *= w->data.frame.factor[term->factor[0]].level_count;
            out[count++] = term->factor[0];
        }
    }
    return count;
}

static bool
has_data(const qx_work *w, size_t count, const size_t factor[], const size_t level[])
{
    for (size_t row = 0; row < w->data.n; row++) {
        bool inside = true;
        for (size_t i = 0; i < count && inside; i++) {
            inside = w->data.frame.factor[factor[i]].code[row] == level[i];
        }
        if (inside) {
            return true;
        }
    }
    return false;
}

qx_status
qx_empty_inside(qx_work *w, const qx_cells *cells, size_t cell, const char **out)
{
    size_t factor[FACTORS_MOST], level[FACTORS_MOST];
    size_t combinations;
    const size_t count = all_factors(w, cells, factor, &combinations);
    *out = NULL;
    for (size_t i = 0; i < cells->factor_count; i++) {
        level[i] = levels_of(cells, cell)[i];
    }
    for (size_t c = 0; c < combinations && c < COMBINATIONS_MOST; c++) {
        size_t rest = c;
        for (size_t i = cells->factor_count; i < count; i++) {
            const size_t levels = w->data.frame.factor[factor[i]].level_count;
            level[i] = rest % levels;
            rest /= levels;
        }
        if (!has_data(w, count, factor, level)) {
            return words(w, count, factor, level, out);
        }
    }
    return QX_OK;
}

/* Has the covariate one value only in each combination of the cell's factors? */
static bool goes_together(const qx_work *w, const qx_cells *cells, size_t number)
{
    const qx_frame *f = &w->data.frame;
    const double *x = f->number[number].value;
    for (size_t i = 0; i < f->n; i++) {
        for (size_t j = i + 1; j < f->n; j++) {
            bool same = true;
            for (size_t k = 0; k < cells->factor_count && same; k++) {
                const uint32_t *code = f->factor[cells->factor[k]].code;
                same = code[i] == code[j];
            }
            if (same) {
                if (x[i] != x[j]) {
                    return false;
                }
                break; /* j stands for i from here on */
            }
        }
    }
    return true;
}

static qx_status by_covariate(qx_work *w, const qx_cells *cells, qx_difference *d)
{
    for (size_t k = 0; k < w->data.frame.number_count; k++) {
        const char *name = w->data.frame.number[k].name;
        if (!goes_together(w, cells, k)) {
            continue;
        }
        QX_TRY(made(w,
                    qx_arena_printf(w->arena,
                                    "%s and %s cannot be told apart, since %s has one "
                                    "value for each level",
                                    d->term,
                                    name,
                                    name),
                    &d->why_not));
        return made(w,
                    qx_arena_printf(w->arena,
                                    "without %s in the protocol the levels can be "
                                    "compared, but what %s does is then part of their "
                                    "differences",
                                    name,
                                    name),
                    &d->mend);
    }
    d->why_not = "these data do not hold it apart from the effects of other columns";
    return QX_OK;
}

static qx_status
not_estimable(qx_work *w, const qx_cells *cells, size_t cell, qx_difference *d)
{
    const char *name;
    if (qx_cells_observations(w, cells, cell) == 0) {
        QX_TRY(
            words(w, cells->factor_count, cells->factor, levels_of(cells, cell), &name));
        return made(w, qx_arena_printf(w->arena, "%s has no data", name), &d->why_not);
    }
    QX_TRY(qx_empty_inside(w, cells, cell, &name));
    if (name == NULL) {
        return by_covariate(w, cells, d);
    }
    d->mend = "each can be compared inside the levels of the others that were tried";
    return made(
        w,
        qx_arena_printf(w->arena, "an average would need %s, which has no data", name),
        &d->why_not);
}

/* The estimate stands, but nothing says how far chance alone would take it. */
static qx_status no_replicate(
    qx_work *w, const qx_pair_family *family, size_t a, size_t b, qx_difference *d)
{
    size_t of_a, of_b;
    const char *unit = d->replicate;
    QX_TRY(qx_cells_units(w, family->cells, a, family->unit, &of_a));
    QX_TRY(qx_cells_units(w, family->cells, b, family->unit, &of_b));
    if (d->class_ != NULL && of_a > 1 && of_b > 1) {
        d->why_not =
            "this class was seen nowhere or everywhere with one of the two, so that "
            "it cannot be compared by itself";
        return QX_OK;
    }
    if (of_a > 1 && of_b > 1) {
        d->why_not = "nothing is left over in these data to judge chance by";
        d->mend = "more replicates would let it be told";
        return QX_OK;
    }
    QX_TRY(made(w,
                qx_arena_printf(w->arena,
                                "no %s is a replicate of another, so how much one %s "
                                "differs from the next by chance is not known",
                                unit,
                                unit),
                &d->why_not));
    const char *measured = w->protocol->unit[w->variate->on].name;
    const bool inside = strcmp(measured, unit) != 0;
    return made(
        w,
        qx_arena_printf(w->arena,
                        "at least one more %s for each would let it be told%s%s%s%s",
                        unit,
                        inside ? "; a further " : "",
                        inside ? measured : "",
                        inside ? " on the same " : "",
                        inside ? qx_arena_printf(w->arena, "%s would not", unit) : ""),
        &d->mend);
}

qx_status qx_cannot_tell(
    qx_work *w, const qx_pair_family *family, size_t a, size_t b, qx_difference *d)
{
    if (!family->cells->estimable[a]) {
        return not_estimable(w, family->cells, a, d);
    }
    if (!family->cells->estimable[b]) {
        return not_estimable(w, family->cells, b, d);
    }
    if (w->fit != NULL && w->fit->exhausted != QX_VARIES) {
        d->why_not = "the values repeat exactly, so that nothing is left that varies by "
                     "chance";
        d->mend = "look whether values were copied or calculated";
        return QX_OK;
    }
    return no_replicate(w, family, a, b, d);
}
