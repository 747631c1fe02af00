/* The contract of every kind: each combination gets its replicates, blocks hold what they
 * promise, the same seed gives the same layout, memory that ends is told; and chance: small
 * cases are counted off, every layout that may come must come equally often. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "base/map.h"
#include "layout/assess.h"
#include "layout/kind.h"
#include "layout/neighbour.h"
#include "layout/position.h"
#include "layout/randomise.h"
#include "numeric/dist.h"
#include "small.h"
#include "specs.h"
#include "support.h"

/* --- what each kind promises --- */

static void whole_trials_are_as_equal_as_they_can_be(void **state)
{
    small s;
    const size_t count[] = {11};
    chain_of(&s, 3, 1, count);
    for (uint64_t seed = 0; seed < 50; seed++) {
        qx_layout *l = small_make(*state, &s.spec, seed);
        assert_string_equal(l->kind, "crd");
        assert_int_equal(l->version, 2);
        for (uint32_t level = 0; level < 3; level++) {
            const size_t n = count_in(l, SIZE_MAX, 0, level);
            assert_true(n == 3 || n == 4);
        }
        qx_layout_free(l);
    }
}

static void wished_replicates_are_kept(void **state)
{
    static const size_t times[] = {2, 1, 1};
    small s;
    const size_t count[] = {3, 8};
    chain_of(&s, 3, 2, count);
    s.replicates[0] = times;
    s.wishes.replicates = s.replicates;
    for (uint64_t seed = 0; seed < 50; seed++) {
        qx_layout *l = small_make(*state, &s.spec, seed);
        for (size_t block = 0; block < 3; block++) {
            for (uint32_t level = 0; level < 3; level++) {
                assert_int_equal(count_in(l, block, 0, level), level == 0 ? 4 : 2);
            }
        }
        qx_layout_free(l);
    }
}

/* Blocks of 3 with 7 levels: every two levels together once. */
static void balanced_blocks_hold_every_pair(void **state)
{
    small s;
    const size_t count[] = {7, 3};
    chain_of(&s, 7, 2, count);
    for (uint64_t seed = 0; seed < 20; seed++) {
        qx_layout *l = small_make(*state, &s.spec, seed);
        size_t pair[7][7] = {{0}};
        assert_string_equal(l->kind, "incomplete");
        for (size_t i = 7; i < l->placed_count; i++) {
            for (size_t j = 7; j < i; j++) {
                if (l->placed[i].parent[0] == l->placed[j].parent[0]) {
                    pair[level_at(l, i, 0)][level_at(l, j, 0)]++;
                    pair[level_at(l, j, 0)][level_at(l, i, 0)]++;
                }
            }
        }
        for (size_t a = 0; a < 49; a++) {
            assert_int_equal(pair[a / 7][a % 7], a / 7 == a % 7 ? 0 : 1);
        }
        qx_layout_free(l);
    }
}

static void sets_of_blocks_stay_complete(void **state)
{
    small s;
    const size_t count[] = {3, 4, 3};
    chain_of(&s, 12, 3, count);
    for (uint64_t seed = 0; seed < 10; seed++) {
        qx_layout *l = small_make(*state, &s.spec, seed);
        assert_string_equal(l->kind, "incomplete");
        for (size_t site = 0; site < 3; site++) {
            size_t seen[12] = {0};
            for (size_t i = 15; i < l->placed_count; i++) {
                const size_t block = l->placed[i].parent[0];
                seen[level_at(l, i, 0)] += l->placed[block].parent[0] == site ? 1 : 0;
            }
            for (size_t v = 0; v < 12; v++) {
                assert_int_equal(seen[v], 1);
            }
        }
        qx_layout_free(l);
    }
}

/* Any levels, block size and number: replicates differ by one at most, blocks by one at
 * most, everything can be compared, and no better than the bound. */
static void blocks_of_any_size_are_connected(void **state)
{
    for (size_t v = 2; v <= 9; v += v < 3 ? 1 : 2) {
        for (size_t k = 2; k <= 8; k += k < 5 ? 1 : 3) {
            const size_t b = (v - 1 + k - 2) / (k - 1) + 1;
            small s;
            const size_t count[] = {b, k};
            chain_of(&s, v, 2, count);
            if (k % v == 0 || b * k < v) {
                continue;
            }
            qx_layout *l = small_make(*state, &s.spec, v * 100 + k);
            qx_criteria c = {0};
            assert_string_equal(l->kind, "incomplete");
            assert_ok(*state, qx_layout_criteria(*state, &s.spec, l, 1, &c));
            assert_int_equal(c.parts, 1);
            assert_true(c.a_efficiency <= c.a_bound + 1e-9);
            for (uint32_t level = 0; level < v; level++) {
                const size_t n = count_in(l, SIZE_MAX, 0, level);
                assert_true(n == b * k / v || n == b * k / v + 1);
                for (size_t block = 0; k >= v && block < b; block++) {
                    assert_true(count_in(l, block, 0, level) >= 1);
                }
            }
            qx_layout_free(l);
        }
    }
}

/* 3 rows of 6 with 6 levels: rows hold all; 4 x 5 with 10: each twice. */
static void rows_hold_all_where_they_can(void **state)
{
    small s;
    crossed_of(&s, 6, 3, 6);
    qx_layout *l = small_make(*state, &s.spec, 4);
    assert_string_equal(l->kind, "rowcol");
    for (size_t row = 0; row < 3; row++) {
        for (uint32_t level = 0; level < 6; level++) {
            assert_int_equal(count_in(l, row, 0, level), 1);
        }
    }
    for (size_t column = 3; column < 9; column++) {
        for (uint32_t level = 0; level < 6; level++) {
            assert_true(count_in(l, column, 1, level) <= 1);
        }
    }
    qx_layout_free(l);
    crossed_of(&s, 10, 4, 5);
    l = small_make(*state, &s.spec, 5);
    qx_criteria c = {0};
    assert_ok(*state, qx_layout_criteria(*state, &s.spec, l, 2, &c));
    assert_true(c.parts == 1 && c.a_efficiency > 0.9 * c.a_bound);
    for (uint32_t level = 0; level < 10; level++) {
        assert_int_equal(count_in(l, SIZE_MAX, 0, level), 2);
    }
    qx_layout_free(l);
}

/* Three of the 12 trees are not there: blocks of 3, 1, 3 and 2 hold what is left. */
static void blocks_hold_what_is_left(void **state)
{
    static const qx_left_out out[] = {{1, 2, {2, 1}}, {1, 2, {2, 3}}, {1, 2, {4, 2}}};
    small s;
    const size_t count[] = {4, 3};
    chain_of(&s, 3, 2, count);
    s.wishes.left_out = out;
    s.wishes.left_out_count = QX_COUNT(out);
    for (uint64_t seed = 0; seed < 20; seed++) {
        qx_layout *l = small_make(*state, &s.spec, seed);
        qx_criteria c = {0};
        assert_string_equal(l->kind, "incomplete");
        assert_ok(*state, qx_layout_criteria(*state, &s.spec, l, 1, &c));
        assert_int_equal(c.parts, 1);
        for (size_t i = 4; i < l->placed_count; i++) {
            const size_t block = l->placed[i].parent[0] + 1;
            bool there = true;
            for (size_t k = 0; k < QX_COUNT(out); k++) {
                there = there && !(out[k].number[0] == block &&
                                   out[k].number[1] == l->placed[i].number);
            }
            assert_int_equal(level_at(l, i, 0) != QX_NO_LEVEL, there);
        }
        for (uint32_t level = 0; level < 3; level++) {
            assert_int_equal(count_in(l, SIZE_MAX, 0, level), 3);
            assert_int_equal(count_in(l, 0, 0, level), 1);
            assert_int_equal(count_in(l, 2, 0, level), 1);
        }
        qx_layout_free(l);
    }
}

static void checks_stand_in_every_block(void **state)
{
    static const bool checks[] = {true, false, false, true, false, false, false};
    small s;
    const size_t count[] = {3, 4};
    chain_of(&s, 7, 2, count);
    s.check[0] = checks;
    s.wishes.check = s.check;
    for (uint64_t seed = 0; seed < 50; seed++) {
        qx_layout *l = small_make(*state, &s.spec, seed);
        size_t extra = 0;
        assert_string_equal(l->kind, "augmented");
        for (uint32_t level = 0; level < 7; level++) {
            for (size_t block = 0; block < 3; block++) {
                const size_t n = count_in(l, block, 0, level);
                assert_true(!checks[level] || n >= 1);
                extra += checks[level] ? n - 1 : 0;
            }
            assert_true(checks[level] || count_in(l, SIZE_MAX, 0, level) == 1);
        }
        assert_int_equal(extra, 1); /* 12 places, 5 new, 2 x 3 checks */
        qx_layout_free(l);
    }
}

static void an_added_control_is_crossed_with_nothing(void **state)
{
    static const size_t times[] = {2, 1, 1};
    small s;
    const size_t count[] = {4, 6};
    chain_of(&s, 3, 2, count);
    s.treatment[1] = (qx_layout_treatment){"dose", 3, letters, 1};
    s.spec.treatment_count = 2;
    s.control[0] = s.control[1] = 0;
    s.wishes.added_control = s.control;
    s.replicates[0] = times;
    s.wishes.replicates = s.replicates;
    qx_layout *l = small_make(*state, &s.spec, 4);
    assert_string_equal(l->kind, "added");
    for (size_t i = 4; i < l->placed_count; i++) {
        assert_int_equal(level_at(l, i, 0) == 0, level_at(l, i, 1) == 0);
    }
    for (size_t block = 0; block < 4; block++) {
        assert_int_equal(count_in(l, block, 0, 0), 2);
        assert_int_equal(count_in(l, block, 0, 1), 2);
    }
    qx_layout_free(l);
}

static void guards_stay_untreated(void **state)
{
    small s;
    const size_t count[] = {2, 9};
    chain_of(&s, 3, 2, count);
    s.guards[1] = 3;
    s.wishes.guards = s.guards;
    qx_layout *l = small_make(*state, &s.spec, 4);
    qx_position at[20];
    assert_string_equal(l->kind, "guarded");
    assert_ok(*state, qx_positions_of(*state, &s.spec, l, at));
    for (size_t i = 2; i < l->placed_count; i++) {
        const bool treated = (l->placed[i].number - 1) % 4 == 0; /* 1, 5, 9 */
        assert_int_equal(level_at(l, i, 0) != QX_NO_LEVEL, treated);
        assert_int_equal(at[i].guard, !treated);
        assert_int_equal(at[i].row, l->placed[i].parent[0] + 1);
        assert_int_equal(at[i].place, l->placed[i].number);
    }
    for (uint32_t level = 0; level < 3; level++) {
        assert_int_equal(count_in(l, 0, 0, level), 1);
        assert_int_equal(count_in(l, 1, 0, level), 1);
    }
    qx_layout_free(l);
}

/* Edges of treated plots: treated, not to be measured. */
static void edges_of_plots_are_guards(void **state)
{
    small s;
    const size_t count[] = {2, 3, 5};
    chain_of(&s, 3, 3, count);
    s.treatment[0].on = 1;
    s.guards[2] = 1;
    s.wishes.guards = s.guards;
    qx_layout *l = small_make(*state, &s.spec, 4);
    qx_position at[40];
    assert_ok(*state, qx_positions_of(*state, &s.spec, l, at));
    for (size_t i = 8; i < l->placed_count; i++) {
        const uint32_t n = l->placed[i].number;
        assert_int_equal(at[i].guard, n == 1 || n == 5);
    }
    assert_false(at[2].guard);
    qx_layout_free(l);
}

static void limbs_stand_around_their_tree(void **state)
{
    small s;
    const size_t count[] = {4, 6};
    chain_of(&s, 3, 2, count);
    s.around[1] = true;
    s.apart[0] = true;
    s.wishes.around = s.around;
    s.wishes.apart = s.apart;
    for (uint64_t seed = 0; seed < 20; seed++) {
        qx_layout *l = small_make(*state, &s.spec, seed);
        const size_t spray = 0;
        qx_neighbour_balance n = {0};
        qx_position at[28];
        assert_string_equal(l->kind, "stem");
        assert_ok(*state, qx_neighbour_balance_of(*state, &s.spec, l, 1, &spray, &n));
        assert_int_equal(n.pairs, 4 * 6); /* the last is the neighbour of the first */
        assert_int_equal(n.same, 0);
        assert_ok(*state, qx_positions_of(*state, &s.spec, l, at));
        for (size_t i = 4; i < l->placed_count; i++) {
            assert_int_equal(at[i].place, l->placed[i].parent[0] + 1); /* its tree's */
        }
        qx_layout_free(l);
    }
}

static void even_neighbours_meet_equally_often(void **state)
{
    small s;
    const size_t count[] = {5, 5};
    chain_of(&s, 5, 2, count);
    s.even[0] = true;
    s.wishes.even_neighbours = s.even;
    qx_layout *l = small_make(*state, &s.spec, 4);
    const size_t spray = 0;
    qx_neighbour_balance n = {0};
    assert_ok(*state, qx_neighbour_balance_of(*state, &s.spec, l, 1, &spray, &n));
    assert_int_equal(n.pairs, 20); /* 10 pairs of levels */
    assert_true(n.least == 2 && n.most == 2);
    assert_int_equal(n.runs, 25);
    assert_int_equal(n.shortest_run, 1);
    for (size_t block = 0; block < 5; block++) {
        for (uint32_t level = 0; level < 5; level++) {
            assert_int_equal(count_in(l, block, 0, level), 1);
        }
    }
    qx_layout_free(l);
}

/* Limbs of trees that are treated themselves: each level of the trees gets a plan of its
 * own, so that the interaction can be told. */
static void limbs_are_balanced_inside_each_tree_level(void **state)
{
    small s;
    const size_t count[] = {6, 2, 2};
    chain_of(&s, 3, 3, count);
    s.treatment[1] = (qx_layout_treatment){"pinch", 2, letters, 1};
    s.spec.treatment_count = 2;
    qx_layout *l = small_make(*state, &s.spec, 9);
    size_t seen[2][3] = {{0}};
    assert_string_equal(l->kind, "split");
    for (size_t i = 18; i < l->placed_count; i++) {
        seen[level_at(l, l->placed[i].parent[0], 1)][level_at(l, i, 0)]++;
    }
    for (size_t i = 0; i < 6; i++) {
        assert_int_equal(seen[i / 3][i % 3], 4);
    }
    qx_layout_free(l);
}

static void rows_are_filled_one_after_the_other(void **state)
{
    small s;
    const size_t count[] = {3, 4};
    chain_of(&s, 4, 2, count);
    s.wishes.rows = 2;
    qx_layout *l = small_make(*state, &s.spec, 9);
    qx_position at[15];
    assert_ok(*state, qx_positions_of(*state, &s.spec, l, at));
    for (size_t i = 3; i < 15; i++) {
        assert_int_equal(at[i].row, (i - 3) / 6 + 1);
        assert_int_equal(at[i].place, (i - 3) % 6 + 1);
    }
    assert_int_equal(at[1].place, 5); /* a block stands where its first tree does */
    qx_layout_free(l);
}

/* --- chance --- */

/* 3 ways to choose who has two, 4!/2! places each. */
static void unequal_layouts_are_uniform(void **state)
{
    small s;
    const size_t count[] = {4};
    chain_of(&s, 3, 1, count);
    drawn_uniformly(*state, &s, 36, 3600, "unequal");
}

/* The three pairs of three levels in three blocks, each in two orders: 3! 2^3. */
static void incomplete_layouts_are_uniform(void **state)
{
    small s;
    const size_t count[] = {3, 2};
    chain_of(&s, 3, 2, count);
    drawn_uniformly(*state, &s, 48, 4800, "incomplete");
}

/* Two sets of the pairs of four levels: each set one of 3 pairings, in 2! orders of blocks
 * and 2^2 of places; the best two sets have different pairings: 3 x 2 of them. */
static void sets_are_uniform(void **state)
{
    small s;
    const size_t count[] = {2, 2, 2};
    chain_of(&s, 4, 3, count);
    drawn_uniformly(*state, &s, (size_t)3 * 2 * 8 * 8, 5760, "sets");
}

/* 2 x 3 Latin rectangles: 3! first rows, 2 second rows without a repeat. */
static void rectangles_are_uniform(void **state)
{
    small s;
    crossed_of(&s, 3, 2, 3);
    drawn_uniformly(*state, &s, 12, 3600, "rectangles");
}

/* Two blocks of three, two checks: which new one in which block, 3! orders in each. */
static void augmented_layouts_are_uniform(void **state)
{
    static const bool checks[] = {true, true, false, false};
    small s;
    const size_t count[] = {2, 3};
    chain_of(&s, 4, 2, count);
    s.check[0] = checks;
    s.wishes.check = s.check;
    drawn_uniformly(*state, &s, (size_t)2 * 6 * 6, 3600, "augmented");
}

/* Orders of aabbcc without two alike side by side, in a row and in a circle, counted off. */
static size_t kept_apart(size_t n, size_t each, bool round)
{
    size_t kept = 0;
    size_t all = 1;
    for (size_t i = 0; i < n; i++) {
        all *= 3;
    }
    for (size_t code = 0; code < all; code++) {
        size_t seen[3] = {0};
        size_t at[16];
        bool good = true;
        for (size_t i = 0, rest = code; i < n; i++, rest /= 3) {
            at[i] = rest % 3;
            seen[at[i]]++;
            good = good && (i == 0 || at[i] != at[i - 1]);
        }
        good = good && !(round && at[0] == at[n - 1]);
        kept += good && seen[0] == each && seen[1] == each && seen[2] == each ? 1 : 0;
    }
    return kept;
}

static void apart_layouts_are_uniform(void **state)
{
    small s;
    const size_t row[] = {6};
    chain_of(&s, 3, 1, row);
    s.apart[0] = true;
    s.wishes.apart = s.apart;
    assert_int_equal(kept_apart(6, 2, false), 30);
    drawn_uniformly(*state, &s, 30, 3000, "apart in a row");
    const size_t tree[] = {1, 6};
    chain_of(&s, 3, 2, tree);
    s.apart[0] = s.around[1] = true;
    s.wishes.apart = s.apart;
    s.wishes.around = s.around;
    drawn_uniformly(*state, &s, kept_apart(6, 2, true), 2400, "apart around the stem");
}

/* Two blocks of aaabbc beside each other in one row: one draw in some hundreds keeps the
 * rule, so that the Markov chain has to do it for a part of them. Counted off here. */
static size_t kept_in_blocks(void)
{
    size_t kept = 0;
    for (size_t code = 0; code < 531441; code++) { /* 3^12 */
        size_t seen[2][3] = {{0}};
        size_t before = 3;
        bool good = true;
        for (size_t i = 0, rest = code; good && i < 12; i++, rest /= 3) {
            const size_t at = rest % 3;
            seen[i / 6][at]++;
            good = at != before;
            before = at;
        }
        good = good && seen[0][0] == 3 && seen[1][0] == 3;
        for (size_t b = 0; good && b < 2; b++) {
            good = seen[b][1] == 2 && seen[b][2] == 1;
        }
        kept += good ? 1 : 0;
    }
    return kept;
}

static void the_chain_is_uniform(void **state)
{
    static const size_t times[] = {3, 2, 1};
    small s;
    const size_t count[] = {2, 6};
    chain_of(&s, 3, 2, count);
    s.apart[0] = true;
    s.replicates[0] = times;
    s.wishes.apart = s.apart;
    s.wishes.replicates = s.replicates;
    s.wishes.rows = 1;
    drawn_uniformly(*state, &s, kept_in_blocks(), 3000, "apart by the chain");
}

/* --- every kind as a registry --- */

typedef struct made_of {
    const char *kind;
    small s;
} made_of;

static void all_kinds(made_of cases[], size_t *count)
{
    static const bool checks[] = {true, false, false, false, false};
    const size_t tree[] = {7};
    const size_t block[] = {4, 3};
    const size_t deep[] = {2, 2, 2};
    size_t n = 0;
    chain_of(&cases[n].s, 3, 1, tree);
    cases[n++].kind = "crd";
    chain_of(&cases[n].s, 3, 2, block);
    cases[n++].kind = "blocks";
    chain_of(&cases[n].s, 4, 2, block);
    cases[n++].kind = "incomplete";
    crossed_of(&cases[n].s, 3, 2, 3);
    cases[n++].kind = "rowcol";
    crossed_of(&cases[n].s, 3, 3, 3);
    cases[n++].kind = "latin";
    chain_of(&cases[n].s, 5, 2, block);
    cases[n].s.check[0] = checks;
    cases[n].s.wishes.check = cases[n].s.check;
    cases[n++].kind = "augmented";
    chain_of(&cases[n].s, 2, 2, block);
    cases[n].s.guards[1] = 1;
    cases[n].s.wishes.guards = cases[n].s.guards;
    cases[n++].kind = "guarded";
    chain_of(&cases[n].s, 3, 2, block);
    cases[n].s.around[1] = cases[n].s.even[0] = true;
    cases[n].s.wishes.around = cases[n].s.around;
    cases[n].s.wishes.even_neighbours = cases[n].s.even;
    cases[n++].kind = "stem";
    chain_of(&cases[n].s, 2, 2, block);
    cases[n].s.treatment[1] = (qx_layout_treatment){"dose", 3, letters, 1};
    cases[n].s.spec.treatment_count = 2;
    cases[n].s.control[0] = cases[n].s.control[1] = 0;
    cases[n].s.apart[0] = true;
    cases[n].s.wishes.added_control = cases[n].s.control;
    cases[n].s.wishes.apart = cases[n].s.apart;
    cases[n++].kind = "added";
    chain_of(&cases[n].s, 2, 3, deep);
    cases[n].s.treatment[1] = (qx_layout_treatment){"pinch", 2, letters, 1};
    cases[n].s.spec.treatment_count = 2;
    cases[n++].kind = "split";
    *count = n;
}

/* The specs point into themselves: rebuilt wherever they live. */
static void every_kind_repeats_itself_and_says_so(void **state)
{
    static made_of cases[12];
    size_t count = 0;
    all_kinds(cases, &count);
    for (size_t i = 0; i < count; i++) {
        const qx_layout_spec *spec = &cases[i].s.spec;
        qx_layout *a = small_make(*state, spec, 5);
        qx_layout *b = small_make(*state, spec, 5);
        const size_t bytes = a->placed_count * a->treatment_count * sizeof a->level[0];
        assert_string_equal(a->kind, cases[i].kind);
        assert_memory_equal(a->level, b->level, bytes);
        assert_string_equal(a->describe, b->describe);
        assert_true(strlen(a->describe) > 40);
        bool differs = false;
        for (uint64_t seed = 6; seed < 20; seed++) {
            qx_layout *c = small_make(*state, spec, seed);
            differs = differs || memcmp(a->level, c->level, bytes) != 0;
            qx_layout_free(c);
        }
        assert_true(differs);
        qx_layout_free(a);
        qx_layout_free(b);
    }
}

static qx_status make_and_drop(qx_ctx *cx, void *given)
{
    qx_layout *layout = NULL;
    QX_TRY(qx_layout_make(cx, given, 11, &layout));
    qx_layout_free(layout);
    return QX_OK;
}

static void no_memory_is_told_by_every_rule(void **state)
{
    static made_of cases[12];
    size_t count = 0;
    (void)state;
    all_kinds(cases, &count);
    for (size_t i = 0; i < count; i++) {
        assert_true(fail_each_allocation(make_and_drop, &cases[i].s.spec) > 5);
    }
}

/* What version 2 gives may never change: these letters are what the first program with
 * version 2 drew. */
static void version_2_of_the_randomisation_is_kept(void **state)
{
    static made_of cases[12];
    size_t count = 0;
    static const struct {
        const char *kind, *letters;
    } kept[] = {{"crd", "cababcc"},
                {"incomplete", "cbabdcdcabda"},
                {"rowcol", "cbabac"},
                {"augmented", "aeadaaaabcaa"},
                {"guarded", "babababa"},
                {"stem", "bacbaccbaacb"}};
    all_kinds(cases, &count);
    for (size_t k = 0; k < QX_COUNT(kept); k++) {
        for (size_t i = 0; i < count; i++) {
            if (strcmp(cases[i].kind, kept[k].kind) != 0) {
                continue;
            }
            qx_layout *l = small_make(*state, &cases[i].s.spec, 20261125);
            char got[64] = "";
            size_t n = 0;
            for (size_t p = 0; p < l->placed_count; p++) {
                if (level_at(l, p, 0) != QX_NO_LEVEL) {
                    got[n++] = letters[level_at(l, p, 0)][0];
                }
            }
            got[n] = '\0';
            assert_int_equal(l->version, 2);
            assert_string_equal(got, kept[k].letters);
            qx_layout_free(l);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define T(name) cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)
        T(whole_trials_are_as_equal_as_they_can_be),
        T(wished_replicates_are_kept),
        T(balanced_blocks_hold_every_pair),
        T(sets_of_blocks_stay_complete),
        T(blocks_of_any_size_are_connected),
        T(rows_hold_all_where_they_can),
        T(blocks_hold_what_is_left),
        T(checks_stand_in_every_block),
        T(an_added_control_is_crossed_with_nothing),
        T(guards_stay_untreated),
        T(edges_of_plots_are_guards),
        T(limbs_stand_around_their_tree),
        T(even_neighbours_meet_equally_often),
        T(limbs_are_balanced_inside_each_tree_level),
        T(rows_are_filled_one_after_the_other),
        T(unequal_layouts_are_uniform),
        T(incomplete_layouts_are_uniform),
        T(sets_are_uniform),
        T(rectangles_are_uniform),
        T(augmented_layouts_are_uniform),
        T(apart_layouts_are_uniform),
        T(the_chain_is_uniform),
        T(every_kind_repeats_itself_and_says_so),
        T(no_memory_is_told_by_every_rule),
        T(version_2_of_the_randomisation_is_kept),
#undef T
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
