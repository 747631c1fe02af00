/* Which unit a row belongs to: rule 1 of the contract, sentence by sentence. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "trial/identity.h"
#include "trial_support.h"

typedef struct scene {
    qx_ctx *cx;
    qx_arena *arena;
    qx_protocol *p;
    qx_table *table;
    qx_identity identity[QX_NAMES_MOST];
} scene;

static scene look(qx_ctx *cx, const char *protocol, const char *data, const char *variate)
{
    scene s = {.cx = cx, .arena = qx_arena_new()};
    s.p = protocol_of(cx, s.arena, protocol);
    s.table = table_of(cx, s.arena, s.p, data, false);
    size_t v = 0;
    while (strcmp(s.p->variate[v].name, variate) != 0) {
        v++;
    }
    assert_ok(cx, qx_identify(cx, s.arena, s.p, s.table, v, NULL, s.identity));
    return s;
}

static const qx_identity *unit(const scene *s, const char *name)
{
    return &s->identity[qx_protocol_find_unit(s->p, name)];
}

static void done(scene *s)
{
    qx_table_free(s->table);
    qx_protocol_free(s->p);
    qx_arena_free(s->arena);
}

static void assert_codes(const scene *s, const char *name, const char *expected)
{
    qx_text *text = qx_text_new(s->arena);
    const qx_identity *u = unit(s, name);
    for (size_t row = 0; row < s->table->rows; row++) {
        if (u->code[row] == QX_MISSING_CODE) {
            qx_text_add(text, "-");
        } else {
            qx_text_printf(text, "%u", (unsigned)u->code[row]);
        }
    }
    assert_string_equal(qx_text_get(text), expected);
}

/* Labels need to be unique only inside the parent: tree 1 of block 2 is another tree. */
static void labels_count_inside_their_parents(void **state)
{
    scene s = look(*state,
                   "quincunx: 1\n"
                   "units: {block: , tree: {within: block}, limb: {within: tree}}\n"
                   "measure: {y: {kind: continuous, on: limb}}\n",
                   "block,tree,limb,y\n1,1,a,1\n1,1,b,2\n1,2,a,3\n2,1,a,4\n2,1,b,5\n",
                   "y");
    assert_codes(&s, "block", "00011");
    assert_codes(&s, "tree", "00122");
    assert_codes(&s, "limb", "01234");
    assert_null(unit(&s, "tree")->how);
    assert_int_equal(unit(&s, "tree")->first[2], 3);
    assert_int_equal(unit(&s, "limb")->count, 5);
    done(&s);
}

static const char split_plot[] = "quincunx: 1\n"
                                 "units: {block: , plot: {within: block}, sub: {within: "
                                 "plot}}\n"
                                 "treatments:\n"
                                 "  variety: {levels: [A, B], on: plot}\n"
                                 "  dose: {levels: [30, 60], on: sub}\n"
                                 "measure: {y: {kind: continuous, on: sub}}\n";

static void a_unit_without_column_is_told_by_its_treatments(void **state)
{
    scene s = look(*state,
                   split_plot,
                   "block,variety,dose,y\n1,A,30,1\n1,A,60.0,2\n1,B,30.0,3\n2,A,30,4\n",
                   "y");
    assert_codes(&s, "plot", "0012");
    assert_string_equal(unit(&s, "plot")->how,
                        "plot has no column: told by block and variety");
    assert_codes(&s, "sub", "0123");
    assert_string_equal(unit(&s, "sub")->how, "sub has no column: told by plot and dose");
    done(&s);
}

/* Levels that are numbers are the same however they are written: rows 1 and 2 are both
 * dose 30 of one plot, so that treatments cannot tell the lowest unit. */
static void rows_that_coincide_are_each_a_unit(void **state)
{
    scene s = look(*state,
                   split_plot,
                   "block,variety,dose,y\n1,A,30,1\n1,A,30.0,2\n1,A,60,3\n",
                   "y");
    assert_codes(&s, "sub", "012");
    assert_string_equal(unit(&s, "sub")->how, "sub has no column: each row is one");
    assert_codes(&s, "plot", "000");
    done(&s);
}

static void a_lowest_unit_without_anything_is_the_row(void **state)
{
    scene s = look(*state,
                   "quincunx: 1\n"
                   "units: {batch: , preparation: {within: batch}}\n"
                   "measure: {y: {kind: continuous, on: preparation}}\n",
                   "batch,y\nA,1\nA,2\nB,3\n",
                   "y");
    assert_codes(&s, "preparation", "012");
    assert_codes(&s, "batch", "001");
    done(&s);
}

static void crossed_units_tell_their_child(void **state)
{
    scene s = look(*state,
                   "quincunx: 1\n"
                   "units:\n"
                   "  location: {count: 2}\n"
                   "  plot: {within: location}\n"
                   "  harvest: {within: location}\n"
                   "  crop: {within: [plot, harvest]}\n"
                   "  ear: {within: crop, sample: true}\n"
                   "treatments:\n"
                   "  variety: {levels: [M, P], on: plot}\n"
                   "  year: {levels: [1931, 1932], on: harvest}\n"
                   "measure:\n"
                   "  y: {kind: continuous, on: crop}\n"
                   "  z: {kind: continuous, on: ear}\n",
                   "location,variety,year,y,z\n"
                   "U,M,1931,1,1\nU,P,1931,2,2\nU,M,1932,3,3\nW,M,1931,4,4\n",
                   "y");
    assert_codes(&s, "crop", "0123");
    assert_codes(&s, "plot", "0102");
    assert_codes(&s, "harvest", "0012");
    assert_string_equal(unit(&s, "crop")->how,
                        "crop has no column: told by plot and harvest");
    assert_true(unit(&s, "ear")->unit == QX_NONE);
    qx_identity lower[QX_NAMES_MOST];
    assert_ok(s.cx, qx_identify(s.cx, s.arena, s.p, s.table, 1, NULL, lower));
    assert_string_equal(lower[4].how, "ear has no column: each row is one");
    done(&s);
}

static void columns_of_the_protocol_tell_together(void **state)
{
    scene s =
        look(*state,
             "quincunx: 1\n"
             "units: {batch: {columns: [recipe, replicate]}, cake: {within: batch}}\n"
             "treatments: {recipe: {levels: [1, 2], on: batch}}\n"
             "measure: {y: {kind: continuous, on: cake}}\n",
             "recipe,replicate,y\n1,1,5\n1.0,1,6\n1,2,7\n2,1,8\n",
             "y");
    assert_codes(&s, "batch", "0012");
    assert_string_equal(unit(&s, "batch")->how,
                        "batch has no column: told by recipe and replicate");
    done(&s);
}

/* Seasons: a tree stays itself; two rows of different seasons do not coincide. */
static void units_stay_themselves_over_seasons(void **state)
{
    static const char protocol[] = "quincunx: 1\n"
                                   "seasons: {column: year, levels: [2025, 2026]}\n"
                                   "units: {block: , tree: {within: block}}\n"
                                   "treatments: {pinch: {levels: [a, b], on: tree}}\n"
                                   "measure: {y: {kind: continuous, on: tree}}\n";
    scene s = look(*state,
                   protocol,
                   "block,year,pinch,y\n1,2025,a,1\n1,2025,b,2\n1,2026,b,3\n1,2026,a,4\n",
                   "y");
    assert_codes(&s, "tree", "0110");
    done(&s);
    scene rows = look(*state,
                      protocol,
                      "block,year,pinch,y\n1,2025,a,1\n1,2025,a,2\n1,2026,a,3\n",
                      "y");
    assert_codes(&rows, "tree", "012");
    done(&rows);
}

static void rows_that_are_not_kept_belong_nowhere(void **state)
{
    scene s = look(*state,
                   split_plot,
                   "block,variety,dose,y\n1,A,30,1\n1,A,60,\n1,A,30,\n1,B,30,3\n",
                   "y");
    /* All rows: the first and the third coincide. */
    assert_codes(&s, "sub", "0123");
    const bool keep[] = {true, true, false, true};
    assert_ok(s.cx, qx_identify(s.cx, s.arena, s.p, s.table, 0, keep, s.identity));
    assert_codes(&s, "sub", "01-2");
    assert_codes(&s, "plot", "00-1");
    assert_string_equal(unit(&s, "sub")->how, "sub has no column: told by plot and dose");
    done(&s);
}

static void a_missing_label_tells_nothing_below(void **state)
{
    scene s = look(*state,
                   "quincunx: 1\n"
                   "units: {block: , tree: {within: block}}\n"
                   "measure: {y: {kind: continuous, on: tree}}\n",
                   "block,tree,y\n1,1,1\nNA,2,\n1,,\n",
                   "y");
    assert_codes(&s, "block", "0-0");
    assert_codes(&s, "tree", "0--");
    done(&s);
}

static void what_cannot_be_told_is_refused(void **state)
{
    qx_ctx *cx = *state;
    qx_arena *arena = qx_arena_new();
    qx_protocol *p = protocol_of(cx,
                                 arena,
                                 "quincunx: 1\n"
                                 "units: {block: , tree: {within: block}, limb: {within: "
                                 "tree}}\n"
                                 "measure: {y: {kind: continuous, on: limb}}\n");
    const uint32_t code[] = {0, 0};
    const char *const level[] = {"1"};
    const qx_column column = {
        .name = "block", .level_count = 1, .level = level, .code = code};
    const qx_table table = {.rows = 2, .column_count = 1, .column = &column};
    qx_identity identity[3];
    assert_int_equal(qx_unit_untold(p, &table, 0), 1);
    assert_int_equal(qx_identify(cx, arena, p, &table, 0, NULL, identity), QX_E_INPUT);
    assert_non_null(strstr(qx_ctx_message(cx), "expected a column \"tree\""));
    qx_ctx_clear(cx);
    assert_int_equal(qx_identify(cx, arena, p, &table, 9, NULL, identity), QX_E_ARG);
    qx_ctx_clear(cx);
    qx_protocol_free(p);
    qx_arena_free(arena);
}

/* What is given back outlives the call also when the caller's arena is the scratch. */
static void the_scratch_of_the_caller_may_hold_the_result(void **state)
{
    qx_ctx *cx = *state;
    scene s = look(cx, split_plot, "block,variety,dose,y\n1,A,30,1\n2,B,60,2\n", "y");
    assert_ok(cx, qx_identify(cx, qx_ctx_scratch(cx), s.p, s.table, 0, NULL, s.identity));
    (void)qx_arena_alloc(qx_ctx_scratch(cx), 1, 100000);
    assert_codes(&s, "sub", "01");
    done(&s);
}

/* 200,000 rows with labels of their own: the pairs no longer fit a table by position. */
static void many_units_are_told_by_hash(void **state)
{
    qx_arena *arena = qx_arena_new();
    qx_text *text = qx_text_new(arena);
    qx_text_add(text, "block,tree,y\n");
    for (size_t i = 0; i < 200000; i++) {
        qx_text_printf(text, "b%zu,t%zu,1\n", i / 2 % 50000, i % 100000);
    }
    scene s = look(*state,
                   "quincunx: 1\n"
                   "units: {block: , tree: {within: block}}\n"
                   "measure: {y: {kind: count, on: tree, times: y2}}\n",
                   "block,tree,y,y2\n1,1,1,1\n",
                   "y");
    done(&s);
    qx_protocol *p = protocol_of(*state,
                                 arena,
                                 "quincunx: 1\n"
                                 "units: {block: , tree: {within: block}}\n"
                                 "measure: {y: {kind: count, on: tree}}\n");
    qx_problems *problems = qx_problems_new(arena);
    qx_table *table = NULL;
    (void)qx_data_parse(*state,
                        p,
                        "d.csv",
                        qx_text_get(text),
                        qx_text_length(text),
                        false,
                        problems,
                        &table,
                        NULL);
    qx_ctx_clear(*state);
    assert_int_equal(qx_problems_count(problems), 100000); /* each tree is there twice */
    qx_identity identity[2];
    assert_ok(*state, qx_identify(*state, arena, p, table, 0, NULL, identity));
    assert_int_equal(identity[0].count, 50000);
    assert_int_equal(identity[1].count, 100000);
    assert_int_equal(identity[1].code[150000], 50000);
    qx_table_free(table);
    qx_protocol_free(p);
    qx_arena_free(arena);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_CTX(labels_count_inside_their_parents),
        WITH_CTX(a_unit_without_column_is_told_by_its_treatments),
        WITH_CTX(rows_that_coincide_are_each_a_unit),
        WITH_CTX(a_lowest_unit_without_anything_is_the_row),
        WITH_CTX(crossed_units_tell_their_child),
        WITH_CTX(columns_of_the_protocol_tell_together),
        WITH_CTX(units_stay_themselves_over_seasons),
        WITH_CTX(rows_that_are_not_kept_belong_nowhere),
        WITH_CTX(a_missing_label_tells_nothing_below),
        WITH_CTX(what_cannot_be_told_is_refused),
        WITH_CTX(the_scratch_of_the_caller_may_hold_the_result),
        WITH_CTX(many_units_are_told_by_hash),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
