#include "test.h"

#include "base/text.h"

static qx_text *text_of(void **state)
{
    qx_text *text = qx_text_new(qx_ctx_scratch(*state));
    assert_non_null(text);
    return text;
}

static void pieces_are_joined(void **state)
{
    qx_text *text = text_of(state);
    assert_string_equal(qx_text_get(text), "");
    qx_text_add(text, "limb ");
    qx_text_add_bytes(text, "12345", 2);
    qx_text_printf(text, " of %s %d", "tree", 7);
    qx_text_add(text, "");
    assert_string_equal(qx_text_get(text), "limb 12 of tree 7");
    assert_int_equal(qx_text_length(text), 17);
    assert_false(qx_text_failed(text));
}

static void a_long_text_is_whole(void **state)
{
    qx_text *text = text_of(state);
    for (int i = 0; i < 10000; i++) {
        qx_text_printf(text, "%04d,", i);
    }
    assert_int_equal(qx_text_length(text), 50000);
    assert_memory_equal(qx_text_get(text) + 5 * 9999, "9999,", 6);
}

static void without_memory_it_stays_and_remembers(void **state)
{
    qx_text *text = text_of(state);
    qx_text_add(text, "kept");
    qx_arena_fail_after(1);
    for (int i = 0; i < 100; i++) {
        qx_text_add(text, "some more ");
    }
    qx_arena_fail_after(0);
    assert_true(qx_text_failed(text));
    const size_t length = qx_text_length(text);
    qx_text_add(text, "x");
    qx_text_printf(text, "%d", 1);
    assert_int_equal(qx_text_length(text), length);
    assert_memory_equal(qx_text_get(text), "kept", 4);
    qx_arena_fail_after(1);
    assert_null(qx_text_new(qx_ctx_scratch(*state)));
}

static void a_writer_can_mark_it_as_failed(void **state)
{
    qx_text *text = text_of(state);
    qx_text_fail(text);
    assert_true(qx_text_failed(text));
}

static void markup_is_escaped(void **state)
{
    qx_text *text = text_of(state);
    qx_text_html(text, "a<b & \"c\" > 'd' – é");
    assert_string_equal(qx_text_get(text),
                        "a&lt;b &amp; &quot;c&quot; &gt; &#39;d&#39; – é");
}

static const char *csv(void **state, const char *field)
{
    qx_text *text = text_of(state);
    qx_text_csv(text, field);
    return qx_text_get(text);
}

/* Source: RFC 4180, section 2, rules 5 to 7. */
static void fields_are_quoted_where_they_must_be(void **state)
{
    assert_string_equal(csv(state, "aaa"), "aaa");
    assert_string_equal(csv(state, ""), "");
    assert_string_equal(csv(state, "b\r\nbb"), "\"b\r\nbb\"");
    assert_string_equal(csv(state, "b\"bb"), "\"b\"\"bb\"");
    assert_string_equal(csv(state, "1,5"), "\"1,5\"");
    assert_string_equal(csv(state, "a;b"), "\"a;b\"");
    assert_string_equal(csv(state, " a"), "\" a\"");
    assert_string_equal(csv(state, "a "), "\"a \"");
    assert_string_equal(csv(state, "a b"), "a b");
}

static const char *json(void **state, const char *value)
{
    qx_text *text = text_of(state);
    qx_text_json(text, value);
    return qx_text_get(text);
}

/* Source: RFC 8259, section 7. */
static void json_strings_are_escaped(void **state)
{
    assert_string_equal(json(state, ""), "\"\"");
    assert_string_equal(json(state, "a\"b\\c/"), "\"a\\\"b\\\\c/\"");
    assert_string_equal(json(state, "\n\r\t"), "\"\\n\\r\\t\"");
    assert_string_equal(json(state, "\x01\x1f\x7f"), "\"\\u0001\\u001f\\u007f\"");
    assert_string_equal(json(state, "é – 𝄞"), "\"é – 𝄞\"");
}

static void bytes_that_are_not_utf8_become_the_replacement_character(void **state)
{
    assert_string_equal(json(state, "a\xff"), "\"a\xef\xbf\xbd\"");
    assert_string_equal(json(state, "\xc3"), "\"\xef\xbf\xbd\"");
    assert_string_equal(json(state, "\xc3("), "\"\xef\xbf\xbd(\"");
}

/* Distances from the definition: Levenshtein 1966, Soviet Physics Doklady 10:707-710,
 * with exchanged neighbours counted once (Damerau 1964). Counted by hand. */
static void distances_are_those_of_the_definition(void **state)
{
    (void)state;
    assert_int_equal(qx_text_distance("", ""), 0);
    assert_int_equal(qx_text_distance("", "abc"), 3);
    assert_int_equal(qx_text_distance("abc", ""), 3);
    assert_int_equal(qx_text_distance("kitten", "sitting"), 3);
    assert_int_equal(qx_text_distance("block", "blocks"), 1);
    assert_int_equal(qx_text_distance("within", "wihtin"), 1);
    assert_int_equal(qx_text_distance("ca", "abc"), 3);
    assert_int_equal(qx_text_distance("tree", "TREE"), 4);
    char longest[66];
    memset(longest, 'a', 65);
    longest[65] = '\0';
    assert_true(qx_text_distance(longest, "a") == SIZE_MAX);
    assert_true(qx_text_distance("a", longest) == SIZE_MAX);
    longest[64] = '\0';
    assert_int_equal(qx_text_distance(longest, longest), 0);
}

static void distance_is_symmetric(void **state)
{
    (void)state;
    static const char *const words[] = {
        "margin", "mragin", "marign", "region", "m", "variate"};
    for (size_t i = 0; i < QX_COUNT(words); i++) {
        for (size_t j = 0; j < QX_COUNT(words); j++) {
            assert_int_equal(qx_text_distance(words[i], words[j]),
                             qx_text_distance(words[j], words[i]));
        }
    }
}

static void the_nearest_word_is_found_only_if_it_is_near(void **state)
{
    (void)state;
    static const char *const words[] = {"treatments", "units", "variates", "margin"};
    const size_t n = QX_COUNT(words);
    assert_string_equal(qx_text_nearest("tretments", words, n), "treatments");
    assert_string_equal(qx_text_nearest("unist", words, n), "units");
    assert_string_equal(qx_text_nearest("varates", words, n), "variates");
    assert_string_equal(qx_text_nearest("margin", words, n), "margin");
    assert_null(qx_text_nearest("seed", words, n));
    assert_null(qx_text_nearest("", words, n));
    assert_null(qx_text_nearest("units", words, 0));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(pieces_are_joined),
        CTX_TEST(a_long_text_is_whole),
        CTX_TEST(without_memory_it_stays_and_remembers),
        CTX_TEST(a_writer_can_mark_it_as_failed),
        CTX_TEST(markup_is_escaped),
        CTX_TEST(fields_are_quoted_where_they_must_be),
        CTX_TEST(json_strings_are_escaped),
        CTX_TEST(bytes_that_are_not_utf8_become_the_replacement_character),
        CTX_TEST(distances_are_those_of_the_definition),
        CTX_TEST(distance_is_symmetric),
        CTX_TEST(the_nearest_word_is_found_only_if_it_is_near),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
