/* How it is analysed. Words stand in the order of their enumerations. */
#include <string.h>

#include "trial/reading.h"

static void read_blocks(qx_reading *r, const qx_node *node, void *target)
{
    static const char *const words[] = {"random", "fixed"};
    qx_analysis *analysis = target;
    analysis->blocks_fixed = qx_read_word(r, node, QX_COUNT(words), words) == 1;
}

static void read_df(qx_reading *r, const qx_node *node, void *target)
{
    static const char *const words[] = {"kenward-roger", "satterthwaite", "containment"};
    qx_analysis *analysis = target;
    analysis->df = (qx_df_choice)qx_read_word(r, node, QX_COUNT(words), words);
    analysis->df_named = true;
}

static void read_compare(qx_reading *r, const qx_node *node, void *target)
{
    static const char *const words[] = {
        "tukey", "dunnett", "sidak", "holm", "bonferroni", "none"};
    qx_analysis *analysis = target;
    analysis->compare = (qx_compare_choice)qx_read_word(r, node, QX_COUNT(words), words);
}

static void read_sums(qx_reading *r, const qx_node *node, void *target)
{
    static const char *const words[] = {"marginal", "sequential"};
    qx_analysis *analysis = target;
    analysis->sums = (qx_sums_choice)qx_read_word(r, node, QX_COUNT(words), words);
}

static void read_interactions(qx_reading *r, const qx_node *node, void *target)
{
    static const char *const words[] = {"all", "pairs", "none"};
    qx_analysis *analysis = target;
    analysis->interactions =
        (qx_interactions)qx_read_word(r, node, QX_COUNT(words), words);
}

static void read_quadrature(qx_reading *r, const qx_node *node, void *target)
{
    qx_analysis *analysis = target;
    analysis->quadrature = (int)qx_read_whole(r, node, 1, 100, 1);
}

static void read_bootstrap(qx_reading *r, const qx_node *node, void *target)
{
    qx_analysis *analysis = target;
    analysis->bootstrap = (int)qx_read_whole(r, node, 99, 100000, 0);
}

static void read_level(qx_reading *r, const qx_node *node, void *target)
{
    static const char expected[] =
        "expected a confidence level above 0.5 and below 1, such as 0.95";
    qx_analysis *analysis = target;
    const double level = qx_read_number(r, node, 0.5, 1, expected);
    if (level > 0.5 && level < 1) {
        analysis->level = level;
    } else if (level >= 0.5) { /* the ends themselves; all else is told by now */
        QX_COMPLAIN(r, node->at, expected, "level cannot be \"%s\"", node->text);
    }
}

static void read_looks(qx_reading *r, const qx_node *node, void *target)
{
    qx_analysis *analysis = target;
    analysis->looks = (int)qx_read_whole(r, node, 1, 20, 1);
}

static void read_by(qx_reading *r, const qx_node *node, void *target)
{
    static const char *const words[] = {"all", "season"};
    qx_analysis *analysis = target;
    analysis->residual_by_season = qx_read_word(r, node, QX_COUNT(words), words) == 1;
    analysis->residual_at = node->at;
}

static void read_residual(qx_reading *r, const qx_node *node, void *target)
{
    static const qx_key keys[] = {{"by", read_by, QX_KEY_MUST}};
    qx_read_keys(r, node, "the residual", QX_COUNT(keys), keys, target);
}

static void read_field_trend(qx_reading *r, const qx_node *node, void *target)
{
    static const char *const words[] = {
        "none", "auto", "rows", "places", "rows and places", "neighbours"};
    qx_analysis *analysis = target;
    analysis->field_trend = (qx_field_trend)qx_read_word(r, node, QX_COUNT(words), words);
}

void qx_read_analysis(qx_reading *r, const qx_node *section)
{
    static const qx_key keys[] = {
        {"blocks", read_blocks, QX_KEY_BLANK},
        {"df", read_df, QX_KEY_BLANK},
        {"compare", read_compare, QX_KEY_BLANK},
        {"sums", read_sums, QX_KEY_BLANK},
        {"interactions", read_interactions, QX_KEY_BLANK},
        {"quadrature", read_quadrature, QX_KEY_BLANK},
        {"bootstrap", read_bootstrap, QX_KEY_BLANK},
        {"level", read_level, QX_KEY_BLANK},
        {"looks", read_looks, QX_KEY_BLANK},
        {"residual", read_residual, QX_KEY_BLANK},
        {"field_trend", read_field_trend, QX_KEY_BLANK},
    };
    r->analysis_node = section;
    if (section != NULL) {
        qx_read_keys(r, section, "the analysis", QX_COUNT(keys), keys, &r->p->analysis);
    }
}
