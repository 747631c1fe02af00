#include "test.h"

#include "base/array.h"

static void items_keep_their_order_while_it_grows(void **state)
{
    qx_array a = QX_ARRAY(qx_ctx_scratch(*state), sizeof(int));
    for (int i = 0; i < 1000; i++) {
        int *item = qx_array_push(&a);
        assert_non_null(item);
        assert_int_equal(*item, 0);
        *item = i;
    }
    assert_int_equal(a.count, 1000);
    for (int i = 0; i < 1000; i++) {
        assert_int_equal(*(const int *)qx_array_at(&a, (size_t)i), i);
    }
}

static void without_memory_it_stays_as_it_was(void **state)
{
    qx_array a = QX_ARRAY(qx_ctx_scratch(*state), sizeof(int));
    for (int i = 0; i < 8; i++) {
        int *item = qx_array_push(&a);
        assert_non_null(item);
        *item = i;
    }
    qx_arena_fail_after(1);
    assert_null(qx_array_push(&a));
    assert_int_equal(a.count, 8);
    assert_int_equal(*(const int *)qx_array_at(&a, 7), 7);
    assert_non_null(qx_array_push(&a));
}

static void a_room_that_would_overflow_is_refused(void **state)
{
    qx_array a = QX_ARRAY(qx_ctx_scratch(*state), sizeof(int));
    a.count = SIZE_MAX / 2 + 1;
    a.room = a.count;
    assert_null(qx_array_push(&a));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(items_keep_their_order_while_it_grows),
        CTX_TEST(without_memory_it_stays_as_it_was),
        CTX_TEST(a_room_that_would_overflow_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
