/* What a user reads when the data do not show a whole term. */
#include "model/design_inner.h"

static bool of_units_alone(const qx_frame *frame, const qx_term *term)
{
    bool units = term->number == QX_NO_COLUMN;
    for (size_t i = 0; i < term->factor_count; i++) {
        units = units && frame->factor[term->factor[i]].level == NULL;
    }
    return units;
}

/* Combinations of the term's levels, and the one that a row is in. */
static size_t cells_of(const qx_frame *frame, const qx_term *term)
{
    size_t cells = 1;
    for (size_t i = 0; i < term->factor_count; i++) {
        cells *= frame->factor[term->factor[i]].level_count;
    }
    return cells;
}

static size_t cell_of(const qx_frame *frame, const qx_term *term, size_t row)
{
    size_t at = 0;
    for (size_t i = 0; i < term->factor_count; i++) {
        const qx_factor *f = &frame->factor[term->factor[i]];
        at = at * f->level_count + f->code[row];
    }
    return at;
}

/* Does some combination of the term's levels have no data? */
static qx_status
has_empty_cell(qx_ctx *cx, const qx_frame *frame, const qx_term *term, bool *out)
{
    const size_t cells = cells_of(frame, term);
    size_t found = 0;
    bool *seen;
    QX_NEW(cx, seen, cells);
    for (size_t row = 0; row < frame->n; row++) {
        const size_t at = cell_of(frame, term, row);
        found += seen[at] ? 0 : 1;
        seen[at] = true;
    }
    *out = found < cells;
    return QX_OK;
}

/* Has the covariate one value only in each combination of the term's levels? */
static qx_status one_value_each(
    qx_ctx *cx, const qx_frame *frame, const qx_term *term, size_t number, bool *out)
{
    const double *x = frame->number[number].value;
    size_t *first; /* 1 + row where a combination was first seen */
    QX_NEW(cx, first, cells_of(frame, term));
    *out = true;
    for (size_t row = 0; row < frame->n && *out; row++) {
        const size_t at = cell_of(frame, term, row);
        first[at] = first[at] == 0 ? row + 1 : first[at];
        *out = x[row] == x[first[at] - 1];
    }
    return QX_OK;
}

static bool is_covariate(const qx_term *term)
{
    return term->factor_count == 0 && term->number != QX_NO_COLUMN;
}

/* The term of factors before term t that the covariate goes with, the one with the fewest
 * combinations; NULL: none by itself. */
static qx_status
factors_of_covariate(qx_ctx *cx, const qx_design *d, size_t t, const qx_term **out)
{
    *out = NULL;
    for (size_t s = 0; s < t; s++) {
        const qx_term *term = &d->term[s];
        bool one = false;
        if (term->number != QX_NO_COLUMN ||
            (*out != NULL && cells_of(d->frame, term) >= cells_of(d->frame, *out))) {
            continue;
        }
        QX_TRY(one_value_each(cx, d->frame, term, d->term[t].number, &one));
        *out = one ? term : *out;
    }
    return QX_OK;
}

static qx_status note_covariate(qx_ctx *cx, const qx_design *d, size_t t)
{
    const char *name = d->term[t].name;
    const qx_term *other;
    QX_TRY(factors_of_covariate(cx, d, t, &other));
    if (other == NULL) {
        return qx_note(cx,
                       "%s follows from the columns before it in the model and cannot be "
                       "told apart from them: it is not in the model, and everything "
                       "else is compared as without it.",
                       name);
    }
    return qx_note(cx,
                   "%s and %s cannot be told apart: %s has one value for each %s. It is "
                   "not in the model; what it does is part of the differences between "
                   "levels of %s, and everything inside them is compared as without it.",
                   name,
                   other->name,
                   name,
                   other->name,
                   other->name);
}

/* The covariate before term t that has one value for each of its combinations, or NULL. */
static qx_status
covariate_of_factors(qx_ctx *cx, const qx_design *d, size_t t, const char **out)
{
    *out = NULL;
    if (d->term[t].factor_count == 0 || d->term[t].number != QX_NO_COLUMN) {
        return QX_OK;
    }
    for (size_t s = 0; s < t && *out == NULL; s++) {
        bool one = false;
        if (!is_covariate(&d->term[s])) {
            continue;
        }
        QX_TRY(one_value_each(cx, d->frame, &d->term[t], d->term[s].number, &one));
        *out = one ? d->term[s].name : NULL;
    }
    return QX_OK;
}

static qx_status
note_lost(qx_ctx *cx, const qx_frame *frame, const qx_term *term, size_t columns)
{
    bool empty = false;
    if (term->factor_count > 1 && term->number == QX_NO_COLUMN) {
        QX_TRY(has_empty_cell(cx, frame, term, &empty));
    }
    return empty ? qx_note(cx,
                           "%s: the data show none of its %zu degrees of freedom, since "
                           "some combinations have no data. Means over such a "
                           "combination are not given.",
                           term->name,
                           columns)
                 : qx_note(cx,
                           "%s cannot be told apart from the terms before it (it is "
                           "confounded with them): it is not in the model.",
                           term->name);
}

static qx_status
note_aliased(qx_ctx *cx, const qx_design *d, size_t t, size_t columns, size_t kept)
{
    const qx_term *term = &d->term[t];
    const char *covariate;
    if (columns == 0) {
        return qx_note(cx,
                       "%s has one level only in these data: it is not in the model.",
                       term->name);
    }
    if (is_covariate(term)) {
        return note_covariate(cx, d, t);
    }
    if (of_units_alone(d->frame, term)) {
        return kept > 0 ? QX_OK /* smaller units repeat what the larger ones said */
                        : note_lost(cx, d->frame, term, columns);
    }
    QX_TRY(covariate_of_factors(cx, d, t, &covariate));
    if (covariate != NULL) {
        return qx_note(cx,
                       "%s and %s cannot be told apart: %s has one value for each level "
                       "of %s. How the values go with the two together is in the model, "
                       "but no level is compared with another free of %s. Without %s in "
                       "the protocol the levels can be compared; what it does is then "
                       "part of their differences.",
                       term->name,
                       covariate,
                       covariate,
                       term->name,
                       covariate,
                       covariate);
    }
    if (kept == 0) {
        return note_lost(cx, d->frame, term, columns);
    }
    return qx_note(cx,
                   "%s: the data show %zu of its %zu degrees of freedom, since some "
                   "combinations have no data. Only what they allow is reported.",
                   term->name,
                   kept,
                   columns);
}

qx_status qx_design_note_aliased(
    qx_ctx *cx, const qx_design *design, size_t term, size_t columns, size_t kept)
{
    qx_status status;
    if (kept == columns && columns > 0) {
        return QX_OK;
    }
    QX_SCRATCH(cx, status, note_aliased(cx, design, term, columns, kept));
    return status;
}
