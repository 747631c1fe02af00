/* Latin squares are latin and uniform. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "base/map.h"
#include "layout/latin_square.h"
#include "numeric/dist.h"
#include "support.h"

#define CHANCE 1e-4

static void assert_latin(const uint32_t square[], size_t n)
{
    for (size_t i = 0; i < n; i++) {
        uint64_t row = 0;
        uint64_t column = 0;
        for (size_t j = 0; j < n; j++) {
            row |= UINT64_C(1) << square[i * n + j];
            column |= UINT64_C(1) << square[j * n + i];
        }
        assert_true(row == (UINT64_C(1) << n) - 1);
        assert_true(column == (UINT64_C(1) << n) - 1);
    }
}

/* Draws squares of order n and counts how often each occurs: all `squares` of them must
 * occur, equally often (chi-squared).
 * Numbers of Latin squares: 12 (order 3), 576 (order 4), 161,280 (order 5):
 * n! (n-1)! times the reduced ones; OEIS A002860. */
static void drawn_uniformly(qx_ctx *cx, size_t n, size_t squares, size_t draws)
{
    qx_arena *arena = qx_arena_new();
    qx_map *map = qx_map_new(arena);
    size_t *seen = qx_arena_alloc(arena, squares, sizeof *seen);
    qx_rng rng = qx_rng_seeded(1996);
    for (size_t i = 0; i < draws; i++) {
        uint32_t square[36];
        assert_ok(cx, qx_latin_square(cx, &rng, n, square));
        assert_latin(square, n);
        const size_t k = qx_map_add(map, (const char *)square, n * n * sizeof square[0]);
        assert_true(k < squares);
        seen[k]++;
    }
    assert_int_equal(qx_map_count(map), squares);
    const double want = (double)draws / (double)squares;
    double chisq = 0;
    for (size_t i = 0; i < squares; i++) {
        chisq += ((double)seen[i] - want) * ((double)seen[i] - want) / want;
    }
    const double p = qx_chisq_p(chisq, (double)squares - 1, QX_UPPER);
    if (p < CHANCE || p > 1 - CHANCE) {
        fail_msg("order %zu: chi-squared %g, p = %g", n, chisq, p);
    }
    qx_arena_free(arena);
}

static void the_2_squares_of_order_2(void **state)
{
    drawn_uniformly(*state, 2, 2, 1000);
}

static void the_12_squares_of_order_3(void **state)
{
    drawn_uniformly(*state, 3, 12, 6000);
}

static void the_576_squares_of_order_4(void **state)
{
    drawn_uniformly(*state, 4, 576, 57600);
}

static uint32_t has_intercalate(const uint32_t square[], size_t n, size_t r, size_t c)
{
    uint32_t count = 0;
    for (size_t r2 = r + 1; r2 < n; r2++) {
        for (size_t c2 = c + 1; c2 < n; c2++) {
            count += square[r * n + c] == square[r2 * n + c2] &&
                             square[r * n + c2] == square[r2 * n + c]
                         ? 1
                         : 0;
        }
    }
    return count;
}

/* The chain leaves the cyclic square behind: the cyclic square of order 7 has no 2 x 2
 * subsquare and no shuffling of rows, columns or symbols gives it one, while a random
 * square of order 7 has 42/4 = 10.5 places times a small chance; most have some. */
static void the_chain_leaves_the_cyclic_square(void **state)
{
    size_t with = 0;
    qx_rng rng = qx_rng_seeded(7);
    for (size_t i = 0; i < 40; i++) {
        uint32_t square[49];
        uint32_t count = 0;
        assert_ok(*state, qx_latin_square(*state, &rng, 7, square));
        assert_latin(square, 7);
        for (size_t k = 0; k < 49; k++) {
            count += has_intercalate(square, 7, k / 7, k % 7);
        }
        with += count > 0 ? 1 : 0;
    }
    assert_true(with >= 30);
}

static void cells_of_the_chain_are_balanced(void **state)
{
    /* 2100 squares of order 7: every symbol in the corner 300 times expected. */
    size_t seen[7] = {0};
    qx_rng rng = qx_rng_seeded(77);
    for (size_t i = 0; i < 2100; i++) {
        uint32_t square[49];
        assert_ok(*state, qx_latin_square(*state, &rng, 7, square));
        seen[square[0]]++;
    }
    double chisq = 0;
    for (size_t i = 0; i < 7; i++) {
        chisq += ((double)seen[i] - 300) * ((double)seen[i] - 300) / 300;
    }
    const double p = qx_chisq_p(chisq, 6, QX_UPPER);
    assert_true(p > CHANCE && p < 1 - CHANCE);
}

static void large_orders_are_latin(void **state)
{
    qx_rng rng = qx_rng_seeded(50);
    uint32_t square[20 * 20];
    assert_ok(*state, qx_latin_square(*state, &rng, 20, square));
    assert_latin(square, 20);
}

static void orders_outside_are_refused(void **state)
{
    qx_rng rng = qx_rng_seeded(1);
    uint32_t square[1];
    assert_fails(*state, qx_latin_square(*state, &rng, 0, square), QX_E_ARG, "order 0");
    assert_fails(*state, qx_latin_square(*state, &rng, 51, square), QX_E_ARG, "order 51");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define T(name) cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)
        T(the_2_squares_of_order_2),
        T(the_12_squares_of_order_3),
        T(the_576_squares_of_order_4),
        T(the_chain_leaves_the_cyclic_square),
        T(cells_of_the_chain_are_balanced),
        T(large_orders_are_latin),
        T(orders_outside_are_refused),
#undef T
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
