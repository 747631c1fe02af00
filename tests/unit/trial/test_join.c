/* From a protocol to a layout's spec, and from a layout back to the rows of data. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "layout/layout.h"
#include "trial/join.h"
#include "trial/structure.h"
#include "trial_support.h"

static const char limbs[] = "quincunx: 1\n"
                            "units:\n"
                            "  shoot: {within: limb, sample: true}\n"
                            "  bud:  {within: shoot, count: 5}\n"
                            "  block: {count: 2}\n"
                            "  tree: {within: block, count: 2}\n"
                            "  limb: {within: tree, count: 2}\n"
                            "treatments:\n"
                            "  pinch: {levels: [none, early], on: tree}\n"
                            "  angle: {levels: [30, 60], on: limb}\n"
                            "measure:\n"
                            "  length: {kind: continuous, on: shoot}\n"
                            "  girth: {kind: continuous, on: tree}\n";

/* Two blocks of two trees of two limbs; in block 2 the levels stand the other way round.
 * Trees are 1 and 2 in both blocks: labels count inside their parents. */
enum { BLOCK = 2, TREE = 3, LIMB = 4 };
static const qx_placed placed[] = {
    {.unit = BLOCK, .number = 1, .label = "North"},
    {.unit = BLOCK, .number = 2, .label = "South"},
    {.unit = TREE, .parent = {0}, .number = 1, .label = "1"},
    {.unit = TREE, .parent = {0}, .number = 2, .label = "2"},
    {.unit = TREE, .parent = {1}, .number = 1, .label = "1"},
    {.unit = TREE, .parent = {1}, .number = 2, .label = "2"},
    {.unit = LIMB, .parent = {2}, .number = 1, .label = "a"},
    {.unit = LIMB, .parent = {2}, .number = 2, .label = "b"},
    {.unit = LIMB, .parent = {5}, .number = 1, .label = "a"},
};
#define N QX_NO_LEVEL
static const uint32_t levels[] = {N, N, N, N, 0, N, 1, N, 1, N, 0, N, N, 0, N, 1, N, 1};
#undef N
static const qx_layout layout = {.placed_count = QX_COUNT(placed),
                                 .placed = placed,
                                 .treatment_count = 2,
                                 .level = levels};

typedef struct outcome {
    qx_arena *arena;
    qx_protocol *p;
    qx_table *in, *out;
    const char *told;
    qx_status status;
} outcome;

static outcome join(qx_ctx *cx, const char *data)
{
    outcome o = {.arena = qx_arena_new()};
    o.p = protocol_of(cx, o.arena, limbs);
    o.in = table_of(cx, o.arena, o.p, data, true);
    qx_problems *problems = qx_problems_new(o.arena);
    o.status = qx_table_join_layout(cx, o.p, &layout, o.in, problems, &o.out);
    o.told = told(o.arena, problems);
    assert_true((o.out != NULL) == (o.status == QX_OK));
    qx_ctx_clear(cx);
    return o;
}

static void done(outcome *o)
{
    qx_table_free(o->in);
    qx_table_free(o->out);
    qx_protocol_free(o->p);
    qx_arena_free(o->arena);
}

static const char *label(const qx_table *table, const char *column, size_t row)
{
    const qx_column *c = qx_table_find(table, column);
    return c->code[row] == QX_MISSING_CODE ? "-" : c->level[c->code[row]];
}

static void treatments_come_from_the_layout(void **state)
{
    outcome o = join(*state,
                     "block,tree,limb,shoot,length,girth\n"
                     "North,1,b,1,2.50,\nSouth,2,a,1,3,\nSouth,1,,,,9\n");
    assert_string_equal(o.told, "");
    assert_string_equal(label(o.out, "pinch", 0), "none");
    assert_string_equal(label(o.out, "angle", 0), "60");
    assert_string_equal(label(o.out, "pinch", 1), "none");
    assert_string_equal(label(o.out, "angle", 1), "60");
    assert_string_equal(label(o.out, "pinch", 2), "early");
    assert_string_equal(label(o.out, "angle", 2), "-");
    assert_int_equal(qx_table_find(o.out, "angle")->level_count, 2);
    assert_string_equal(label(o.out, "shoot", 1), "1");
    assert_true(qx_table_find(o.out, "length")->value[0] == 2.5);
    assert_string_equal(
        qx_decimal_text(o.arena, qx_table_find(o.out, "length")->exact[0]), "2.50");
    assert_int_equal(o.out->line[1], 3);
    done(&o);
}

static void unknown_labels_are_told_with_the_nearest(void **state)
{
    outcome o = join(*state,
                     "block,tree,limb,shoot,length\n"
                     "Nort,1,a,1,1\nNorth,11,a,1,2\nNorth,1,c,1,3\nSouth,1,a,1,4\n");
    assert_int_equal(o.status, QX_E_INPUT);
    assert_string_equal(
        o.told,
        "2:0: the layout has no block \"Nort\"; expected a label of the layout, such as "
        "\"North\"\n"
        "3:0: the layout has no tree \"11\" in block North; expected a label of the "
        "layout, such "
        "as \"1\"\n"
        "4:0: the layout has no limb \"c\" in block North, tree 1; expected a label of "
        "the layout, such "
        "as \"a\"\n"
        "5:0: the layout has no limb \"a\" in block South, tree 1; expected a label of "
        "the layout\n");
    done(&o);
}

static void data_that_disagree_with_the_layout_are_told(void **state)
{
    outcome o = join(*state,
                     "block,tree,limb,shoot,length,pinch,angle\n"
                     "North,1,a,1,1,none,30.0\nSouth,2,a,1,1,early,30\n");
    assert_string_equal(
        o.told,
        "3:0: pinch is \"early\" here, but the layout gave this tree another; expected "
        "\"none\", or the column left out\n"
        "3:0: angle is \"30\" here, but the layout gave this limb another; expected "
        "\"60\", or the column left out\n");
    done(&o);
}

static void good_rows_may_be_taken_all_the_same(void **state)
{
    qx_ctx *cx = *state;
    outcome o = join(cx, "block,tree,limb,shoot,length\nNorth,1,a,1,1\nNorth,9,a,1,2\n");
    qx_problems *problems = qx_problems_new(o.arena);
    bool bad[] = {false, false};
    assert_int_equal(qx_table_join_marked(cx, o.p, &layout, o.in, problems, bad, &o.out),
                     QX_E_INPUT);
    qx_ctx_clear(cx);
    assert_true(!bad[0] && bad[1]);
    assert_string_equal(label(o.out, "angle", 0), "30");
    assert_string_equal(label(o.out, "angle", 1), "-");
    done(&o);
    outcome lacking = join(cx, "block,limb,shoot,length\nNorth,a,1,1\n");
    problems = qx_problems_new(lacking.arena);
    assert_int_equal(qx_table_join_marked(
                         cx, lacking.p, &layout, lacking.in, problems, bad, &lacking.out),
                     QX_E_INPUT);
    qx_ctx_clear(cx);
    assert_null(lacking.out);
    done(&lacking);
}

static void a_column_of_labels_is_needed(void **state)
{
    outcome o = join(*state, "block,limb,shoot,length\nNorth,a,1,1\n");
    assert_string_equal(
        o.told,
        "1:1: there is no column \"tree\", so that the layout cannot tell "
        "the pinch of a row; expected the labels of the layout in it\n"
        "1:1: there is no column \"tree\", so that the layout cannot tell "
        "the angle of a row; expected the labels of the layout in it\n");
    done(&o);
    outcome given = join(*state, "block,pinch,angle,length\nNorth,none,60,1\n");
    assert_string_equal(given.told, "");
    assert_string_equal(label(given.out, "angle", 0), "60");
    done(&given);
}

static void another_protocols_layout_is_refused(void **state)
{
    qx_ctx *cx = *state;
    qx_arena *arena = qx_arena_new();
    qx_protocol *p = protocol_of(cx,
                                 arena,
                                 "quincunx: 1\nunits: {tree: }\n"
                                 "measure: {y: {kind: count, on: tree}}\n");
    qx_table *in = table_of(cx, arena, p, "tree,y\n1,1\n", true);
    qx_problems *problems = qx_problems_new(arena);
    qx_table *out = NULL;
    assert_int_equal(qx_table_join_layout(cx, p, &layout, in, problems, &out),
                     QX_E_SHAPE);
    assert_null(out);
    qx_ctx_clear(cx);
    qx_table_free(in);
    qx_protocol_free(p);
    qx_arena_free(arena);
}

static void the_spec_says_what_is_placed(void **state)
{
    qx_arena *arena = qx_arena_new();
    qx_protocol *p = protocol_of(*state, arena, limbs);
    qx_layout_spec spec;
    assert_ok(*state, qx_structure_of(*state, arena, p, &spec));
    assert_int_equal(spec.unit_count, 5);
    assert_true(spec.unit[0].sample && spec.unit[1].sample && !spec.unit[LIMB].sample);
    assert_int_equal(spec.unit[TREE].count, 2);
    assert_int_equal(spec.unit[TREE].parent[0], BLOCK);
    assert_int_equal(spec.treatment_count, 2);
    assert_int_equal(spec.treatment[1].on, LIMB);
    assert_string_equal(spec.treatment[1].level[1], "60");
    qx_protocol_free(p);
    qx_arena_free(arena);
}

static void treatments_on_sampled_units_have_no_layout(void **state)
{
    qx_ctx *cx = *state;
    qx_arena *arena = qx_arena_new();
    qx_protocol *p =
        protocol_of(cx,
                    arena,
                    "quincunx: 1\n"
                    "units: {tree: {count: 4}, shoot: {within: tree, sample: true}}\n"
                    "treatments: {dip: {levels: [a, b], on: shoot}}\n"
                    "measure: {y: {kind: count, on: shoot}}\n");
    qx_layout_spec spec;
    assert_int_equal(qx_structure_of(cx, arena, p, &spec), QX_E_INPUT);
    assert_non_null(strstr(qx_ctx_message(cx), "only sampled"));
    qx_ctx_clear(cx);
    qx_protocol_free(p);
    qx_arena_free(arena);
}

/* The whole circle: a layout that chance made gives back its own levels. */
static void a_made_layout_gives_its_levels_back(void **state)
{
    qx_ctx *cx = *state;
    qx_arena *arena = qx_arena_new();
    qx_protocol *p = protocol_of(cx,
                                 arena,
                                 "quincunx: 1\n"
                                 "units: {row: {count: 4}, column: {count: 4}, plot: "
                                 "{within: [row, column]}}\n"
                                 "treatments: {spray: {levels: [A, B, C, D], on: plot}}\n"
                                 "measure: {y: {kind: count, on: plot}}\n");
    qx_layout_spec spec;
    assert_ok(cx, qx_structure_of(cx, arena, p, &spec));
    qx_layout *made = NULL;
    assert_ok(cx, qx_layout_make(cx, &spec, 7, &made));
    qx_text *text = qx_text_new(arena);
    qx_text_add(text, "row,column,y\n");
    for (size_t i = 0; i < made->placed_count; i++) {
        const qx_placed *at = &made->placed[i];
        if (at->unit == 2) {
            qx_text_printf(text,
                           "%s,%s,1\n",
                           made->placed[at->parent[0]].label,
                           made->placed[at->parent[1]].label);
        }
    }
    qx_table *in = table_of(cx, arena, p, qx_text_get(text), true);
    assert_int_equal(in->rows, 16);
    qx_problems *problems = qx_problems_new(arena);
    qx_table *out = NULL;
    assert_ok(cx, qx_table_join_layout(cx, p, made, in, problems, &out));
    const qx_column *spray = qx_table_find(out, "spray");
    size_t row = 0;
    for (size_t i = 0; i < made->placed_count; i++) {
        if (made->placed[i].unit == 2) {
            assert_int_equal(spray->code[row], made->level[i]);
            row++;
        }
    }
    qx_table_free(in);
    qx_table_free(out);
    qx_layout_free(made);
    qx_protocol_free(p);
    qx_arena_free(arena);
}

static void any_allocation_may_fail(void **state)
{
    qx_ctx *first = *state;
    qx_arena *own = qx_arena_new();
    qx_protocol *p = protocol_of(first, own, limbs);
    qx_table *in =
        table_of(first,
                 own,
                 p,
                 "block,tree,limb,shoot,length\nNorth,1,a,1,1\nNorth,9,a,1,1\n",
                 true);
    bool complete = false;
    for (size_t n = 1; !complete && n < 1000; n++) {
        qx_ctx *cx = qx_ctx_new();
        qx_arena *arena = qx_arena_new();
        qx_problems *problems = qx_problems_new(arena);
        qx_table *out = NULL;
        qx_arena_fail_after(n);
        const qx_status status = qx_table_join_layout(cx, p, &layout, in, problems, &out);
        qx_arena_fail_after(0);
        assert_true(status == QX_E_INPUT || status == QX_E_NOMEM);
        assert_null(out);
        complete = status == QX_E_INPUT;
        qx_arena_free(arena);
        qx_ctx_free(cx);
    }
    assert_true(complete);
    qx_table_free(in);
    qx_protocol_free(p);
    qx_arena_free(own);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_CTX(treatments_come_from_the_layout),
        WITH_CTX(unknown_labels_are_told_with_the_nearest),
        WITH_CTX(data_that_disagree_with_the_layout_are_told),
        WITH_CTX(good_rows_may_be_taken_all_the_same),
        WITH_CTX(a_column_of_labels_is_needed),
        WITH_CTX(another_protocols_layout_is_refused),
        WITH_CTX(the_spec_says_what_is_placed),
        WITH_CTX(treatments_on_sampled_units_have_no_layout),
        WITH_CTX(a_made_layout_gives_its_levels_back),
        WITH_CTX(any_allocation_may_fail),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
