/* numeric/rng.c - xoshiro256++ as its authors define it (Blackman & Vigna 2021). */
#include "numeric/rng.h"

#include "numeric/dist.h"

static uint64_t rotate_left(uint64_t x, int k)
{
    return (x << k) | (x >> (64 - k));
}

/* splitmix64: fills the state from one number, never with four zeros. */
static uint64_t split_mix(uint64_t *state)
{
    *state += UINT64_C(0x9e3779b97f4a7c15);
    uint64_t z = *state;
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

qx_rng qx_rng_seeded(uint64_t seed)
{
    qx_rng rng;
    for (size_t i = 0; i < QX_COUNT(rng.s); i++) {
        rng.s[i] = split_mix(&seed);
    }
    return rng;
}

qx_rng qx_rng_stream(uint64_t seed, size_t stream)
{
    qx_rng rng = qx_rng_seeded(seed);
    for (size_t i = 0; i < stream; i++) {
        qx_rng_jump(&rng);
    }
    return rng;
}

uint64_t qx_rng_next(qx_rng *rng)
{
    uint64_t *s = rng->s;
    const uint64_t out = rotate_left(s[0] + s[3], 23) + s[0];
    const uint64_t t = s[1] << 17;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= t;
    s[3] = rotate_left(s[3], 45);
    return out;
}

/* The state is multiplied by x^(2^128) modulo the characteristic polynomial. */
void qx_rng_jump(qx_rng *rng)
{
    static const uint64_t jump[] = {UINT64_C(0x180ec6d33cfd0aba),
                                    UINT64_C(0xd5a61266f0c9392c),
                                    UINT64_C(0xa9582618e03fc9aa),
                                    UINT64_C(0x39abdc4529b1661c)};
    qx_rng to = {{0, 0, 0, 0}};
    for (size_t word = 0; word < QX_COUNT(jump); word++) {
        for (int bit = 0; bit < 64; bit++) {
            /* All ones where the coefficient is 1. */
            const uint64_t mask = UINT64_C(0) - ((jump[word] >> bit) & UINT64_C(1));
            for (size_t i = 0; i < QX_COUNT(to.s); i++) {
                to.s[i] ^= rng->s[i] & mask;
            }
            (void)qx_rng_next(rng);
        }
    }
    *rng = to;
}

/* Odd multiples of 2^-53: neither 0 nor 1 can come, and the mean is one half. A 53-bit
 * number plus one half would not do: the largest rounds to 1. */
double qx_rng_uniform(qx_rng *rng)
{
    return (double)((qx_rng_next(rng) >> 11) | UINT64_C(1)) * 0x1p-53;
}

double qx_rng_normal(qx_rng *rng)
{
    return qx_normal_q(qx_rng_uniform(rng), QX_LOWER);
}

/* High and low word of a 128-bit product, from 32-bit halves. */
static void multiply_wide(uint64_t a, uint64_t b, uint64_t *high, uint64_t *low)
{
    const uint64_t half = UINT64_C(0xffffffff);
    const uint64_t low_low = (a & half) * (b & half);
    const uint64_t high_low = (a >> 32) * (b & half);
    const uint64_t low_high = (a & half) * (b >> 32);
    const uint64_t middle = (low_low >> 32) + (high_low & half) + (low_high & half);
    *high = (a >> 32) * (b >> 32) + (high_low >> 32) + (low_high >> 32) + (middle >> 32);
    *low = (middle << 32) | (low_low & half);
}

uint64_t qx_rng_below(qx_rng *rng, uint64_t n)
{
    QX_ASSERT(n > 0);
    if (n == 0) {
        return 0;
    }
    /* Numbers of the low word below 2^64 mod n come once too often: drawn again. */
    const uint64_t surplus = (UINT64_C(0) - n) % n;
    uint64_t high = 0;
    uint64_t low = 0;
    do {
        multiply_wide(qx_rng_next(rng), n, &high, &low);
    } while (low < surplus);
    return high;
}

void qx_rng_shuffle(qx_rng *rng, size_t n, size_t items[])
{
    for (size_t i = n; i > 1; i--) {
        const size_t j = (size_t)qx_rng_below(rng, i);
        const size_t held = items[i - 1];
        items[i - 1] = items[j];
        items[j] = held;
    }
}
