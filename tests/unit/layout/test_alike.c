#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "layout/alike.h"
#include "numeric/rng.h"
#include "support.h"

#define TREES_MOST 200

/* Results live here: the scratch of a context is rewound by those who use it. */
static qx_arena *hold;

static int begin(void **state)
{
    hold = qx_arena_new();
    return hold == NULL ? 1 : support_ctx_new(state);
}

static int end(void **state)
{
    qx_arena_free(hold);
    return support_ctx_free(state);
}

/* Trees on a grid with sizes from chance. */
static size_t
grid(qx_alike_tree tree[], size_t rows, size_t places, double trend, uint64_t seed)
{
    qx_rng rng = qx_rng_seeded(seed);
    for (size_t i = 0; i < rows * places; i++) {
        const size_t row = i / places, place = i % places;
        tree[i] = (qx_alike_tree){
            .x_m = 3.5 * (double)row,
            .y_m = (double)place,
            .size = exp(3.0 + trend * (double)place + 0.2 * qx_rng_normal(&rng))};
    }
    return rows * places;
}

/* Pooled variance inside blocks of something measured. */
static double inside(const size_t block[], const double y[], size_t n, size_t blocks)
{
    double sum = 0.0, df = 0.0;
    for (size_t b = 0; b < blocks; b++) {
        double mean = 0.0, count = 0.0;
        for (size_t i = 0; i < n; i++) {
            mean += block[i] == b ? y[i] : 0.0;
            count += block[i] == b ? 1.0 : 0.0;
        }
        mean /= count;
        for (size_t i = 0; i < n; i++) {
            sum += block[i] == b ? (y[i] - mean) * (y[i] - mean) : 0.0;
        }
        df += count - 1.0;
    }
    return sum / df;
}

static void
hold_promises(const qx_alike_wish *w, const size_t block[], double reach, double far)
{
    double found = 0.0;
    for (size_t b = 0; b < w->blocks; b++) {
        size_t members = 0;
        for (size_t i = 0; i < w->count; i++) {
            members += (size_t)(block[i] == b);
            for (size_t j = 0; j < i && block[i] == b; j++) {
                if (block[j] == b) {
                    found = fmax(found,
                                 hypot(w->tree[i].x_m - w->tree[j].x_m,
                                       w->tree[i].y_m - w->tree[j].y_m));
                }
            }
        }
        assert_int_equal(members, w->per_block);
    }
    assert_near(found, far, 1e-12);
    assert_true(found <= reach + 1e-9);
}

/* Every block full, nobody twice, the reach held, variances as their definition says. */
static void promises(void **state)
{
    qx_alike_tree tree[TREES_MOST];
    double size[TREES_MOST];
    for (uint64_t seed = 1; seed <= 12; seed++) {
        qx_alike_wish w = {.tree = tree,
                           .blocks = 5 + seed % 3,
                           .per_block = 2 + seed % 5,
                           .reach_m = seed % 2 == 0 ? 0.0 : 14.0,
                           .weight = QX_ALIKE_WEIGHT,
                           .seed = seed};
        w.count = grid(tree, 4, 12, 0.03, seed);
        qx_alike a;
        assert_int_equal(qx_alike_make(*state, hold, &w, &a), QX_OK);
        hold_promises(&w, a.block, a.reach_m, a.farthest_m);
        hold_promises(&w, a.by_place, INFINITY, a.farthest_by_place_m);
        double mean = 0.0, total = 0.0;
        const double used = (double)(w.blocks * w.per_block);
        for (size_t i = 0; i < w.count; i++) {
            size[i] = tree[i].size;
            mean += a.by_place[i] == QX_NO_BLOCK ? 0.0 : size[i] / used;
        }
        for (size_t i = 0; i < w.count; i++) {
            total += a.by_place[i] == QX_NO_BLOCK
                         ? 0.0
                         : (size[i] - mean) * (size[i] - mean) / (used - 1.0);
        }
        assert_near(a.within, inside(a.block, size, w.count, w.blocks) / total, 1e-10);
        assert_near(a.within_by_place,
                    inside(a.by_place, size, w.count, w.blocks) / total,
                    1e-10);
        assert_true(a.within < a.within_by_place);
    }
}

/* f of the header for one way to form three pairs of six trees. */
static double price(const qx_alike_tree tree[6], const size_t pair[6])
{
    double size = 0.0, place = 0.0, mean[3] = {0}, v_size = 0.0, v_place = 0.0;
    for (size_t i = 0; i < 6; i++) {
        mean[0] += tree[i].size / 6.0;
        mean[1] += tree[i].x_m / 6.0;
        mean[2] += tree[i].y_m / 6.0;
    }
    for (size_t i = 0; i < 6; i++) {
        v_size += pow(tree[i].size - mean[0], 2.0);
        v_place += pow(tree[i].x_m - mean[1], 2.0) + pow(tree[i].y_m - mean[2], 2.0);
    }
    for (size_t i = 0; i < 6; i += 2) {
        const qx_alike_tree *a = &tree[pair[i]], *b = &tree[pair[i + 1]];
        size += pow(a->size - b->size, 2.0) / 2.0;
        place += (pow(a->x_m - b->x_m, 2.0) + pow(a->y_m - b->y_m, 2.0)) / 2.0;
    }
    return size / v_size + QX_ALIKE_WEIGHT * place / v_place;
}

/* All fifteen ways to pair six trees: the search finds the best one. */
static void the_best_of_all_pairs(void **state)
{
    for (uint64_t seed = 1; seed <= 40; seed++) {
        qx_alike_tree tree[6];
        double best = INFINITY;
        (void)grid(tree, 2, 3, 0.0, seed);
        for (size_t a = 1; a < 6; a++) {
            size_t rest[4], r = 0;
            for (size_t i = 1; i < 6; i++) {
                if (i != a) {
                    rest[r++] = i;
                }
            }
            for (size_t b = 1; b < 4; b++) {
                const size_t c = b == 1 ? 2 : 1, d = b == 3 ? 2 : 3;
                const size_t pair[6] = {0, a, rest[0], rest[b], rest[c], rest[d]};
                best = fmin(best, price(tree, pair));
            }
        }
        const qx_alike_wish w = {.count = 6,
                                 .tree = tree,
                                 .blocks = 3,
                                 .per_block = 2,
                                 .reach_m = 100.0,
                                 .weight = QX_ALIKE_WEIGHT,
                                 .seed = seed};
        qx_alike got;
        size_t pair[6], at = 0;
        assert_int_equal(qx_alike_make(*state, hold, &w, &got), QX_OK);
        for (size_t b = 0; b < 3; b++) {
            for (size_t i = 0; i < 6; i++) {
                if (got.block[i] == b) {
                    pair[at++] = i;
                }
            }
        }
        assert_near(price(tree, pair), best, 1e-12);
    }
}

static void same_seed_same_blocks(void **state)
{
    qx_alike_tree tree[TREES_MOST];
    qx_alike_wish w = {
        .tree = tree, .blocks = 8, .per_block = 5, .weight = QX_ALIKE_WEIGHT, .seed = 4};
    w.count = grid(tree, 4, 12, 0.01, 9);
    qx_alike a, b;
    assert_int_equal(qx_alike_make(*state, hold, &w, &a), QX_OK);
    assert_int_equal(qx_alike_make(*state, hold, &w, &b), QX_OK);
    assert_memory_equal(a.block, b.block, w.count * sizeof *a.block);
}

/* tests/reference/finnish-pines (open data, source there): blocks of saplings alike in
 * diameter and near each other, against blocks by place; what counts is the height, which
 * the search did not see. Rows are strips of 2 m. */
static void finnish_pines(void **state)
{
    qx_alike_tree tree[TREES_MOST];
    double height[TREES_MOST];
    size_t n = 0;
    char line[200];
    FILE *file = fopen(REFERENCE_FOLDER "/finnish-pines/data.csv", "r");
    assert_non_null(file);
    assert_non_null(fgets(line, sizeof line, file));
    while (fgets(line, sizeof line, file) != NULL) {
        double x, y;
        assert_int_equal(
            sscanf(line, "%lf,%lf,%lf,%lf", &x, &y, &tree[n].size, &height[n]), 4);
        tree[n].size += 0.5; /* whole centimetres, 0 included */
        tree[n].x_m = 2.0 * floor(x / 2.0);
        tree[n].y_m = y;
        n++;
    }
    (void)fclose(file);
    assert_int_equal(n, 126);
    for (size_t k = 3; k <= 7; k++) {
        const qx_alike_wish w = {.count = n,
                                 .tree = tree,
                                 .blocks = n / k,
                                 .per_block = k,
                                 .weight = QX_ALIKE_WEIGHT,
                                 .seed = 1};
        qx_alike a;
        assert_int_equal(qx_alike_make(*state, hold, &w, &a), QX_OK);
        const double alike = inside(a.block, height, n, w.blocks);
        const double place = inside(a.by_place, height, n, w.blocks);
        print_message("blocks of %zu: variance of height inside %.3f, by place %.3f\n",
                      k,
                      alike,
                      place);
        assert_true(alike < 0.7 * place);
    }
}

/* tests/reference/apple-previous-crop (Pearce 1953, values from memory, see there): blocks of
 * six trees built on the crop of earlier years, against the blocks by place that were used;
 * what counts is the later crop about its treatment's mean, which the search did not see.
 * Where in its block a tree stood is not told, so likeness alone forms the blocks. */
static void apples_by_their_previous_crop(void **state)
{
    enum { TREES = 24, BLOCKS = 4, TREATMENTS = 6 };
    qx_alike_tree tree[TREES];
    double crop[TREES];
    double mean[TREATMENTS] = {0};
    size_t used[TREES];
    size_t treatment[TREES];
    size_t n = 0;
    char line[200];
    FILE *file = fopen(REFERENCE_FOLDER "/apple-previous-crop/data.csv", "r");
    assert_non_null(file);
    assert_non_null(fgets(line, sizeof line, file));
    while (n < TREES && fgets(line, sizeof line, file) != NULL) {
        unsigned block = 0;
        char letter = 0;
        assert_int_equal(
            sscanf(line, "%u,%c,%lf,%lf", &block, &letter, &tree[n].size, &crop[n]), 4);
        used[n] = block - 1;
        treatment[n] = letter == 'S' ? 5 : (size_t)(letter - 'A');
        tree[n].x_m = 10.0 * block;
        tree[n].y_m = 0.0;
        mean[treatment[n]] += crop[n] / BLOCKS;
        n++;
    }
    (void)fclose(file);
    assert_int_equal(n, TREES);
    for (size_t i = 0; i < n; i++) {
        crop[i] -= mean[treatment[i]];
    }
    const qx_alike_wish w = {.count = n,
                             .tree = tree,
                             .blocks = BLOCKS,
                             .per_block = TREATMENTS,
                             .reach_m = 100.0,
                             .weight = 0.0,
                             .seed = 1};
    qx_alike a;
    assert_int_equal(qx_alike_make(*state, hold, &w, &a), QX_OK);
    const double alike = inside(a.block, crop, n, BLOCKS);
    const double place = inside(used, crop, n, BLOCKS);
    print_message("variance of the crop inside blocks by the previous crop %.0f, inside "
                  "the blocks that were used %.0f\n",
                  alike,
                  place);
    assert_true(alike < place);
}

static void what_cannot_be(void **state)
{
    qx_alike_tree tree[TREES_MOST];
    qx_ctx *cx = *state;
    qx_alike a;
    qx_alike_wish w = {.tree = tree, .blocks = 13, .per_block = 4, .weight = 0.1};
    w.count = grid(tree, 4, 12, 0.0, 3);
    assert_int_equal(qx_alike_make(cx, hold, &w, &a), QX_E_INPUT);
    assert_non_null(strstr(qx_ctx_message(cx), "12 blocks would fit"));
    qx_ctx_clear(cx);
    w.blocks = 12;
    w.reach_m = 1.5; /* four trees in a row reach 3 m */
    assert_int_equal(qx_alike_make(cx, hold, &w, &a), QX_E_INPUT);
    assert_non_null(strstr(qx_ctx_message(cx), "expected a reach of about"));
    qx_ctx_clear(cx);
    w.reach_m = 0.0;
    tree[7].size = -1.0;
    assert_int_equal(qx_alike_make(cx, hold, &w, &a), QX_E_ARG);
    qx_ctx_clear(cx);
    tree[7].size = NAN;
    assert_int_equal(qx_alike_make(cx, hold, &w, &a), QX_E_ARG);
}

/* Without sizes nearness alone counts. */
static void by_place_alone(void **state)
{
    qx_alike_tree tree[TREES_MOST];
    qx_alike_wish w = {.tree = tree, .blocks = 12, .per_block = 4, .weight = 1.0};
    w.count = grid(tree, 4, 12, 0.0, 3);
    for (size_t i = 0; i < w.count; i++) {
        tree[i].size = NAN;
    }
    qx_alike a;
    assert_int_equal(qx_alike_make(*state, hold, &w, &a), QX_OK);
    assert_true(isnan(a.within));
    assert_true(a.farthest_m <= a.reach_m + 1e-9);
}

/* The definition, and its ends: r = 0 is worth nothing, r = 1 the ratio of variances. */
static void worth(void **state)
{
    (void)state;
    assert_near(qx_alike_worth(0.2, 0.8, 0.0), 1.0, 1e-15);
    assert_near(qx_alike_worth(0.2, 0.8, 1.0), 4.0, 1e-14);
    assert_near(qx_alike_worth(0.2, 0.8, 0.5), 0.95 / 0.8, 1e-14);
}

#define WITH_CTX(test) cmocka_unit_test_setup_teardown(test, begin, end)

int main(void)
{
    const struct CMUnitTest tests[] = {WITH_CTX(promises),
                                       WITH_CTX(the_best_of_all_pairs),
                                       WITH_CTX(same_seed_same_blocks),
                                       WITH_CTX(finnish_pines),
                                       WITH_CTX(apples_by_their_previous_crop),
                                       WITH_CTX(what_cannot_be),
                                       WITH_CTX(by_place_alone),
                                       WITH_CTX(worth)};
    return cmocka_run_group_tests_name("layout/alike", tests, NULL, NULL);
}
