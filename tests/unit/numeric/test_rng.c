/* Random numbers: published vectors, an independent jump, and the laws of what is drawn. */
#include "test.h"

#include "numeric/dist.h"
#include "numeric/rng.h"

#define DRAWS 200000

/* Source: test vector of the published xoshiro256++ reference code, state {1, 2, 3, 4}
 * (from memory; confirmed by the algorithm written out in Python). */
static void the_reference_sequence(void **state)
{
    static const uint64_t want[] = {UINT64_C(41943041),
                                    UINT64_C(58720359),
                                    UINT64_C(3588806011781223),
                                    UINT64_C(3591011842654386),
                                    UINT64_C(9228616714210784205),
                                    UINT64_C(9973669472204895162),
                                    UINT64_C(14011001112246962877),
                                    UINT64_C(12406186145184390807),
                                    UINT64_C(15849039046786891736),
                                    UINT64_C(10450023813501588000)};
    qx_rng rng = {{1, 2, 3, 4}};
    (void)state;
    for (size_t i = 0; i < QX_COUNT(want); i++) {
        assert_true(qx_rng_next(&rng) == want[i]);
    }
}

/* Source: published outputs of splitmix64 for the seed 1234567 (from memory; confirmed in
 * Python). */
static void the_seed_is_spread_by_splitmix(void **state)
{
    static const uint64_t want[] = {UINT64_C(6457827717110365317),
                                    UINT64_C(3203168211198807973),
                                    UINT64_C(9817491932198370423),
                                    UINT64_C(4593380528125082431)};
    const qx_rng rng = qx_rng_seeded(1234567);
    (void)state;
    for (size_t i = 0; i < QX_COUNT(want); i++) {
        assert_true(rng.s[i] == want[i]);
    }
}

/* Source: the linear map of one step as a 256 by 256 matrix of bits, squared 128 times in
 * Python; no jump polynomial was used. */
static void a_jump_is_2_to_the_128_steps(void **state)
{
    static const uint64_t want[] = {UINT64_C(0x8c7a153956b5f3d1),
                                    UINT64_C(0x701f1a713401d85e),
                                    UINT64_C(0x6527f66a65469085),
                                    UINT64_C(0x8386b786c4408050)};
    qx_rng rng = {{1, 2, 3, 4}};
    (void)state;
    qx_rng_jump(&rng);
    for (size_t i = 0; i < QX_COUNT(want); i++) {
        assert_true(rng.s[i] == want[i]);
    }
    assert_true(qx_rng_next(&rng) == UINT64_C(17043750140134683703));
}

static void a_stream_is_so_many_jumps(void **state)
{
    qx_rng a = qx_rng_seeded(7);
    (void)state;
    qx_rng b = qx_rng_stream(7, 0);
    assert_memory_equal(&a, &b, sizeof a);
    qx_rng_jump(&a);
    qx_rng_jump(&a);
    b = qx_rng_stream(7, 2);
    assert_memory_equal(&a, &b, sizeof a);
}

/* Means and variances within four standard errors of those of the distribution; the seed
 * is fixed, so this either holds or does not. */
static void uniforms_fill_the_open_interval(void **state)
{
    qx_rng rng = qx_rng_seeded(11);
    double sum = 0.0;
    double squares = 0.0;
    (void)state;
    for (size_t i = 0; i < DRAWS; i++) {
        const double u = qx_rng_uniform(&rng);
        assert_true(u > 0.0 && u < 1.0);
        sum += u;
        squares += (u - 0.5) * (u - 0.5);
    }
    assert_within(sum / DRAWS, 0.5, 4.0 * sqrt(1.0 / 12.0 / DRAWS));
    assert_within(squares / DRAWS, 1.0 / 12.0, 4.0 * sqrt(1.0 / 180.0 / DRAWS));
}

/* The word with all bits set must not round to 1, nor the word 0 to 0. State and output:
 * rotl(s0 + s3, 23) + s0 with s0 = 0 and s3 chosen. */
static void the_ends_stay_outside(void **state)
{
    qx_rng top = {{0, 1, 1, UINT64_MAX}};
    qx_rng bottom = {{0, 1, 1, 0}};
    (void)state;
    assert_true(qx_rng_uniform(&top) == 1.0 - 0x1p-53);
    assert_true(qx_rng_uniform(&bottom) == 0x1p-53);
}

static void normals_have_their_moments(void **state)
{
    qx_rng rng = qx_rng_seeded(13);
    double sum = 0.0;
    double squares = 0.0;
    double fourth = 0.0;
    (void)state;
    for (size_t i = 0; i < DRAWS; i++) {
        const double z = qx_rng_normal(&rng);
        sum += z;
        squares += z * z;
        fourth += z * z * z * z;
    }
    assert_within(sum / DRAWS, 0.0, 4.0 / sqrt(DRAWS));
    assert_within(squares / DRAWS, 1.0, 4.0 * sqrt(2.0 / DRAWS));
    assert_within(fourth / DRAWS, 3.0, 4.0 * sqrt(96.0 / DRAWS));
}

static void a_normal_is_the_quantile_of_its_uniform(void **state)
{
    qx_rng a = qx_rng_seeded(5);
    qx_rng b = a;
    (void)state;
    assert_true(qx_rng_normal(&a) == qx_normal_q(qx_rng_uniform(&b), QX_LOWER));
    assert_memory_equal(&a, &b, sizeof a);
}

static void below_takes_each_number_alike(void **state)
{
    qx_rng rng = qx_rng_seeded(17);
    size_t count[7] = {0};
    (void)state;
    for (size_t i = 0; i < 70000; i++) {
        const uint64_t k = qx_rng_below(&rng, 7);
        assert_true(k < 7);
        count[k]++;
    }
    double chisq = 0.0;
    for (size_t k = 0; k < 7; k++) {
        chisq += pow((double)count[k] - 10000.0, 2) / 10000.0;
    }
    assert_true(qx_chisq_p(chisq, 6, QX_UPPER) > 0.001);
    assert_true(qx_rng_below(&rng, 1) == 0);
}

/* Source: high word of a 64 by 64 bit product from GCC's and Clang's 128-bit integers. */
static void below_is_the_high_word_of_a_product(void **state)
{
    __extension__ typedef unsigned __int128 wide;
    qx_rng a = qx_rng_seeded(23);
    qx_rng b = a;
    (void)state;
    for (uint64_t n = UINT64_C(0x123456789abcdef); n > 1; n /= 3) {
        /* n is so far below 2^64 that no word of these is drawn again. */
        const uint64_t got = qx_rng_below(&a, n);
        assert_true(got == (uint64_t)((wide)qx_rng_next(&b) * n >> 64));
    }
}

static void a_shuffle_reaches_every_order_alike(void **state)
{
    qx_rng rng = qx_rng_seeded(19);
    size_t count[64] = {0};
    (void)state;
    for (size_t i = 0; i < 60000; i++) {
        size_t items[] = {0, 1, 2};
        qx_rng_shuffle(&rng, 3, items);
        assert_int_equal(items[0] + items[1] + items[2], 3);
        assert_int_equal(items[0] * items[1] * items[2], 0);
        count[items[0] * 16 + items[1] * 4 + items[2]]++;
    }
    double chisq = 0.0;
    size_t orders = 0;
    for (size_t k = 0; k < QX_COUNT(count); k++) {
        if (count[k] > 0) {
            orders++;
            chisq += pow((double)count[k] - 10000.0, 2) / 10000.0;
        }
    }
    assert_int_equal(orders, 6);
    assert_true(qx_chisq_p(chisq, 5, QX_UPPER) > 0.001);
    qx_rng_shuffle(&rng, 0, NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_reference_sequence),
        cmocka_unit_test(the_seed_is_spread_by_splitmix),
        cmocka_unit_test(a_jump_is_2_to_the_128_steps),
        cmocka_unit_test(a_stream_is_so_many_jumps),
        cmocka_unit_test(uniforms_fill_the_open_interval),
        cmocka_unit_test(the_ends_stay_outside),
        cmocka_unit_test(normals_have_their_moments),
        cmocka_unit_test(a_normal_is_the_quantile_of_its_uniform),
        cmocka_unit_test(below_takes_each_number_alike),
        cmocka_unit_test(below_is_the_high_word_of_a_product),
        cmocka_unit_test(a_shuffle_reaches_every_order_alike),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
