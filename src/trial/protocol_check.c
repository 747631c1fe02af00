/* What no single value of a protocol shows: counts that cannot hold the levels, keys that
 * do not suit the kind of a variate, contrasts without sense. Names: check_names.c. */
#include <math.h>
#include <string.h>

#include "base/decimal.h"
#include "trial/reading.h"
#include "trial/unit_order.h"

/* --- treatments --- */

static void check_treatment(qx_reading *r, size_t t)
{
    const qx_treatment *treatment = &r->treatment[t];
    if (treatment->on == QX_NONE) {
        return;
    }
    const qx_unit *unit = &r->unit[treatment->on];
    const size_t total = qx_unit_total(r->p, treatment->on);
    if (total > 0 && total < treatment->level_count) {
        QX_COMPLAIN(r,
                    qx_reading_place(r->treatment_node[t], "levels"),
                    "expected at least one unit for each level",
                    "\"%s\" has %zu levels, but there %s only %zu of \"%s\" in all",
                    treatment->name,
                    treatment->level_count,
                    total == 1 ? "is" : "are",
                    total,
                    unit->name);
    }
}

/* --- variates: keys that suit the kind --- */

static void refuse(qx_reading *r, size_t v, const char *key, const char *expected)
{
    QX_COMPLAIN(r,
                qx_reading_place(r->variate_node[v], key),
                expected,
                "\"%s\" has no meaning for \"%s\", whose kind is %s",
                key,
                r->variate[v].name,
                qx_variate_kind_word(r->variate[v].kind));
}

static bool given(const qx_reading *r, size_t v, const char *key)
{
    return qx_node_find(r->variate_node[v], key) != NULL;
}

static void check_kind_keys(qx_reading *r, size_t v)
{
    const qx_variate *variate = &r->variate[v];
    static const char *const number_keys[] = {"range", "transform"};
    if (given(r, v, "of") && variate->kind != QX_PROPORTION) {
        refuse(r, v, "of", "expected \"of\" with kind: proportion only");
    }
    if (given(r, v, "link") && variate->kind != QX_PROPORTION) {
        refuse(r, v, "link", "expected \"link\" with kind: proportion only");
    }
    if (given(r, v, "extra_variation") && variate->kind != QX_COUNT &&
        variate->kind != QX_PROPORTION) {
        refuse(r, v, "extra_variation", "expected it with a count or a proportion only");
    }
    const bool counted = variate->kind == QX_COUNT || variate->kind == QX_PROPORTION;
    if (given(r, v, "compare_as") &&
        (!counted || variate->transform != QX_TRANSFORM_NONE)) {
        refuse(r, v, "compare_as", "expected it with a count or a proportion, as it is");
    }
    if (given(r, v, "levels") && !qx_variate_has_classes(variate)) {
        refuse(r, v, "levels", "expected \"levels\" with kind: ordinal or nominal only");
    }
    if (given(r, v, "decimals") && variate->kind != QX_CONTINUOUS &&
        variate->decimals != 0) {
        refuse(r, v, "decimals", "expected decimals with kind: continuous only");
    }
    for (size_t i = 0; qx_variate_has_classes(variate) && i < QX_COUNT(number_keys);
         i++) {
        if (given(r, v, number_keys[i])) {
            refuse(
                r, v, number_keys[i], "expected it with numbers only, not with classes");
        }
    }
    if (qx_variate_has_classes(variate) && !given(r, v, "levels")) {
        QX_COMPLAIN(r,
                    variate->at,
                    "expected levels: [low, medium, high]",
                    "\"%s\" has no levels, and its kind is %s",
                    variate->name,
                    qx_variate_kind_word(variate->kind));
    }
    if (variate->kind == QX_NOMINAL && variate->better != QX_BETTER_NONE) {
        refuse(r, v, "better", "expected better: none, for the classes have no order");
    }
}

static void check_margin(qx_reading *r, size_t v)
{
    const qx_variate *variate = &r->variate[v];
    if (isnan(variate->margin)) {
        return;
    }
    const qx_place at = qx_reading_place(r->variate_node[v], "margin");
    const bool classes = qx_variate_has_classes(variate);
    if ((variate->kind == QX_PROPORTION || classes) && variate->margin >= 1) {
        QX_COMPLAIN(r,
                    at,
                    "expected a share on the scale 0 to 1: 0.10 stands for ten points",
                    "the margin of the %s \"%s\" is not below 1",
                    classes ? "classes of" : "proportion",
                    variate->name);
    } else if (variate->has_range && variate->margin >= variate->high - variate->low &&
               variate->kind != QX_PROPORTION) {
        QX_COMPLAIN(r,
                    at,
                    "expected a margin smaller than the range is wide",
                    "no two values of \"%s\" inside its range can differ by its margin",
                    variate->name);
    }
}

static void check_range(qx_reading *r, size_t v)
{
    const qx_variate *variate = &r->variate[v];
    const qx_place at = qx_reading_place(r->variate_node[v], "range");
    if (!variate->has_range) {
        return;
    }
    const bool counted = variate->kind == QX_COUNT || variate->kind == QX_PROPORTION;
    if (counted && variate->low < 0) {
        QX_COMPLAIN(r,
                    at,
                    "expected a range that begins at 0 or above",
                    "\"%s\" is counted and cannot be negative",
                    variate->name);
    }
    const bool positive =
        variate->transform != QX_TRANSFORM_NONE && variate->kind == QX_CONTINUOUS;
    if (positive && variate->low < 0) {
        QX_COMPLAIN(r,
                    at,
                    "expected a range that begins at 0 or above, or no transform",
                    "transform %s has no value for negative \"%s\"",
                    qx_transform_word(variate->transform),
                    variate->name);
    }
}

static void check_transform(qx_reading *r, size_t v)
{
    const qx_variate *variate = &r->variate[v];
    if (variate->transform != QX_TRANSFORM_ARCSINE) {
        return;
    }
    const bool above_one =
        variate->kind == QX_CONTINUOUS && variate->has_range && variate->high > 1;
    if (variate->kind == QX_COUNT || above_one) {
        QX_COMPLAIN(r,
                    qx_reading_place(r->variate_node[v], "transform"),
                    "expected a proportion, or a continuous share from 0 to 1",
                    "transform arcsine has a value only from 0 to 1, \"%s\" goes beyond",
                    variate->name);
    }
}

/* More than one point of quadrature needs a single random term. */
static void check_quadrature(qx_reading *r, size_t v)
{
    const qx_variate *variate = &r->variate[v];
    const bool generalised =
        variate->kind != QX_CONTINUOUS && variate->transform == QX_TRANSFORM_NONE;
    if (r->p->analysis.quadrature == 1 || !generalised || variate->on == QX_NONE ||
        r->p->analysis.blocks_fixed) {
        return;
    }
    size_t path[QX_NAMES_MOST];
    const size_t above = qx_unit_path(r->p, variate->on, path) - 1;
    const size_t terms = above + (variate->extra_variation == QX_VARIATION_UNIT ? 1 : 0);
    if (terms > 1) {
        QX_COMPLAIN(r,
                    qx_reading_place(r->analysis_node, "quadrature"),
                    "expected quadrature: 1, or one random term",
                    "\"%s\" has %zu random terms, more points than one need a single one",
                    variate->name,
                    terms);
    }
}

/* --- contrasts --- */

static void check_weights(qx_reading *r, size_t c, size_t count)
{
    const qx_contrast_def *contrast = &r->contrast[c];
    /* Weights typed with ten digits or more (1/6 as 0.1666666667) sum to zero within
     * this share of their size. */
    const double rounding = 1e-8;
    double sum = 0;
    double size = 0;
    for (size_t i = 0; i < count; i++) {
        sum += contrast->weight[i];
        size += fabs(contrast->weight[i]);
    }
    const qx_place at = qx_reading_place(r->contrast_node[c], "weights");
    if (size == 0) {
        QX_COMPLAIN(r,
                    at,
                    "expected weights such as {30: 1, 90: -1}",
                    "all weights of \"%s\" are zero",
                    contrast->name);
    } else if (fabs(sum) > rounding * size) {
        char text[QX_NUMBER_ROOM];
        QX_COMPLAIN(r,
                    at,
                    "expected a sum of zero",
                    "the weights of \"%s\" sum to %s",
                    contrast->name,
                    qx_number_exact(sum, text));
    }
}

static void check_trend(qx_reading *r, size_t c, size_t count, bool numeric)
{
    const qx_contrast_def *contrast = &r->contrast[c];
    const qx_place at = qx_reading_place(r->contrast_node[c], "trend");
    const size_t degree = (size_t)contrast->trend;
    if (!numeric) {
        QX_COMPLAIN(r,
                    at,
                    "expected levels that are all numbers, or weights",
                    "\"%s\" asks for a trend over levels that are words",
                    contrast->name);
    } else if (count <= degree) {
        QX_COMPLAIN(r,
                    at,
                    "expected more levels or a simpler trend",
                    "a %s trend needs %zu levels, there are %zu",
                    qx_trend_word(contrast->trend),
                    degree + 1,
                    count);
    }
}

static bool seasons_numeric(const qx_reading *r)
{
    for (size_t i = 0; i < r->p->seasons.level_count; i++) {
        double value = 0;
        const char *text = r->p->seasons.level[i];
        if (!qx_decimal_read(text, strlen(text), '.', &value, NULL)) {
            return false;
        }
    }
    return true;
}

static void check_contrast(qx_reading *r, size_t c)
{
    const qx_contrast_def *contrast = &r->contrast[c];
    const bool weights = qx_node_find(r->contrast_node[c], "weights") != NULL;
    const bool trend = qx_node_find(r->contrast_node[c], "trend") != NULL;
    if (weights == trend) {
        QX_COMPLAIN(r,
                    contrast->at,
                    "expected either weights or a trend",
                    "\"%s\" has %s",
                    contrast->name,
                    weights ? "weights and a trend" : "neither weights nor a trend");
        return;
    }
    if (contrast->of == QX_NONE) {
        return;
    }
    const bool season = contrast->of == QX_OF_SEASON;
    const size_t count =
        season ? r->p->seasons.level_count : r->treatment[contrast->of].level_count;
    if (contrast->weight != NULL) {
        check_weights(r, c, count);
    } else if (contrast->trend != QX_TREND_NONE && count > 0) {
        check_trend(r,
                    c,
                    count,
                    season ? seasons_numeric(r) : r->treatment[contrast->of].numeric);
    }
}

void qx_protocol_check(qx_reading *r)
{
    if (r->failed != QX_OK) {
        return; /* lists may be missing */
    }
    qx_protocol_check_names(r);
    qx_protocol_check_covariance(r);
    const bool arranged = qx_units_arrange(r);
    for (size_t t = 0; arranged && t < r->p->treatment_count; t++) {
        check_treatment(r, t);
    }
    for (size_t v = 0; v < r->p->variate_count; v++) {
        check_kind_keys(r, v);
        check_margin(r, v);
        check_range(r, v);
        check_transform(r, v);
        if (arranged) {
            check_quadrature(r, v);
        }
    }
    qx_protocol_check_planning(r, arranged);
    for (size_t c = 0; c < r->p->contrast_count; c++) {
        check_contrast(r, c);
    }
}
