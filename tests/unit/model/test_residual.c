#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "model/residual.h"
#include "numeric/chol.h"
#include "numeric/rng.h"
#include "reference_case.h"
#include "support.h"

/* A fit made by hand, so that residuals are tested apart from how fits are found: the
 * variances are given and beta is generalised least squares with them. */
typedef struct by_hand {
    qx_lmm fit;
    qx_frame frame;
    qx_factor factor[2];
    qx_component component[3];
    qx_mat x;
    const double *y;
} by_hand;

/* Results must not lie in the scratch that the call under test rewinds. */
static void free_arena(void *arena)
{
    qx_arena_free(arena);
}

static qx_arena *results(qx_ctx *cx)
{
    qx_arena *arena = qx_arena_new();
    assert_non_null(arena);
    assert_ok(cx, qx_arena_defer(qx_ctx_scratch(cx), free_arena, arena));
    return arena;
}

/* n zeroed things in scratch; the run ends without memory. */
static void *room(qx_ctx *cx, size_t n, size_t size)
{
    void *out = qx_arena_alloc(qx_ctx_scratch(cx), n, size);
    if (out == NULL) {
        abort();
    }
    return out;
}

static qx_mat new_mat(qx_ctx *cx, size_t rows, size_t cols)
{
    qx_mat m;
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), rows, cols, &m));
    return m;
}

/* W = I + sum of variance / residual variance for rows with the same level. */
static qx_mat covariance(qx_ctx *cx, const by_hand *h)
{
    const size_t n = h->fit.n, r = h->fit.random_count;
    qx_mat w = new_mat(cx, n, n);
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++) {
            QX_AT(w, i, j) = i == j ? 1.0 : 0.0;
            for (size_t t = 0; t < r; t++) {
                if (h->factor[t].code[i] == h->factor[t].code[j]) {
                    QX_AT(w, i, j) += h->component[t].variance / h->component[r].variance;
                }
            }
        }
    }
    return w;
}

/* Q = W^-1 - W^-1 X (X'W^-1 X)^-1 X'W^-1 with everything written out densely. */
static qx_mat projection(qx_ctx *cx, qx_mat w, qx_mat x)
{
    const size_t n = x.rows, p = x.cols;
    qx_mat inverse = new_mat(cx, n, n), wx = new_mat(cx, n, p), m = new_mat(cx, p, p);
    qx_mat rows = new_mat(cx, p, n), q = new_mat(cx, n, n);
    assert_ok(cx, qx_chol_factor(cx, w));
    assert_ok(cx, qx_chol_inverse(cx, w, inverse));
    assert_ok(cx, qx_mat_multiply(cx, 'n', 'n', 1.0, inverse, x, 0.0, wx));
    assert_ok(cx, qx_mat_multiply(cx, 't', 'n', 1.0, x, wx, 0.0, m));
    assert_ok(cx, qx_chol_factor(cx, m));
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < p; j++) {
            QX_AT(rows, j, i) = QX_AT(wx, i, j);
        }
    }
    assert_ok(cx, qx_chol_solve(cx, m, rows));
    qx_mat_copy(q, inverse);
    assert_ok(cx, qx_mat_multiply(cx, 'n', 'n', -1.0, wx, rows, 1.0, q));
    return q;
}

/* Conditional residuals e = Q y and sigma2 = y'Qy / (n - p), as a fit at its optimum has
 * them: the components are scaled to it, ratios kept. */
static void finish(qx_ctx *cx, by_hand *h, size_t n, size_t p)
{
    double *e = room(cx, n, sizeof *e);
    const size_t r = h->fit.random_count;
    h->fit.n = n;
    h->fit.p = p;
    h->fit.component = h->component;
    h->fit.component_count = r + 1;
    h->frame = (qx_frame){.n = n, .factor_count = r, .factor = h->factor};
    h->fit.design.frame = &h->frame;
    h->fit.design.n = n;
    h->fit.design.p = p;
    h->fit.design.X = h->x;
    assert_ok(cx, qx_qr_factor(cx, qx_ctx_scratch(cx), h->x, &h->fit.design.qr));
    const qx_mat q = projection(cx, covariance(cx, h), h->x);
    qx_mat_vector('n', 1.0, q, h->y, 0.0, e);
    const double sigma2 = qx_quadratic(q, h->y) / (double)(n - p);
    const double scale = sigma2 / h->component[r].variance;
    for (size_t t = 0; t <= r; t++) {
        h->component[t].variance *= scale;
    }
    h->fit.residual = e;
}

static void hold_row(const reference_case *c, const qx_residuals *r, size_t row)
{
    char name[80];
    (void)snprintf(name, sizeof name, "row%zu.externally_studentised_residual", row);
    reference_assert(c, name, r->studentised[row - 1]);
    (void)snprintf(name, sizeof name, "row%zu.internally_studentised_residual", row);
    reference_assert(c, name, r->standardised[row - 1]);
    (void)snprintf(name, sizeof name, "row%zu.cooks_distance", row);
    reference_assert(c, name, r->cook[row - 1]);
    (void)snprintf(name, sizeof name, "row%zu.leverage", row);
    reference_assert(c, name, r->leverage[row - 1]);
}

static void least_squares_cells(qx_ctx *cx,
                                by_hand *h,
                                size_t n,
                                size_t cells,
                                const uint32_t cell[],
                                const double y[])
{
    memset(h, 0, sizeof *h);
    h->x = new_mat(cx, n, cells);
    for (size_t i = 0; i < n; i++) {
        QX_AT(h->x, i, cell[i]) = 1.0;
    }
    h->y = y;
    h->component[0] = (qx_component){.name = "residual", .variance = 1.0};
    finish(cx, h, n, cells);
}

/* tests/reference/checks-insectsprays: Beall 1942. */
static void insect_sprays(void **state)
{
    static const size_t rows[] = {69, 70, 8, 23, 62};
    const reference_case *c = reference_open(*state, "checks-insectsprays");
    size_t k;
    const uint32_t *spray = reference_codes(c, "spray", &k);
    qx_residuals r;
    by_hand h;
    least_squares_cells(
        *state, &h, reference_rows(c), k, spray, reference_numbers(c, "count"));
    assert_ok(*state, qx_residuals_make(*state, results(*state), &h.fit, &r));
    assert_int_equal(r.df, 72 - 6 - 1);
    for (size_t i = 0; i < QX_COUNT(rows); i++) {
        hold_row(c, &r, rows[i]);
    }
}

/* tests/reference/checks-warpbreaks: Tippett 1950, six cells. */
static void warp_breaks(void **state)
{
    static const size_t rows[] = {5, 9, 4, 8, 1};
    const reference_case *c = reference_open(*state, "checks-warpbreaks");
    size_t wools, tensions;
    const uint32_t *wool = reference_codes(c, "wool", &wools);
    const uint32_t *tension = reference_codes(c, "tension", &tensions);
    uint32_t cell[54];
    qx_residuals r;
    by_hand h;
    assert_int_equal(reference_rows(c), 54);
    for (size_t i = 0; i < 54; i++) {
        cell[i] = wool[i] * (uint32_t)tensions + tension[i];
    }
    least_squares_cells(*state, &h, 54, 6, cell, reference_numbers(c, "breaks"));
    assert_ok(*state, qx_residuals_make(*state, results(*state), &h.fit, &r));
    for (size_t i = 0; i < QX_COUNT(rows); i++) {
        hold_row(c, &r, rows[i]);
    }
}

/* Unbalanced: 5 blocks, trees inside them, two treatments and a covariate like a year. The
 * fit has the year as it is; what it is compared with is written out by normal equations,
 * which need it centred to keep their digits (neither residuals nor distances depend on it). */
static void mixed_example(qx_ctx *cx, by_hand *h, double block_variance)
{
    enum { N = 33 };
    qx_rng rng = qx_rng_seeded(77);
    double *y = room(cx, N, sizeof *y);
    uint32_t *block = room(cx, N, sizeof *block);
    uint32_t *tree = room(cx, N, sizeof *tree);
    memset(h, 0, sizeof *h);
    h->x = new_mat(cx, N, 3);
    qx_mat year = new_mat(cx, N, 3);
    for (size_t i = 0; i < N; i++) {
        block[i] = (uint32_t)(i % 5);
        tree[i] = (uint32_t)(i % 5 * 3 + i / 5 % 3);
        QX_AT(h->x, i, 0) = 1.0;
        QX_AT(h->x, i, 1) = i / 5 % 3 == 1 ? 1.0 : 0.0;
        QX_AT(h->x, i, 2) = (double)(i * i % 7) - 3.0;
        QX_AT(year, i, 0) = 1.0;
        QX_AT(year, i, 1) = QX_AT(h->x, i, 1);
        QX_AT(year, i, 2) = 2023.0 + QX_AT(h->x, i, 2);
        y[i] = 10.0 + (double)block[i] + 0.3 * tree[i] + qx_rng_normal(&rng);
    }
    h->y = y;
    h->fit.random_count = 2;
    h->factor[0] = (qx_factor){.name = "block", .level_count = 5, .code = block};
    h->factor[1] = (qx_factor){.name = "block:tree", .level_count = 15, .code = tree};
    h->component[0] = (qx_component){.name = "block", .variance = block_variance};
    h->component[1] = (qx_component){.name = "block:tree", .variance = 0.6};
    h->component[2] = (qx_component){.name = "residual", .variance = 1.1};
    finish(cx, h, N, 3);
    h->fit.design.X = year;
    assert_ok(cx, qx_qr_factor(cx, qx_ctx_scratch(cx), year, &h->fit.design.qr));
}

/* The rows of X, y and the codes without row `out`. */
static void without_row(qx_ctx *cx, const by_hand *all, size_t out, by_hand *h)
{
    const size_t n = all->fit.n - 1;
    double *y = room(cx, n, sizeof *y);
    *h = *all;
    h->x = new_mat(cx, n, all->fit.p);
    for (size_t i = 0; i < n; i++) {
        y[i] = all->y[i + (i >= out)];
        for (size_t j = 0; j < all->fit.p; j++) {
            QX_AT(h->x, i, j) = QX_AT(all->x, i + (i >= out), j);
        }
    }
    for (size_t t = 0; t < all->fit.random_count; t++) {
        uint32_t *code = room(cx, n, sizeof *code);
        for (size_t i = 0; i < n; i++) {
            code[i] = all->factor[t].code[i + (i >= out)];
        }
        h->factor[t].code = code;
    }
    h->y = y;
    finish(cx, h, n, all->fit.p);
}

/* beta = (X'W^-1 X)^-1 X'W^-1 y, and X'W^-1 X in `gram`. */
static void generalised(qx_ctx *cx, const by_hand *h, double beta[], qx_mat gram)
{
    const size_t n = h->fit.n, p = h->fit.p;
    qx_mat w = covariance(cx, h), wx = new_mat(cx, n, p), m = new_mat(cx, p, p);
    qx_mat b = qx_mat_of(beta, p, 1);
    qx_mat_copy(wx, h->x);
    assert_ok(cx, qx_chol_factor(cx, w));
    assert_ok(cx, qx_chol_solve(cx, w, wx));
    assert_ok(cx, qx_mat_multiply(cx, 't', 'n', 1.0, h->x, wx, 0.0, gram));
    qx_mat_copy(m, gram);
    qx_mat_vector('t', 1.0, wx, h->y, 0.0, beta);
    assert_ok(cx, qx_chol_factor(cx, m));
    assert_ok(cx, qx_chol_solve(cx, m, b));
}

/* Leverage is what the definition says, element by element; and leaving each row out in
 * turn, with the variance ratios held, gives its studentised residual (the drop in y'Qy)
 * and its Cook's distance (the move of beta). */
static void hold_by_leaving_out(qx_ctx *cx, const by_hand *h, const qx_residuals *r)
{
    const size_t n = h->fit.n, p = h->fit.p, last = h->fit.random_count;
    const double df = (double)(n - p), sigma2 = h->component[last].variance;
    const qx_mat q = projection(cx, covariance(cx, h), h->x);
    double beta[3], other[3];
    qx_mat gram = new_mat(cx, p, p), ignored = new_mat(cx, p, p);
    generalised(cx, h, beta, gram);
    for (size_t i = 0; i < n; i++) {
        by_hand less;
        without_row(cx, h, i, &less);
        generalised(cx, &less, other, ignored);
        const double left = less.component[last].variance * (df - 1.0);
        const double drop = df * sigma2 - left;
        const double t2 = drop / (left / (df - 1.0));
        for (size_t j = 0; j < p; j++) {
            other[j] -= beta[j];
        }
        assert_near(r->leverage[i], 1.0 - QX_AT(q, i, i), 1e-10);
        /* t2 and the distance are differences of numbers near 30: 1e-12 of that is theirs. */
        assert_true(fabs(r->studentised[i] * r->studentised[i] - t2) <=
                    1e-9 * t2 + 1e-11);
        assert_true(r->studentised[i] * h->fit.residual[i] > 0.0);
        const double moved = qx_quadratic(gram, other) / ((double)p * sigma2);
        assert_true(fabs(r->cook[i] - moved) <= 1e-6 * moved + 1e-11);
    }
}

static void mixed_models_leave_each_row_out(void **state)
{
    by_hand h;
    qx_residuals r;
    mixed_example(*state, &h, 0.8);
    assert_ok(*state, qx_residuals_make(*state, results(*state), &h.fit, &r));
    assert_int_equal(r.df, 33 - 3 - 1);
    hold_by_leaving_out(*state, &h, &r);
}

static void a_component_at_zero_drops_out(void **state)
{
    by_hand h;
    qx_residuals r;
    mixed_example(*state, &h, 0.0);
    assert_ok(*state, qx_residuals_make(*state, results(*state), &h.fit, &r));
    hold_by_leaving_out(*state, &h, &r);
}

/* Blocks that carry practically all variation: nothing but rounding is left over to say
 * how a treatment of whole blocks weighs its rows. That is told, it is not a failure. */
static void ratios_beyond_all_measure(void **state)
{
    by_hand h;
    qx_residuals r;
    mixed_example(*state, &h, 0.8);
    for (size_t i = 0; i < h.fit.n; i++) {
        QX_AT(h.fit.design.X, i, 1) = h.factor[0].code[i] % 2 == 0 ? 1.0 : 0.0;
    }
    assert_ok(
        *state,
        qx_qr_factor(*state, qx_ctx_scratch(*state), h.fit.design.X, &h.fit.design.qr));
    h.component[0].variance *= 1e40;
    assert_ok(*state, qx_residuals_make(*state, results(*state), &h.fit, &r));
    for (size_t i = 0; i < r.n; i++) {
        assert_true(isnan(r.studentised[i]) || isfinite(r.studentised[i]));
        assert_true(isnan(r.leverage[i]) == isnan(r.studentised[i]));
    }
    h.component[0].variance = INFINITY;
    assert_ok(*state, qx_residuals_make(*state, results(*state), &h.fit, &r));
    assert_true(isnan(r.leverage[0]) && isnan(r.studentised[0]) && isnan(r.cook[0]));
}

/* A cell with one row fits it exactly: that row has no residual of its own. */
static void a_row_alone_in_its_cell(void **state)
{
    static const double y[] = {1, 2, 4, 3, 9};
    static const uint32_t cell[] = {0, 0, 0, 0, 1};
    by_hand h;
    qx_residuals r;
    least_squares_cells(*state, &h, 5, 2, cell, y);
    assert_ok(*state, qx_residuals_make(*state, results(*state), &h.fit, &r));
    assert_near(r.leverage[4], 1.0, 1e-12);
    assert_true(isnan(r.standardised[4]) && isnan(r.studentised[4]) && isnan(r.cook[4]));
    assert_true(isfinite(r.studentised[0]));
}

/* One residual df: no external residuals. No variation at all: none of any kind. */
static void too_little_left_over(void **state)
{
    static const double y[] = {1, 2, 4}, flat[] = {5, 5, 5, 5};
    static const uint32_t cell[] = {0, 0, 1}, same[] = {0, 0, 0, 0};
    by_hand h;
    qx_residuals r;
    least_squares_cells(*state, &h, 3, 2, cell, y);
    assert_ok(*state, qx_residuals_make(*state, results(*state), &h.fit, &r));
    assert_int_equal(r.df, 0);
    assert_true(isfinite(r.standardised[0]) && isnan(r.studentised[0]));
    least_squares_cells(*state, &h, 4, 1, same, flat);
    h.component[0].variance = 0.0;
    assert_ok(*state, qx_residuals_make(*state, results(*state), &h.fit, &r));
    assert_true(isnan(r.standardised[2]) && isnan(r.studentised[2]) && isnan(r.cook[2]));
}

static void refuses_a_term_without_a_column(void **state)
{
    by_hand h;
    qx_residuals r;
    mixed_example(*state, &h, 0.8);
    h.component[1].name = "limb";
    assert_fails(*state,
                 qx_residuals_make(*state, results(*state), &h.fit, &r),
                 QX_E_SHAPE,
                 "limb");
}

static qx_status make_once(qx_ctx *cx, void *given)
{
    qx_residuals r;
    qx_arena *arena = qx_arena_new();
    if (arena == NULL) {
        return QX_E_NOMEM;
    }
    const qx_status status = qx_residuals_make(cx, arena, given, &r);
    qx_arena_free(arena);
    return status;
}

static void survives_no_memory(void **state)
{
    by_hand h;
    mixed_example(*state, &h, 0.8);
    assert_true(fail_each_allocation(make_once, &h.fit) > 5);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_CTX(insect_sprays),
        WITH_CTX(warp_breaks),
        WITH_CTX(mixed_models_leave_each_row_out),
        WITH_CTX(a_component_at_zero_drops_out),
        WITH_CTX(ratios_beyond_all_measure),
        WITH_CTX(a_row_alone_in_its_cell),
        WITH_CTX(too_little_left_over),
        WITH_CTX(refuses_a_term_without_a_column),
        WITH_CTX(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
