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

qx_status qx_warn_of_interactions(qx_work *w)
{
    for (size_t i = 0; i < w->result->test_count; i++) {
        const qx_test_line *t = &w->result->test[i];
        if (strchr(t->term, ':') == NULL || !shown(t) || told_before(w->result, i)) {
            continue;
        }
        QX_TRY(
            qx_note(w->cx,
                    "%s act together: the effect of each depends on the level of the "
                    "others. Read the comparisons inside each level; the averages over "
                    "all levels do not tell the whole story.",
                    t->term));
    }
    return QX_OK;
}
