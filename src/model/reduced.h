/* model/reduced.h - the profile of model/profile.h for data of any size. Private to model/.
 *
 * Terms that are nested in everything leave by closed forms (model/nest.h); fixed columns
 * and the other terms are one sparse system (model/core.h). With D the covariance of what
 * was taken out, E = [X Z], M and C of the core, e = r - E mu, and G_k = Z_k Z_k',
 *
 *     P   = D^-1 - D^-1 E M E' D^-1      Pr = D^-1 e      P Z_l = D^-1 E M_.l / gamma_l
 *     S_k = E'D^-1 G_k D^-1 E = -dC/dgamma_k       S_kl = 1/2 d2C/dgamma_k dgamma_l
 *     g_k = E'D^-1 G_k D^-1 e                      a_l = M_.l w_l / gamma_l
 *
 *                    k, l nested                   k nested, l core         k, l core
 *     tr T_kk        dlog|D|/dk - tr M S_k                                  (T below)
 *     w_k'w_k        -dq/dk + ...                                           |w_k|^2
 *     w_k'T_kl w_l   e'D^-1 G_k D^-1 G_l D^-1 e     g_k'a_l                  w_k'(C a_l)_k
 *                    - g_k'M g_l
 *     |T_kl|^2       tr D^-1 G_k D^-1 G_l           tr M_l.S_k M_.l          sum of T_ij^2
 *                    - 2 tr M S_kl + tr M S_k M S_l / gamma_l^2
 *
 *     T_ij = -M_ij / (gamma_i gamma_j), i /= j;    T_ii = sum_j C_ij M_ji / gamma_i
 *
 * (the last from row i of the equations: 1 - M_ii / gamma_i would cancel). The gradient needs
 * M on the pattern of C alone: the selected inverse. |T_kl|^2 between core terms needs all of
 * M, column by column; where that would cost more than EXACT_EACH_TIME multiplications, steps
 * go by the average of observed and expected information, which is w_k'T_kl w_l / sigma2
 * (Gilmour, Thompson & Cullis 1995, Biometrics 51:1440-1450), and the exact numbers are made
 * once at the end, up to EXACT_ONCE; beyond that the average stays, and a note says so.
 *
 * Fixed columns are those of X; one that is not of zeros and ones (a covariate) is replaced
 * by its column of Q, so that a large mean costs no digits: X' = Q turn.
 *
 * Cost of a point: classes and atoms, and the factor; nothing depends on n.
 * Derived in docs/methods/sparse.md. */
#ifndef QX_MODEL_REDUCED_H
#define QX_MODEL_REDUCED_H

#include "model/core.h"
#include "model/profile.h"

struct qx_reduced {
    qx_nest nest;
    qx_core core;
    qx_mat turn;     /* p x p upper: the core's columns of X over those of Q */
    double log_turn; /* log |det turn| */
    double cost;     /* multiplications of all |T_kl|^2 */
};

struct qx_reduced_room {
    qx_nest_room walk;
    qx_core_room core;
    double *inverse; /* entries of the pattern: (L L')^-1 */
    double *t;       /* size: T_ii of the columns of Z */
};

/* How to reduce: `flat` takes no term out, `average` makes no |T_kl|^2 (for tests), `sparse`
 * makes the core sparse even where a dense matrix is quicker (and on request). */
typedef struct qx_reduced_options {
    bool flat, average, sparse;
} qx_reduced_options;

/* The fixed columns: sets of equal rows of X, those rows (sets x p), R' of X = QR. */
typedef struct qx_reduced_columns {
    qx_alike sets;
    qx_mat rows;
    qx_mat r_transposed;
} qx_reduced_columns;

/* The structure of m terms, without a response. */
qx_status qx_profile_make_reduced(qx_ctx *cx,
                                  qx_arena *arena,
                                  size_t m,
                                  const size_t levels[],
                                  const uint32_t *const code[],
                                  const qx_reduced_columns *x,
                                  const qx_reduced_options *options,
                                  qx_profile *out);

/* The response r = My (n) of a profile that has the structure. */
qx_status
qx_reduced_again(qx_ctx *cx, qx_arena *arena, const double r[], qx_profile *profile);

qx_status qx_reduced_room_make(qx_ctx *cx,
                               qx_arena *arena,
                               const qx_profile *profile,
                               struct qx_reduced_room **out);

/* As qx_profile_value, qx_profile_evaluate and qx_profile_random; gamma and lambda are in
 * the point. */
qx_status qx_reduced_value(qx_ctx *cx, const qx_profile *f, qx_profile_point *at);
qx_status qx_reduced_evaluate(qx_ctx *cx, const qx_profile *f, qx_profile_point *at);
qx_status qx_reduced_random(qx_ctx *cx,
                            const qx_profile *f,
                            const qx_profile_point *at,
                            double u[]);

/* The exact |T_kl|^2 at an evaluated point where they were not made, if once is not too
 * dear (at->average tells). */
qx_status qx_reduced_exact(qx_ctx *cx, const qx_profile *f, qx_profile_point *at);

/* r := r - X mu - Z u (n); shift (p): minus the change of the coefficients of Q. */
qx_status qx_reduced_settle(qx_ctx *cx,
                            const qx_profile *f,
                            const qx_profile_point *at,
                            double r[],
                            double shift[]);

/* Over the columns of Q, at an evaluated point: phi and N_k'N_k (m of them), as in
 * model/information.h; and sum_kl spread_kl N_k'T_kl N_l. */
qx_status qx_reduced_kernels(
    qx_ctx *cx, const qx_profile *f, const qx_profile_point *at, qx_mat phi, qx_mat NN[]);
qx_status qx_reduced_adjustment(qx_ctx *cx,
                                const qx_profile *f,
                                const qx_profile_point *at,
                                qx_mat spread,
                                qx_mat out);

/* Rank that each term adds to X and those before it (m). */
qx_status qx_reduced_ranks(qx_ctx *cx, const qx_profile *f, double rank[]);

/* Q'Z_k Z_k'Q of one term (p x p). */
qx_status qx_reduced_square(qx_ctx *cx, const qx_profile *f, size_t term, qx_mat out);

/* The same profile as one matrix: G (q x q), C and z of profile.h, in `arena`. */
qx_status
qx_reduced_whole(qx_ctx *cx, qx_arena *arena, const qx_profile *reduced, qx_profile *out);

/* Multiplications that one evaluated point is worth. */
double qx_reduced_point_cost(const qx_profile *f);

/* Shared by the sources of this module: */

/* Norms and traces where all ratios of the core are zero. */
qx_status qx_reduced_nil(qx_ctx *cx, const qx_profile *f, qx_profile_point *at);

/* Norms column by column, which also fills `inverse`. */
qx_status qx_reduced_norms(qx_ctx *cx, const qx_profile *f, qx_profile_point *at);

qx_status qx_reduced_norms_dense(qx_ctx *cx, const qx_profile *f, qx_profile_point *at);

/* tr T_kk from `inverse`, and what the norms lack that lies on the pattern. */
void qx_reduced_traces(const qx_profile *f, qx_profile_point *at, bool norms);

/* out[k + l m] = N_k'T_kl N_l (c x c) for c vectors: w (size x c) of the core terms, and
 * of the nested ones g[k] (size x c) and middle[k + l depth] (c x c), in scratch. */
qx_status qx_reduced_forms(qx_ctx *cx,
                           const qx_profile *f,
                           const qx_profile_point *at,
                           qx_mat w,
                           const qx_mat g[],
                           const qx_mat middle[],
                           qx_mat out[]);

#endif
