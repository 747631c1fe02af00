#include "findings/frame_of.h"

#include <math.h>
#include <string.h>

#include "findings/transform.h"
#include "findings/unit_names.h"
#include "numeric/sums.h"
#include "trial/identity.h"

/* Things that rows may stand for in all (`times`). */
#define THINGS_MOST 10000000

/* What the steps below share while one frame is made. */
typedef struct builder {
    qx_ctx *cx;
    qx_arena *arena;
    const qx_protocol *protocol;
    const qx_table *table;
    const qx_variate *variate;
    bool *keep;     /* table rows that are complete */
    size_t *source; /* n: table row of each frame row */
    size_t n;
    qx_factor *factor;
    size_t factor_count;
    qx_number *number;
    size_t number_count;
} builder;

/* The share k/n or the value itself; NAN when missing. */
static double response_at(const qx_column *value, const qx_column *of, size_t row)
{
    const double x = value->value[row];
    return of == NULL ? x : of->value[row] > 0.0 ? x / of->value[row] : (double)NAN;
}

static bool number_missing(const qx_column *column, size_t row)
{
    return column != NULL && column->kind == QX_COLUMN_NUMBER &&
           !isfinite(column->value[row]);
}

static bool label_missing(const qx_column *column, size_t row)
{
    return column != NULL && column->kind == QX_COLUMN_LABEL &&
           column->code[row] == QX_MISSING_CODE;
}

/* Is `unit` the variate's own unit or above it? */
static bool applies(const builder *b, size_t unit)
{
    return qx_unit_reaches(b->protocol, unit, b->variate->on);
}

/* Does a treatment, season or covariate lack its value in this row? */
static bool factor_missing(const builder *b, size_t row)
{
    const qx_protocol *p = b->protocol;
    for (size_t t = 0; t < p->treatment_count; t++) {
        if (applies(b, p->treatment[t].on) &&
            label_missing(qx_table_find(b->table, p->treatment[t].name), row)) {
            return true;
        }
    }
    for (size_t c = 0; c < p->covariate_count; c++) {
        if (applies(b, p->covariate[c].on) &&
            number_missing(qx_table_find(b->table, p->covariate[c].name), row)) {
            return true;
        }
    }
    return p->seasons.level_count > 0 &&
           label_missing(qx_table_find(b->table, p->seasons.column), row);
}

/* Is this a row about a thing of the variate's own unit? With trees, limbs and shoots in one
 * file, a row about a limb is not a shoot whose length is missing: it has no shoot label; and
 * a row about a shoot is not a tree without a value: it has the label of something smaller.
 * Where a unit has no label column, nothing speaks against it. */
static bool belongs(const builder *b, size_t row)
{
    const qx_protocol *p = b->protocol;
    const size_t own = b->variate->on;
    for (size_t u = 0; u < p->unit_count; u++) {
        const qx_column *column = qx_table_find(b->table, p->unit[u].name);
        if (column == NULL || column->kind != QX_COLUMN_LABEL ||
            !qx_unit_reaches(p, own, u)) {
            continue;
        }
        if (label_missing(column, row) == (u == own)) {
            return false;
        }
    }
    return true;
}

/* Marks complete rows; gives the number of incomplete ones that belong to this variate. */
static qx_status mark_complete(builder *b, size_t *missing)
{
    const qx_column *value = qx_table_find(b->table, b->variate->name);
    const qx_column *of =
        b->variate->of[0] != '\0' ? qx_table_find(b->table, b->variate->of) : NULL;
    QX_NEW_IN(b->cx, b->arena, b->keep, b->table->rows);
    *missing = 0;
    if (value == NULL || value->kind != QX_COLUMN_NUMBER) {
        *missing = b->table->rows;
        return QX_OK;
    }
    for (size_t row = 0; row < b->table->rows; row++) {
        b->keep[row] =
            isfinite(response_at(value, of, row)) != 0 && !factor_missing(b, row);
        *missing += !b->keep[row] && belongs(b, row) ? 1 : 0;
    }
    return QX_OK;
}

/* Rows whose unit cannot be told are left out too. */
static void drop_unknown_units(builder *b, const qx_identity identity[], size_t *missing)
{
    for (size_t u = 0; u < b->protocol->unit_count; u++) {
        if (identity[u].unit == QX_NONE) {
            continue;
        }
        for (size_t row = 0; row < b->table->rows; row++) {
            if (b->keep[row] && identity[u].code[row] == QX_MISSING_CODE) {
                b->keep[row] = false;
                (*missing)++;
            }
        }
    }
}

/* How often a row stands in the frame: 1, or what the column `times` says. */
static double times_of(const qx_column *times, size_t row)
{
    if (times == NULL || times->kind != QX_COLUMN_NUMBER) {
        return 1.0;
    }
    const double x = times->value[row];
    return isfinite(x) && x >= 1.0 ? floor(x) : 0.0;
}

/* Rows of the table, each as often as it stands for a thing. */
static qx_status list_rows(builder *b, size_t *missing)
{
    const qx_column *times =
        b->variate->times[0] != '\0' ? qx_table_find(b->table, b->variate->times) : NULL;
    double n = 0.0;
    for (size_t row = 0; row < b->table->rows; row++) {
        const double count = b->keep[row] ? times_of(times, row) : 0.0;
        *missing += b->keep[row] && count < 1.0 ? 1 : 0;
        n += count;
    }
    if (n > (double)THINGS_MOST) {
        return qx_fail(b->cx,
                       QX_E_INPUT,
                       "the column %s adds up to %.0f things of %s; expected at most %d",
                       b->variate->times,
                       n,
                       b->variate->name,
                       THINGS_MOST);
    }
    QX_NEW_IN(b->cx, b->arena, b->source, (size_t)n);
    b->n = 0;
    for (size_t row = 0; row < b->table->rows; row++) {
        for (double k = b->keep[row] ? times_of(times, row) : 0.0; k > 0.0; k--) {
            b->source[b->n++] = row;
        }
    }
    return QX_OK;
}

/* A factor from a label column: the protocol's levels that occur, in its order. */
static qx_status add_levels(builder *b,
                            const char *name,
                            const qx_column *column,
                            size_t level_count,
                            const char *const level[],
                            const double *score,
                            size_t *out)
{
    uint32_t *to;   /* column level -> protocol level */
    uint32_t *rank; /* protocol level -> frame level */
    uint32_t *code;
    const char **text;
    double *number;
    QX_NEW(b->cx, to, column->level_count);
    QX_NEW(b->cx, rank, level_count);
    QX_NEW_IN(b->cx, b->arena, code, b->n);
    QX_NEW_IN(b->cx, b->arena, text, level_count);
    QX_NEW_IN(b->cx, b->arena, number, level_count);
    for (size_t i = 0; i < column->level_count; i++) {
        to[i] = (uint32_t)qx_level_find(
            level_count, level, column->level[i], strlen(column->level[i]));
    }
    for (size_t i = 0; i < b->n; i++) {
        const uint32_t at = to[column->code[b->source[i]]];
        if (at >= level_count) {
            return qx_fail(b->cx,
                           QX_E_INPUT,
                           "row %zu: \"%s\" is not a level of %s; expected one of the "
                           "protocol's levels",
                           b->source[i] + 1,
                           column->level[column->code[b->source[i]]],
                           name);
        }
        rank[at] = 1;
        code[i] = at;
    }
    uint32_t used = 0;
    for (size_t l = 0; l < level_count; l++) {
        if (rank[l] == 0) {
            QX_TRY(qx_note(
                b->cx, "%s %s has no data: it is not in the model.", name, level[l]));
            continue;
        }
        text[used] = level[l];
        number[used] = score != NULL ? score[l] : (double)NAN;
        rank[l] = used++;
    }
    for (size_t i = 0; i < b->n; i++) {
        code[i] = rank[code[i]];
    }
    *out = b->factor_count;
    b->factor[b->factor_count++] = (qx_factor){.name = name,
                                               .level_count = used,
                                               .level = text,
                                               .score = score != NULL ? number : NULL,
                                               .code = code};
    return QX_OK;
}

static qx_status add_treatments(builder *b, qx_variate_frame *out)
{
    const qx_protocol *p = b->protocol;
    const qx_seasons *s = &p->seasons;
    out->season = QX_NO_COLUMN;
    if (s->level_count > 1) {
        const qx_column *column = qx_table_find(b->table, s->column);
        if (column != NULL && column->kind == QX_COLUMN_LABEL) {
            QX_TRY(add_levels(
                b, "season", column, s->level_count, s->level, NULL, &out->season));
        }
    }
    QX_NEW_IN(b->cx, b->arena, out->treatment, p->treatment_count);
    for (size_t t = 0; t < p->treatment_count; t++) {
        const qx_treatment *treatment = &p->treatment[t];
        const qx_column *column = qx_table_find(b->table, treatment->name);
        out->treatment[t] = QX_NO_COLUMN;
        if (!applies(b, treatment->on)) {
            QX_TRY(qx_note(b->cx,
                           "%s is measured on the %s; %s was given to each %s inside it, "
                           "so it has no part in this analysis.",
                           b->variate->name,
                           p->unit[b->variate->on].name,
                           treatment->name,
                           p->unit[treatment->on].name));
        } else if (column != NULL && column->kind == QX_COLUMN_LABEL) {
            QX_TRY(add_levels(b,
                              treatment->name,
                              column,
                              treatment->level_count,
                              treatment->level,
                              treatment->score,
                              &out->treatment[t]));
        }
    }
    return QX_OK;
}

/* (x - centre) / scale: moved exactly by the first value, then by a power of two to sizes
 * of about 1. */
static qx_status centred(const builder *b,
                         const qx_column *column,
                         double value[],
                         double *centre,
                         double *scale)
{
    double *x;
    qx_decimal *exact;
    double most = 0.0;
    QX_NEW(b->cx, x, b->n);
    QX_NEW(b->cx, exact, b->n);
    for (size_t i = 0; i < b->n; i++) {
        x[i] = column->value[b->source[i]];
        exact[i] = column->exact[b->source[i]];
    }
    qx_shift_exactly(b->n, exact, x, value, centre);
    for (size_t i = 0; i < b->n; i++) {
        most = fmax(most, fabs(value[i]));
    }
    int power = 0;
    (void)frexp(most, &power);
    power = most > 0.0 && isfinite(most) ? power : 0;
    for (size_t i = 0; i < b->n; i++) {
        value[i] = ldexp(value[i], -power);
    }
    *scale = ldexp(1.0, power);
    return QX_OK;
}

static qx_status add_covariates(builder *b, qx_variate_frame *out)
{
    const qx_protocol *p = b->protocol;
    QX_NEW_IN(b->cx, b->arena, out->covariate, p->covariate_count);
    QX_NEW_IN(b->cx, b->arena, out->centre, p->covariate_count);
    QX_NEW_IN(b->cx, b->arena, out->scale, p->covariate_count);
    for (size_t c = 0; c < p->covariate_count; c++) {
        const qx_column *column = qx_table_find(b->table, p->covariate[c].name);
        out->covariate[c] = QX_NO_COLUMN;
        if (column == NULL || column->kind != QX_COLUMN_NUMBER ||
            !applies(b, p->covariate[c].on)) {
            continue;
        }
        double *value;
        QX_NEW_IN(b->cx, b->arena, value, b->n);
        QX_TRY(centred(b,
                       column,
                       value,
                       &out->centre[b->number_count],
                       &out->scale[b->number_count]));
        out->covariate[c] = b->number_count;
        b->number[b->number_count++] =
            (qx_number){.name = p->covariate[c].name, .value = value};
    }
    return QX_OK;
}

/* Codes 0 ... count-1 of the pairs (a, b), numbered in order of appearance. */
static qx_status pair_codes(qx_ctx *cx,
                            size_t n,
                            const uint32_t a[],
                            size_t a_count,
                            const uint32_t b[],
                            size_t b_count,
                            uint32_t code[],
                            size_t *count)
{
    uint32_t *seen;
    QX_NEW(cx, seen, a_count * b_count);
    *count = 0;
    for (size_t i = 0; i < n; i++) {
        uint32_t *at = &seen[a[i] * b_count + b[i]];
        if (*at == 0) {
            *at = (uint32_t)++ * count;
        }
        code[i] = *at - 1;
    }
    return QX_OK;
}

static qx_status add_unit(builder *b,
                          const qx_variate_frame *out,
                          size_t unit,
                          const qx_identity *identity,
                          qx_frame_unit list[],
                          size_t *listed)
{
    const char *path = b->protocol->unit[unit].path;
    uint32_t *code;
    QX_NEW_IN(b->cx, b->arena, code, b->n);
    for (size_t i = 0; i < b->n; i++) {
        code[i] = identity->code[b->source[i]];
    }
    uint32_t *compact; /* rows that were left out may have taken units with them */
    uint32_t *zero;
    QX_NEW_IN(b->cx, b->arena, compact, b->n);
    QX_NEW(b->cx, zero, b->n);
    size_t count;
    QX_TRY(pair_codes(b->cx, b->n, code, identity->count, zero, 1, compact, &count));
    const char *const *label = NULL;
    if (b->protocol->analysis.blocks_fixed) { /* their numbers are seen in coefficients */
        const qx_unit_codes codes = {unit, b->n, b->source, count, compact};
        QX_TRY(qx_unit_names(b->cx, b->arena, b->protocol, b->table, &codes, &label));
    }
    list[*listed] = (qx_frame_unit){unit, false, path, b->factor_count, count};
    (*listed)++;
    b->factor[b->factor_count++] =
        (qx_factor){.name = path, .level_count = count, .label = label, .code = compact};
    if (out->season == QX_NO_COLUMN) {
        return QX_OK;
    }
    const qx_factor *season = &b->factor[out->season];
    uint32_t *both;
    size_t both_count;
    QX_NEW_IN(b->cx, b->arena, both, b->n);
    QX_TRY(pair_codes(b->cx,
                      b->n,
                      compact,
                      count,
                      season->code,
                      season->level_count,
                      both,
                      &both_count));
    if (both_count == count) {
        return QX_OK; /* every unit is seen in one season only */
    }
    const char *by = qx_arena_printf(b->arena, "%s:season", path);
    if (by == NULL) {
        return qx_fail(b->cx, QX_E_NOMEM, "no memory for a unit's name");
    }
    list[*listed] = (qx_frame_unit){unit, true, by, b->factor_count, both_count};
    (*listed)++;
    b->factor[b->factor_count++] =
        (qx_factor){.name = by, .level_count = both_count, .code = both};
    return QX_OK;
}

static qx_status
add_units(builder *b, const qx_identity identity[], qx_variate_frame *out)
{
    const qx_protocol *p = b->protocol;
    qx_frame_unit *list;
    size_t listed = 0;
    QX_NEW_IN(b->cx, b->arena, list, 2 * p->unit_count);
    for (size_t k = 0; k < p->unit_count; k++) {
        const size_t unit = p->unit_order[k];
        if (identity[unit].unit == QX_NONE) {
            continue;
        }
        if (identity[unit].how != NULL) {
            QX_TRY(qx_note(b->cx, "%s", identity[unit].how));
        }
        QX_TRY(add_unit(b, out, unit, &identity[unit], list, &listed));
    }
    out->unit = list;
    out->unit_count = listed;
    return QX_OK;
}

/* The response on its scales; exact shift where it is analysed as it was typed. */
static qx_status add_response(builder *b, qx_variate_frame *out)
{
    const qx_variate *v = b->variate;
    const qx_column *value = qx_table_find(b->table, v->name);
    const qx_column *of = v->of[0] != '\0' ? qx_table_find(b->table, v->of) : NULL;
    double *raw, *scaled, *y;
    qx_decimal *exact;
    QX_NEW_IN(b->cx, b->arena, raw, b->n);
    QX_NEW_IN(b->cx, b->arena, scaled, b->n);
    QX_NEW_IN(b->cx, b->arena, y, b->n);
    QX_NEW(b->cx, exact, b->n);
    for (size_t i = 0; i < b->n; i++) {
        const size_t row = b->source[i];
        raw[i] = response_at(value, of, row);
        scaled[i] = qx_transform_apply(v->transform, raw[i]);
        if (isnan(scaled[i])) {
            out->bad_row = out->bad_rows++ == 0 ? row + 1 : out->bad_row;
        }
        exact[i] = value->exact[row];
        if (of != NULL || v->transform != QX_TRANSFORM_NONE) {
            exact[i].scale = QX_DECIMAL_INEXACT;
        }
    }
    qx_shift_exactly(b->n, exact, scaled, y, &out->shift);
    out->raw = raw;
    out->scaled = scaled;
    out->y = y;
    return QX_OK;
}

static qx_status build(builder *b, size_t variate, qx_variate_frame *out)
{
    const qx_protocol *p = b->protocol;
    qx_identity *identity;
    QX_TRY(mark_complete(b, &out->missing));
    QX_NEW(b->cx, identity, p->unit_count);
    QX_TRY(qx_identify(b->cx, b->arena, p, b->table, variate, b->keep, identity));
    drop_unknown_units(b, identity, &out->missing);
    QX_TRY(list_rows(b, &out->missing));
    QX_NEW_IN(b->cx, b->arena, b->factor, 1 + p->treatment_count + 2 * p->unit_count);
    QX_NEW_IN(b->cx, b->arena, b->number, p->covariate_count);
    size_t *row;
    QX_NEW_IN(b->cx, b->arena, row, b->n);
    for (size_t i = 0; i < b->n; i++) {
        row[i] = b->source[i] + 1;
    }
    out->row = row;
    out->n = b->n;
    if (b->n == 0) {
        return QX_OK;
    }
    QX_TRY(add_treatments(b, out));
    QX_TRY(add_covariates(b, out));
    QX_TRY(add_units(b, identity, out));
    return add_response(b, out);
}

qx_status qx_frame_of(qx_ctx *cx,
                      qx_arena *arena,
                      const qx_protocol *protocol,
                      const qx_table *table,
                      size_t variate,
                      qx_variate_frame *out)
{
    builder b = {.cx = cx,
                 .arena = arena,
                 .protocol = protocol,
                 .table = table,
                 .variate = &protocol->variate[variate]};
    qx_status status;
    memset(out, 0, sizeof *out);
    out->season = QX_NO_COLUMN;
    QX_SCRATCH(cx, status, build(&b, variate, out));
    out->frame = (qx_frame){.n = b.n,
                            .factor_count = b.factor_count,
                            .factor = b.factor,
                            .number_count = b.number_count,
                            .number = b.number};
    return status;
}
