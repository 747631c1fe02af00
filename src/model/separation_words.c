#include "model/separation_inner.h"

#include <string.h>

#include "base/text.h"

#define CELLS_NAMED_MOST 4

typedef struct named {
    const qx_term *term;
    size_t row; /* one of its rows */
} named;

typedef struct naming {
    const qx_design *design;
    const qx_cell_numbers *numbers;
    named cell[CELLS_NAMED_MOST];
    size_t count; /* may be beyond CELLS_NAMED_MOST: that many were found */
    const char *text;
} naming;

static size_t cell_code(const qx_frame *frame, const qx_term *term, size_t row)
{
    size_t code = 0;
    for (size_t f = 0; f < term->factor_count; f++) {
        const qx_factor *factor = &frame->factor[term->factor[f]];
        code = code * factor->level_count + factor->code[row];
    }
    return code;
}

static size_t cell_count(const qx_frame *frame, const qx_term *term)
{
    size_t count = 1;
    for (size_t f = 0; f < term->factor_count; f++) {
        count *= frame->factor[term->factor[f]].level_count;
    }
    return count;
}

static bool has_factor(const qx_term *term, size_t factor)
{
    for (size_t f = 0; f < term->factor_count; f++) {
        if (term->factor[f] == factor) {
            return true;
        }
    }
    return false;
}

/* Does a cell that was named hold this row, in factors that the term has too? */
static bool already_named(const naming *n, const qx_term *term, size_t row)
{
    for (size_t k = 0; k < n->count && k < CELLS_NAMED_MOST; k++) {
        const named *c = &n->cell[k];
        bool inside = true;
        for (size_t f = 0; f < c->term->factor_count && inside; f++) {
            const size_t factor = c->term->factor[f];
            const uint32_t *code = n->design->frame->factor[factor].code;
            inside = has_factor(term, factor) && code[c->row] == code[row];
        }
        if (inside) {
            return true;
        }
    }
    return false;
}

/* The class that holds all of a cell, or K. */
static size_t only_class(const qx_cell_numbers *numbers, const double sum[])
{
    size_t only = numbers->K, filled = 0;
    if (numbers->words == QX_CELLS_OF_COUNTS) {
        return sum[1] > 0.0 && sum[0] <= 0.0 ? 0 : numbers->K;
    }
    for (size_t k = 0; k < numbers->K; k++) {
        if (sum[k] > 0.0) {
            only = k;
            filled++;
        }
    }
    return filled == 1 ? only : numbers->K;
}

static const char *
how(qx_arena *arena, const qx_cell_numbers *numbers, const double sum[], size_t only)
{
    switch (numbers->words) {
    case QX_CELLS_OF_SHARES:
        return only == 1 ? qx_arena_printf(arena, "all %.0f of %.0f", sum[1], sum[1])
                         : qx_arena_printf(arena, "none of %.0f", sum[0]);
    case QX_CELLS_OF_COUNTS:
        return qx_arena_printf(arena, "none in %.0f", sum[1]);
    case QX_CELLS_OF_CLASSES:
        break;
    }
    return qx_arena_printf(arena, "all %.0f %s", sum[only], numbers->name[only]);
}

static const char *
cell_name(qx_arena *arena, const qx_frame *frame, const qx_term *term, size_t row)
{
    const char *text = "";
    for (size_t f = 0; f < term->factor_count && text != NULL; f++) {
        const qx_factor *factor = &frame->factor[term->factor[f]];
        const uint32_t code = factor->code[row];
        text = factor->level != NULL ? qx_arena_printf(arena,
                                                       "%s%s%s=%s",
                                                       text,
                                                       f > 0 ? ":" : "",
                                                       factor->name,
                                                       factor->level[code])
                                     : qx_arena_printf(arena,
                                                       "%s%s%s %u",
                                                       text,
                                                       f > 0 ? ":" : "",
                                                       factor->name,
                                                       (unsigned)code + 1);
    }
    return text;
}

static qx_status name_cell(qx_ctx *cx,
                           qx_arena *arena,
                           naming *n,
                           const qx_term *term,
                           size_t row,
                           const double sum[])
{
    const size_t only = only_class(n->numbers, sum);
    if (only == n->numbers->K || already_named(n, term, row)) {
        return QX_OK;
    }
    if (n->count < CELLS_NAMED_MOST) {
        n->cell[n->count] = (named){term, row};
        const char *cell = cell_name(arena, n->design->frame, term, row);
        const char *told = how(arena, n->numbers, sum, only);
        n->text = cell == NULL || told == NULL ? NULL
                                               : qx_arena_printf(arena,
                                                                 "%s%s%s (%s)",
                                                                 n->text,
                                                                 n->count > 0 ? ", " : "",
                                                                 cell,
                                                                 told);
    } else if (n->count == CELLS_NAMED_MOST) {
        n->text = qx_arena_printf(arena, "%s and others", n->text);
    }
    n->count++;
    return n->text == NULL ? qx_fail(cx, QX_E_NOMEM, "no memory for words") : QX_OK;
}

static qx_status name_term(qx_ctx *cx, qx_arena *arena, naming *n, const qx_term *term)
{
    const qx_frame *frame = n->design->frame;
    const size_t cells = cell_count(frame, term), K = n->numbers->K;
    double *sum;
    size_t *row;
    QX_NEW(cx, sum, cells * K);
    QX_NEW(cx, row, cells);
    for (size_t i = 0; i < frame->n; i++) {
        const size_t c = cell_code(frame, term, i);
        row[c] = i;
        for (size_t k = 0; k < K; k++) {
            sum[c * K + k] += n->numbers->number[i * K + k];
        }
    }
    for (size_t c = 0; c < cells; c++) {
        QX_TRY(name_cell(cx, arena, n, term, row[c], sum + c * K));
    }
    return QX_OK;
}

static qx_status name_all(qx_ctx *cx, qx_arena *arena, naming *n)
{
    for (size_t size = 1; size <= QX_TERM_FACTORS_MOST; size++) {
        for (size_t t = 0; t < n->design->term_count; t++) {
            const qx_term *term = &n->design->term[t];
            if (term->factor_count == size && term->number == QX_NO_COLUMN) {
                qx_status status;
                QX_SCRATCH(cx, status, name_term(cx, arena, n, term));
                QX_TRY(status);
            }
        }
    }
    return QX_OK;
}

qx_status qx_separation_words(qx_ctx *cx,
                              qx_arena *arena,
                              const qx_design *design,
                              const qx_cell_numbers *numbers,
                              const char **out)
{
    naming n = {.design = design, .numbers = numbers, .text = ""};
    QX_TRY(name_all(cx, arena, &n));
    *out = n.count == 0 ? "a combination of terms" : n.text;
    return QX_OK;
}

const char *qx_separation_told(qx_arena *arena, const char *words)
{
    return qx_arena_printf(
        arena,
        "The answers are told apart completely by %s: the most likely effect would be "
        "infinite. A penalised likelihood (Firth 1993) keeps estimates finite; tests and "
        "intervals are those of the penalised likelihood.",
        words);
}

const char *qx_separation_sentence(qx_arena *arena, const qx_separation *separation)
{
    return qx_separation_told(arena, separation->words);
}
