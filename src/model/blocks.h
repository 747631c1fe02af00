/* model/blocks.h - a profile whose random columns fall into sets that never meet.
 *
 * Two columns of Z meet when some row has both; the sets of columns that hang together
 * (all that belongs to one block, when blocks are random; single trees, when nothing is
 * above them) make Z'Z block diagonal. Everything of model/profile.h then costs the sum of
 * the cubes of the sets, not the cube of the sum. Over sets b, without projecting on M:
 *
 *     A_b = I + L G_b L = K K'    B = K^-1 L G_b   Y = K^-1 L C_b   v = K^-1 L z_b
 *     H_b = Z'V^-1 Z = G_b - B'B      U = Z'V^-1 Q = C_b - B'Y      h = Z'V^-1 r = z_b - B'v
 *     F = Q'V^-1 Q = I - sum Y'Y      e = Q'V^-1 r = -sum Y'v       phi = F^-1, d = phi e
 *     log|A| = sum log|A_b| + log|F|  y'Py = rr - sum v'v - e'd     w = h - U d
 *
 * and T = H - U phi U' is never formed: with M_k = U_k'U_k and S_kl = sum U_k'H_kl U_l,
 *
 *     tr T_kk = tr H_kk - tr(phi M_k)
 *     |T_kl|^2 = |H_kl|^2 - 2 tr(phi S_kl) + tr(phi M_k phi M_l)
 *     w_k'T_kl w_l = w_k'H_kl w_l - (U_k'w_k)' phi (U_l'w_l)
 *
 * M and S also give all of model/information.h: N = U phi. */
#ifndef QX_MODEL_BLOCKS_H
#define QX_MODEL_BLOCKS_H

#include <stdbool.h>
#include <stdint.h>

#include "model/profile.h"

struct qx_blocks {
    size_t count;         /* sets */
    const size_t *start;  /* count + 1: places of set b are start[b] ... start[b+1] - 1 */
    const size_t *column; /* q: column of Z at each place, by set, then by term */
    const size_t *term;   /* q: random term of the column at each place */
    const size_t *offset; /* count + 1: where the square of set b begins in a pool */
    const double *G;      /* offset[count]: squares G_b, column-major */
};

struct qx_blocks_room {
    double *K, *B, *H; /* offset[count] each */
    qx_mat Y, U;       /* q x p, rows by place */
    double *h;         /* q by place */
    double *v;         /* q by place */
    qx_mat F, phi;     /* p x p; F holds its factor */
    double *e, *d;     /* p */
    qx_mat *M;         /* m: p x p */
    qx_mat *S;         /* m x m, [k + l m]: p x p */
    double *along;     /* m x p: U_k'w_k */
};

/* The sets of m factors; NULL in *out when handling them apart would not be cheaper. */
qx_status qx_blocks_find(qx_ctx *cx,
                         qx_arena *arena,
                         const qx_profile *profile,
                         const uint32_t *const code[],
                         bool always,
                         const struct qx_blocks **out);

/* What a point would cost: the sum of the cubes of the sets that qx_blocks_find would give,
 * or the cube of all columns. */
qx_status qx_blocks_cubes(qx_ctx *cx,
                          size_t n,
                          size_t m,
                          const size_t levels[],
                          const uint32_t *const code[],
                          double *out);

qx_status qx_blocks_room_make(qx_ctx *cx,
                              qx_arena *arena,
                              const qx_profile *profile,
                              struct qx_blocks_room **out);

/* As qx_profile_value and qx_profile_evaluate; gamma and lambda are in the point. */
qx_status qx_blocks_value(qx_ctx *cx, const qx_profile *f, qx_profile_point *at);
qx_status qx_blocks_evaluate(qx_ctx *cx, const qx_profile *f, qx_profile_point *at);

#endif
