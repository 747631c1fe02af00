#include "test.h"

#include <math.h>

#include "base/json_write.h"

static void one_document_of_every_kind(void **state)
{
    qx_arena *arena = qx_ctx_scratch(*state);
    qx_text *text = qx_text_new(arena);
    qx_json *j = qx_json_new(arena, text);
    assert_non_null(j);
    qx_json_open(j, NULL, '{');
    qx_json_number(j, "third", 1.0 / 3);
    qx_json_number(j, "none", NAN);
    qx_json_number(j, "far", -INFINITY);
    qx_json_whole(j, "whole", -9007199254740993);
    qx_json_text(j, "a \"key\"", "line\nline");
    qx_json_text(j, "nothing", NULL);
    qx_json_null(j, "null");
    qx_json_open(j, "list", '[');
    qx_json_bool(j, NULL, true);
    qx_json_bool(j, NULL, false);
    qx_json_open(j, NULL, '{');
    qx_json_close(j, '}');
    qx_json_open(j, NULL, '[');
    qx_json_close(j, ']');
    qx_json_close(j, ']');
    qx_json_close(j, '}');
    assert_false(qx_text_failed(text));
    assert_string_equal(qx_text_get(text),
                        "{\n"
                        "  \"third\": 0.3333333333333333,\n"
                        "  \"none\": null,\n"
                        "  \"far\": null,\n"
                        "  \"whole\": -9007199254740993,\n"
                        "  \"a \\\"key\\\"\": \"line\\nline\",\n"
                        "  \"nothing\": null,\n"
                        "  \"null\": null,\n"
                        "  \"list\": [\n"
                        "    true,\n"
                        "    false,\n"
                        "    {},\n"
                        "    []\n"
                        "  ]\n"
                        "}\n");
}

static void a_bare_value_is_a_document(void **state)
{
    qx_arena *arena = qx_ctx_scratch(*state);
    qx_text *text = qx_text_new(arena);
    qx_json *j = qx_json_new(arena, text);
    qx_json_text(j, NULL, "x");
    assert_string_equal(qx_text_get(text), "\"x\"\n");
}

static qx_status nest(qx_ctx *cx, void *given)
{
    (void)given;
    qx_arena *arena = qx_ctx_scratch(cx);
    qx_text *text = qx_text_new(arena);
    qx_json *j = text == NULL ? NULL : qx_json_new(arena, text);
    if (j == NULL) {
        return QX_E_NOMEM;
    }
    qx_json_open(j, NULL, '{');
    qx_json_open(j, "a", '[');
    for (int i = 0; i < 40; i++) {
        qx_json_open(j, NULL, '[');
    }
    qx_json_number(j, NULL, 1);
    for (int i = 0; i < 40; i++) {
        qx_json_close(j, ']');
    }
    qx_json_close(j, ']');
    qx_json_whole(j, "b", 2);
    qx_json_close(j, '}');
    return qx_text_failed(text) ? QX_E_NOMEM : QX_OK;
}

static void failed_allocations_are_remembered_by_the_text(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(nest, NULL) >= 6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(one_document_of_every_kind),
        CTX_TEST(a_bare_value_is_a_document),
        cmocka_unit_test(failed_allocations_are_remembered_by_the_text),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
