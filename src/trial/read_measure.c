/* What is measured. Whether the keys suit the kind: protocol_check.c. */
#include <math.h>
#include <string.h>

#include "trial/reading.h"

/* Words stand in the order of their enumerations. */
static void read_kind(qx_reading *r, const qx_node *node, void *target)
{
    static const char *const words[] = {
        "continuous", "count", "proportion", "ordinal", "nominal"};
    qx_variate *variate = target;
    variate->kind = (qx_variate_kind)qx_read_word(r, node, QX_COUNT(words), words);
}

static void read_on(qx_reading *r, const qx_node *node, void *target)
{
    qx_variate *variate = target;
    variate->on = qx_read_unit_name(r, node);
}

static void read_of(qx_reading *r, const qx_node *node, void *target)
{
    qx_variate *variate = target;
    variate->of = qx_read_text(r, node);
    if (node->kind == QX_NODE_SCALAR) {
        qx_reading_check_name(r, node->at, variate->of);
    }
}

static void read_times(qx_reading *r, const qx_node *node, void *target)
{
    qx_variate *variate = target;
    variate->times = qx_read_text(r, node);
    if (node->kind == QX_NODE_SCALAR) {
        qx_reading_check_name(r, node->at, variate->times);
    }
}

static void read_dates(qx_reading *r, const qx_node *node, void *target)
{
    qx_variate *variate = target;
    variate->dates = qx_read_text(r, node);
    if (node->kind == QX_NODE_SCALAR) {
        qx_reading_check_name(r, node->at, variate->dates);
    }
}

static void read_label(qx_reading *r, const qx_node *node, void *target)
{
    qx_variate *variate = target;
    variate->label = qx_read_text(r, node);
}

static void read_method(qx_reading *r, const qx_node *node, void *target)
{
    qx_variate *variate = target;
    variate->method = qx_read_text(r, node);
}

static void read_unit_text(qx_reading *r, const qx_node *node, void *target)
{
    qx_variate *variate = target;
    variate->unit = qx_read_text(r, node);
}

static void read_decimals(qx_reading *r, const qx_node *node, void *target)
{
    qx_variate *variate = target;
    variate->decimals = (int)qx_read_whole(r, node, 0, 15, -1);
}

static void read_range(qx_reading *r, const qx_node *node, void *target)
{
    static const char expected[] = "expected two numbers, the lower first: [0, 250]";
    qx_variate *variate = target;
    const size_t count =
        node->kind == QX_NODE_LIST ? qx_read_count(r, node, 2, expected) : 0;
    if (count != 2) {
        if (node->kind != QX_NODE_LIST || node->count == 1) {
            QX_COMPLAIN(r, node->at, expected, "\"range\" does not hold two numbers");
        }
        return;
    }
    const qx_node *low = qx_read_next(node, NULL);
    const qx_node *high = qx_read_next(node, low);
    variate->low = qx_read_number(r, low, -1e300, 1e300, "expected a number");
    variate->high = qx_read_number(r, high, -1e300, 1e300, "expected a number");
    variate->has_range = variate->low < variate->high;
    if (variate->low >= variate->high) {
        QX_COMPLAIN(r,
                    node->at,
                    expected,
                    "the range ends at %s, which is not above its beginning %s",
                    high->text,
                    low->text);
    }
}

static void read_better(qx_reading *r, const qx_node *node, void *target)
{
    static const char *const words[] = {"none", "more", "less"};
    qx_variate *variate = target;
    variate->better = (qx_better)qx_read_word(r, node, QX_COUNT(words), words);
}

static void read_margin(qx_reading *r, const qx_node *node, void *target)
{
    qx_variate *variate = target;
    variate->margin = qx_read_number(
        r, node, 1e-300, 1e300, "expected the least difference that matters, above 0");
}

static void read_transform(qx_reading *r, const qx_node *node, void *target)
{
    static const char *const words[] = {
        "log", "log10", "log10(x+1)", "sqrt", "sqrt(x+0.5)", "arcsine"};
    qx_variate *variate = target;
    const size_t word = qx_read_word(r, node, QX_COUNT(words), words);
    variate->transform = (qx_transform)(word + QX_TRANSFORM_LOG);
}

static void read_extra(qx_reading *r, const qx_node *node, void *target)
{
    static const char *const words[] = {"auto", "none", "scaled", "modelled", "unit"};
    qx_variate *variate = target;
    variate->extra_variation =
        (qx_variation)qx_read_word(r, node, QX_COUNT(words), words);
}

static void read_link(qx_reading *r, const qx_node *node, void *target)
{
    static const char *const words[] = {"logit", "probit", "cloglog"};
    qx_variate *variate = target;
    variate->link = (qx_share_link)qx_read_word(r, node, QX_COUNT(words), words);
}

static void read_compare_as(qx_reading *r, const qx_node *node, void *target)
{
    static const char *const words[] = {"difference", "ratio"};
    qx_variate *variate = target;
    variate->compare_as_ratio = qx_read_word(r, node, QX_COUNT(words), words) == 1;
}

static void read_levels(qx_reading *r, const qx_node *node, void *target)
{
    qx_variate *variate = target;
    variate->level = qx_read_levels(r, node, 2, &variate->level_count);
}

static const qx_key variate_keys[] = {
    {"kind", read_kind, QX_KEY_MUST},
    {"on", read_on, QX_KEY_MUST},
    {"of", read_of, QX_KEY_MAY},
    {"unit", read_unit_text, QX_KEY_MAY},
    {"decimals", read_decimals, QX_KEY_MAY},
    {"range", read_range, QX_KEY_MAY},
    {"better", read_better, QX_KEY_MAY},
    {"margin", read_margin, QX_KEY_MAY},
    {"levels", read_levels, QX_KEY_MAY},
    {"label", read_label, QX_KEY_MAY},
    {"method", read_method, QX_KEY_MAY},
    {"transform", read_transform, QX_KEY_MAY},
    {"extra_variation", read_extra, QX_KEY_MAY},
    {"link", read_link, QX_KEY_MAY},
    {"times", read_times, QX_KEY_MAY},
    {"compare_as", read_compare_as, QX_KEY_MAY},
    {"dates", read_dates, QX_KEY_MAY},
    {"expect", qx_read_expect, QX_KEY_MAY},
};

static void read_variate(qx_reading *r, const qx_node *node, qx_variate *variate)
{
    variate->name = variate->label = node->key;
    variate->method = variate->of = variate->unit = variate->times = "";
    variate->at = node->key_at;
    variate->on = QX_NONE;
    variate->decimals = -1;
    variate->margin = (double)NAN;
    qx_reading_check_name(r, node->key_at, node->key);
    qx_read_keys(r, node, "a variate", QX_COUNT(variate_keys), variate_keys, variate);
}

void qx_read_measure(qx_reading *r, const qx_node *section)
{
    const size_t count = qx_reading_entries(r, section, "variates");
    r->variate = qx_reading_new(r, count, sizeof *r->variate);
    if (r->variate == NULL) {
        return;
    }
    if (section != NULL && section->kind == QX_NODE_MAP && count == 0) {
        QX_COMPLAIN(
            r,
            section->at,
            "expected at least one, such as length: {kind: continuous, on: shoot}",
            "\"measure\" names nothing to measure");
    }
    const qx_node *node = section != NULL ? section->first : NULL;
    for (size_t v = 0; node != NULL && v < count; v++, node = node->next) {
        r->variate_node[v] = node;
        read_variate(r, node, &r->variate[v]);
    }
    r->p->variate = r->variate;
    r->p->variate_count = count;
}
