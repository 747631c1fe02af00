#include "test.h"

#include "base/map.h"

static void keys_are_numbered_in_the_order_they_came(void **state)
{
    qx_map *map = qx_map_new(qx_ctx_scratch(*state));
    assert_non_null(map);
    assert_int_equal(qx_map_add(map, "pear", 4), 0);
    assert_int_equal(qx_map_add(map, "plum", 4), 1);
    assert_int_equal(qx_map_add(map, "pear", 4), 0);
    assert_int_equal(qx_map_count(map), 2);
    assert_string_equal(qx_map_key(map, 0), "pear");
    assert_string_equal(qx_map_key(map, 1), "plum");
    assert_int_equal(qx_map_find(map, "plum", 4), 1);
    assert_true(qx_map_find(map, "quince", 6) == QX_MAP_NONE);
}

static void only_the_given_bytes_count(void **state)
{
    qx_map *map = qx_map_new(qx_ctx_scratch(*state));
    assert_int_equal(qx_map_add(map, "pearl", 4), 0);
    assert_int_equal(qx_map_find(map, "pear", 4), 0);
    assert_true(qx_map_find(map, "pearl", 5) == QX_MAP_NONE);
    assert_int_equal(qx_map_add(map, "", 0), 1);
    assert_int_equal(qx_map_add(map, "a\0b", 3), 2);
    assert_true(qx_map_find(map, "a", 1) == QX_MAP_NONE);
}

static void a_hundred_thousand_keys_are_found_again(void **state)
{
    enum { COUNT = 100000 };
    qx_map *map = qx_map_new(qx_ctx_scratch(*state));
    char key[32];
    for (unsigned i = 0; i < COUNT; i++) {
        const int length = snprintf(key, sizeof key, "block %u tree %u", i / 50, i % 50);
        assert_int_equal(qx_map_add(map, key, (size_t)length), i);
    }
    for (unsigned i = 0; i < COUNT; i++) {
        const int length = snprintf(key, sizeof key, "block %u tree %u", i / 50, i % 50);
        assert_int_equal(qx_map_find(map, key, (size_t)length), i);
        assert_string_equal(qx_map_key(map, i), key);
    }
    assert_int_equal(qx_map_count(map), COUNT);
}

static qx_status add_fifty(qx_ctx *cx, void *given)
{
    (void)given;
    qx_map *map = qx_map_new(qx_ctx_scratch(cx));
    if (map == NULL) {
        return QX_E_NOMEM;
    }
    char key[16];
    for (int i = 0; i < 50; i++) {
        const int length = snprintf(key, sizeof key, "%d", i);
        if (qx_map_add(map, key, (size_t)length) == QX_MAP_NONE) {
            /* What was in it is still there. */
            assert_int_equal(qx_map_count(map), i);
            assert_int_equal(qx_map_find(map, "0", 1) == QX_MAP_NONE, i == 0);
            return QX_E_NOMEM;
        }
    }
    return QX_OK;
}

static void every_failed_allocation_leaves_a_sound_map(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(add_fifty, NULL) > 50);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(keys_are_numbered_in_the_order_they_came),
        CTX_TEST(only_the_given_bytes_count),
        CTX_TEST(a_hundred_thousand_keys_are_found_again),
        cmocka_unit_test(every_failed_allocation_leaves_a_sound_map),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
