#include "test.h"

#include "base/problems.h"

static qx_problems *problems_of(void **state)
{
    qx_problems *problems = qx_problems_new(qx_ctx_scratch(*state));
    assert_non_null(problems);
    return problems;
}

static void texts_are_copied_with_their_place(void **state)
{
    qx_problems *p = problems_of(state);
    char file[] = "limbs.csv";
    char expected[] = "expected 12.5";
    assert_int_equal(
        qx_problem_add(
            p, file, (qx_place){37, 4}, expected, "\"%s\" is no number", "12,5"),
        QX_OK);
    file[0] = 'X';
    expected[0] = 'X';
    const qx_problem *one = qx_problems_get(p, 0);
    assert_string_equal(one->file, "limbs.csv");
    assert_int_equal(one->at.line, 37);
    assert_int_equal(one->at.column, 4);
    assert_string_equal(one->wrong, "\"12,5\" is no number");
    assert_string_equal(one->expected, "expected 12.5");
}

static void nothing_named_is_empty_text(void **state)
{
    qx_problems *p = problems_of(state);
    assert_int_equal(qx_problem_add(p, NULL, (qx_place){0, 0}, NULL, "empty"), QX_OK);
    assert_string_equal(qx_problems_get(p, 0)->file, "");
    assert_string_equal(qx_problems_get(p, 0)->expected, "");
}

static void notes_are_told_but_not_counted(void **state)
{
    qx_problems *p = problems_of(state);
    assert_int_equal(
        qx_problem_note(p, "a", (qx_place){1, 1}, "plot %s", "has no column"), QX_OK);
    assert_int_equal(qx_problems_count(p), 0);
    assert_int_equal(qx_problems_notes(p), 1);
    assert_string_equal(qx_problems_get_note(p, 0)->wrong, "plot has no column");
    for (int i = 0; i < 2 * QX_PROBLEMS_MOST; i++) {
        assert_int_equal(qx_problem_note(p, "a", (qx_place){1, 1}, "n"), QX_OK);
    }
    assert_int_equal(qx_problems_notes(p), QX_PROBLEMS_MOST);
}

static void beyond_the_most_they_are_only_counted(void **state)
{
    qx_problems *p = problems_of(state);
    for (size_t i = 0; i < QX_PROBLEMS_MOST + 250; i++) {
        assert_int_equal(qx_problem_add(p, "a", (qx_place){i, 1}, "", "row %zu", i),
                         QX_OK);
    }
    assert_int_equal(qx_problems_count(p), QX_PROBLEMS_MOST + 250);
    assert_int_equal(qx_problems_stored(p), QX_PROBLEMS_MOST);
}

static void sorting_is_by_place_and_stable(void **state)
{
    qx_problems *p = problems_of(state);
    static const struct {
        const char *file;
        size_t line, column;
        const char *wrong;
    } given[] = {{"b", 1, 1, "5"},
                 {"a", 9, 2, "3"},
                 {"a", 2, 7, "1"},
                 {"a", 9, 2, "4"},
                 {"a", 9, 1, "2"},
                 {"a", 1, 50, "0"}};
    for (size_t i = 0; i < QX_COUNT(given); i++) {
        const qx_place at = {given[i].line, given[i].column};
        assert_int_equal(qx_problem_add(p, given[i].file, at, "", "%s", given[i].wrong),
                         QX_OK);
    }
    qx_problems_sort(p);
    for (size_t i = 0; i < QX_COUNT(given); i++) {
        assert_int_equal(qx_problems_get(p, i)->wrong[0], '0' + (char)i);
    }
}

static qx_status add_some(qx_ctx *cx, void *given)
{
    (void)given;
    qx_problems *p = qx_problems_new(qx_ctx_scratch(cx));
    if (p == NULL) {
        return QX_E_NOMEM;
    }
    const qx_status status = qx_problem_add(p, "a", (qx_place){1, 1}, "x", "w");
    /* Without memory for the words the input is wrong all the same. */
    assert_int_equal(qx_problems_count(p), 1);
    QX_TRY(status);
    QX_TRY(qx_problem_add(p, "b", (qx_place){1, 1}, "x", "w"));
    return qx_problem_note(p, "b", (qx_place){1, 1}, "w");
}

static void every_failed_allocation_is_told(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(add_some, NULL) >= 8);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(texts_are_copied_with_their_place),
        CTX_TEST(nothing_named_is_empty_text),
        CTX_TEST(notes_are_told_but_not_counted),
        CTX_TEST(beyond_the_most_they_are_only_counted),
        CTX_TEST(sorting_is_by_place_and_stable),
        cmocka_unit_test(every_failed_allocation_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
