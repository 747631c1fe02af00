#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <string.h>

#include "model/compare.h"
#include "numeric/rng.h"
#include "reference_case.h"
#include "support.h"

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

static bool share(const char *a, const char *b)
{
    return strpbrk(a, b) != NULL;
}

static size_t count_letters(size_t k, const char *const text[])
{
    char seen[256] = {0};
    size_t count = 0;
    for (size_t i = 0; i < k; i++) {
        for (const char *c = text[i]; *c != '\0'; c++) {
            count += seen[(unsigned char)*c] == 0 ? 1U : 0U;
            seen[(unsigned char)*c] = 1;
        }
    }
    return count;
}

static void set_differ(bool differ[], size_t k, size_t i, size_t j, bool value)
{
    differ[i + j * k] = differ[j + i * k] = value;
}

/* Largest mean first, by insertion. */
static void order_of(size_t k, const double mean[], size_t order[])
{
    for (size_t i = 0; i < k; i++) {
        size_t at = i;
        for (; at > 0 && mean[order[at - 1]] < mean[i]; at--) {
            order[at] = order[at - 1];
        }
        order[at] = i;
    }
}

typedef struct expected_letters {
    const char *folder, *factor, *by, *p; /* "tukey", "tukey_p"; "lsd", "p" */
    size_t k;
    const char *level[8];
} expected_letters;

static double pair_value(const reference_case *c,
                         const expected_letters *e,
                         const char *head,
                         size_t i,
                         size_t j,
                         const char *tail)
{
    char name[120];
    (void)snprintf(name,
                   sizeof name,
                   "%s.%s.%s-%s.%s",
                   head,
                   e->factor,
                   e->level[i],
                   e->level[j],
                   tail);
    if (!reference_has(c, name)) {
        (void)snprintf(name,
                       sizeof name,
                       "%s.%s.%s-%s.%s",
                       head,
                       e->factor,
                       e->level[j],
                       e->level[i],
                       tail);
    }
    return reference_value(c, name);
}

/* Letters from the case's p and means against the shares and the number of letters that
 * its insert-and-absorb found. */
static void hold_letters(qx_ctx *cx, const expected_letters *e)
{
    const reference_case *c = reference_open(cx, e->folder);
    bool differ[64] = {false};
    double mean[8];
    size_t order[8];
    const char *letters[8];
    char name[120], tail[20];
    for (size_t i = 0; i < e->k; i++) {
        (void)snprintf(
            name, sizeof name, "emmean.%s.%s.estimate", e->factor, e->level[i]);
        mean[i] = reference_value(c, name);
        for (size_t j = 0; j < i; j++) {
            const double p = pair_value(c, e, "diff", j, i, e->p);
            set_differ(differ, e->k, i, j, p < 0.05);
        }
    }
    order_of(e->k, mean, order);
    assert_ok(cx, qx_letters(cx, results(cx), e->k, differ, order, letters));
    (void)snprintf(tail, sizeof tail, "%s.share", e->by);
    for (size_t i = 0; i < e->k; i++) {
        for (size_t j = 0; j < i; j++) {
            assert_int_equal(share(letters[i], letters[j]),
                             pair_value(c, e, "letters", j, i, tail) > 0.5);
        }
    }
    (void)snprintf(name, sizeof name, "letters.%s.%s.count", e->factor, e->by);
    reference_assert(c, name, (double)count_letters(e->k, letters));
    assert_int_equal(letters[order[0]][0], 'a');
}

static void letters_of_reference_cases(void **state)
{
    static const expected_letters cases[] = {
        {"crd-plantgrowth", "group", "tukey", "tukey_p", 3, {"ctrl", "trt1", "trt2"}},
        {"crd-plantgrowth", "group", "lsd", "p", 3, {"ctrl", "trt1", "trt2"}},
        {"crd-insectsprays-sqrt",
         "spray",
         "tukey",
         "tukey_p",
         6,
         {"A", "B", "C", "D", "E", "F"}},
        {"latin-orchardsprays",
         "treatment",
         "tukey",
         "tukey_p",
         8,
         {"A", "B", "C", "D", "E", "F", "G", "H"}},
        {"rcbd-immer-1931", "variety", "lsd", "p", 5, {"M", "P", "S", "T", "V"}},
        {"splitplot-oats", "nitrogen", "tukey", "tukey_p", 4, {"0", "0.2", "0.4", "0.6"}},
    };
    for (size_t i = 0; i < QX_COUNT(cases); i++) {
        hold_letters(*state, &cases[i]);
    }
}

/* The definition, on 200 random tables: letters are shared exactly by pairs that do not
 * differ, and no letter could be left out. */
static void shared_exactly_where_alike(void **state)
{
    qx_rng rng = qx_rng_seeded(20260101);
    for (int trial = 0; trial < 200; trial++) {
        const size_t k = 1 + (size_t)qx_rng_below(&rng, 9);
        bool differ[81] = {false};
        size_t order[9];
        const char *letters[9];
        for (size_t i = 0; i < k; i++) {
            order[i] = i;
            for (size_t j = 0; j < i; j++) {
                set_differ(differ, k, i, j, qx_rng_uniform(&rng) < 0.5);
            }
        }
        qx_rng_shuffle(&rng, k, order);
        assert_ok(*state, qx_letters(*state, results(*state), k, differ, order, letters));
        assert_int_equal(letters[order[0]][0], 'a');
        for (size_t i = 0; i < k; i++) {
            assert_true(letters[i][0] != '\0');
            for (size_t j = 0; j < k; j++) {
                assert_int_equal(share(letters[i], letters[j]),
                                 i == j || !differ[i + j * k]);
            }
        }
    }
}

/* Nothing differs: one letter; everything differs: one each, along the order. */
static void extremes(void **state)
{
    bool none[16] = {false}, all[16];
    const size_t order[4] = {2, 0, 3, 1};
    const char *out[4];
    memset(all, 1, sizeof all);
    assert_ok(*state, qx_letters(*state, results(*state), 4, none, order, out));
    for (size_t i = 0; i < 4; i++) {
        assert_string_equal(out[i], "a");
    }
    assert_ok(*state, qx_letters(*state, results(*state), 4, all, order, out));
    assert_string_equal(out[2], "a");
    assert_string_equal(out[0], "b");
    assert_string_equal(out[3], "c");
    assert_string_equal(out[1], "d");
}

/* Overlapping neighbours: means in steps where only the next one is alike. */
static void a_chain_reads_from_the_top(void **state)
{
    bool differ[16];
    const size_t order[4] = {0, 1, 2, 3};
    const char *out[4];
    for (size_t i = 0; i < 4; i++) {
        for (size_t j = 0; j < 4; j++) {
            differ[i + 4 * j] = i > j + 1 || j > i + 1;
        }
    }
    assert_ok(*state, qx_letters(*state, results(*state), 4, differ, order, out));
    assert_string_equal(out[0], "a");
    assert_string_equal(out[1], "ab");
    assert_string_equal(out[2], "bc");
    assert_string_equal(out[3], "c");
}

static void letters_beyond_the_alphabet(void **state)
{
    enum { K = 60 };
    static bool differ[K * K];
    size_t order[K];
    const char *out[K];
    memset(differ, 1, sizeof differ);
    for (size_t i = 0; i < K; i++) {
        order[i] = i;
    }
    assert_ok(*state, qx_letters(*state, results(*state), K, differ, order, out));
    assert_string_equal(out[25], "z");
    assert_string_equal(out[26], "A");
    assert_string_equal(out[51], "Z");
    assert_string_equal(out[52], "(53)");
    assert_string_equal(out[59], "(60)");
}

/* Fifteen groups of three that differ inside the group and not between groups would need
 * 3^15 letters (Moon & Moser 1965, Israel J Math 3:23-28): none are given, and it is told. */
static void too_many_letters_are_left_out(void **state)
{
    enum { K = 45 };
    static bool differ[K * K];
    size_t order[K];
    const char *out[K];
    for (size_t i = 0; i < K; i++) {
        order[i] = i;
        out[i] = "x";
        for (size_t j = 0; j < K; j++) {
            differ[i + K * j] = i / 3 == j / 3;
        }
    }
    assert_ok(*state, qx_letters(*state, results(*state), K, differ, order, out));
    for (size_t i = 0; i < K; i++) {
        assert_null(out[i]);
    }
    assert_int_equal(qx_ctx_note_count(*state), 1);
    assert_non_null(strstr(qx_ctx_note(*state, 0), "45 means"));
}

static void refuses_an_order_that_is_none(void **state)
{
    bool differ[4] = {false};
    const char *out[2];
    const size_t twice[2] = {0, 0}, beyond[2] = {0, 2};
    assert_fails(*state,
                 qx_letters(*state, results(*state), 2, differ, twice, out),
                 QX_E_ARG,
                 "order");
    assert_fails(*state,
                 qx_letters(*state, results(*state), 2, differ, beyond, out),
                 QX_E_ARG,
                 "order");
}

/* The scratch is rewound before the letters could be read. */
static void refuses_the_scratch(void **state)
{
    const bool differ[4] = {false};
    const size_t order[2] = {0, 1};
    const char *out[2];
    assert_fails(*state,
                 qx_letters(*state, qx_ctx_scratch(*state), 2, differ, order, out),
                 QX_E_ARG,
                 "an arena of their own");
}

static qx_status any_letters(qx_ctx *cx, void *given)
{
    bool differ[9] = {0, 1, 0, 1, 0, 0, 0, 0, 0};
    const size_t order[3] = {0, 1, 2};
    const char *out[3];
    qx_arena *arena = given;
    return qx_letters(cx, arena, 3, differ, order, out);
}

static void survives_no_memory(void **state)
{
    (void)state;
    qx_arena *arena = qx_arena_new();
    assert_true(fail_each_allocation(any_letters, arena) > 0);
    qx_arena_free(arena);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_CTX(letters_of_reference_cases),
        WITH_CTX(shared_exactly_where_alike),
        WITH_CTX(extremes),
        WITH_CTX(a_chain_reads_from_the_top),
        WITH_CTX(letters_beyond_the_alphabet),
        WITH_CTX(too_many_letters_are_left_out),
        WITH_CTX(refuses_an_order_that_is_none),
        WITH_CTX(refuses_the_scratch),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
