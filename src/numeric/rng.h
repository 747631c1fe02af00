/* numeric/rng.h - xoshiro256++ (Blackman & Vigna 2021, ACM Trans Math Softw 47:36), seeded
 * through splitmix64 (Steele et al. 2014, OOPSLA), with independent streams by its jump
 * polynomial. The same seed gives the same numbers on every machine and version. */
#ifndef QX_NUMERIC_RNG_H
#define QX_NUMERIC_RNG_H

#include <stddef.h>
#include <stdint.h>

#include "base/attr.h"

typedef struct qx_rng {
    uint64_t s[4];
} qx_rng;

QX_API qx_rng qx_rng_seeded(uint64_t seed);
QX_API qx_rng qx_rng_stream(uint64_t seed, size_t stream); /* stream-th jump of 2^128 */
QX_API void qx_rng_jump(qx_rng *rng);
QX_API uint64_t qx_rng_next(qx_rng *rng);
QX_API double qx_rng_uniform(qx_rng *rng); /* open interval (0, 1), 53 bits, centred */
QX_API double qx_rng_normal(qx_rng *rng);  /* by inversion: one uniform each */

/* Uniform on 0 ... n-1 without bias (Lemire 2019, ACM Trans Model Comput Simul 29:3). */
QX_API uint64_t qx_rng_below(qx_rng *rng, uint64_t n);
QX_API void qx_rng_shuffle(qx_rng *rng, size_t n, size_t items[]); /* Fisher-Yates */

#endif
