/* The reduced profile against one dense matrix: random layouts, nested and crossed, with
 * lost rows, zero ratios and covariates. The dense numbers are tested in test_profile.c. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/design_rows.h"
#include "model/reduced.h"
#include "numeric/rng.h"

#include "small_model.h"
#include "support.h"

#define TERMS 4

/* A layout with its design, dense and reduced profiles. */
typedef struct pair {
    qx_arena *arena;
    const small_model *m;
    size_t terms;
    size_t levels[TERMS];
    const uint32_t *code[TERMS];
    qx_design design;
    qx_mat Q;
    double *r;
    qx_profile dense, reduced;
    qx_profile_point a, b;
} pair;

static void thin(qx_ctx *cx, pair *p)
{
    assert_ok(cx,
              qx_design_make(cx,
                             p->arena,
                             &p->m->frame,
                             p->m->spec.term_count,
                             p->m->spec.term,
                             &p->design));
    const qx_design *d = &p->design;
    assert_ok(cx, qx_mat_new(cx, p->arena, d->n, d->p, &p->Q));
    p->r = qx_arena_alloc(p->arena, d->n, sizeof *p->r);
    assert_non_null(p->r);
    for (size_t j = 0; j < d->p; j++) {
        QX_AT(p->Q, j, j) = 1.0;
        qx_qr_apply(&d->qr, 'n', &QX_AT(p->Q, 0, j));
    }
    memcpy(p->r, p->m->y, d->n * sizeof *p->r);
    qx_qr_apply(&d->qr, 't', p->r);
    memset(p->r, 0, d->p * sizeof *p->r);
    qx_qr_apply(&d->qr, 'n', p->r);
}

static void reduce(qx_ctx *cx, pair *p, const qx_reduced_options *options)
{
    const qx_design *d = &p->design;
    const uint32_t *first;
    qx_reduced_columns x;
    assert_ok(
        cx,
        qx_design_alike(
            cx, p->arena, &p->m->frame, p->m->spec.term_count, p->m->spec.term, &x.sets));
    assert_ok(cx, qx_alike_first(cx, p->arena, &x.sets, &first));
    assert_ok(cx, qx_mat_new(cx, p->arena, x.sets.count, d->p, &x.rows));
    assert_ok(cx, qx_mat_new(cx, p->arena, d->p, d->p, &x.r_transposed));
    for (size_t j = 0; j < d->p; j++) {
        for (size_t i = 0; i < x.sets.count; i++) {
            QX_AT(x.rows, i, j) = QX_AT(d->X, first[i], j);
        }
        for (size_t i = 0; i <= j; i++) {
            QX_AT(x.r_transposed, j, i) = QX_AT(d->qr.R, i, d->kept[j]);
        }
    }
    assert_ok(cx,
              qx_profile_make_reduced(
                  cx, p->arena, p->terms, p->levels, p->code, &x, options, &p->reduced));
    assert_ok(cx, qx_reduced_again(cx, p->arena, p->r, &p->reduced));
}

static void
open_pair(qx_ctx *cx, const small_model *m, const qx_reduced_options *options, pair *p)
{
    *p = (pair){.arena = qx_arena_new(), .m = m, .terms = m->spec.random_count};
    assert_non_null(p->arena);
    for (size_t k = 0; k < p->terms; k++) {
        const qx_factor *f = &m->frame.factor[m->spec.random[k].factor];
        p->levels[k] = f->level_count;
        p->code[k] = f->code;
    }
    thin(cx, p);
    assert_ok(cx,
              qx_profile_make(
                  cx, p->arena, p->terms, p->levels, p->code, p->Q, p->r, &p->dense));
    assert_null(p->dense.blocks);
    reduce(cx, p, options);
    assert_ok(cx, qx_profile_room(cx, p->arena, &p->dense, &p->a));
    assert_ok(cx, qx_profile_room(cx, p->arena, &p->reduced, &p->b));
}

static void near_all(size_t count, const double a[], const double b[], double slack)
{
    for (size_t i = 0; i < count; i++) {
        if (!(fabs(a[i] - b[i]) <= slack * (1.0 + fabs(b[i])))) {
            print_error("number %zu: %.17g, expected %.17g\n", i, a[i], b[i]);
        }
        assert_true(fabs(a[i] - b[i]) <= slack * (1.0 + fabs(b[i])));
    }
}

/* All numbers at one gamma. */
static void agree(qx_ctx *cx, pair *p, const double gamma[])
{
    const size_t m = p->terms;
    double u[400], v[400];
    assert_true(p->dense.q <= 400);
    assert_ok(cx, qx_profile_evaluate(cx, &p->dense, gamma, &p->a));
    assert_ok(cx, qx_profile_evaluate(cx, &p->reduced, gamma, &p->b));
    near_all(1, &p->b.ypy, &p->a.ypy, 1e-10);
    near_all(1, &p->b.log_a, &p->a.log_a, 1e-11);
    near_all(m, p->b.trace, p->a.trace, 1e-10);
    near_all(m, p->b.square, p->a.square, 1e-10);
    near_all(m * m, p->b.bilinear.at, p->a.bilinear.at, 1e-10);
    if (!p->b.average) {
        near_all(m * m, p->b.norm.at, p->a.norm.at, 1e-10);
    }
    assert_ok(cx, qx_profile_random(cx, &p->dense, &p->a, u));
    assert_ok(cx, qx_profile_random(cx, &p->reduced, &p->b, v));
    near_all(p->dense.q, v, u, 1e-10);
    assert_ok(cx, qx_profile_value(cx, &p->reduced, gamma, &p->b));
    near_all(1, &p->b.ypy, &p->a.ypy, 1e-10);
    near_all(1, &p->b.log_a, &p->a.log_a, 1e-11);
}

/* 5 blocks (factor 0) of up to 4 plots (factor 1, with treatment, factor 2), plots of 1 to 3
 * trees (factor 3), trees of 1 to 3 limbs; some plots lost. Level 7 of the trees has no row. */
static small_model *
unbalanced_nest(qx_ctx *cx, uint64_t seed, bool girths, bool limbs_treated)
{
    small_model *m = small_new(cx, 90);
    qx_rng rng = qx_rng_seeded(seed);
    const size_t block = small_factor(cx, m, "block", 5, 1);
    const size_t plot = small_factor(cx, m, "block:plot", 20, 1);
    const size_t a = small_factor(cx, m, "a", 3, 1);
    const size_t tree = small_factor(cx, m, "block:plot:tree", 61, 1);
    const size_t b = small_factor(cx, m, "b", 2, 1);
    size_t n = 0;
    if (girths) {
        small_covariate(cx, m, "girth");
    }
    for (uint32_t i = 0; i < 60 && n < 86; i++) {
        const uint32_t in_plot = i / 3;
        if (i % 7 == 3 || (i % 3 > 0 && qx_rng_uniform(&rng) < 0.4) || in_plot == 5) {
            continue;
        }
        const size_t limbs = 1 + (size_t)(3.0 * qx_rng_uniform(&rng));
        const double girth = 2020.0 + 3.0 * qx_rng_normal(&rng);
        for (size_t k = 0; k < limbs; k++, n++) {
            m->code[block][n] = in_plot / 4;
            m->code[plot][n] = in_plot;
            m->code[a][n] = in_plot % 3;
            m->code[tree][n] = i + 1;
            m->code[b][n] = (uint32_t)(k % 2);
            if (girths) {
                m->x[n] = girth;
            }
            m->y[n] = (double)(in_plot % 3) + qx_rng_normal(&rng) + girth - 2000.0;
        }
    }
    m->n = m->frame.n = n;
    small_term(m, "a", 1, a, 0);
    if (limbs_treated) {
        small_term(m, "b", 1, b, 0);
        small_term(m, "a:b", 2, a, b);
    }
    small_random(m, "block", block);
    small_random(m, "block:plot", plot);
    small_random(m, "block:plot:tree", tree);
    return m;
}

/* Rows and columns that cross, with gaps, and a batch that lies in both; treatment by cell. */
static small_model *crossed(qx_ctx *cx, uint64_t seed, bool batches)
{
    small_model *m = small_new(cx, 150);
    qx_rng rng = qx_rng_seeded(seed);
    const size_t row = small_factor(cx, m, "row", 9, 1);
    const size_t column = small_factor(cx, m, "column", 8, 1);
    const size_t a = small_factor(cx, m, "a", 4, 1);
    const size_t batch = small_factor(cx, m, "batch", 73, 1);
    for (size_t i = 0; i < m->n; i++) {
        const uint32_t r = (uint32_t)(9.0 * qx_rng_uniform(&rng));
        const uint32_t c = (uint32_t)(8.0 * qx_rng_uniform(&rng));
        m->code[row][i] = r;
        m->code[column][i] = c;
        m->code[a][i] = (r + 3 * c) % 4;
        m->code[batch][i] = r + 9 * c;
        m->y[i] = 0.3 * r - 0.2 * c + qx_rng_normal(&rng);
    }
    small_term(m, "a", 1, a, 0);
    small_random(m, "row", row);
    small_random(m, "column", column);
    if (batches) {
        small_random(m, "batch", batch);
    }
    return m;
}

static const double RATIOS[][3] = {{1.0, 0.5, 0.3},
                                   {0.0, 0.0, 0.0},
                                   {0.0, 2.0, 1.0},
                                   {3.0, 0.0, 0.2},
                                   {0.5, 30.0, 0.0},
                                   {0.0, 0.0, 4.0}};

static void check_all(qx_ctx *cx, const small_model *m, size_t depth)
{
    const qx_reduced_options ways[] = {{false, false, false},
                                       {true, false, false},
                                       {false, true, true},
                                       {false, false, true},
                                       {true, false, true}};
    for (size_t w = 0; w < QX_COUNT(ways); w++) {
        pair p;
        open_pair(cx, m, &ways[w], &p);
        assert_int_equal(p.reduced.reduced->nest.depth, ways[w].flat ? 0 : depth);
        for (size_t k = 0; k < QX_COUNT(RATIOS); k++) {
            agree(cx, &p, RATIOS[k]);
        }
        qx_arena_free(p.arena);
    }
}

static void nested_units_agree(void **state)
{
    small_model *m = unbalanced_nest(*state, 10, false, false);
    check_all(*state, unbalanced_nest(*state, 11, false, false), 2);
    check_all(*state, unbalanced_nest(*state, 12, true, false), 1);
    m->spec.term_count = 0;
    check_all(*state, m, 3);
}

static void treated_limbs_agree(void **state)
{
    check_all(*state, unbalanced_nest(*state, 13, true, true), 0);
}

static void crossed_units_agree(void **state)
{
    check_all(*state, crossed(*state, 14, false), 0);
    check_all(*state, crossed(*state, 15, true), 1);
}

#define TEST(function_)                                                                  \
    cmocka_unit_test_setup_teardown(function_, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(nested_units_agree),
        TEST(treated_limbs_agree),
        TEST(crossed_units_agree),
    };
    return cmocka_run_group_tests_name("model/reduced", tests, NULL, NULL);
}
