/* tests/unit/model/small_model.h - small invented layouts for the laws that any fit obeys.
 * No real data: responses come from a seeded generator. */
#ifndef QX_TESTS_SMALL_MODEL_H
#define QX_TESTS_SMALL_MODEL_H

#include "model/lmm.h"

#define SMALL_FACTORS 8
#define SMALL_TERMS   8

typedef struct small_model {
    size_t n;
    qx_frame frame;
    qx_factor factor[SMALL_FACTORS];
    uint32_t *code[SMALL_FACTORS]; /* n each, to be changed by tests */
    qx_number number[2];
    double *x; /* n: the covariate, if there is one */
    qx_term term[SMALL_TERMS];
    qx_random_term random[4];
    double *y; /* n */
    qx_lmm_spec spec;
} small_model;

/* Empty model of n rows in the scratch of cx; add to it, then use spec. */
small_model *small_new(qx_ctx *cx, size_t n);

/* A factor with levels "1", "2", ...; code i is (i / every) % levels. Gives its number. */
size_t
small_factor(qx_ctx *cx, small_model *m, const char *name, size_t levels, size_t every);

void small_term(
    small_model *m, const char *name, size_t factor_count, size_t a, size_t b);
void small_covariate(qx_ctx *cx, small_model *m, const char *name);
void small_random(small_model *m, const char *name, size_t factor);

/* A split plot: 4 blocks (factor 0) of 3 plots (factor 3 = block:plot), treatment `a` (factor
 * 1) on plots, `b` (2 levels, factor 2) inside; y = effects + noise of the seed with the
 * given standard deviations of blocks, plots and rest. */
small_model *small_split_plot(
    qx_ctx *cx, uint64_t seed, double sd_block, double sd_plot, double sd_rest);

#endif
