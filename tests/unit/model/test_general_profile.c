/* Intervals of correlations against the profile looked at from many starts on a fine grid.
 * All data are invented. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "model/general_fit.h"
#include "numeric/dist.h"
#include "numeric/rng.h"

#include "small_model.h"
#include "support.h"

/* --- the long way --- */

#define GRID 40

/* Least f with parameter i at rho, from the estimates and starts with all others changed. */
static double least(qx_ctx *cx,
                    const struct qx_general_fit *own,
                    size_t i,
                    double rho,
                    qx_general_point *room)
{
    static const double share[] = {0.02, 0.5, 2.0};
    static const double other[] = {-0.7, 0.05, 0.6, 0.95};
    const qx_general *g = &own->general;
    double best = INFINITY;
    for (size_t k = 0; k <= QX_COUNT(share) * QX_COUNT(other); k++) {
        double theta[QX_DESCENT_MOST];
        bool fixed[QX_DESCENT_MOST] = {false};
        qx_descent_end end;
        fixed[i] = true;
        for (size_t j = 0; j < g->m; j++) {
            const qx_part *part = &g->parts.part[j];
            theta[j] = own->theta[j];
            if (k > 0 && qx_part_is_variance(part->kind)) {
                theta[j] = 0.02 + share[(k - 1) % QX_COUNT(share)] * theta[j];
            } else if (k > 0) {
                theta[j] = fmax(other[(k - 1) / QX_COUNT(share)], part->low);
            }
        }
        theta[i] = rho;
        assert_ok(cx, qx_general_value(cx, g, theta, room));
        if (isfinite(room->f)) {
            assert_ok(cx,
                      qx_general_descend(cx, g, room, fixed, true, theta, NULL, &end));
            best = end.converged ? fmin(best, end.f) : best;
        }
    }
    return best;
}

/* Every value that the data allow lies between the limits, the limits are such values or the
 * ends of the range, and a gap is told. Gives whether there is one. */
static bool check(qx_ctx *cx, const qx_lmm *fit, size_t i)
{
    const struct qx_general_fit *own = fit->inner->general;
    const qx_part *part = &own->general.parts.part[i];
    const qx_correlation *c = &fit->correlation[own->correlation[i]];
    const double target = qx_chisq_q(0.05, 1.0, QX_UPPER);
    const double low = atanh(part->low), high = atanh(part->high);
    qx_general_point room;
    bool gap = false;
    assert_ok(cx, qx_general_room(cx, qx_ctx_scratch(cx), &own->general, &room));
    assert_true(c->lower <= c->estimate && c->estimate <= c->upper);
    for (int k = 0; k <= GRID; k++) {
        const double rho = k == 0      ? part->low
                           : k == GRID ? part->high
                                       : tanh(low + (high - low) * k / GRID);
        const double rise = least(cx, own, i, rho, &room) - own->f;
        const bool inside = c->lower <= rho && rho <= c->upper;
        if (rise < target - 1e-5 && !inside) {
            print_error(
                "%g is allowed (%g), limits %g %g\n", rho, rise, c->lower, c->upper);
        }
        assert_true(inside || rise > target - 1e-5);
        gap = gap || (inside && rise > target + 1e-5);
    }
    const double ends[] = {c->lower, c->upper};
    for (size_t k = 0; k < 2; k++) {
        const double rise = least(cx, own, i, ends[k], &room) - own->f;
        assert_true(rise < target + 1e-5);
        assert_true(rise > target - 1e-5 || ends[k] == part->low ||
                    ends[k] == part->high);
    }
    assert_true(c->broken || !gap);
    return gap;
}

static bool check_all(qx_ctx *cx, const qx_lmm *fit)
{
    const struct qx_general_fit *own = fit->inner->general;
    bool gap = false;
    for (size_t i = 0; i < own->general.m; i++) {
        if (own->correlation[i] != QX_NO_COLUMN &&
            !isnan(fit->correlation[own->correlation[i]].estimate)) {
            gap = check(cx, fit, i) || gap;
        }
    }
    return gap;
}

/* --- a field with two kinds of likeness --- */

enum { LINES = 3, SPOTS = 8, TREES = LINES * SPOTS };

static const double GIRTH[TREES] = {
    11.45, 12.80, 10.20, 9.67,  9.01,  11.91, 10.54, 12.10, 11.70, 11.10, 10.44, 8.98,
    10.53, 10.32, 11.17, 10.46, 10.70, 9.40,  9.94,  8.99,  9.03,  11.03, 9.83,  10.35};
static const uint32_t EARLY[TREES] = {1, 1, 0, 0, 1, 0, 0, 0, 1, 1, 0, 0,
                                      1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0};

typedef struct field {
    small_model *m;
    qx_covariance covariance;
    double row[TREES], place[TREES];
} field;

static field *plant(qx_ctx *cx)
{
    field *o = qx_arena_alloc(qx_ctx_scratch(cx), 1, sizeof *o);
    assert_non_null(o);
    o->m = small_new(cx, TREES);
    const size_t pinch = small_factor(cx, o->m, "pinch", 2, 1);
    small_term(o->m, "pinch", 1, pinch, 0);
    for (size_t i = 0; i < TREES; i++) {
        o->m->code[pinch][i] = EARLY[i];
        o->m->y[i] = GIRTH[i];
        o->row[i] = (double)(i / SPOTS);
        o->place[i] = (double)(i % SPOTS);
    }
    o->covariance = QX_COVARIANCE_NONE;
    o->covariance.field = true;
    o->covariance.row = o->row;
    o->covariance.place = o->place;
    o->covariance.row_name = "line";
    o->covariance.place_name = "spot";
    o->covariance.field_name = "line:spot";
    o->m->spec.covariance = &o->covariance;
    return o;
}

static qx_lmm *profiled(qx_ctx *cx, const small_model *m)
{
    qx_lmm *fit = NULL;
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    assert_ok(cx, qx_lmm_profile_components(cx, fit, 0.95));
    return fit;
}

static void a_gap_is_told(void **state)
{
    qx_ctx *cx = *state;
    qx_lmm *fit = profiled(cx, plant(cx)->m);
    assert_true(check_all(cx, fit));
    assert_true(fit->correlation[0].broken);
    qx_lmm_free(fit);
}

/* No law holds for likelihood ratios of a field against nil; nil as a limit is nil. */
static void fields_have_no_p(void **state)
{
    qx_ctx *cx = *state;
    qx_lmm *fit = profiled(cx, plant(cx)->m);
    for (size_t i = 0; i < 2; i++) {
        assert_true(isnan(fit->correlation[i].p));
        assert_true(isnan(fit->correlation[i].lrt));
    }
    assert_true(isnan(fit->component[0].p));
    assert_true(fit->component[1].lower == 0.0); /* the field may be all there is */
    qx_lmm_free(fit);
}

/* --- dates --- */

static void dates_of_many_trials(void **state)
{
    static const double day[] = {0.0, 1.0, 2.0, 4.0, 7.0};
    enum { UNITS = 5, DATES = 5 };
    for (uint64_t seed = 1; seed <= 8; seed++) {
        qx_ctx *cx = *state;
        qx_rng rng = qx_rng_seeded(seed);
        small_model *m = small_new(cx, UNITS * DATES);
        double time[UNITS * DATES];
        const size_t tree = small_factor(cx, m, "tree", UNITS, DATES);
        const size_t date = small_factor(cx, m, "date", DATES, 1);
        qx_covariance c = QX_COVARIANCE_NONE;
        double last = 0.0, own = 0.0;
        small_term(m, "date", 1, date, 0);
        small_random(m, "tree", tree);
        for (size_t i = 0; i < m->n; i++) {
            const bool first = i % DATES == 0;
            const double step = first ? 0.0 : day[i % DATES] - day[i % DATES - 1];
            const double rho = pow(seed % 2 == 0 ? 0.3 : 0.8, step);
            own = first ? qx_rng_normal(&rng) : own;
            last = first ? qx_rng_normal(&rng)
                         : rho * last + sqrt(1.0 - rho * rho) * qx_rng_normal(&rng);
            m->y[i] = 5.0 + own + last;
            time[i] = day[i % DATES];
        }
        c.series = tree;
        c.time = time;
        c.series_name = "day";
        m->spec.covariance = &c;
        qx_lmm *fit = profiled(cx, m);
        (void)check_all(cx, fit);
        assert_true(fit->correlation[0].p >= 0.0 && fit->correlation[0].p <= 1.0);
        qx_lmm_free(fit);
    }
}

#define TEST(function_)                                                                  \
    cmocka_unit_test_setup_teardown(function_, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(a_gap_is_told),
        TEST(fields_have_no_p),
        TEST(dates_of_many_trials),
    };
    return cmocka_run_group_tests_name("model/general_profile", tests, NULL, NULL);
}
