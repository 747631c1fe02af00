/* Kenward & Roger 1997, Biometrics 53:983-997, written out with dense n x n matrices and
 * the variances themselves as parameters, against the engine's cross-product form. Also
 * published and reference values: tests/reference through test_reference.c. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "numeric/chol.h"

#include "small_model.h"
#include "support.h"

#define PARTS 3 /* block, plot, residual */

/* All pieces of the paper at the fit's estimates. */
typedef struct dense {
    qx_ctx *cx;
    size_t n, p;
    qx_mat Vi, X, phi;
    qx_mat G[PARTS];        /* n x n: dV/dsigma2_k */
    qx_mat P[PARTS];        /* p x p: -X'V^-1 G V^-1 X */
    qx_mat Q[PARTS][PARTS]; /* p x p: X'V^-1 G V^-1 G V^-1 X */
    qx_mat W;               /* 2 I_E^-1 */
    qx_mat adjusted;
} dense;

static qx_mat mat(qx_ctx *cx, size_t rows, size_t cols)
{
    qx_mat out;
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), rows, cols, &out));
    return out;
}

static qx_mat times(qx_ctx *cx, qx_mat a, qx_mat b)
{
    qx_mat out = mat(cx, a.rows, b.cols);
    assert_ok(cx, qx_mat_multiply(cx, 'n', 'n', 1.0, a, b, 0.0, out));
    return out;
}

static double trace_of_product(qx_mat a, qx_mat b)
{
    double sum = 0.0;
    for (size_t i = 0; i < a.rows; i++) {
        for (size_t j = 0; j < a.cols; j++) {
            sum += QX_AT(a, i, j) * QX_AT(b, j, i);
        }
    }
    return sum;
}

static qx_mat transpose(qx_ctx *cx, qx_mat a)
{
    qx_mat out = mat(cx, a.cols, a.rows);
    for (size_t i = 0; i < a.rows; i++) {
        for (size_t j = 0; j < a.cols; j++) {
            QX_AT(out, j, i) = QX_AT(a, i, j);
        }
    }
    return out;
}

static qx_mat inverse(qx_ctx *cx, qx_mat a)
{
    qx_mat copy = mat(cx, a.rows, a.rows);
    qx_mat out = mat(cx, a.rows, a.rows);
    qx_mat_copy(copy, a);
    assert_ok(cx, qx_chol_factor(cx, copy));
    assert_ok(cx, qx_chol_inverse(cx, copy, out));
    return out;
}

static void covariances(dense *d, const small_model *m, const qx_lmm *fit)
{
    qx_mat V = mat(d->cx, d->n, d->n);
    for (size_t k = 0; k < PARTS; k++) {
        d->G[k] = mat(d->cx, d->n, d->n);
        for (size_t i = 0; i < d->n; i++) {
            for (size_t j = 0; j < d->n; j++) {
                const bool same = k + 1 == PARTS ? i == j
                                                 : m->code[m->random[k].factor][i] ==
                                                       m->code[m->random[k].factor][j];
                QX_AT(d->G[k], i, j) = same ? 1.0 : 0.0;
                QX_AT(V, i, j) += same ? fit->component[k].variance : 0.0;
            }
        }
    }
    d->Vi = inverse(d->cx, V);
}

static void pieces(dense *d)
{
    qx_ctx *cx = d->cx;
    const qx_mat Xt = transpose(cx, d->X);
    const qx_mat ViX = times(cx, d->Vi, d->X);
    const qx_mat XtVi = transpose(cx, ViX);
    qx_mat information = mat(cx, PARTS, PARTS);
    d->phi = inverse(cx, times(cx, Xt, ViX));
    for (size_t k = 0; k < PARTS; k++) {
        d->P[k] = times(cx, XtVi, times(cx, d->G[k], ViX));
        for (size_t i = 0; i < d->p * d->p; i++) {
            d->P[k].at[i] = -d->P[k].at[i];
        }
        for (size_t l = 0; l < PARTS; l++) {
            d->Q[k][l] = times(
                cx, XtVi, times(cx, d->G[k], times(cx, d->Vi, times(cx, d->G[l], ViX))));
        }
    }
    for (size_t k = 0; k < PARTS; k++) {
        for (size_t l = 0; l < PARTS; l++) {
            QX_AT(information, k, l) =
                trace_of_product(times(cx, d->Vi, d->G[k]), times(cx, d->Vi, d->G[l])) -
                2.0 * trace_of_product(d->phi, d->Q[k][l]) +
                trace_of_product(times(cx, d->phi, d->P[k]), times(cx, d->phi, d->P[l]));
        }
    }
    d->W = inverse(cx, information);
    for (size_t i = 0; i < (size_t)PARTS * PARTS; i++) {
        d->W.at[i] *= 2.0;
    }
}

static void adjust(dense *d)
{
    qx_ctx *cx = d->cx;
    qx_mat U = mat(cx, d->p, d->p);
    for (size_t k = 0; k < PARTS; k++) {
        for (size_t l = 0; l < PARTS; l++) {
            const qx_mat PPP = times(cx, d->P[k], times(cx, d->phi, d->P[l]));
            for (size_t i = 0; i < d->p * d->p; i++) {
                U.at[i] += QX_AT(d->W, k, l) * (d->Q[k][l].at[i] - PPP.at[i]);
            }
        }
    }
    d->adjusted = times(cx, d->phi, times(cx, U, d->phi));
    for (size_t i = 0; i < d->p * d->p; i++) {
        d->adjusted.at[i] = d->phi.at[i] + 2.0 * d->adjusted.at[i];
    }
}

/* F and its denominator by the formulas of the paper's section 3. */
static void paper_test(dense *d, const qx_lmm *fit, qx_mat L, double *f, double *m)
{
    qx_ctx *cx = d->cx;
    const double q = (double)L.rows;
    const qx_mat Lt = transpose(cx, L);
    const qx_mat theta =
        times(cx, Lt, times(cx, inverse(cx, times(cx, L, times(cx, d->phi, Lt))), L));
    double a1 = 0.0;
    double a2 = 0.0;
    qx_mat M[PARTS];
    for (size_t k = 0; k < PARTS; k++) {
        M[k] = times(cx, times(cx, theta, d->phi), times(cx, d->P[k], d->phi));
    }
    for (size_t k = 0; k < PARTS; k++) {
        for (size_t l = 0; l < PARTS; l++) {
            double tk = 0.0;
            double tl = 0.0;
            for (size_t i = 0; i < d->p; i++) {
                tk += QX_AT(M[k], i, i);
                tl += QX_AT(M[l], i, i);
            }
            a1 += QX_AT(d->W, k, l) * tk * tl;
            a2 += QX_AT(d->W, k, l) * trace_of_product(M[k], M[l]);
        }
    }
    const double b = (a1 + 6.0 * a2) / (2.0 * q);
    const double g = ((q + 1.0) * a1 - (q + 4.0) * a2) / ((q + 2.0) * a2);
    const double c1 = g / (3.0 * q + 2.0 * (1.0 - g));
    const double c2 = (q - g) / (3.0 * q + 2.0 * (1.0 - g));
    const double c3 = (q + 2.0 - g) / (3.0 * q + 2.0 * (1.0 - g));
    const double e = 1.0 / (1.0 - a2 / q);
    const double v =
        2.0 / q * (1.0 + c1 * b) / ((1.0 - c2 * b) * (1.0 - c2 * b) * (1.0 - c3 * b));
    const double rho = v / (2.0 * e * e);
    qx_mat beta = mat(cx, d->p, 1);
    for (size_t j = 0; j < d->p; j++) {
        beta.at[j] = fit->beta[j];
    }
    const qx_mat Lb = times(cx, L, beta);
    const qx_mat inner = inverse(cx, times(cx, L, times(cx, d->adjusted, Lt)));
    *m = 4.0 + (q + 2.0) / (q * rho - 1.0);
    *f = *m / (e * (*m - 2.0)) / q *
         times(cx, transpose(cx, Lb), times(cx, inner, Lb)).at[0];
}

static void paper_and_engine_agree(void **state)
{
    qx_ctx *cx = *state;
    for (uint64_t seed = 41; seed <= 46; seed++) {
        small_model *m = small_split_plot(cx, seed, 2.0, seed % 2 == 0 ? 1.5 : 0.2, 1.0);
        dense d = {.cx = cx};
        qx_lmm *fit;
        m->n = m->frame.n = 19;
        assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
        d.n = fit->n;
        d.p = fit->p;
        d.X = fit->design.X;
        covariances(&d, m, fit);
        pieces(&d);
        adjust(&d);
        for (size_t i = 0; i < d.p * d.p; i++) {
            assert_near(fit->phi.at[i], d.phi.at[i], 1e-8);
            assert_near(fit->phi_adjusted.at[i], d.adjusted.at[i], 1e-8);
        }
        for (size_t t = 0; t < fit->design.term_count; t++) {
            qx_mat L;
            qx_joint_test test;
            double f, df;
            assert_ok(cx,
                      qx_design_marginal(cx, qx_ctx_scratch(cx), &fit->design, t, &L));
            assert_ok(cx, qx_lmm_test(cx, fit, L, &test));
            paper_test(&d, fit, L, &f, &df);
            assert_near(test.f, f, 1e-8);
            assert_near(test.den_df, df, 1e-7);
        }
        qx_lmm_free(fit);
    }
}

#define TEST(function_)                                                                  \
    cmocka_unit_test_setup_teardown(function_, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(paper_and_engine_agree),
    };
    return cmocka_run_group_tests_name("model/kenward", tests, NULL, NULL);
}
