#include <math.h>
#include <string.h>

#include "base/decimal.h"
#include "findings/frame_builder.h"
#include "numeric/sums.h"

/* A factor from a label column: the protocol's levels that occur, in its order. */
static qx_status add_levels(qx_frame_builder *b,
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

/* Seasons that are numbers carry trends, as the levels of treatments do; NULL: some are
 * not. */
static qx_status season_scores(const qx_frame_builder *b, const double **out)
{
    const qx_seasons *s = &b->protocol->seasons;
    double *score;
    *out = NULL;
    QX_NEW_IN(b->cx, b->arena, score, s->level_count);
    for (size_t l = 0; l < s->level_count; l++) {
        if (!qx_decimal_read(s->level[l], strlen(s->level[l]), '.', &score[l], NULL)) {
            return QX_OK;
        }
    }
    *out = score;
    return QX_OK;
}

qx_status qx_frame_add_treatments(qx_frame_builder *b, qx_variate_frame *out)
{
    const qx_protocol *p = b->protocol;
    const qx_seasons *s = &p->seasons;
    out->season = QX_NO_COLUMN;
    if (s->level_count > 1) {
        const qx_column *column = qx_table_find(b->table, s->column);
        if (column != NULL && column->kind == QX_COLUMN_LABEL) {
            const double *score;
            QX_TRY(season_scores(b, &score));
            QX_TRY(add_levels(
                b, "season", column, s->level_count, s->level, score, &out->season));
        }
    }
    QX_NEW_IN(b->cx, b->arena, out->treatment, p->treatment_count);
    for (size_t t = 0; t < p->treatment_count; t++) {
        const qx_treatment *treatment = &p->treatment[t];
        const qx_column *column = qx_table_find(b->table, treatment->name);
        out->treatment[t] = QX_NO_COLUMN;
        if (!qx_frame_applies(b, treatment->on)) {
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
static qx_status centred(const qx_frame_builder *b,
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

qx_status qx_frame_add_covariates(qx_frame_builder *b, qx_variate_frame *out)
{
    const qx_protocol *p = b->protocol;
    QX_NEW_IN(b->cx, b->arena, out->covariate, p->covariate_count);
    QX_NEW_IN(b->cx, b->arena, out->centre, p->covariate_count);
    QX_NEW_IN(b->cx, b->arena, out->scale, p->covariate_count);
    for (size_t c = 0; c < p->covariate_count; c++) {
        const qx_column *column = qx_table_find(b->table, p->covariate[c].name);
        out->covariate[c] = QX_NO_COLUMN;
        if (column == NULL || column->kind != QX_COLUMN_NUMBER ||
            !qx_frame_applies(b, p->covariate[c].on)) {
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
