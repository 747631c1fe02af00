/* Gauss rules: published nodes, and the polynomials that a rule of k nodes must get right. */
#include "test.h"

#include "numeric/quad.h"

#define MOST 200

/* Source: Abramowitz & Stegun 1964, Handbook of Mathematical Functions, tables 25.4
 * (n = 5) and 25.10 (n = 5). From memory. */
static void five_nodes_are_the_published_ones(void **state)
{
    double node[5];
    double weight[5];
    assert_ok(*state, qx_gauss_legendre(*state, 5, node, weight));
    assert_digits(node[4], "0.906179845938664", 15);
    assert_digits(node[3], "0.538469310105683", 15);
    assert_true(node[2] == 0.0 && node[0] == -node[4] && node[1] == -node[3]);
    assert_digits(weight[4], "0.236926885056189", 15);
    assert_digits(weight[3], "0.478628670499366", 15);
    assert_digits(weight[2], "0.568888888888889", 15);
    assert_ok(*state, qx_gauss_hermite(*state, 5, node, weight));
    assert_digits(node[4], "2.02018287045609", 15);
    assert_digits(node[3], "0.958572464613819", 15);
    assert_digits(weight[4], "0.0199532420590459", 15);
    assert_digits(weight[3], "0.393619323152241", 15);
    assert_digits(weight[2], "0.945308720482942", 15);
}

static double moment(size_t k, const double node[], const double weight[], size_t power)
{
    double sum = 0.0;
    for (size_t i = 0; i < k; i++) {
        sum += weight[i] * pow(node[i], (double)power);
    }
    return sum;
}

/* Exact up to degree 2k - 1: 2 / (power + 1) for even powers. */
static void legendre_integrates_powers(void **state)
{
    static const size_t sizes[] = {1, 2, 3, 10, 41, 100, MOST};
    double node[MOST];
    double weight[MOST];
    for (size_t s = 0; s < QX_COUNT(sizes); s++) {
        const size_t k = sizes[s];
        assert_ok(*state, qx_gauss_legendre(*state, k, node, weight));
        for (size_t power = 0; power < 2 * k; power += 2) {
            assert_within(
                moment(k, node, weight, power), 2.0 / ((double)power + 1.0), 1e-14);
            assert_within(moment(k, node, weight, power + 1), 0.0, 1e-15);
        }
        for (size_t i = 0; i < k; i++) {
            assert_true(weight[i] > 0.0 && fabs(node[i]) < 1.0);
            assert_true(i == 0 || node[i] > node[i - 1]);
        }
    }
}

/* Moments of exp(-x^2): Gamma((power + 1) / 2). */
static void hermite_integrates_powers(void **state)
{
    static const size_t sizes[] = {1, 2, 3, 9, 40, 100};
    double node[MOST];
    double weight[MOST];
    for (size_t s = 0; s < QX_COUNT(sizes); s++) {
        const size_t k = sizes[s];
        assert_ok(*state, qx_gauss_hermite(*state, k, node, weight));
        for (size_t power = 0; power < 2 * k && power < 60; power += 2) {
            assert_near(moment(k, node, weight, power),
                        exp(lgamma(0.5 * ((double)power + 1.0))),
                        1e-12);
        }
        for (size_t i = 1; i < k; i++) {
            assert_true(node[i] > node[i - 1]);
        }
    }
}

static void sizes_have_their_ends(void **state)
{
    qx_ctx *cx = *state;
    double room[MOST];
    assert_fails(cx, qx_gauss_legendre(cx, 0, room, room), QX_E_ARG, "1 to 200");
    assert_fails(cx, qx_gauss_legendre(cx, 201, room, room), QX_E_ARG, "201");
    assert_fails(cx, qx_gauss_hermite(cx, 0, room, room), QX_E_ARG, "1 to 100");
    assert_fails(cx, qx_gauss_hermite(cx, 101, room, room), QX_E_ARG, "101");
}

static qx_status work(qx_ctx *cx, void *given)
{
    double node[9];
    double weight[9];
    (void)given;
    QX_TRY(qx_gauss_hermite(cx, 9, node, weight));
    return qx_gauss_legendre(cx, 9, node, weight);
}

static void no_memory_is_told(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(work, NULL) >= 4);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(five_nodes_are_the_published_ones),
        CTX_TEST(legendre_integrates_powers),
        CTX_TEST(hermite_integrates_powers),
        CTX_TEST(sizes_have_their_ends),
        cmocka_unit_test(no_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
