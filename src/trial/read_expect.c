/* What is expected before there are data, and how the trial is planned with it. */
#include <math.h>

#include "trial/reading.h"
#include "trial/usual.h"

#define MOST 1e12

/* A mapping of units to numbers; NAN where nothing stands. */
static double *read_by_unit(qx_reading *r, const qx_node *node, const char *expected)
{
    double *out = qx_reading_new(r, r->p->unit_count, sizeof *out);
    if (out == NULL) {
        return NULL;
    }
    for (size_t u = 0; u < r->p->unit_count; u++) {
        out[u] = (double)NAN;
    }
    if (node->kind != QX_NODE_MAP) {
        qx_reading_wrong_kind(r, node, expected);
        return out;
    }
    for (const qx_node *entry = node->first; entry != NULL; entry = entry->next) {
        const size_t unit = qx_protocol_find_unit(r->p, entry->key);
        if (unit == QX_NONE) {
            const char *names[QX_NAMES_MOST];
            for (size_t u = 0; u < r->p->unit_count; u++) {
                names[u] = r->p->unit[u].name;
            }
            qx_reading_unknown(
                r, entry->key_at, "unit", entry->key, r->p->unit_count, names);
            continue;
        }
        out[unit] = qx_read_number(r, entry, 0.0, MOST, expected);
    }
    return out;
}

/* --- expect --- */

static void read_mean(qx_reading *r, const qx_node *node, void *target)
{
    qx_expectation *e = target;
    e->mean = qx_read_number(
        r, node, -MOST, MOST, "expected the mean of an untreated unit, a number");
}

static void read_variation(qx_reading *r, const qx_node *node, void *target)
{
    qx_expectation *e = target;
    e->sd = read_by_unit(r,
                         node,
                         "expected the standard deviation between things of each unit, "
                         "such as {block: 3, tree: 2, limb: 4}");
}

static void read_by_season(qx_reading *r, const qx_node *node, void *target)
{
    qx_expectation *e = target;
    e->sd_season = read_by_unit(r,
                                node,
                                "expected the standard deviation that each season adds "
                                "to things of a unit, such as {tree: 1.5}");
}

static void read_cv(qx_reading *r, const qx_node *node, void *target)
{
    qx_expectation *e = target;
    e->cv_percent = qx_read_number(
        r, node, 1e-6, 1e4, "expected a coefficient of variation in per cent, above 0");
}

static void read_like(qx_reading *r, const qx_node *node, void *target)
{
    qx_expectation *e = target;
    const char *name = qx_read_text(r, node);
    const qx_usual *usual = qx_usual_find(name);
    if (usual != NULL) {
        e->like = usual->name;
        e->cv_percent = usual->cv_percent;
    } else if (node->kind == QX_NODE_SCALAR) {
        const char *names[QX_NAMES_MOST];
        for (size_t i = 0; i < qx_usual_count(); i++) {
            names[i] = qx_usual_get(i)->name;
        }
        qx_reading_unknown(r, node->at, "usual variation", name, qx_usual_count(), names);
    }
}

static void read_of(qx_reading *r, const qx_node *node, void *target)
{
    qx_expectation *e = target;
    e->of = (double)qx_read_whole(r, node, 1, 1000000, 0);
}

static void read_dispersion(qx_reading *r, const qx_node *node, void *target)
{
    qx_expectation *e = target;
    e->dispersion = qx_read_number(
        r, node, 1e-6, MOST, "expected theta or phi of the extra variation, above 0");
}

static void read_shares(qx_reading *r, const qx_node *node, void *target)
{
    static const char expected[] = "expected a share above 0 for each class";
    qx_expectation *e = target;
    const size_t count =
        node->kind == QX_NODE_LIST ? qx_read_count(r, node, QX_LEVELS_MOST, expected) : 0;
    if (node->kind != QX_NODE_LIST) {
        qx_reading_wrong_kind(r, node, expected);
        return;
    }
    double *share = qx_reading_new(r, count, sizeof *share);
    const qx_node *entry = NULL;
    for (size_t i = 0; share != NULL && i < count; i++) {
        entry = qx_read_next(node, entry);
        share[i] = qx_read_number(r, entry, 1e-6, 1.0, expected);
    }
    e->share = share;
    e->share_count = share == NULL ? 0 : count;
}

static const qx_key expect_keys[] = {
    {"mean", read_mean, QX_KEY_MAY},
    {"variation", read_variation, QX_KEY_MAY},
    {"variation_by_season", read_by_season, QX_KEY_MAY},
    {"cv_percent", read_cv, QX_KEY_MAY},
    {"like", read_like, QX_KEY_MAY},
    {"of", read_of, QX_KEY_MAY},
    {"dispersion", read_dispersion, QX_KEY_MAY},
    {"shares", read_shares, QX_KEY_MAY},
};

static void check(qx_reading *r, const qx_node *node, const qx_expectation *e)
{
    if (e->sd != NULL && !isnan(e->cv_percent)) {
        QX_COMPLAIN(r,
                    node->at,
                    "expected one of variation, cv_percent and like",
                    "the variation is given twice");
    }
    if (!isnan(e->cv_percent) && !(fabs(e->mean) > 0.0)) {
        QX_COMPLAIN(r,
                    node->at,
                    "expected a mean that is not 0 beside it",
                    "a coefficient of variation says nothing without a mean");
    }
    double sum = 0.0;
    for (size_t i = 0; i < e->share_count; i++) {
        sum += e->share[i];
    }
    if (e->share_count > 0 && fabs(sum - 1.0) > 1e-6) {
        QX_COMPLAIN(r,
                    node->at,
                    "expected shares that add up to 1",
                    "the shares of the classes add up to %g",
                    sum);
    }
}

void qx_read_expect(qx_reading *r, const qx_node *node, void *target)
{
    qx_variate *variate = target;
    qx_expectation *e = qx_reading_new(r, 1, sizeof *e);
    if (e == NULL) {
        return;
    }
    e->at = node->key_at;
    e->mean = e->cv_percent = e->dispersion = (double)NAN;
    qx_read_keys(r, node, "what is expected", QX_COUNT(expect_keys), expect_keys, e);
    if (node->kind == QX_NODE_MAP) {
        check(r, node, e);
    }
    variate->expect = e;
}

/* --- planning --- */

static void read_power(qx_reading *r, const qx_node *node, void *target)
{
    static const char expected[] = "expected a power above 0.5 and below 1, such as 0.8";
    qx_planning *planning = target;
    const double power = qx_read_number(r, node, 0.5, 1.0, expected);
    if (power > 0.5 && power < 1.0) {
        planning->power = power;
    } else if (power >= 0.5) { /* the ends themselves; all else is told by now */
        QX_COMPLAIN(r, node->at, expected, "power cannot be \"%s\"", node->text);
    }
}

static void read_cost(qx_reading *r, const qx_node *node, void *target)
{
    qx_planning *planning = target;
    planning->cost = read_by_unit(
        r,
        node,
        "expected what one more of each unit costs, such as {tree: 12, limb: 1.5}");
}

static void read_samples(qx_reading *r, const qx_node *node, void *target)
{
    qx_planning *planning = target;
    planning->samples = (size_t)qx_read_whole(r, node, 1, 10000, 1);
}

static const qx_key planning_keys[] = {
    {"power", read_power, QX_KEY_MAY},
    {"cost", read_cost, QX_KEY_MAY},
    {"samples", read_samples, QX_KEY_MAY},
};

void qx_read_planning(qx_reading *r, const qx_node *section)
{
    qx_planning *planning = &r->p->planning;
    planning->power = QX_PLANNED_POWER;
    if (section != NULL) {
        qx_read_keys(
            r, section, "the planning", QX_COUNT(planning_keys), planning_keys, planning);
    }
}
