/* Every quantity of tests/reference that the model's interface gives, case by case.
 * Sources of data and values: SOURCE.md in each folder of tests/reference. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "numeric/dist.h"

#include "model_case.h"
#include "support.h"

#define PARTS_MOST 8

typedef struct subject {
    qx_ctx *cx;
    const reference_case *c;
    const model_spelling *how;
    const char *prefix; /* of the expected quantities, "" or "random_year." */
    qx_lmm_spec spec;
    qx_lmm *kr, *satterthwaite; /* the same fit twice, for two df methods */
    size_t compared, wrong;
} subject;

static void check(subject *s, const char *quantity, double got)
{
    s->compared++;
    if (!reference_agrees(s->c, quantity, got)) {
        print_error("%s: %s is %.15g, expected %.15g\n",
                    s->how->name,
                    quantity,
                    got,
                    reference_value(s->c, quantity));
        s->wrong++;
    }
}

/* The text between two ends, as a string of its own. */
static const char *piece(subject *s, const char *from, const char *to)
{
    const char *out = qx_arena_text(qx_ctx_scratch(s->cx), from, (size_t)(to - from));
    assert_non_null(out);
    return out;
}

static size_t term_number(const subject *s, const char *name)
{
    for (size_t t = 0; t < s->spec.term_count; t++) {
        if (strcmp(s->spec.term[t].name, name) == 0) {
            return t;
        }
    }
    return QX_NO_COLUMN;
}

static void check_component(subject *s, const char *quantity, const char *name)
{
    for (size_t i = 0; i < s->kr->component_count; i++) {
        if (strcmp(s->kr->component[i].name, name) == 0) {
            check(s, quantity, s->kr->component[i].variance);
        }
    }
}

static void
check_coefficient(subject *s, const char *quantity, const char *name, const char *what)
{
    for (size_t j = 0; j < s->kr->p; j++) {
        double *row = qx_arena_alloc(qx_ctx_scratch(s->cx), s->kr->p, sizeof *row);
        qx_estimate e;
        if (strcmp(s->kr->design.name[j], name) != 0) {
            continue;
        }
        row[j] = 1.0;
        assert_ok(s->cx, qx_lmm_contrast(s->cx, s->kr, row, j == 0 ? 1.0 : 0.0, &e));
        if (strcmp(what, "estimate") == 0) {
            check(s, quantity, e.estimate);
        } else if (strcmp(what, "se") == 0) {
            check(s, quantity, sqrt(QX_AT(s->kr->phi, j, j)));
        } else if (strcmp(what, "kr_se") == 0) {
            check(s, quantity, e.se);
        } else if (strcmp(what, "kr_df") == 0) {
            check(s, quantity, e.df);
        }
    }
}

static void check_test(subject *s,
                       const char *quantity,
                       size_t term,
                       bool sequential,
                       const qx_lmm *fit,
                       const char *what)
{
    qx_mat L;
    qx_joint_test test;
    qx_arena *arena = qx_ctx_scratch(s->cx);
    assert_ok(s->cx,
              sequential ? qx_design_sequential(s->cx, arena, &fit->design, term, &L)
                         : qx_design_marginal(s->cx, arena, &fit->design, term, &L));
    assert_ok(s->cx, qx_lmm_test(s->cx, fit, L, &test));
    if (strcmp(what, "num_df") == 0 || strcmp(what, "df") == 0) {
        check(s, quantity, test.num_df);
    } else if (strcmp(what, "den_df") == 0) {
        check(s, quantity, test.den_df);
    } else if (strcmp(what, "F") == 0) {
        check(s, quantity, test.f);
    } else if (strcmp(what, "p") == 0) {
        check(s, quantity, test.p);
    } else if (strcmp(what, "SS") == 0) {
        check(s, quantity, test.sum_of_squares);
    } else if (strcmp(what, "MS") == 0) {
        check(s, quantity, test.sum_of_squares / test.num_df);
    }
}

/* "marginal.variety.kr.F", "sequential.before.SS", "anova.residual.MS" ... */
static void check_table(
    subject *s, const char *quantity, const char *name, const char *rest, bool sequential)
{
    const size_t term = term_number(s, name);
    if (strcmp(name, "residual") == 0) {
        const double ss = s->kr->residual_ss;
        const double df = s->kr->residual_df;
        check(s,
              quantity,
              strcmp(rest, "df") == 0   ? df
              : strcmp(rest, "SS") == 0 ? ss
                                        : ss / df);
    } else if (strncmp(rest, "kr.", 3) == 0) {
        check_test(s, quantity, term, sequential, s->kr, rest + 3);
    } else if (strncmp(rest, "satterthwaite.", 14) == 0) {
        check_test(s, quantity, term, sequential, s->satterthwaite, rest + 14);
    } else {
        check_test(s, quantity, term, sequential, s->kr, rest);
    }
}

/* The row of a mean: levels of the term's factors joined by colons. */
static double *mean_row(subject *s, const char *term, const char *levels)
{
    const size_t t = term_number(s, term);
    const qx_term *of = &s->spec.term[t];
    size_t level[PARTS_MOST];
    bool estimable;
    double *row = qx_arena_alloc(qx_ctx_scratch(s->cx), s->kr->p, sizeof *row);
    const char *rest = levels;
    for (size_t k = 0; k < of->factor_count; k++) {
        const char *end = strchr(rest, ':');
        end = end == NULL ? rest + strlen(rest) : end;
        level[k] =
            model_case_level(&s->spec.frame->factor[of->factor[k]], piece(s, rest, end));
        rest = *end == ':' ? end + 1 : end;
    }
    assert_ok(
        s->cx,
        qx_design_mean(
            s->cx, &s->kr->design, of->factor_count, of->factor, level, row, &estimable));
    assert_true(estimable);
    return row;
}

static void check_estimate(subject *s,
                           const char *quantity,
                           const double row[],
                           double shift_weight,
                           const char *what)
{
    qx_estimate e;
    assert_ok(s->cx, qx_lmm_contrast(s->cx, s->kr, row, shift_weight, &e));
    const double t = qx_t_q(0.025, e.df, QX_UPPER);
    const struct {
        const char *name;
        double value;
    } known[] = {{"estimate", e.estimate},
                 {"se", e.se},
                 {"df", e.df},
                 {"t", e.estimate / e.se},
                 {"p", qx_t_two_sided(e.estimate / e.se, e.df)},
                 {"lower", e.estimate - t * e.se},
                 {"upper", e.estimate + t * e.se}};
    for (size_t k = 0; k < QX_COUNT(known); k++) {
        if (strcmp(what, known[k].name) == 0) {
            check(s, quantity, known[k].value);
        }
    }
}

/* "variety.Victory.se": the levels may hold points. */
static void check_mean(subject *s, const char *quantity, const char *rest)
{
    const char *dot = strchr(rest, '.');
    const char *last = strrchr(rest, '.');
    const char *term = piece(s, rest, dot);
    check_estimate(
        s, quantity, mean_row(s, term, piece(s, dot + 1, last)), 1.0, last + 1);
}

static void check_difference(subject *s, const char *quantity, const char *rest)
{
    const char *dot = strchr(rest, '.');
    const char *last = strrchr(rest, '.');
    const char *minus = strchr(dot, '-');
    const char *term = piece(s, rest, dot);
    if (minus == NULL || strchr(term, ':') != NULL || strcmp(last + 1, "lsd_5pct") == 0) {
        return;
    }
    double *a = mean_row(s, term, piece(s, dot + 1, minus));
    const double *b = mean_row(s, term, piece(s, minus + 1, last));
    for (size_t j = 0; j < s->kr->p; j++) {
        a[j] -= b[j];
    }
    check_estimate(s, quantity, a, 0.0, last + 1);
}

static void check_fit(subject *s, const char *quantity, const char *what)
{
    if (strcmp(what, "reml_criterion") == 0) {
        check(s, quantity, s->kr->reml_criterion);
    } else if (strcmp(what, "residual_sd") == 0) {
        check(s, quantity, sqrt(s->kr->component[s->kr->random_count].variance));
    } else if (strcmp(what, "cv_percent") == 0) {
        check(s, quantity, s->kr->cv_percent);
    }
}

static void check_quantity(subject *s, const char *quantity)
{
    const size_t skip = strlen(s->prefix);
    const char *name = quantity + skip;
    if (strncmp(quantity, s->prefix, skip) != 0 || strchr(name, '.') == NULL) {
        return;
    }
    const char *rest = strchr(name, '.') + 1;
    const char *dot = strchr(rest, '.');
    const char *first = piece(s, name, rest - 1);
    const char *second = dot != NULL ? piece(s, rest, dot) : rest;
    const bool tabled = dot != NULL && (term_number(s, second) != QX_NO_COLUMN ||
                                        strcmp(second, "residual") == 0);
    if (strcmp(first, "fit") == 0) {
        check_fit(s, quantity, rest);
    } else if (strcmp(first, "varcomp") == 0) {
        check_component(s, quantity, rest);
    } else if (strcmp(first, "coef") == 0) {
        const char *last = strrchr(rest, '.');
        check_coefficient(s, quantity, piece(s, rest, last), last + 1);
    } else if (tabled && (strcmp(first, "marginal") == 0)) {
        check_table(s, quantity, second, dot + 1, false);
    } else if (tabled &&
               (strcmp(first, "sequential") == 0 || strcmp(first, "anova") == 0 ||
                (strcmp(first, "fixed") == 0 && s->spec.random_count == 0))) {
        check_table(s, quantity, second, dot + 1, true);
    } else if (strcmp(first, "emmean") == 0 && term_number(s, second) != QX_NO_COLUMN) {
        check_mean(s, quantity, rest);
    } else if (strcmp(first, "diff") == 0 && term_number(s, second) != QX_NO_COLUMN) {
        check_difference(s, quantity, rest);
    }
}

/* At least `least` quantities must have been compared: a case that reads nothing fails. */
static void
compare(void **state, const model_spelling *how, const char *prefix, size_t least)
{
    subject s = {.cx = *state, .how = how, .prefix = prefix};
    s.c = reference_open(s.cx, how->name);
    s.spec = model_case_spec(s.cx, s.c, how);
    s.spec.df = QX_KENWARD_ROGER;
    assert_ok(s.cx, qx_lmm_fit(s.cx, &s.spec, &s.kr));
    s.spec.df = QX_SATTERTHWAITE;
    assert_ok(s.cx, qx_lmm_fit(s.cx, &s.spec, &s.satterthwaite));
    assert_non_null(s.kr);
    assert_true(s.kr->converged);
    for (size_t i = 0; i < reference_count(s.c); i++) {
        check_quantity(&s, reference_quantity(s.c, i));
    }
    qx_lmm_free(s.kr);
    qx_lmm_free(s.satterthwaite);
    if (s.compared < least) {
        fail_msg("%s: only %zu quantities were compared", how->name, s.compared);
    }
    assert_int_equal(s.wrong, 0);
}

#define CASE(function_, least_, ...)                                                     \
    static void function_(void **state)                                                  \
    {                                                                                    \
        const model_spelling how = {__VA_ARGS__};                                        \
        compare(state, &how, "", (least_));                                              \
    }

CASE(splitplot_oats,
     150,
     "splitplot-oats",
     "yield",
     "variety nitrogen variety:nitrogen",
     "block block:variety",
     NULL)
CASE(splitplot_oats_unbalanced,
     150,
     "splitplot-oats-unbalanced",
     "yield",
     "variety nitrogen variety:nitrogen",
     "block block:variety",
     NULL)
CASE(nested_oxide, 30, "nested-oxide", "thickness", "source", "lot lot:wafer", NULL)
CASE(strip_assay,
     150,
     "strip-assay",
     "density",
     "sample dilution sample:dilution",
     "block block:sample block:dilution",
     NULL)
CASE(crossed_penicillin, 8, "crossed-penicillin", "diameter", "", "plate sample", NULL)
CASE(varcomp_dyestuff, 7, "varcomp-dyestuff", "yield", "", "batch", NULL)
CASE(varcomp_rail, 6, "varcomp-rail", "travel", "", "rail", NULL)
CASE(mixed_machines,
     45,
     "mixed-machines",
     "score",
     "machine",
     "worker worker:machine",
     NULL)
CASE(mixed_machines_unbalanced,
     45,
     "mixed-machines-unbalanced",
     "score",
     "machine",
     "worker worker:machine",
     NULL)
CASE(zero_component,
     60,
     "zero-component-simulated",
     "yield",
     "treatment",
     "block block:treatment",
     NULL)
CASE(splitplot_cake,
     150,
     "splitplot-cake",
     "angle",
     "recipe temperature recipe:temperature",
     "recipe:replicate",
     NULL)
CASE(shoots_in_limbs,
     100,
     "shoots-in-limbs-simulated",
     "length",
     "pinch angle pinch:angle",
     "block block:tree block:tree:limb",
     NULL)
CASE(seasons_immer,
     150,
     "seasons-immer",
     "yield",
     "variety year variety:year",
     "location location:variety location:year",
     NULL)
CASE(latin_orchardsprays,
     200,
     "latin-orchardsprays",
     "decrease",
     "row column treatment",
     "",
     log)
CASE(rcbd_immer, 90, "rcbd-immer-1931", "yield", "location variety", "", NULL)
CASE(factorial_npk,
     30,
     "factorial-npk-confounded",
     "yield",
     "block N P K N:P N:K P:K N:P:K",
     "",
     NULL)
CASE(factorial_toothgrowth,
     90,
     "factorial-toothgrowth-unbalanced",
     "len",
     "supp dose supp:dose",
     "",
     NULL)
CASE(factorial_warpbreaks,
     60,
     "factorial-warpbreaks",
     "breaks",
     "wool tension wool:tension",
     "",
     NULL)
CASE(crd_insectsprays, 90, "crd-insectsprays-sqrt", "count", "spray", "", sqrt)
CASE(crd_plantgrowth, 30, "crd-plantgrowth", "weight", "group", "", NULL)
CASE(ancova_anorexia, 50, "ancova-anorexia", "after", "~before treatment", "", NULL)
CASE(nist_atmwtag, 6, "nist-atmwtag", "response", "treatment", "", NULL)
CASE(nist_smls01, 6, "nist-smls01", "response", "treatment", "", NULL)
CASE(nist_smls04, 6, "nist-smls04", "response", "treatment", "", NULL)
CASE(nist_smls07, 6, "nist-smls07", "response", "treatment", "", NULL)

static void seasons_immer_random_year(void **state)
{
    const model_spelling how = {"seasons-immer",
                                "yield",
                                "variety",
                                "location year location:year location:variety",
                                NULL};
    compare(state, &how, "random_year.", 90);
}

static void seasons_immer_fixed(void **state)
{
    const model_spelling how = {
        "seasons-immer",
        "yield",
        "location variety year location:variety location:year variety:year",
        "",
        NULL};
    subject s = {.cx = *state, .how = &how, .prefix = ""};
    s.c = reference_open(s.cx, how.name);
    s.spec = model_case_spec(s.cx, s.c, &how);
    assert_ok(s.cx, qx_lmm_fit(s.cx, &s.spec, &s.kr));
    assert_non_null(s.kr);
    for (size_t i = 0; i < reference_count(s.c); i++) {
        if (strncmp(reference_quantity(s.c, i), "fixed.", 6) == 0) {
            check_quantity(&s, reference_quantity(s.c, i));
        }
    }
    qx_lmm_free(s.kr);
    assert_int_equal(s.compared, 33);
    assert_int_equal(s.wrong, 0);
}

#define TEST(function_)                                                                  \
    cmocka_unit_test_setup_teardown(function_, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(splitplot_oats),
        TEST(splitplot_oats_unbalanced),
        TEST(nested_oxide),
        TEST(strip_assay),
        TEST(crossed_penicillin),
        TEST(varcomp_dyestuff),
        TEST(varcomp_rail),
        TEST(mixed_machines),
        TEST(mixed_machines_unbalanced),
        TEST(zero_component),
        TEST(splitplot_cake),
        TEST(shoots_in_limbs),
        TEST(seasons_immer),
        TEST(seasons_immer_random_year),
        TEST(seasons_immer_fixed),
        TEST(latin_orchardsprays),
        TEST(rcbd_immer),
        TEST(factorial_npk),
        TEST(factorial_toothgrowth),
        TEST(factorial_warpbreaks),
        TEST(crd_insectsprays),
        TEST(crd_plantgrowth),
        TEST(ancova_anorexia),
        TEST(nist_atmwtag),
        TEST(nist_smls01),
        TEST(nist_smls04),
        TEST(nist_smls07),
    };
    return cmocka_run_group_tests_name("model/reference", tests, NULL, NULL);
}
