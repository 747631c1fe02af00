/* Layouts that are printed in books, from the units alone: the efficiency of ours is at
 * least theirs. And what the search gives by itself, and 1,000 trees in seconds. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>
#include <string.h>
#include <time.h>

#include "layout/assess.h"
#include "layout/search.h"
#include "support.h"

#define LEVELS_MOST 400

/* Room for a spec of up to four units and one treatment. */
typedef struct room {
    qx_layout_unit unit[4];
    qx_layout_treatment treatment;
    qx_layout_spec spec;
    char names[LEVELS_MOST][24];
    const char *level[LEVELS_MOST];
} room;

static void name_levels(room *r, size_t v, size_t on)
{
    for (size_t i = 0; i < v; i++) {
        (void)snprintf(r->names[i], sizeof r->names[i], "%zu", i + 1);
        r->level[i] = r->names[i];
    }
    r->treatment = (qx_layout_treatment){"variety", v, r->level, on};
}

/* `sets` of 1: blocks alone. */
static void blocks_spec_of(room *r, size_t v, size_t k, size_t b, size_t sets)
{
    r->unit[0] = (qx_layout_unit){.name = "replicate", .count = sets};
    r->unit[1] = (qx_layout_unit){
        .name = "block", .parent_count = 1, .parent = {0}, .count = b / sets};
    r->unit[2] =
        (qx_layout_unit){.name = "tree", .parent_count = 1, .parent = {1}, .count = k};
    name_levels(r, v, 2);
    r->spec = (qx_layout_spec){3, r->unit, 1, &r->treatment, NULL};
}

static void lines_spec_of(room *r, size_t v, size_t rows, size_t columns)
{
    r->unit[0] = (qx_layout_unit){.name = "row", .count = rows};
    r->unit[1] = (qx_layout_unit){.name = "column", .count = columns};
    r->unit[2] =
        (qx_layout_unit){.name = "tree", .parent_count = 2, .parent = {0, 1}, .count = 1};
    name_levels(r, v, 2);
    r->spec = (qx_layout_spec){3, r->unit, 1, &r->treatment, NULL};
}

static qx_criteria made(qx_ctx *cx, const room *r, uint64_t seed, const char *kind)
{
    qx_layout *layout = NULL;
    qx_criteria c = {0};
    assert_ok(cx, qx_layout_make(cx, &r->spec, seed, &layout));
    assert_string_equal(layout->kind, kind);
    assert_ok(cx, qx_layout_criteria(cx, &r->spec, layout, 2, &c));
    assert_true(c.parts == 1 && c.a_efficiency <= c.a_bound + 1e-9);
    qx_layout_free(layout);
    return c;
}

/* Best published for the sizes: E = v(k-1)/(k(v-1)) where they are balanced. */
typedef struct published {
    const char *name; /* and where it stands */
    size_t v, k, b, sets;
    double efficiency;
} published;

static const published books[] = {
    {"7 in 3: Fisher & Yates, Statistical Tables, table XVII", 7, 3, 7, 1, 7.0 / 9},
    {"13 in 4: Fisher & Yates, table XVII; Cochran & Cox 1957, plan 11.22 (number from "
     "memory)",
     13,
     4,
     13,
     1,
     13.0 / 16},
    {"21 in 5: Fisher & Yates, table XVII", 21, 5, 21, 1, 0.84},
    {"31 in 6: Fisher & Yates, table XVII", 31, 6, 31, 1, 31.0 * 5 / (6 * 30)},
    {"catalysts, 4 in 3: Montgomery, Design and Analysis of Experiments, incomplete "
     "blocks",
     4,
     3,
     4,
     1,
     8.0 / 9},
    {"balanced lattice 3 x 3: Cochran & Cox 1957, plan 10.1", 9, 3, 12, 4, 0.75},
    {"balanced lattice 4 x 4: Cochran & Cox 1957, plan 10.2", 16, 4, 20, 5, 0.8},
    {"balanced lattice 5 x 5: Cochran & Cox 1957, plan 10.3", 25, 5, 30, 6, 5.0 / 6},
    /* (k+1)(r-1) / ((k+1)(r-1) + r): Yates 1936, J Agric Sci 26:424-455 */
    {"soybeans, simple lattice 5 x 5: Cochran & Cox 1957, ch. 10", 25, 5, 10, 2, 6.0 / 8},
    {"triple lattice 6 x 6: Cochran & Cox 1957, ch. 10", 36, 6, 18, 3, 14.0 / 17},
    {"quadruple lattice 8 x 8: Yates 1936", 64, 8, 32, 4, 27.0 / 31}};

static void blocks_of_the_books_are_matched(void **state)
{
    for (size_t i = 0; i < QX_COUNT(books); i++) {
        static room r;
        const published *p = &books[i];
        blocks_spec_of(&r, p->v, p->k, p->b, p->sets);
        for (uint64_t seed = 1; seed <= 2; seed++) {
            const qx_criteria c = made(*state, &r, seed, "incomplete");
            if (c.a_efficiency < p->efficiency - 1e-10) {
                fail_msg(
                    "%s: %.8f, published %.8f", p->name, c.a_efficiency, p->efficiency);
            }
        }
    }
}

/* Youden 1937, Contrib Boyce Thompson Inst 9:41-48 (7 x 3 among others), 1940, 11:219-228:
 * rows hold all, columns are balanced. */
static void youden_squares_are_matched(void **state)
{
    static const size_t sizes[][2] = {{7, 3}, {7, 4}, {11, 5}, {13, 4}, {21, 5}};
    for (size_t i = 0; i < QX_COUNT(sizes); i++) {
        static room r;
        const size_t v = sizes[i][0];
        const size_t k = sizes[i][1];
        const double e = (double)(v * (k - 1)) / (double)(k * (v - 1));
        lines_spec_of(&r, v, k, v);
        assert_true(made(*state, &r, 3, "rowcol").a_efficiency >= e - 1e-10);
        lines_spec_of(&r, v, v, k);
        assert_true(made(*state, &r, 4, "rowcol").a_efficiency >= e - 1e-10);
    }
}

/* Harshbarger 1949, Virginia Agric Exp Stn Memoir 1 (from memory): a rectangular lattice of
 * s(s-1) in blocks of s-1 comes from a square of order s with a diagonal of different
 * letters left out: replicates by rows, columns and letters. Built here from that, for
 * s = 5: the square x + 2y mod 5 has the diagonal x = y with letters 3x. */
static void a_rectangular_lattice_is_matched(void **state)
{
    enum { S = 5, V = S * (S - 1), PLOTS = 3 * V };
    uint32_t block[PLOTS];
    uint32_t treatment[PLOTS];
    size_t n = 0;
    for (uint32_t set = 0; set < 3; set++) {
        uint32_t number = 0;
        for (uint32_t x = 0; x < S; x++) {
            for (uint32_t y = 0; y < S; y++) {
                const uint32_t line = set == 0 ? x : set == 1 ? y : (x + 2 * y) % S;
                if (x != y) {
                    block[n] = set * S + line;
                    treatment[n++] = number++;
                }
            }
        }
    }
    assert_int_equal(n, PLOTS);
    qx_criteria theirs = {0};
    const qx_blocking blocking = {(size_t)3 * S, block};
    assert_ok(*state, qx_criteria_of(*state, n, V, treatment, 1, &blocking, &theirs));
    assert_int_equal(theirs.parts, 1);
    static room r;
    blocks_spec_of(&r, V, S - 1, (size_t)3 * S, 3);
    const qx_criteria ours = made(*state, &r, 5, "incomplete");
    assert_true(ours.a_efficiency >= theirs.a_efficiency - 1e-10);
}

/* John, Wolock & David 1972, Cyclic Designs, NBS Applied Mathematics Series 62, tabulate the
 * best cyclic layouts: one block developed mod v. The best of all of them, found here by
 * going through every block, for v = 10 in blocks of 3 and v = 12 in blocks of 4. */
static double best_cyclic(qx_ctx *cx, uint32_t v, uint32_t k)
{
    double best = 0;
    for (uint32_t code = 0; code < (1U << v); code++) {
        uint32_t treatment[48];
        uint32_t block[48];
        uint32_t held = 0;
        for (uint32_t x = 0; x < v; x++) {
            held += code >> x & 1U;
        }
        if (held != k || (code & 1U) == 0) {
            continue;
        }
        size_t n = 0;
        for (uint32_t c = 0; c < v; c++) {
            for (uint32_t x = 0; x < v; x++) {
                if ((code >> x & 1U) != 0) {
                    block[n] = c;
                    treatment[n++] = (x + c) % v;
                }
            }
        }
        qx_criteria found = {0};
        const qx_blocking blocking = {v, block};
        assert_ok(cx, qx_criteria_of(cx, n, v, treatment, 1, &blocking, &found));
        if (found.parts == 1 && found.a_efficiency > best) {
            best = found.a_efficiency;
        }
    }
    return best;
}

static void the_best_cyclic_layouts_are_matched(void **state)
{
    static const uint32_t sizes[][2] = {{10, 3}, {12, 4}};
    for (size_t i = 0; i < QX_COUNT(sizes); i++) {
        static room r;
        const double theirs = best_cyclic(*state, sizes[i][0], sizes[i][1]);
        blocks_spec_of(&r, sizes[i][0], sizes[i][1], sizes[i][0], 1);
        const qx_criteria ours = made(*state, &r, 6, "incomplete");
        if (ours.a_efficiency < theirs - 1e-10) {
            fail_msg("%u in %u: %.8f, best cyclic %.8f",
                     (unsigned)sizes[i][0],
                     (unsigned)sizes[i][1],
                     ours.a_efficiency,
                     theirs);
        }
    }
}

/* --- the search alone --- */

/* From treatments in their order, without any construction. */
static double
searched(qx_ctx *cx, size_t v, size_t k, size_t b, uint64_t seed, double *trace)
{
    static uint32_t block[1000];
    static uint32_t treatment[1000];
    qx_criteria c = {0};
    qx_rng rng = qx_rng_seeded(seed);
    for (uint32_t i = 0; i < b * k; i++) {
        block[i] = i / (uint32_t)k;
        treatment[i] = i % (uint32_t)v;
    }
    const qx_search problem = {.plots = b * k,
                               .treatments = v,
                               .family_count = 1,
                               .blocking_count = 1,
                               .blocking = {{b, block}},
                               .sign = {1},
                               .work = QX_SEARCH_WORK / 4};
    assert_ok(cx, qx_search_run(cx, &problem, &rng, treatment, trace));
    assert_ok(cx, qx_criteria_of(cx, b * k, v, treatment, 1, problem.blocking, &c));
    /* the trace that the updates carried is the one that the eigenvalues give */
    assert_near(*trace,
                (double)(v - 1) / (c.a_efficiency * (double)b * (double)k / (double)v),
                1e-8);
    return c.a_efficiency;
}

static void the_search_finds_what_is_known(void **state)
{
    static const size_t cases[][3] = {{7, 3, 7}, {9, 3, 12}, {13, 4, 13}, {16, 4, 20}};
    for (size_t i = 0; i < QX_COUNT(cases); i++) {
        const size_t v = cases[i][0];
        const size_t k = cases[i][1];
        double trace = 0;
        const double e = searched(*state, v, k, cases[i][2], 11, &trace);
        assert_near(e, (double)(v * (k - 1)) / (double)(k * (v - 1)), 1e-10);
    }
}

static void the_search_repeats_itself(void **state)
{
    double first = 0;
    double again = 0;
    (void)searched(*state, 30, 5, 18, 7, &first);
    (void)searched(*state, 30, 5, 18, 7, &again);
    assert_true(first == again);
}

/* 1,000 trees: 100 levels in 100 blocks of 10, and 250 in four sets of 25 blocks. A few
 * seconds on a slow machine: processor time, so that company does not matter. */
static void a_thousand_trees_take_seconds(void **state)
{
    static const struct {
        size_t v, k, b, sets;
        double share; /* of the bound that must be reached */
    } cases[] = {
        {100, 10, 100, 1, 0.99}, {250, 10, 100, 4, 0.985}, {200, 10, 100, 5, 0.985}};
    for (size_t i = 0; i < QX_COUNT(cases); i++) {
        static room r;
        blocks_spec_of(&r, cases[i].v, cases[i].k, cases[i].b, cases[i].sets);
        const clock_t start = clock();
        const qx_criteria c = made(*state, &r, 8, "incomplete");
        const double seconds = (double)(clock() - start) / CLOCKS_PER_SEC;
        assert_true(c.a_efficiency > cases[i].share * c.a_bound);
        print_message(
            "%zu levels on 1,000 trees: A-efficiency %.4f of at most %.4f, %.1f s\n",
            cases[i].v,
            c.a_efficiency,
            c.a_bound,
            seconds);
        assert_true(seconds < 60); /* sanitizers are twenty times slower */
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define T(name) cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)
        T(blocks_of_the_books_are_matched),
        T(youden_squares_are_matched),
        T(a_rectangular_lattice_is_matched),
        T(the_best_cyclic_layouts_are_matched),
        T(the_search_finds_what_is_known),
        T(the_search_repeats_itself),
        T(a_thousand_trees_take_seconds),
#undef T
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
