#include "findings/counts_told.h"

#include <math.h>
#include <stdio.h>

#include "base/decimal.h"

/* Quantile residuals draw a place inside each step; always the same one. */
#define RESIDUAL_SEED    20240302u
#define RESIDUALS_LISTED 5

static const char *own_unit(const qx_work *w)
{
    return w->protocol->unit[w->variate->on].name;
}

/* What the family is called in a sentence. */
static const char *family_words(const qx_glmm *fit)
{
    static const struct {
        const qx_family *family;
        const char *words;
    } list[] = {
        {&qx_family_poisson, "counts that chance makes (Poisson)"},
        {&qx_family_binomial, "shares that chance makes (binomial)"},
        {&qx_family_negbin, "counts with a spread of their own (negative binomial)"},
        {&qx_family_betabin, "shares with a spread of their own (beta-binomial)"}};
    for (size_t i = 0; i < QX_COUNT(list); i++) {
        if (fit->family == list[i].family) {
            return list[i].words;
        }
    }
    return fit->family->title;
}

static qx_status add_check(qx_work *w, const qx_family_choice *choice)
{
    qx_check_line *line;
    QX_NEW_IN(w->cx, w->arena, line, 1);
    *line = (qx_check_line){.check = "extra variation",
                            .value = choice->lrt,
                            .p = choice->p,
                            .num_df = 1.0,
                            .den_df = NAN,
                            .lower = NAN,
                            .upper = NAN};
    w->result->check = line;
    w->result->check_count = 1;
    return QX_OK;
}

/* "P = 0.03" */
static const char *p_text(double p, char out[QX_NUMBER_ROOM + 8])
{
    char number[QX_NUMBER_ROOM];
    (void)snprintf(out,
                   QX_NUMBER_ROOM + 8,
                   p < 0.001 ? "P < %s" : "P = %s",
                   p < 0.001 ? "0.001" : qx_number_spoken(p, 2, number));
    return out;
}

/* Extra variation is allowed for long before it is shown: the words keep the two apart. */
#define SHOWN_ALPHA 0.05

static const char *varies(double p)
{
    return p < SHOWN_ALPHA ? "varies" : "may vary";
}

static const char *unshown(double p)
{
    return p < SHOWN_ALPHA ? "" : ", not shown, but to be allowed for";
}

static qx_status
tell_tested(qx_work *w, const qx_family_choice *choice, const qx_glmm *fit)
{
    char p[QX_NUMBER_ROOM + 8];
    QX_TRY(add_check(w, choice));
    if (choice->extra == QX_EXTRA_MODELLED) {
        return qx_note(w->cx,
                       "%s %s more from one %s to the next than chance alone would "
                       "make it (%s%s): it is analysed as %s, which estimates that extra "
                       "variation.",
                       w->variate->label,
                       varies(choice->p),
                       own_unit(w),
                       p_text(choice->p, p),
                       unshown(choice->p),
                       family_words(fit));
    }
    if (choice->extra == QX_EXTRA_UNIT) {
        return qx_note(w->cx,
                       "%s %s more from one %s to the next than chance alone would "
                       "make it (%s%s): each has a random effect of its own.",
                       w->variate->label,
                       varies(choice->p),
                       own_unit(w),
                       p_text(choice->p, p),
                       unshown(choice->p));
    }
    return qx_note(w->cx,
                   "%s varies from one %s to the next about as much as chance makes it "
                   "(%s): it is analysed as %s.",
                   w->variate->label,
                   own_unit(w),
                   p_text(choice->p, p),
                   family_words(fit));
}

static qx_status tell_fixed(qx_work *w, const qx_glmm *fit)
{
    char number[QX_NUMBER_ROOM];
    switch (fit->extra) {
    case QX_EXTRA_SCALED:
        return qx_note(
            w->cx,
            "%s varies %s times as much as chance alone would make it; standard "
            "errors and F allow for it (scaled).",
            w->variate->label,
            qx_number_spoken(fit->dispersion, 3, number));
    case QX_EXTRA_MODELLED:
        return qx_note(w->cx,
                       "%s is analysed as %s, as the protocol asks.",
                       w->variate->label,
                       family_words(fit));
    case QX_EXTRA_UNIT:
        return qx_note(w->cx,
                       w->variate->extra_variation == QX_VARIATION_UNIT
                           ? "Each %s has a random effect of its own, as the protocol "
                             "asks."
                           : "Each %s has a random effect of its own: the model that the "
                             "protocol asks for cannot be fitted to these data.",
                       own_unit(w));
    case QX_EXTRA_NONE:
        break;
    }
    return QX_OK;
}

qx_status
qx_counts_tell_family(qx_work *w, const qx_family_choice *choice, const qx_glmm *fit)
{
    QX_TRY(choice->tested ? tell_tested(w, choice, fit) : tell_fixed(w, fit));
    if (fit->m == 0) {
        return QX_OK;
    }
    return qx_note(w->cx,
                   "Means of %s are what is seen on average over many units. A single "
                   "typical unit (typical) differs a little, since %s.",
                   w->variate->label,
                   w->variate->kind == QX_PROPORTION
                       ? "shares cannot go below nought or above all"
                       : "the few units with many weigh more in an average");
}

/* Sums of one level: how many, and of how many (counts: 0). */
static void
sum_level(const qx_work *w, size_t factor, size_t level, double *k, double *of)
{
    const uint32_t *code = w->data.frame.factor[factor].code;
    *k = *of = 0.0;
    for (size_t i = 0; i < w->data.n; i++) {
        if (code[i] == level) {
            *k += w->data.k[i];
            *of += w->data.size == NULL ? 0.0 : w->data.size[i];
        }
    }
}

static const char *
joined(qx_work *w, const char *text, const char *factor, const char *level)
{
    return qx_arena_printf(
        w->arena, "%s%s%s %s", text, text[0] == '\0' ? "" : ", ", factor, level);
}

qx_status qx_counts_tell_separation(qx_work *w)
{
    const char *none = "", *all = "";
    for (size_t t = 0; t < w->choice.term_count; t++) {
        const qx_term *term = &w->choice.term[t];
        if (!qx_choice_is_treatment_term(&w->choice, t) || term->factor_count != 1) {
            continue;
        }
        const qx_factor *f = &w->data.frame.factor[term->factor[0]];
        for (size_t l = 0; l < f->level_count && none != NULL && all != NULL; l++) {
            double k, of;
            sum_level(w, term->factor[0], l, &k, &of);
            none = k == 0.0 ? joined(w, none, f->name, f->level[l]) : none;
            all = of > 0.0 && k == of ? joined(w, all, f->name, f->level[l]) : all;
        }
    }
    const bool share = w->variate->kind == QX_PROPORTION;
    if (none == NULL || all == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for a note");
    }
    return qx_note(
        w->cx,
        "%s %s throughout some of the treatments%s%s%s%s. The usual "
        "estimates would have no end there: they are kept finite by a penalty (Firth)%s.",
        w->variate->label,
        share ? "has nought or all" : "is nought",
        none[0] == '\0' ? "" : "; none with ",
        none,
        all[0] == '\0' ? "" : "; all with ",
        all,
        share ? ", and shares of exactly 0 or 1 are drawn in a little" : "");
}

/* Rows by size of their residual, the largest few. */
static size_t
largest(size_t n, const double residual[], size_t list[RESIDUALS_LISTED + 1])
{
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        if (isnan(residual[i])) {
            continue;
        }
        size_t at = count < RESIDUALS_LISTED ? count++ : RESIDUALS_LISTED;
        while (at > 0 && fabs(residual[i]) > fabs(residual[list[at - 1]])) {
            list[at] = list[at - 1];
            at--;
        }
        list[at] = i;
    }
    return count;
}

static qx_status
list_residuals(qx_work *w, const double quantile[], const double pearson[])
{
    size_t list[RESIDUALS_LISTED + 1] = {0};
    const size_t count = largest(w->data.n, quantile, list);
    qx_residual_line *line;
    QX_NEW_IN(w->cx, w->arena, line, count);
    for (size_t k = 0; k < count; k++) {
        line[k] = (qx_residual_line){
            w->data.row[list[k]], quantile[list[k]], pearson[list[k]], NAN, NAN};
    }
    w->result->residual = line;
    w->result->residual_count = count;
    return QX_OK;
}

static qx_status points(qx_work *w, const qx_glmm *fit)
{
    double *quantile, *pearson;
    qx_point *point;
    QX_NEW(w->cx, quantile, w->data.n);
    QX_NEW(w->cx, pearson, w->data.n);
    QX_NEW_IN(w->cx, w->arena, point, w->data.n);
    QX_TRY(qx_glmm_residuals(w->cx, fit, QX_RESIDUAL_QUANTILE, RESIDUAL_SEED, quantile));
    QX_TRY(qx_glmm_residuals(w->cx, fit, QX_RESIDUAL_PEARSON, 0, pearson));
    for (size_t i = 0; i < w->data.n; i++) {
        point[i] = (qx_point){
            w->data.row[i], w->data.raw[i], fit->fitted[i], quantile[i], quantile[i]};
    }
    w->result->point = point;
    w->result->point_count = w->data.n;
    return list_residuals(w, quantile, pearson);
}

qx_status qx_counts_points(qx_work *w, const qx_glmm *fit)
{
    qx_status status;
    QX_SCRATCH(w->cx, status, points(w, fit));
    return status;
}
