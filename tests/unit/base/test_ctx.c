#include "test.h"

#include "base/ctx.h"

static void the_first_failure_is_kept(void **state)
{
    qx_ctx *cx = *state;
    assert_int_equal(qx_ctx_status(cx), QX_OK);
    assert_string_equal(qx_ctx_message(cx), "");
    assert_string_equal(qx_ctx_file(cx), "");
    const int line = __LINE__ + 1;
    assert_int_equal(qx_fail(cx, QX_E_SHAPE, "%d rows, %s", 3, "not 4"), QX_E_SHAPE);
    assert_int_equal(qx_fail(cx, QX_E_IO, "later"), QX_E_IO);
    assert_int_equal(qx_ctx_status(cx), QX_E_SHAPE);
    assert_string_equal(qx_ctx_message(cx), "3 rows, not 4");
    assert_non_null(strstr(qx_ctx_file(cx), "test_ctx.c"));
    assert_int_equal(qx_ctx_line(cx), line);
    qx_ctx_clear(cx);
    assert_int_equal(qx_ctx_status(cx), QX_OK);
    assert_string_equal(qx_ctx_message(cx), "");
    assert_int_equal(qx_ctx_line(cx), 0);
}

static void a_failed_try_is_forgiven_with_its_notes_kept(void **state)
{
    qx_ctx *cx = *state;
    assert_ok(cx, qx_note(cx, "kept"));
    (void)qx_fail(cx, QX_E_RANK, "not estimable");
    qx_ctx_forgive(cx);
    assert_int_equal(qx_ctx_status(cx), QX_OK);
    assert_string_equal(qx_ctx_message(cx), "");
    assert_int_equal(qx_ctx_note_count(cx), 1);
    static const qx_status lasting[] = {QX_E_NOMEM, QX_E_CANCELLED};
    for (size_t i = 0; i < QX_COUNT(lasting); i++) {
        (void)qx_fail(cx, lasting[i], "stays");
        qx_ctx_forgive(cx);
        assert_int_equal(qx_ctx_status(cx), lasting[i]);
        qx_ctx_clear(cx);
    }
}

static void ok_is_not_a_failure(void **state)
{
    assert_int_equal(qx_fail(*state, QX_OK, "nothing"), QX_OK);
    assert_string_equal(qx_ctx_message(*state), "");
}

static void a_long_message_is_cut_at_a_character(void **state)
{
    char longest[4000];
    for (size_t i = 0; i + 2 < sizeof longest; i += 2) {
        memcpy(longest + i, "é", 2);
    }
    longest[sizeof longest - 2] = '\0';
    (void)qx_fail(*state, QX_E_IO, "x%s", longest);
    const size_t length = strlen(qx_ctx_message(*state));
    assert_true(length > 1000 && length < sizeof longest);
    assert_int_equal(length % 2, 1);
    (void)qx_ctx_clear(*state);
    (void)qx_fail(*state, QX_E_IO, "%s", longest);
    assert_int_equal(strlen(qx_ctx_message(*state)) % 2, 0);
}

static void notes_keep_their_order_and_come_once(void **state)
{
    qx_ctx *cx = *state;
    assert_int_equal(qx_ctx_note_count(cx), 0);
    assert_ok(cx, qx_note(cx, "block %d is incomplete", 3));
    assert_ok(cx, qx_note(cx, "tree has no column"));
    assert_ok(cx, qx_note(cx, "block %d is incomplete", 3));
    assert_int_equal(qx_ctx_note_count(cx), 2);
    assert_string_equal(qx_ctx_note(cx, 0), "block 3 is incomplete");
    assert_string_equal(qx_ctx_note(cx, 1), "tree has no column");
    qx_ctx_clear(cx);
    assert_int_equal(qx_ctx_note_count(cx), 0);
    assert_ok(cx, qx_note(cx, "again"));
    assert_int_equal(qx_ctx_note_count(cx), 1);
}

static qx_status take_notes(qx_ctx *cx, void *given)
{
    (void)given;
    QX_TRY(qx_note(cx, "first"));
    return qx_note(cx, "second");
}

static void a_note_without_memory_is_a_failure(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(take_notes, NULL) >= 4);
}

static void a_context_without_memory_is_null(void **state)
{
    (void)state;
    size_t failed = 0;
    qx_ctx *cx = NULL;
    for (; cx == NULL && failed < 100; failed++) {
        qx_arena_fail_after(failed + 1);
        cx = qx_ctx_new();
        qx_arena_fail_after(0);
    }
    assert_non_null(cx);
    assert_true(failed > 3);
    qx_ctx_free(cx);
    qx_ctx_free(NULL);
}

static qx_status use_macros(qx_ctx *cx, void *given)
{
    double **numbers = given;
    QX_NEW(cx, *numbers, 10);
    (*numbers)[9] = 1;
    return QX_OK;
}

static void new_gives_scratch_or_fails(void **state)
{
    double *numbers = NULL;
    assert_ok(*state, use_macros(*state, &numbers));
    assert_non_null(numbers);
    qx_arena_fail_after(1);
    assert_fails(*state, use_macros(*state, &numbers), QX_E_NOMEM, "numbers");
}

static void scratch_dies_after_the_call(void **state)
{
    double *numbers = NULL;
    qx_status status = QX_E_ARG;
    const qx_arena_mark before = qx_arena_get_mark(qx_ctx_scratch(*state));
    QX_SCRATCH(*state, status, use_macros(*state, &numbers));
    const qx_arena_mark after = qx_arena_get_mark(qx_ctx_scratch(*state));
    assert_int_equal(status, QX_OK);
    assert_ptr_equal(before.block, after.block);
    assert_int_equal(before.used, after.used);
}

static void cancelling_is_seen(void **state)
{
    assert_false(qx_ctx_cancelled(*state));
    qx_ctx_cancel(*state);
    assert_true(qx_ctx_cancelled(*state));
}

static void listen_to(void *listener, const char *what, size_t done, size_t total)
{
    size_t *sum = listener;
    assert_string_equal(what, "trials");
    *sum += done + total;
}

static void progress_reaches_the_listener(void **state)
{
    size_t sum = 0;
    qx_ctx_progress(*state, "trials", 1, 2);
    qx_ctx_listen(*state, listen_to, &sum);
    qx_ctx_progress(*state, "trials", 3, 10);
    assert_int_equal(sum, 13);
    qx_ctx_listen(*state, NULL, NULL);
    qx_ctx_progress(*state, "trials", 3, 10);
    assert_int_equal(sum, 13);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(the_first_failure_is_kept),
        CTX_TEST(a_failed_try_is_forgiven_with_its_notes_kept),
        CTX_TEST(ok_is_not_a_failure),
        CTX_TEST(a_long_message_is_cut_at_a_character),
        CTX_TEST(notes_keep_their_order_and_come_once),
        cmocka_unit_test(a_note_without_memory_is_a_failure),
        cmocka_unit_test(a_context_without_memory_is_null),
        CTX_TEST(new_gives_scratch_or_fails),
        CTX_TEST(scratch_dies_after_the_call),
        CTX_TEST(cancelling_is_seen),
        CTX_TEST(progress_reaches_the_listener),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
