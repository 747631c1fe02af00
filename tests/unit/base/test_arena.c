#include "test.h"

#include "base/arena.h"

static int arena_new(void **state)
{
    *state = qx_arena_new();
    return *state == NULL ? -1 : 0;
}

static int arena_free(void **state)
{
    qx_arena_free(*state);
    return 0;
}

static void pieces_are_zeroed_aligned_and_apart(void **state)
{
    unsigned char *pieces[200];
    for (size_t i = 0; i < QX_COUNT(pieces); i++) {
        const size_t size = i * 37 + 1;
        pieces[i] = qx_arena_alloc(*state, size, 1);
        assert_non_null(pieces[i]);
        assert_int_equal((uintptr_t)pieces[i] % _Alignof(max_align_t), 0);
        for (size_t k = 0; k < size; k++) {
            assert_int_equal(pieces[i][k], 0);
        }
        memset(pieces[i], (int)(i % 255) + 1, size);
    }
    for (size_t i = 0; i < QX_COUNT(pieces); i++) {
        const size_t size = i * 37 + 1;
        for (size_t k = 0; k < size; k++) {
            assert_int_equal(pieces[i][k], (i % 255) + 1);
        }
    }
}

static void memory_used_again_after_a_rewind_is_zeroed(void **state)
{
    const qx_arena_mark mark = qx_arena_get_mark(*state);
    unsigned char *piece = qx_arena_alloc(*state, 5000, 1);
    assert_non_null(piece);
    memset(piece, 0xab, 5000);
    qx_arena_rewind(*state, mark);
    piece = qx_arena_alloc(*state, 5000, 1);
    assert_non_null(piece);
    for (size_t k = 0; k < 5000; k++) {
        assert_int_equal(piece[k], 0);
    }
}

static void a_rewind_keeps_what_is_older_than_the_mark(void **state)
{
    char *before = qx_arena_copy(*state, "before");
    char *large = qx_arena_alloc(*state, 1, 3000000);
    assert_non_null(large);
    large[2999999] = 'x';
    for (int pass = 0; pass < 5; pass++) {
        const qx_arena_mark mark = qx_arena_get_mark(*state);
        for (size_t i = 0; i < 300; i++) {
            char *piece = qx_arena_alloc(*state, i % 7 == 0 ? 40000 : 900, 1);
            assert_non_null(piece);
            memset(piece, 'y', 900);
        }
        qx_arena_rewind(*state, mark);
    }
    const char *after = qx_arena_copy(*state, "after");
    assert_string_equal(before, "before");
    assert_string_equal(after, "after");
    assert_int_equal(large[2999999], 'x');
}

static void nested_marks_rewind_in_turn(void **state)
{
    const qx_arena_mark outer = qx_arena_get_mark(*state);
    char *kept = qx_arena_copy(*state, "kept");
    const qx_arena_mark inner = qx_arena_get_mark(*state);
    assert_non_null(qx_arena_alloc(*state, 100000, 8));
    qx_arena_rewind(*state, inner);
    assert_string_equal(kept, "kept");
    qx_arena_rewind(*state, outer);
    assert_non_null(qx_arena_copy(*state, "again"));
}

static void sizes_that_overflow_are_refused(void **state)
{
    assert_null(qx_arena_alloc(*state, SIZE_MAX, 2));
    assert_null(qx_arena_alloc(*state, SIZE_MAX / 2, 3));
    assert_null(qx_arena_alloc(*state, SIZE_MAX, 1));
    assert_null(qx_arena_text(*state, "x", SIZE_MAX));
}

static void nothing_is_a_valid_piece(void **state)
{
    assert_non_null(qx_arena_alloc(*state, 0, 8));
    assert_non_null(qx_arena_alloc(*state, 8, 0));
    assert_string_equal(qx_arena_text(*state, NULL, 0), "");
}

static void texts_are_copied_and_printed(void **state)
{
    assert_string_equal(qx_arena_text(*state, "trees", 4), "tree");
    assert_string_equal(qx_arena_copy(*state, ""), "");
    assert_string_equal(qx_arena_printf(*state, "%s-%d", "row", 12), "row-12");
}

static void write_digit(void *thing)
{
    char **end = thing;
    **end = (char)('0' + (*end)[-1] - '0' + 1);
    (*end)++;
}

static void an_arena_inside_goes_with_the_outer_one(void **state)
{
    (void)state;
    char trace[8] = "0";
    char *end = trace + 1;
    qx_arena *outer = qx_arena_new();
    assert_non_null(outer);
    const qx_arena_mark mark = qx_arena_get_mark(outer);
    qx_arena *inside = qx_arena_inside(outer);
    assert_non_null(inside);
    assert_int_equal(qx_arena_defer(inside, write_digit, &end), QX_OK);
    qx_arena_rewind(outer, mark);
    assert_string_equal(trace, "01");
    for (size_t n = 1; n <= 2; n++) { /* its own memory fails, or that of the tie */
        qx_arena_fail_after(n);
        assert_null(qx_arena_inside(outer));
    }
    qx_arena_fail_after(0);
    qx_arena_free(outer);
}

static void deferred_actions_run_last_first_at_rewind_and_free(void **state)
{
    (void)state;
    char trace[8] = "0";
    char *end = trace + 1;
    qx_arena *arena = qx_arena_new();
    assert_non_null(arena);
    assert_int_equal(qx_arena_defer(arena, write_digit, &end), QX_OK);
    const qx_arena_mark mark = qx_arena_get_mark(arena);
    assert_int_equal(qx_arena_defer(arena, write_digit, &end), QX_OK);
    assert_int_equal(qx_arena_defer(arena, write_digit, &end), QX_OK);
    assert_string_equal(trace, "0");
    qx_arena_rewind(arena, mark);
    assert_string_equal(trace, "012");
    qx_arena_free(arena);
    assert_string_equal(trace, "0123");
}

static void note_order(void *thing)
{
    static int next;
    int *place = thing;
    next++;
    *place = next;
}

static void later_actions_run_before_earlier_ones(void **state)
{
    (void)state;
    int first = 0;
    int second = 0;
    qx_arena *arena = qx_arena_new();
    assert_int_equal(qx_arena_defer(arena, note_order, &first), QX_OK);
    assert_int_equal(qx_arena_defer(arena, note_order, &second), QX_OK);
    qx_arena_free(arena);
    assert_true(second < first);
}

static void the_chosen_allocation_fails_once(void **state)
{
    qx_arena_fail_after(3);
    assert_non_null(qx_arena_alloc(*state, 1, 8));
    assert_non_null(qx_arena_copy(*state, "second"));
    assert_null(qx_arena_alloc(*state, 1, 8));
    assert_non_null(qx_arena_alloc(*state, 1, 8));
    qx_arena_fail_after(1);
    assert_null(qx_arena_new());
    qx_arena_fail_after(1);
    assert_null(qx_arena_printf(*state, "%d", 1));
    qx_arena_fail_after(1);
    int unused = 0;
    assert_int_equal(qx_arena_defer(*state, note_order, &unused), QX_E_NOMEM);
    qx_arena_fail_after(1);
    qx_arena_fail_after(0);
    assert_non_null(qx_arena_alloc(*state, 1, 8));
    assert_int_equal(unused, 0);
}

static void freeing_nothing_is_allowed(void **state)
{
    (void)state;
    qx_arena_free(NULL);
}

#define ARENA_TEST(name) cmocka_unit_test_setup_teardown(name, arena_new, arena_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        ARENA_TEST(pieces_are_zeroed_aligned_and_apart),
        ARENA_TEST(memory_used_again_after_a_rewind_is_zeroed),
        ARENA_TEST(a_rewind_keeps_what_is_older_than_the_mark),
        ARENA_TEST(nested_marks_rewind_in_turn),
        ARENA_TEST(sizes_that_overflow_are_refused),
        ARENA_TEST(nothing_is_a_valid_piece),
        ARENA_TEST(texts_are_copied_and_printed),
        ARENA_TEST(an_arena_inside_goes_with_the_outer_one),
        ARENA_TEST(deferred_actions_run_last_first_at_rewind_and_free),
        ARENA_TEST(later_actions_run_before_earlier_ones),
        ARENA_TEST(the_chosen_allocation_fails_once),
        cmocka_unit_test(freeing_nothing_is_allowed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
