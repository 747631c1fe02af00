#include "findings/model_told.h"

#include <string.h>

/* Interactions below this p are told in front of the main effects. */
#define INTERACTION_ALPHA 0.05

qx_status qx_names_of_model(qx_work *w)
{
    const qx_choice *c = &w->choice;
    const char **fixed, **random;
    size_t kept = 0;
    QX_NEW_IN(w->cx, w->arena, fixed, c->term_count);
    QX_NEW_IN(w->cx, w->arena, random, c->random_count);
    for (size_t t = 0; t < c->term_count; t++) {
        if (w->design->term_df[t] > 0) {
            fixed[kept++] = c->term[t].name;
        }
    }
    for (size_t i = 0; i < c->random_count; i++) {
        random[i] = c->random[i].name;
    }
    w->result->fixed = fixed;
    w->result->fixed_count = kept;
    w->result->random = random;
    w->result->random_count = c->random_count;
    return QX_OK;
}

static bool shown(const qx_test_line *t)
{
    return t->statistic != NULL &&
           (t->method_small_sample != NULL ? t->p_small_sample : t->p) <
               INTERACTION_ALPHA;
}

/* "product:dose (factorial part)" says what "product:dose" has said, if that is shown. */
static bool told_before(const qx_result *r, size_t i)
{
    const char *part = strstr(r->test[i].term, " (");
    for (size_t k = 0; part != NULL && k < i; k++) {
        const size_t length = (size_t)(part - r->test[i].term);
        if (strncmp(r->test[k].term, r->test[i].term, length) == 0 &&
            r->test[k].term[length] == '\0' && shown(&r->test[k])) {
            return true;
        }
    }
    return false;
}

/* The model's term that a test is about, or NULL. */
static const qx_term *term_of(const qx_work *w, const char *test, bool *treatments)
{
    const char *part = strstr(test, " (");
    const size_t length = part == NULL ? strlen(test) : (size_t)(part - test);
    for (size_t t = 0; t < w->choice.term_count; t++) {
        const qx_term *term = &w->choice.term[t];
        if (strlen(term->name) == length && strncmp(term->name, test, length) == 0) {
            *treatments = qx_choice_is_treatment_term(&w->choice, t);
            return term;
        }
    }
    return NULL;
}

/* "pinch, angle and season" */
static const char *listed(const qx_work *w, const qx_term *term)
{
    const char *text = "";
    for (size_t i = 0; i < term->factor_count && text != NULL; i++) {
        text = qx_arena_printf(w->temporary,
                               "%s%s%s",
                               text,
                               i == 0                        ? ""
                               : i + 1 == term->factor_count ? " and "
                                                             : ", ",
                               w->data.frame.factor[term->factor[i]].name);
    }
    return text;
}

static qx_status warn_of_term(qx_work *w, const qx_term *term, bool treatments)
{
    const char *factors = listed(w, term);
    if (factors == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for a sentence");
    }
    if (term->number != QX_NO_COLUMN && term->factor_count > 0) {
        const char *covariate = w->data.frame.number[term->number].name;
        return qx_note(
            w->cx,
            "%s acts differently at the levels of %s: they are compared at the "
            "mean of %s, and far from it they may compare otherwise.",
            covariate,
            factors,
            covariate);
    }
    if (!treatments || term->factor_count < 2) {
        return QX_OK; /* blocks inside sites are places, not treatments */
    }
    return qx_note(w->cx,
                   "%s act together: the effect of each depends on the level of the "
                   "%s. Read the comparisons inside each level; the averages over all "
                   "levels do not tell the whole story.",
                   factors,
                   term->factor_count == 2 ? "other" : "others");
}

qx_status qx_warn_of_interactions(qx_work *w)
{
    static const char against[] = QX_AGAINST_REST ":";
    for (size_t i = 0; i < w->result->test_count; i++) {
        const qx_test_line *t = &w->result->test[i];
        bool treatments = false;
        if (!shown(t) || told_before(w->result, i)) {
            continue;
        }
        if (strncmp(t->term, against, sizeof against - 1) == 0) {
            QX_TRY(qx_note(w->cx,
                           "How the control compares with the rest depends on %s.",
                           t->term + sizeof against - 1));
            continue;
        }
        const qx_term *term = term_of(w, t->term, &treatments);
        if (term != NULL) {
            QX_TRY(warn_of_term(w, term, treatments));
        }
    }
    return QX_OK;
}
