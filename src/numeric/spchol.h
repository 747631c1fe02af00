/* numeric/spchol.h - Cholesky factors of sparse symmetric positive definite matrices.
 *
 * The pattern is ordered and analysed once, then factored as often as there are values:
 *
 *     P A P' = L L'       L by supernodes (columns of one pattern side by side), so that
 *                         factor, solves and inverse run on dense blocks
 *
 * Selected inverse: the entries of A^-1 on the pattern of L + L', from the last supernode
 * back to the first. With J its columns, R the rows below them and Y = L_RJ L_JJ^-1,
 *
 *     Z_RJ = -Z_RR Y        Z_JJ = (L_JJ L_JJ')^-1 - Y'Z_RJ
 *
 * (Z_RR lies on the pattern: columns that reach the same rows hang together.) The cost is
 * about twice that of the factor, where the whole inverse would be dense.
 *
 * The only home of CHOLMOD, which works here with its own memory: it belongs to an arena by
 * a deferred action. It prints nothing; what goes wrong comes back as a status.
 *
 * Source: Chen, Davis, Hager & Rajamanickam 2008, ACM Trans Math Softw 35(3):22 (CHOLMOD);
 * Takahashi, Fagan & Chin 1973, Proc 8th PICA Conf 63-69, and Erisman & Tinney 1975, Comm
 * ACM 18:177-179 (selected inverse; here by blocks). */
#ifndef QX_NUMERIC_SPCHOL_H
#define QX_NUMERIC_SPCHOL_H

#include "numeric/sparse.h"

typedef struct qx_spchol qx_spchol;

/* Orders and analyses the pattern of a symmetric matrix, given by its lower triangle with
 * every diagonal entry there. `pattern` is borrowed and must outlive the factor, which dies
 * with `arena`. QX_E_SHAPE, QX_E_NOMEM. */
QX_API qx_status qx_spchol_new(qx_ctx *cx,
                               qx_arena *arena,
                               const qx_sparse *pattern,
                               qx_spchol **out);

/* A second factor of the same pattern, for other values, without a second analysis. */
QX_API qx_status qx_spchol_again(qx_ctx *cx,
                                 qx_arena *arena,
                                 const qx_spchol *like,
                                 qx_spchol **out);

/* Factors the matrix with these values (one for each entry of the pattern). QX_E_NOT_PD,
 * QX_E_NUMERIC (a value is not finite), QX_E_NOMEM. */
QX_API qx_status qx_spchol_factor(qx_ctx *cx, qx_spchol *c, const double value[]);

/* Of the last factor that succeeded (QX_E_ARG when there is none): */
QX_API qx_status qx_spchol_solve(qx_ctx *cx, qx_spchol *c, qx_mat B); /* B = A^-1 B */
QX_API double qx_spchol_logdet(const qx_spchol *c); /* log |A|; NAN without a factor */

/* A^-1 at the entries of the pattern. QX_E_NOMEM. */
QX_API qx_status qx_spchol_inverse(qx_ctx *cx, qx_spchol *c, double out[]);

/* Smallest pivot of the factor relative to the diagonal entry it came from, counted below
 * `least`: how many columns depend on the others, when a small multiple of the diagonal was
 * added. NAN values do not occur. */
QX_API size_t qx_spchol_small_pivots(const qx_spchol *c, double least);

/* Entries of L, for costs. */
QX_API double qx_spchol_entries(const qx_spchol *c);

/* Multiplications and additions of one factorisation, for costs. */
QX_API double qx_spchol_flops(const qx_spchol *c);

#endif
