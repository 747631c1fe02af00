/* model/weighting.h - W^-1 and Q of a fit, entry by entry. Private to model/.
 *
 * With W = V / sigma2 = I + Z G Z' (G the variance ratios), A = I + L Z'Z L, L = sqrt(G):
 *
 *     W^-1   = I - Z L A^-1 L Z'                       (Woodbury)
 *     T      = W^-1 X,   X'T = M M',   g_i = M^-1 t_i  t_i the i-th row of T
 *     W^-1_ij = delta_ij - shrunk_ij,   shrunk_ij = l_i' A^-1 l_j,  l_i row i of Z L
 *     Q_ij    = W^-1_ij - g_i'g_j
 *
 * Least squares has W = I. A falls into one block for each set of levels that meet. */
#ifndef QX_MODEL_WEIGHTING_H
#define QX_MODEL_WEIGHTING_H

#include "model/lmm.h"

/* A random term whose variance is above zero. */
struct qx_weighting_term {
    const uint32_t *code;
    size_t levels;
    size_t at;     /* where its levels begin among all q */
    double lambda; /* sqrt of its variance ratio */
};

typedef struct qx_weighting {
    size_t n, p;
    size_t count, q;
    const struct qx_weighting_term *term;
    size_t sets;
    size_t *start;   /* sets + 1: places of set s are start[s] ... start[s + 1] - 1 */
    size_t *place;   /* q: where a level stands, by sets */
    size_t *set_of;  /* q: set of a place */
    qx_mat *inverse; /* sets: A^-1 */
    qx_mat basis;    /* n x p: orthonormal columns that span those of X */
    qx_mat g;        /* p x n: column i is g_i */
    bool lost;       /* nothing but rounding is left of T, or a set is too large: no entry
                        may be asked for */
} qx_weighting;

/* In scratch. A set of more than 5000 levels is told by a note and `lost`. Errors:
 * QX_E_SHAPE (a random term is not in the frame), QX_E_NOMEM. Cost O(q^3 + n p^2). */
qx_status qx_weighting_make(qx_ctx *cx, const qx_lmm *fit, qx_weighting *out);

/* Place of row i's level of term t: its set is set_of[place]. */
size_t qx_weighting_place(const qx_weighting *w, size_t t, size_t i);

double qx_weighting_shrunk(const qx_weighting *w, size_t i, size_t j);
double qx_weighting_pull(const qx_weighting *w, size_t i, size_t j); /* g_i'g_j */
double qx_weighting_q(const qx_weighting *w, size_t i, size_t j);

#endif
