/* What is expected of a variate and how the trial is planned, held against what the variate
 * and the trial are: words that do not belong are told rather than left without effect. */
#include <math.h>

#include "trial/reading.h"

typedef struct checking {
    qx_reading *r;
    const qx_variate *variate;
    const qx_expectation *expect;
    const qx_node *node; /* of `expect` */
} checking;

static qx_place at(const checking *c, const char *key)
{
    return qx_reading_place(c->node, key);
}

/* --- the mean --- */

/* Counts and shares as they are, or values on the scale of a transform: where the mean may
 * lie, in words; NULL: anywhere, or it lies there. */
static const char *outside(const qx_variate *v, double mean)
{
    const bool share = v->kind == QX_PROPORTION;
    if (share && (!(mean > 0.0) || !(mean < 1.0))) {
        return mean >= 1.0 && mean <= 100.0
                   ? "expected a share between 0 and 1: 0.4 stands for 40 %"
                   : "expected a share between 0 and 1";
    }
    if (v->kind == QX_COUNT && !(mean > 0.0)) {
        return "expected a count above 0";
    }
    switch (v->transform) {
    case QX_TRANSFORM_LOG:
    case QX_TRANSFORM_LOG10:
        return mean > 0.0 ? NULL
                          : "expected a mean above 0, as its logarithm is analysed";
    case QX_TRANSFORM_LOG10_1:
        return mean > -1.0 ? NULL : "expected a mean above -1, as log10(x+1) is analysed";
    case QX_TRANSFORM_SQRT:
    case QX_TRANSFORM_SQRT_HALF:
        return mean >= 0.0 ? NULL
                           : "expected a mean of 0 or more, as its root is analysed";
    case QX_TRANSFORM_ARCSINE:
        return mean > 0.0 && mean < 1.0 ? NULL : "expected a share between 0 and 1";
    case QX_TRANSFORM_NONE:
        break;
    }
    return NULL;
}

static void check_room(const checking *c)
{
    const qx_variate *v = c->variate;
    const double mean = c->expect->mean, margin = v->margin;
    if (v->kind == QX_PROPORTION && mean - margin <= 0.0 && mean + margin >= 1.0) {
        QX_COMPLAIN(
            c->r,
            at(c, "mean"),
            "expected a margin that leads from the mean to a share between 0 and 1",
            "a margin of %g has no room around a share of %g",
            margin,
            mean);
    }
}

static void check_mean(const checking *c)
{
    const qx_variate *v = c->variate;
    const double mean = c->expect->mean;
    if (isnan(mean)) {
        return;
    }
    if (qx_variate_has_classes(v)) {
        QX_COMPLAIN(c->r,
                    at(c, "mean"),
                    "expected shares: [...], one for each class",
                    "\"%s\" has classes and no mean",
                    v->name);
        return;
    }
    const char *expected = outside(v, mean);
    if (expected != NULL) {
        QX_COMPLAIN(c->r,
                    at(c, "mean"),
                    expected,
                    "the expected mean of \"%s\" is %g",
                    v->name,
                    mean);
    } else if (v->has_range && (mean < v->low || mean > v->high)) {
        QX_COMPLAIN(c->r,
                    at(c, "mean"),
                    "expected a mean inside the range",
                    "the expected mean of \"%s\", %g, lies outside its range",
                    v->name,
                    mean);
    } else {
        check_room(c);
    }
}

/* --- shares of classes --- */

static void check_shares(const checking *c)
{
    const qx_variate *v = c->variate;
    if (c->expect->share_count == 0) {
        return;
    }
    if (!qx_variate_has_classes(v)) {
        QX_COMPLAIN(c->r,
                    at(c, "shares"),
                    "expected mean: instead; shares belong to grades and classes",
                    "\"%s\" is of kind %s and has no classes",
                    v->name,
                    qx_variate_kind_word(v->kind));
    } else if (c->expect->share_count != v->level_count && v->level_count > 0) {
        QX_COMPLAIN(c->r,
                    at(c, "shares"),
                    "expected one share for each class, in the order of levels",
                    "\"shares\" holds %zu numbers, and \"%s\" has %zu classes",
                    c->expect->share_count,
                    v->name,
                    v->level_count);
    }
}

/* --- numbers that belong to some kinds only --- */

static void check_of(const checking *c)
{
    const qx_variate *v = c->variate;
    if (c->expect->of == 0.0) {
        return;
    }
    if (v->kind != QX_PROPORTION) {
        QX_COMPLAIN(c->r,
                    at(c, "of"),
                    "expected \"of\" with kind: proportion only",
                    "\"%s\" is of kind %s and no share of anything",
                    v->name,
                    qx_variate_kind_word(v->kind));
    } else if (v->of[0] == '\0' && c->expect->of > 1.0) {
        QX_COMPLAIN(c->r,
                    at(c, "of"),
                    "expected of: COLUMN in the variate as well, or nothing here",
                    "\"%s\" is 1 or 0 for each thing, and expected to be a share of %g",
                    v->name,
                    c->expect->of);
    }
}

static void check_dispersion(const checking *c)
{
    const qx_variate *v = c->variate;
    const bool counted = v->kind == QX_COUNT || v->kind == QX_PROPORTION;
    if (isnan(c->expect->dispersion)) {
        return;
    }
    if (!counted || v->transform != QX_TRANSFORM_NONE) {
        QX_COMPLAIN(
            c->r,
            at(c, "dispersion"),
            "expected variation: instead; a dispersion belongs to counts and shares "
            "without a transform",
            "\"%s\" has no dispersion",
            v->name);
    } else if (v->extra_variation == QX_VARIATION_NONE) {
        QX_COMPLAIN(c->r,
                    at(c, "dispersion"),
                    "expected another extra_variation, or no dispersion",
                    "\"%s\" is to be analysed without extra variation, and expected to "
                    "have some",
                    v->name);
    }
}

static void check_cv(const checking *c)
{
    const char *key = c->expect->like != NULL ? "like" : "cv_percent";
    if (!isnan(c->expect->cv_percent) && qx_variate_has_classes(c->variate)) {
        QX_COMPLAIN(c->r,
                    at(c, key),
                    "expected variation: instead, on the scale of the logit",
                    "the classes of \"%s\" have no coefficient of variation",
                    c->variate->name);
    }
}

/* --- variation of units --- */

/* Units that the variate does not lie in do not make it vary. */
static void check_units(const checking *c, const char *key, const double sd[])
{
    const qx_node *list = qx_node_find(c->node, key);
    const qx_protocol *p = c->r->p;
    if (sd == NULL || list == NULL || list->kind != QX_NODE_MAP ||
        c->variate->on == QX_NONE) {
        return;
    }
    for (const qx_node *entry = list->first; entry != NULL; entry = entry->next) {
        const size_t unit = qx_protocol_find_unit(p, entry->key);
        if (unit != QX_NONE && !qx_unit_reaches(p, unit, c->variate->on)) {
            QX_COMPLAIN(
                c->r,
                entry->key_at,
                "expected the unit that it is measured on, and those that hold it",
                "\"%s\" is measured on %s, which does not lie in a %s",
                c->variate->name,
                p->unit[c->variate->on].name,
                p->unit[unit].name);
        }
    }
}

static void check_seasons(const checking *c)
{
    if (c->expect->sd_season != NULL && c->r->p->seasons.level_count < 2) {
        QX_COMPLAIN(c->r,
                    at(c, "variation_by_season"),
                    "expected several seasons, such as seasons: [2026, 2027], or "
                    "variation: alone",
                    "\"%s\" is expected to vary by season, and there is one season",
                    c->variate->name);
    }
}

static void check_variate(qx_reading *r, size_t v, bool arranged)
{
    const checking c = {.r = r,
                        .variate = &r->variate[v],
                        .expect = r->variate[v].expect,
                        .node = qx_node_find(r->variate_node[v], "expect")};
    if (c.expect == NULL || c.node == NULL || c.node->kind != QX_NODE_MAP) {
        return;
    }
    check_mean(&c);
    check_shares(&c);
    check_of(&c);
    check_dispersion(&c);
    check_cv(&c);
    check_seasons(&c);
    if (arranged) {
        check_units(&c, "variation", c.expect->sd);
        check_units(&c, "variation_by_season", c.expect->sd_season);
    }
}

void qx_protocol_check_planning(qx_reading *r, bool arranged)
{
    for (size_t v = 0; v < r->p->variate_count; v++) {
        check_variate(r, v, arranged);
    }
}
