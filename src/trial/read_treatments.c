/* What is put on units, what was there already (covariates), and what is compared. */
#include <math.h>
#include <string.h>

#include "trial/reading.h"

static void read_levels(qx_reading *r, const qx_node *node, void *target)
{
    qx_treatment *treatment = target;
    treatment->level = qx_read_levels(r, node, 2, &treatment->level_count);
    treatment->score = qx_read_scores(r, treatment->level_count, treatment->level);
    treatment->numeric = treatment->score != NULL;
}

static void read_on(qx_reading *r, const qx_node *node, void *target)
{
    qx_treatment *treatment = target;
    treatment->on = qx_read_unit_name(r, node);
}

static void read_control(qx_reading *r, const qx_node *node, void *target)
{
    qx_treatment *treatment = target;
    const char *name = qx_read_text(r, node);
    treatment->control =
        qx_level_find(treatment->level_count, treatment->level, name, strlen(name));
    if (treatment->control == QX_NONE && node->kind == QX_NODE_SCALAR) {
        qx_reading_unknown(
            r, node->at, "level", name, treatment->level_count, treatment->level);
    }
}

static void read_unit_text(qx_reading *r, const qx_node *node, void *target)
{
    qx_treatment *treatment = target;
    treatment->unit = qx_read_text(r, node);
}

void qx_read_treatments(qx_reading *r, const qx_node *section)
{
    static const qx_key keys[] = {
        {"levels", read_levels, QX_KEY_MUST}, /* before control, which is one of them */
        {"on", read_on, QX_KEY_MUST},
        {"unit", read_unit_text, QX_KEY_MAY},
        {"control", read_control, QX_KEY_MAY},
    };
    const size_t count = qx_reading_entries(r, section, "treatments");
    r->treatment = qx_reading_new(r, count, sizeof *r->treatment);
    if (r->treatment == NULL) {
        return;
    }
    const qx_node *node = section != NULL ? section->first : NULL;
    for (size_t t = 0; node != NULL && t < count; t++, node = node->next) {
        qx_treatment *treatment = &r->treatment[t];
        r->treatment_node[t] = node;
        treatment->name = node->key;
        treatment->at = node->key_at;
        treatment->on = treatment->control = QX_NONE;
        treatment->unit = "";
        qx_reading_check_name(r, node->key_at, node->key);
        qx_read_keys(r, node, "a treatment", QX_COUNT(keys), keys, treatment);
    }
    r->p->treatment = r->treatment;
    r->p->treatment_count = count;
}

static void read_covariate_on(qx_reading *r, const qx_node *node, void *target)
{
    qx_covariate *covariate = target;
    covariate->on = qx_read_unit_name(r, node);
}

static void read_covariate_unit(qx_reading *r, const qx_node *node, void *target)
{
    qx_covariate *covariate = target;
    covariate->unit = qx_read_text(r, node);
}

static void read_slopes(qx_reading *r, const qx_node *node, void *target)
{
    qx_covariate *covariate = target;
    const size_t count =
        qx_read_count(r, node, QX_NAMES_MOST, "expected a list of treatments: [pinch]");
    size_t *slope = qx_reading_new(r, count, sizeof *slope);
    if (slope == NULL) {
        return;
    }
    const qx_node *child = NULL;
    size_t kept = 0;
    for (size_t i = 0; i < count; i++) {
        child = qx_read_next(node, child);
        const size_t t = qx_read_treatment_name(r, child);
        bool fits = t != QX_NONE;
        for (size_t j = 0; fits && j < kept; j++) {
            fits = slope[j] != t;
            if (!fits) {
                QX_COMPLAIN(r,
                            child->at,
                            "expected every treatment once",
                            "\"%s\" is named twice in \"slopes\"",
                            r->treatment[t].name);
            }
        }
        if (fits) {
            slope[kept] = t;
            kept++;
        }
    }
    covariate->slope = slope;
    covariate->slope_count = kept;
}

void qx_read_covariates(qx_reading *r, const qx_node *section)
{
    static const qx_key keys[] = {
        {"on", read_covariate_on, QX_KEY_MUST},
        {"unit", read_covariate_unit, QX_KEY_MAY},
        {"slopes", read_slopes, QX_KEY_MAY},
    };
    const size_t count = qx_reading_entries(r, section, "covariates");
    r->covariate = qx_reading_new(r, count, sizeof *r->covariate);
    if (r->covariate == NULL) {
        return;
    }
    const qx_node *node = section != NULL ? section->first : NULL;
    for (size_t c = 0; node != NULL && c < count; c++, node = node->next) {
        qx_covariate *covariate = &r->covariate[c];
        r->covariate_node[c] = node;
        covariate->name = node->key;
        covariate->at = node->key_at;
        covariate->on = QX_NONE;
        covariate->unit = "";
        qx_reading_check_name(r, node->key_at, node->key);
        qx_read_keys(r, node, "a covariate", QX_COUNT(keys), keys, covariate);
    }
    r->p->covariate = r->covariate;
    r->p->covariate_count = count;
}

static void read_of(qx_reading *r, const qx_node *node, void *target)
{
    qx_contrast_def *contrast = target;
    if (node->kind == QX_NODE_SCALAR && strcmp(node->text, "season") == 0 &&
        r->p->seasons.level_count > 0) {
        contrast->of = QX_OF_SEASON;
        return;
    }
    contrast->of = qx_read_treatment_name(r, node);
}

static void read_trend(qx_reading *r, const qx_node *node, void *target)
{
    static const char *const words[] = {"linear", "quadratic", "cubic", "quartic"};
    static const qx_trend trends[] = {
        QX_TREND_LINEAR, QX_TREND_QUADRATIC, QX_TREND_CUBIC, QX_TREND_QUARTIC};
    qx_contrast_def *contrast = target;
    contrast->trend = trends[qx_read_word(r, node, QX_COUNT(words), words)];
}

static void levels_of(const qx_reading *r,
                      const qx_contrast_def *contrast,
                      size_t *count,
                      const char *const **level)
{
    *count = 0;
    *level = NULL;
    if (contrast->of == QX_OF_SEASON) {
        *count = r->p->seasons.level_count;
        *level = r->p->seasons.level;
    } else if (contrast->of != QX_NONE) {
        *count = r->treatment[contrast->of].level_count;
        *level = r->treatment[contrast->of].level;
    }
}

/* Largest weight that has a sense; keeps sums of weights far from overflow. */
#define WEIGHT_MOST 1e9

/* Weights that are not given yet are NAN. */
static void read_weight(qx_reading *r,
                        const qx_node *node,
                        size_t count,
                        const char *const level[],
                        double weight[])
{
    const size_t i = qx_level_find(count, level, node->key, strlen(node->key));
    if (i == QX_NONE) {
        qx_reading_unknown(r, node->key_at, "level", node->key, count, level);
        return;
    }
    if (!isnan(weight[i])) {
        QX_COMPLAIN(r,
                    node->key_at,
                    "expected every level once",
                    "level \"%s\" has two weights",
                    level[i]);
    }
    weight[i] = qx_read_number(
        r, node, -WEIGHT_MOST, WEIGHT_MOST, "expected a number as the weight");
}

static void read_weights(qx_reading *r, const qx_node *node, void *target)
{
    qx_contrast_def *contrast = target;
    size_t count = 0;
    const char *const *level = NULL;
    levels_of(r, contrast, &count, &level);
    if (node->kind != QX_NODE_MAP) {
        QX_COMPLAIN(r,
                    node->at,
                    "expected {level: weight, level: weight}",
                    "\"weights\" does not say which level has which weight");
        return;
    }
    if (count == 0) {
        return; /* the unknown treatment is told already */
    }
    double *weight = qx_reading_new(r, count, sizeof *weight);
    if (weight == NULL) {
        return;
    }
    for (size_t i = 0; i < count; i++) {
        weight[i] = (double)NAN;
    }
    const size_t before = qx_problems_count(r->problems);
    for (const qx_node *child = node->first; child != NULL; child = child->next) {
        read_weight(r, child, count, level, weight);
    }
    /* With a weight that could not be read the sum would only confuse. */
    for (size_t i = 0; i < count; i++) {
        weight[i] = isnan(weight[i]) ? 0 : weight[i];
    }
    if (qx_problems_count(r->problems) == before) {
        contrast->weight = weight;
    }
}

void qx_read_contrasts(qx_reading *r, const qx_node *section)
{
    static const qx_key keys[] = {
        {"of", read_of, QX_KEY_MUST}, /* before weights, whose levels it gives */
        {"weights", read_weights, QX_KEY_MAY},
        {"trend", read_trend, QX_KEY_MAY},
    };
    const size_t count = qx_reading_entries(r, section, "contrasts");
    r->contrast = qx_reading_new(r, count, sizeof *r->contrast);
    if (r->contrast == NULL) {
        return;
    }
    const qx_node *node = section != NULL ? section->first : NULL;
    for (size_t c = 0; node != NULL && c < count; c++, node = node->next) {
        qx_contrast_def *contrast = &r->contrast[c];
        r->contrast_node[c] = node;
        contrast->name = node->key;
        contrast->at = node->key_at;
        contrast->of = QX_NONE;
        qx_reading_check_name(r, node->key_at, node->key);
        qx_read_keys(r, node, "a contrast", QX_COUNT(keys), keys, contrast);
    }
    r->p->contrast = r->contrast;
    r->p->contrast_count = count;
}
