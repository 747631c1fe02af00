/* The range of many questions against that of one, which has its own outside sources. */
#include "test.h"

#include "numeric/dist.h"
#include "numeric/range_table.h"

static const double dfs[] = {1, 2, 5, 12.5, 40, 300, (double)INFINITY};

static void probabilities_are_those_of_one_question(void **state)
{
    static const size_t means[] = {2, 3, 4, 7, 12, 30, 100};
    for (size_t i = 0; i < QX_COUNT(means); i++) {
        qx_range_table table;
        assert_ok(*state,
                  qx_range_table_make(*state, qx_ctx_scratch(*state), means[i], &table));
        for (size_t j = 0; j < QX_COUNT(dfs); j++) {
            for (size_t n = 0; n < 9; n++) {
                const double q = 0.05 * pow(2.2, (double)n);
                const double want = qx_range_p(q, (double)means[i], dfs[j], QX_UPPER);
                if (want > 1e-25) {
                    assert_near(qx_range_table_p(&table, q, dfs[j]), want, 1e-9);
                }
            }
        }
    }
}

static void quantiles_are_those_of_one_question(void **state)
{
    static const double p[] = {1e-6, 0.01, 0.05, 0.2, 0.7};
    static const size_t means[] = {2, 3, 8, 25};
    for (size_t i = 0; i < QX_COUNT(means); i++) {
        qx_range_table table;
        assert_ok(*state,
                  qx_range_table_make(*state, qx_ctx_scratch(*state), means[i], &table));
        for (size_t j = 0; j < QX_COUNT(dfs); j++) {
            for (size_t k = 0; k < QX_COUNT(p); k++) {
                assert_near(qx_range_table_q(&table, p[k], dfs[j]),
                            qx_range_q(p[k], (double)means[i], dfs[j], QX_UPPER),
                            1e-9);
            }
        }
    }
}

/* What a table keeps of earlier questions never shows: more degrees of freedom and levels
 * than it keeps, forwards and backwards, with those that differ by rounding between. */
static void earlier_questions_do_not_show(void **state)
{
    static const double p[] = {0.01, 0.05, 0.2};
    const size_t count = QX_COUNT(dfs) * QX_COUNT(p);
    qx_range_table table;
    assert_ok(*state, qx_range_table_make(*state, qx_ctx_scratch(*state), 5, &table));
    for (size_t turn = 0; turn < 4 * count; turn++) {
        const size_t again = turn / count; /* 0 ... 3 */
        const size_t at = again % 2 == 0 ? turn % count : count - 1 - turn % count;
        const size_t which = at / QX_COUNT(p);
        const double df = dfs[which] * (1.0 + (double)again * 2e-14);
        const double level = p[at % QX_COUNT(p)];
        const double q = qx_range_q(level, 5.0, df, QX_UPPER);
        assert_near(qx_range_table_q(&table, level, df), q, 1e-9);
        assert_near(qx_range_table_p(&table, q, df), level, 1e-9);
    }
}

static void ends_and_bad_arguments(void **state)
{
    qx_ctx *cx = *state;
    qx_arena *scratch = qx_ctx_scratch(cx);
    qx_range_table table;
    assert_fails(cx, qx_range_table_make(cx, scratch, 1, &table), QX_E_ARG, "2 to 1000");
    assert_fails(cx, qx_range_table_make(cx, scratch, 1001, &table), QX_E_ARG, "1001");
    assert_ok(cx, qx_range_table_make(cx, scratch, 4, &table));
    assert_true(qx_range_table_p(&table, 0.0, 5) == 1.0);
    assert_true(qx_range_table_p(&table, (double)INFINITY, 5) == 0.0);
    assert_true(isnan(qx_range_table_p(&table, (double)NAN, 5)));
    assert_true(isnan(qx_range_table_p(&table, 1.0, 0.5)));
    assert_true(isnan(qx_range_table_q(&table, 0.0, 5)));
    assert_true(isnan(qx_range_table_q(&table, 1.0, 5)));
    assert_true(isnan(qx_range_table_q(&table, 0.5, (double)NAN)));
}

static qx_status work(qx_ctx *cx, void *given)
{
    qx_range_table table;
    (void)given;
    return qx_range_table_make(cx, qx_ctx_scratch(cx), 5, &table);
}

static void no_memory_is_told(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(work, NULL) >= 4);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(probabilities_are_those_of_one_question),
        CTX_TEST(quantiles_are_those_of_one_question),
        CTX_TEST(earlier_questions_do_not_show),
        CTX_TEST(ends_and_bad_arguments),
        cmocka_unit_test(no_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
