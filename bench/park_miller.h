/* bench/park_miller.h - the stream of random numbers that R and C share bit for bit.
 *
 * x <- 48271 x mod (2^31 - 1), u = x / (2^31 - 1); normals are qnorm(u), one u each.
 * Source: Park & Miller 1988, Commun ACM 31:1192-1201, with the multiplier of Park, Miller
 * & Stockmeyer 1993, Commun ACM 36(7):105-110. For benchmarks only: trials are drawn with
 * numeric/rng.h. */
#ifndef QX_BENCH_PARK_MILLER_H
#define QX_BENCH_PARK_MILLER_H

#include <stdint.h>

#include "numeric/dist.h"

#define PARK_MILLER_MODULUS 2147483647U

/* Replicate r = 1, 2, ... of a workload: far apart, since neighbouring seeds start alike. */
static inline uint64_t park_miller_seed(uint64_t replicate)
{
    return 1000003U * replicate + 17U;
}

static inline double park_miller_uniform(uint64_t *x)
{
    *x = 48271U * *x % PARK_MILLER_MODULUS;
    return (double)*x / (double)PARK_MILLER_MODULUS;
}

static inline double park_miller_normal(uint64_t *x)
{
    return qx_normal_q(park_miller_uniform(x), QX_LOWER);
}

#endif
