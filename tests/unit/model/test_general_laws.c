/* Laws of general covariances: derivatives against differences, every quantity against its
 * definition with whole matrices, the fit of variance components as a special case, order
 * and scale of the data, and what is refused. No outside numbers: each law is its own. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "model/general_fit.h"
#include "model/residual.h"
#include "numeric/chol.h"
#include "numeric/deriv.h"
#include "numeric/rng.h"

#include "small_model.h"
#include "support.h"

enum { TREES = 12, DATES = 3, SEASONS = 2, ROWS = TREES * DATES * SEASONS };

/* 12 trees in 3 blocks, 3 rows of 4 places, three dates at uneven steps in two seasons; all
 * structures at once. */
typedef struct orchard {
    small_model *m;
    qx_covariance covariance;
    double time[ROWS], row[ROWS], place[ROWS];
} orchard;

static orchard *plant(qx_ctx *cx, uint64_t seed)
{
    static const double day[DATES] = {0.0, 1.0, 2.5};
    orchard *o = qx_arena_alloc(qx_ctx_scratch(cx), 1, sizeof *o);
    assert_non_null(o);
    small_model *m = o->m = small_new(cx, ROWS);
    qx_rng rng = qx_rng_seeded(seed);
    const size_t season = small_factor(cx, m, "season", SEASONS, TREES * DATES);
    const size_t tree = small_factor(cx, m, "tree", TREES, DATES);
    const size_t date = small_factor(cx, m, "date", DATES, 1);
    const size_t block = small_factor(cx, m, "block", 3, 4 * DATES);
    const size_t series = small_factor(cx, m, "tree:season", TREES * SEASONS, DATES);
    const size_t treatment = small_factor(cx, m, "oil", 2, DATES);
    small_term(m, "date", 1, date, 0);
    small_term(m, "oil", 1, treatment, 0);
    small_random(m, "block", block);
    small_random(m, "tree", tree);
    o->covariance = QX_COVARIANCE_NONE;
    o->covariance.residual_by = season;
    o->covariance.series = series;
    o->covariance.time = o->time;
    o->covariance.field = true;
    o->covariance.row = o->row;
    o->covariance.place = o->place;
    o->covariance.series_name = "date";
    o->covariance.row_name = "row";
    o->covariance.place_name = "place";
    o->covariance.field_name = "row:place";
    m->spec.covariance = &o->covariance;
    double last = 0.0;
    for (size_t i = 0; i < ROWS; i++) {
        const uint32_t t = m->code[tree][i];
        const double fresh = qx_rng_normal(&rng);
        last = m->code[date][i] == 0 ? fresh : 0.6 * last + 0.8 * fresh;
        o->time[i] = day[m->code[date][i]];
        o->row[i] = (double)(t / 4);
        o->place[i] = (double)(t % 4);
        m->y[i] = 5.0 + 0.4 * (double)(t % 4) + 0.3 * (double)m->code[block][i] +
                  last * (m->code[season][i] == 0 ? 1.0 : 1.6);
    }
    return o;
}

static qx_lmm *fitted(qx_ctx *cx, const qx_lmm_spec *spec)
{
    qx_lmm *fit = NULL;
    assert_ok(cx, qx_lmm_fit(cx, spec, &fit));
    return fit;
}

static const qx_general *general_of(const qx_lmm *fit)
{
    assert_non_null(fit->inner->general);
    return &fit->inner->general->general;
}

/* A place inside all bounds, away from any optimum. The order is that of general_fit.h. */
static const double SOMEWHERE[] = {0.3, 0.4, 0.9, 1.7, 0.45, 0.5, 0.35, 0.6};

typedef struct at_theta {
    qx_ctx *cx;
    const qx_general *g;
    qx_general_point room;
} at_theta;

static double value_at(void *data, size_t m, const double theta[])
{
    at_theta *w = data;
    (void)m;
    assert_ok(w->cx, qx_general_value(w->cx, w->g, theta, &w->room));
    return w->room.f;
}

static void derivatives_are_those_of_the_value(void **state)
{
    qx_ctx *cx = *state;
    const orchard *o = plant(cx, 3);
    qx_lmm *fit = fitted(cx, &o->m->spec);
    at_theta w = {.cx = cx, .g = general_of(fit)};
    qx_general_point at;
    double gradient[QX_COUNT(SOMEWHERE)];
    qx_mat hessian;
    assert_int_equal(w.g->m, QX_COUNT(SOMEWHERE));
    assert_ok(cx, qx_general_room(cx, qx_ctx_scratch(cx), w.g, &w.room));
    assert_ok(cx, qx_general_room(cx, qx_ctx_scratch(cx), w.g, &at));
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), w.g->m, w.g->m, &hessian));
    assert_ok(cx, qx_general_evaluate(cx, w.g, SOMEWHERE, &at));
    assert_ok(cx, qx_gradient(cx, w.g->m, value_at, &w, SOMEWHERE, gradient));
    assert_ok(cx, qx_hessian(cx, w.g->m, value_at, &w, SOMEWHERE, hessian));
    for (size_t i = 0; i < w.g->m; i++) {
        assert_true(fabs(at.gradient[i] - gradient[i]) < 1e-7);
        for (size_t j = 0; j < w.g->m; j++) {
            const double scale = 1.0 + fabs(QX_AT(hessian, i, j));
            assert_true(fabs(QX_AT(at.hessian, i, j) - QX_AT(hessian, i, j)) <
                        1e-5 * scale);
        }
    }
    qx_lmm_free(fit);
}

/* --- whole matrices, by definition --- */

typedef struct whole {
    qx_mat V, W, P, X, phi; /* W = V^-1 */
    qx_mat first[QX_COUNT(SOMEWHERE)];
} whole;

static qx_mat fresh(qx_ctx *cx, size_t rows, size_t cols)
{
    qx_mat out;
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), rows, cols, &out));
    return out;
}

static qx_mat product(qx_ctx *cx, char ta, qx_mat A, qx_mat B)
{
    qx_mat out = fresh(cx, ta == 'n' ? A.rows : A.cols, B.cols);
    assert_ok(cx, qx_mat_multiply(cx, ta, 'n', 1.0, A, B, 0.0, out));
    return out;
}

static double trace(qx_mat A)
{
    double sum = 0.0;
    for (size_t i = 0; i < A.rows; i++) {
        sum += QX_AT(A, i, i);
    }
    return sum;
}

/* X is Q of the general fit here: any basis of the same space will do. */
static whole make_whole(qx_ctx *cx, const qx_general *g, const double theta[])
{
    whole w = {.V = fresh(cx, g->n, g->n), .W = fresh(cx, g->n, g->n), .X = g->Q};
    qx_mat factor = fresh(cx, g->n, g->n);
    qx_parts_covariance(&g->parts, theta, g->n, g->row, w.V);
    qx_mat_copy(factor, w.V);
    assert_ok(cx, qx_chol_factor(cx, factor));
    assert_ok(cx, qx_chol_inverse(cx, factor, w.W));
    const qx_mat A = product(cx, 'n', w.W, w.X);
    qx_mat F = product(cx, 't', w.X, A);
    w.phi = fresh(cx, g->p, g->p);
    assert_ok(cx, qx_chol_factor(cx, F));
    assert_ok(cx, qx_chol_inverse(cx, F, w.phi));
    const qx_mat half = product(cx, 'n', A, w.phi);
    w.P = fresh(cx, g->n, g->n);
    qx_mat_copy(w.P, w.W);
    assert_ok(cx, qx_mat_multiply(cx, 'n', 't', -1.0, half, A, 1.0, w.P));
    for (size_t i = 0; i < g->m; i++) {
        w.first[i] = fresh(cx, g->n, g->n);
        qx_parts_first(&g->parts, theta, i, g->n, g->row, w.first[i]);
    }
    return w;
}

static void information_is_that_of_its_definition(void **state)
{
    qx_ctx *cx = *state;
    const orchard *o = plant(cx, 4);
    qx_lmm *fit = fitted(cx, &o->m->spec);
    const qx_general *g = general_of(fit);
    qx_general_point at;
    assert_ok(cx, qx_general_room(cx, qx_ctx_scratch(cx), g, &at));
    assert_ok(cx, qx_general_evaluate(cx, g, SOMEWHERE, &at));
    const whole w = make_whole(cx, g, SOMEWHERE);
    for (size_t i = 0; i < g->m; i++) {
        const qx_mat PVi = product(cx, 'n', w.P, w.first[i]);
        for (size_t j = 0; j < g->m; j++) {
            const qx_mat PVj = product(cx, 'n', w.P, w.first[j]);
            assert_near(
                QX_AT(at.expected, i, j), trace(product(cx, 'n', PVi, PVj)), 1e-9);
        }
    }
    qx_lmm_free(fit);
}

/* out -= 1/2 sum b_i P_i, b_i = -1/4 sum_jkl w_ij w_kl tr P V_j P V_kl. */
static void add_bias_of_theta(
    qx_ctx *cx, const qx_general *g, const whole *w, qx_mat weight, qx_mat out)
{
    double pull[QX_COUNT(SOMEWHERE)] = {0.0};
    qx_mat second = fresh(cx, g->n, g->n);
    const qx_mat A = product(cx, 'n', w->W, w->X);
    for (size_t k = 0; k < g->m; k++) {
        for (size_t l = 0; l < g->m; l++) {
            if (!qx_parts_curved(&g->parts, k, l)) {
                continue;
            }
            qx_parts_second(&g->parts, SOMEWHERE, k, l, g->n, g->row, second);
            const qx_mat PG = product(cx, 'n', w->P, second);
            for (size_t j = 0; j < g->m; j++) {
                const qx_mat PV = product(cx, 'n', w->P, w->first[j]);
                pull[j] += QX_AT(weight, k, l) * trace(product(cx, 'n', PV, PG));
            }
        }
    }
    for (size_t i = 0; i < g->m; i++) {
        const qx_mat Pi = product(cx, 't', A, product(cx, 'n', w->first[i], A));
        double b = 0.0;
        for (size_t j = 0; j < g->m; j++) {
            b -= 0.25 * QX_AT(weight, i, j) * pull[j];
        }
        for (size_t a = 0; a < g->p * g->p; a++) {
            out.at[a] -= 0.5 * b * Pi.at[a];
        }
    }
}

/* sum W_ij (Q_ij - P_i phi P_j - R_ij / 4) - 1/2 sum b_i P_i, each from its definition with
 * whole matrices (model/general.h). */
static void bias_is_that_of_its_definition(void **state)
{
    qx_ctx *cx = *state;
    const orchard *o = plant(cx, 5);
    qx_lmm *fit = fitted(cx, &o->m->spec);
    const qx_general *g = general_of(fit);
    qx_general_point at;
    qx_mat weight = fresh(cx, g->m, g->m);
    qx_mat got = fresh(cx, g->p, g->p);
    qx_mat want = fresh(cx, g->p, g->p);
    qx_mat second = fresh(cx, g->n, g->n);
    assert_ok(cx, qx_general_room(cx, qx_ctx_scratch(cx), g, &at));
    assert_ok(cx, qx_general_evaluate(cx, g, SOMEWHERE, &at));
    const whole w = make_whole(cx, g, SOMEWHERE);
    const qx_mat A = product(cx, 'n', w.W, w.X);
    for (size_t i = 0; i < g->m; i++) {
        for (size_t j = 0; j < g->m; j++) {
            QX_AT(weight, i, j) = 1.0 / (1.0 + (double)(i + j));
        }
    }
    for (size_t i = 0; i < g->m; i++) {
        for (size_t j = 0; j < g->m; j++) {
            const double x = QX_AT(weight, i, j);
            const qx_mat ViA = product(cx, 'n', w.first[i], A);
            const qx_mat VjA = product(cx, 'n', w.first[j], A);
            const qx_mat Qij = product(cx, 't', ViA, product(cx, 'n', w.W, VjA));
            const qx_mat Pi = product(cx, 't', A, ViA);
            const qx_mat Pj = product(cx, 't', A, VjA);
            const qx_mat PP = product(cx, 'n', Pi, product(cx, 'n', w.phi, Pj));
            qx_mat_zero(second);
            if (qx_parts_curved(&g->parts, i, j)) {
                qx_parts_second(&g->parts, SOMEWHERE, i, j, g->n, g->row, second);
            }
            const qx_mat Rij = product(cx, 't', A, product(cx, 'n', second, A));
            for (size_t a = 0; a < g->p * g->p; a++) {
                want.at[a] += x * (Qij.at[a] - PP.at[a] - 0.25 * Rij.at[a]);
            }
        }
    }
    add_bias_of_theta(cx, g, &w, weight, want);
    assert_ok(cx, qx_general_bias(cx, g, &at, weight, got));
    for (size_t a = 0; a < g->p * g->p; a++) {
        assert_true(fabs(got.at[a] - want.at[a]) < 1e-9);
    }
    qx_lmm_free(fit);
}

/* r_i = (Py)_i / root of P_ii, and what follows, from whole matrices at the estimates. */
static void residuals_are_those_of_their_definition(void **state)
{
    qx_ctx *cx = *state;
    const orchard *o = plant(cx, 6);
    qx_lmm *fit = fitted(cx, &o->m->spec);
    const struct qx_general_fit *own = fit->inner->general;
    const qx_general *g = &own->general;
    const whole w = make_whole(cx, g, own->theta);
    qx_residuals r;
    double *py = qx_arena_alloc(qx_ctx_scratch(cx), g->n, sizeof *py);
    assert_non_null(py);
    qx_mat_vector('n', 1.0, w.P, g->r, 0.0, py);
    assert_ok(cx, qx_residuals_make(cx, fit->arena, fit, &r));
    for (size_t a = 0; a < g->n; a++) {
        const size_t i = g->row[a];
        const double p = QX_AT(w.P, a, a);
        const double pull = QX_AT(w.W, a, a) - p;
        assert_near(r.standardised[i], py[a] / sqrt(p), 1e-8);
        assert_near(r.cook[i], py[a] * py[a] / (p * p) * pull / (double)g->p, 1e-7);
        assert_true(r.leverage[i] >= 0.0 && r.leverage[i] <= 1.0);
    }
    qx_lmm_free(fit);
}

/* --- variance components are a special case --- */

static void
same_tests(qx_ctx *cx, const qx_lmm *a, const qx_lmm *b, double digits, bool containment)
{
    for (size_t t = 0; t < a->design.term_count; t++) {
        qx_mat L;
        qx_joint_test x, y;
        assert_ok(cx, qx_design_marginal(cx, a->arena, &a->design, t, &L));
        assert_ok(cx, qx_lmm_test(cx, a, L, &x));
        assert_ok(cx, qx_lmm_test(cx, b, L, &y));
        assert_near(y.f, x.f, digits);
        assert_near(y.den_df, x.den_df, containment ? 1e-12 : digits);
    }
}

static void nothing_asked_for_is_the_fit_of_components(void **state)
{
    static const qx_df_method method[] = {
        QX_KENWARD_ROGER, QX_SATTERTHWAITE, QX_CONTAINMENT};
    qx_ctx *cx = *state;
    const qx_covariance nothing = QX_COVARIANCE_NONE;
    for (size_t k = 0; k < QX_COUNT(method); k++) {
        small_model *m = small_split_plot(cx, 21, 2.0, 1.0, 1.0);
        m->n = m->frame.n = 21;
        m->spec.df = method[k];
        qx_lmm *a = fitted(cx, &m->spec);
        m->spec.covariance = &nothing;
        qx_lmm *b = fitted(cx, &m->spec);
        assert_ok(cx, qx_lmm_profile_components(cx, a, 0.95));
        assert_ok(cx, qx_lmm_profile_components(cx, b, 0.95));
        assert_near(b->reml_criterion, a->reml_criterion, 1e-12);
        same_tests(cx, a, b, 1e-7, method[k] == QX_CONTAINMENT);
        assert_int_equal(a->component_count, b->component_count);
        for (size_t i = 0; i < a->component_count; i++) {
            assert_near(b->component[i].variance, a->component[i].variance, 1e-7);
            assert_near(b->component[i].lower, a->component[i].lower, 1e-5);
            assert_near(b->component[i].upper, a->component[i].upper, 1e-5);
            if (i < a->random_count) {
                assert_near(b->component[i].lrt, a->component[i].lrt, 1e-6);
            }
        }
        for (size_t i = 0; i < a->n; i++) {
            assert_true(fabs(a->residual[i] - b->residual[i]) < 1e-7);
        }
        qx_lmm_free(a);
        qx_lmm_free(b);
    }
}

/* --- order and scale --- */

static void order_and_scale_change_nothing(void **state)
{
    qx_ctx *cx = *state;
    orchard *o = plant(cx, 8);
    qx_lmm *a = fitted(cx, &o->m->spec);
    for (size_t i = 0; i < ROWS / 2; i++) {
        const size_t j = ROWS - 1 - i;
        for (size_t f = 0; f < o->m->frame.factor_count; f++) {
            const uint32_t code = o->m->code[f][i];
            o->m->code[f][i] = o->m->code[f][j];
            o->m->code[f][j] = code;
        }
        double *const column[] = {o->time, o->row, o->place, o->m->y};
        for (size_t k = 0; k < QX_COUNT(column); k++) {
            const double x = column[k][i];
            column[k][i] = column[k][j];
            column[k][j] = x;
        }
    }
    for (size_t i = 0; i < ROWS; i++) {
        o->m->y[i] = 1e5 * o->m->y[i];
        o->row[i] += 7.0;
        o->time[i] += 30.0;
    }
    qx_lmm *b = fitted(cx, &o->m->spec);
    for (size_t i = 0; i < a->component_count; i++) {
        if (a->component[i].variance > 0.0) {
            assert_near(b->component[i].variance, 1e10 * a->component[i].variance, 1e-6);
        } else {
            assert_true(b->component[i].at_zero);
        }
    }
    for (size_t i = 0; i < a->correlation_count; i++) {
        if (!isnan(a->correlation[i].estimate)) {
            assert_near(b->correlation[i].estimate, a->correlation[i].estimate, 1e-6);
        }
    }
    same_tests(cx, a, b, 1e-6, false);
    qx_lmm_free(a);
    qx_lmm_free(b);
}

/* --- what is refused, and what is an outcome --- */

static void one_unit_has_one_value_a_date(void **state)
{
    qx_ctx *cx = *state;
    orchard *o = plant(cx, 9);
    qx_lmm *fit = NULL;
    o->time[1] = o->time[0];
    assert_fails(cx, qx_lmm_fit(cx, &o->m->spec, &fit), QX_E_INPUT, "the same date");
    assert_null(fit);
}

static void a_series_has_one_residual(void **state)
{
    qx_ctx *cx = *state;
    orchard *o = plant(cx, 10);
    qx_lmm *fit = NULL;
    o->m->code[0][0] = 1; /* the season of one date alone */
    assert_fails(
        cx, qx_lmm_fit(cx, &o->m->spec, &fit), QX_E_INPUT, "residual variations differ");
}

static void too_many_parameters_are_refused(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_new(cx, 80);
    qx_covariance by = QX_COVARIANCE_NONE;
    qx_lmm *fit = NULL;
    by.residual_by = small_factor(cx, m, "season", 40, 2);
    m->spec.covariance = &by;
    for (size_t i = 0; i < m->n; i++) {
        m->y[i] = sin((double)i);
    }
    assert_fails(cx, qx_lmm_fit(cx, &m->spec, &fit), QX_E_SHAPE, "at most");
}

static void nothing_left_to_vary_is_an_outcome(void **state)
{
    qx_ctx *cx = *state;
    orchard *o = plant(cx, 11);
    for (size_t i = 0; i < ROWS; i++) {
        o->m->y[i] = (double)o->m->code[2][i];
    }
    qx_lmm *fit = fitted(cx, &o->m->spec);
    assert_null(fit->inner->general);
    assert_ok(cx, qx_lmm_profile_components(cx, fit, 0.95));
    qx_lmm_free(fit);
}

/* White noise: the field's variance is often at zero, and says then that its correlations
 * are unknown; every fit settles. */
static void a_field_without_variance_is_told(void **state)
{
    qx_ctx *cx = *state;
    size_t zeros = 0;
    for (uint64_t seed = 1; seed <= 12; seed++) {
        orchard *o = plant(cx, seed);
        qx_rng rng = qx_rng_seeded(seed);
        o->covariance.series = o->covariance.residual_by = QX_NO_COLUMN;
        for (size_t i = 0; i < ROWS; i++) {
            o->m->y[i] = qx_rng_normal(&rng);
        }
        qx_lmm *fit = fitted(cx, &o->m->spec);
        assert_true(fit->converged);
        assert_ok(cx, qx_lmm_profile_components(cx, fit, 0.95));
        const bool zero = fit->component[2].at_zero;
        zeros += zero ? 1 : 0;
        assert_int_equal(isnan(fit->correlation[0].estimate) != 0, zero);
        qx_lmm_free(fit);
    }
    assert_true(zeros > 0);
}

static qx_status fit_once(qx_ctx *cx, void *given)
{
    const qx_lmm_spec *spec = given;
    qx_lmm *fit = NULL;
    QX_TRY(qx_lmm_fit(cx, spec, &fit));
    qx_status status = qx_lmm_profile_components(cx, fit, 0.95);
    if (status == QX_OK) {
        qx_residuals r;
        status = qx_residuals_make(cx, fit->arena, fit, &r);
    }
    qx_lmm_free(fit);
    return status;
}

/* A search allocates thousands of times: they are failed at growing distances, not one by
 * one as in support.h. */
static void allocations_may_fail(void **state)
{
    qx_ctx *cx = *state;
    orchard *o = plant(cx, 12);
    o->m->n = o->m->frame.n = TREES; /* a few rows: each failure is a fit */
    o->covariance.residual_by = QX_NO_COLUMN;
    o->covariance.field = false;
    o->m->spec.random_count = 0;
    o->m->spec.term_count = 1;
    size_t failed = 0;
    for (size_t k = 1; k < 1000000; k += 1 + k / 16) {
        qx_ctx *own = qx_ctx_new();
        assert_non_null(own);
        qx_arena_fail_after(k);
        const qx_status status = fit_once(own, &o->m->spec);
        qx_arena_fail_after(0);
        qx_ctx_free(own);
        if (status == QX_OK) {
            break;
        }
        assert_int_equal(status, QX_E_NOMEM);
        failed++;
    }
    assert_true(failed > 10);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            derivatives_are_those_of_the_value, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            information_is_that_of_its_definition, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            bias_is_that_of_its_definition, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            residuals_are_those_of_their_definition, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(nothing_asked_for_is_the_fit_of_components,
                                        support_ctx_new,
                                        support_ctx_free),
        cmocka_unit_test_setup_teardown(
            order_and_scale_change_nothing, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            one_unit_has_one_value_a_date, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            a_series_has_one_residual, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            too_many_parameters_are_refused, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            nothing_left_to_vary_is_an_outcome, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            a_field_without_variance_is_told, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            allocations_may_fail, support_ctx_new, support_ctx_free),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
