#include "test.h"

#include "base/status.h"

/* Exit statuses as the contract has them: 0 done, 1 problems in input, 2 usage, 3 machine
 * or computation. */
static void exit_statuses_are_those_of_the_contract(void **state)
{
    (void)state;
    assert_int_equal(qx_status_exit(QX_OK), 0);
    assert_int_equal(qx_status_exit(QX_E_INPUT), 1);
    assert_int_equal(qx_status_exit(QX_E_EXISTS), 1);
    assert_int_equal(qx_status_exit(QX_E_USAGE), 2);
    assert_int_equal(qx_status_exit(QX_E_NUMERIC), 3);
    assert_int_equal(qx_status_exit(QX_E_NOMEM), 3);
    assert_int_equal(qx_status_exit(QX_E_IO), 3);
}

static void every_code_has_text_and_only_ok_succeeds(void **state)
{
    (void)state;
    static const qx_status all[] = {
#define X(code, text, http, exit_status) code,
        QX_STATUS_LIST(X)
#undef X
    };
    for (size_t i = 0; i < QX_COUNT(all); i++) {
        assert_true(strlen(qx_status_text(all[i])) > 0);
        assert_int_equal(qx_status_http(all[i]) == 200, all[i] == QX_OK);
        assert_int_equal(qx_status_exit(all[i]) == 0, all[i] == QX_OK);
    }
}

static void unknown_codes_are_told_as_failed_computation(void **state)
{
    (void)state;
    const qx_status unknown = (qx_status)999;
    assert_string_equal(qx_status_text(unknown), qx_status_text(QX_E_NUMERIC));
    assert_int_equal(qx_status_http(unknown), 500);
    assert_int_equal(qx_status_exit(unknown), 3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(exit_statuses_are_those_of_the_contract),
        cmocka_unit_test(every_code_has_text_and_only_ok_succeeds),
        cmocka_unit_test(unknown_codes_are_told_as_failed_computation),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
