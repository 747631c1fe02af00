/* Dose and response, contrasts as a family, and factorials with empty cells.
 *
 * Oats: Yates 1935, J R Stat Soc Suppl 2:181-247; nitrogen linear, quadratic and cubic parts
 * with F 110.32, 2.71 and 0.02 on 45 df, as in the analyses by strata of many textbooks
 * (Venables & Ripley, Modern Applied Statistics with S, from memory), slope 73.67 (Pinheiro
 * & Bates 2000, Mixed-Effects Models in S and S-PLUS, from memory). Adjusted p of contrasts:
 * R 4.2.2, mvtnorm pmvt, error below 1e-6; Tukey's p of five cells: emmeans 1.8.4. */
#include "trial.h"

#include "base/file.h"
#include "support.h"

static const char oats_protocol[] =
    "quincunx: 1\n"
    "units:\n"
    "  block: {count: 6}\n"
    "  plot: {within: block, count: 3}\n"
    "  subplot: {within: plot, count: 4}\n"
    "treatments:\n"
    "  variety: {levels: [GoldenRain, Marvellous, Victory], on: plot}\n"
    "  nitrogen: {levels: [0, 0.2, 0.4, 0.6], on: subplot}\n"
    "measure:\n"
    "  yield: {kind: continuous, on: subplot, margin: 20}\n"
    "contrasts:\n"
    "  a: {of: variety, weights: {Marvellous: 1, GoldenRain: -1}}\n"
    "  b: {of: variety, weights: {Victory: 1, Marvellous: -1}}\n"
    "  c: {of: variety, weights: {Victory: 1, Marvellous: -0.5, GoldenRain: -0.5}}\n";

static void open_oats(trial *t, const char *protocol)
{
    qx_ctx *cx = qx_ctx_new();
    qx_bytes data = {0};
    assert_non_null(cx);
    assert_int_equal(qx_file_read(cx,
                                  qx_ctx_scratch(cx),
                                  REFERENCE_FOLDER "/splitplot-oats/data.csv",
                                  10000,
                                  &data),
                     QX_OK);
    assert_int_equal(trial_open(t, protocol, data.bytes), QX_OK);
    qx_ctx_free(cx);
}

static void parts_of_the_oats(void **state)
{
    (void)state;
    trial t;
    open_oats(&t, oats_protocol);
    const qx_result *r = &t.findings->result[0];
    assert_int_equal(r->dose_count, 4); /* averaged, and inside each variety */
    const qx_dose *d = &r->dose[0];
    assert_string_equal(d->of, "nitrogen");
    assert_int_equal(d->part_count, 3);
    assert_printed(d->part[0].f, "110.32");
    assert_printed(d->part[1].f, "2.71");
    assert_printed(d->part[2].f, "0.02");
    assert_near(d->part[0].df, 45.0, 1e-9);
    assert_printed(d->slope, "73.67");
    /* With equal numbers the parts add up: lack of fit = mean of what is above it. */
    assert_near(d->part[0].lack_f, (d->part[1].f + d->part[2].f) / 2.0, 1e-9);
    assert_near(d->part[1].lack_f, d->part[2].f, 1e-9);
    assert_true(isnan(d->part[2].lack_f) && isnan(d->part[2].lack_num_df));
    assert_int_equal(d->degree, 1);
    assert_true(d->shown && isnan(d->turn) && d->end_level == NULL);
    trial_close(&t);
}

static void contrasts_are_one_family(void **state)
{
    (void)state;
    trial t;
    open_oats(&t, oats_protocol);
    const qx_contrast_line *c = t.findings->result[0].contrast;
    assert_int_equal(t.findings->result[0].contrast_count, 3);
    assert_digits(c[0].p_adjusted, "0.72916", 4);
    assert_digits(c[1].p_adjusted, "0.23262", 4);
    assert_digits(c[2].p_adjusted, "0.29408", 4);
    assert_digits(c[1].p, "0.1164116", 6); /* not adjusted: as it was */
    trial_close(&t);
}

static const char curve_protocol[] =
    "quincunx: 1\n"
    "units:\n"
    "  tree: {count: 21}\n"
    "treatments:\n"
    "  dose: {levels: [0, 1, 2, 4, 8, 16, 32], on: tree, unit: mg}\n"
    "measure:\n"
    "  y: {kind: continuous, on: tree}\n";

/* Seven unequal steps, four named parts: the rest is an orthogonal complement found by
 * itself, and everything adds up to the treatment's own F. */
static void seven_levels_add_up(void **state)
{
    (void)state;
    static const int dose[] = {0, 1, 2, 4, 8, 16, 32};
    char data[1024] = "tree,dose,y\n";
    trial t;
    for (int i = 0; i < 21; i++) {
        const int x = dose[i % 7];
        char line[64];
        /* rises to 16 and falls: 20 x - x^2 / 1.6, and noise in a fixed order */
        (void)snprintf(line,
                       sizeof line,
                       "%d,%d,%d\n",
                       i + 1,
                       x,
                       500 + 20 * x - 5 * x * x / 8 + (i * 7) % 11);
        strcat(data, line);
    }
    assert_int_equal(trial_open(&t, curve_protocol, data), QX_OK);
    const qx_result *r = &t.findings->result[0];
    const qx_dose *d = &r->dose[0];
    const double all = 6.0 * find_test(r, "dose").value;
    double sum = 0.0;
    assert_int_equal(d->part_count, 4);
    for (size_t k = 0; k < 4; k++) {
        sum += d->part[k].f;
        assert_true(d->part[k].lack_num_df == 5.0 - (double)k);
        assert_near(sum + d->part[k].lack_f * d->part[k].lack_num_df, all, 1e-10);
    }
    assert_int_equal(d->degree, 2);
    /* d(20 x - x^2 / 1.6)/dx = 0 at x = 16; noise of 0 ... 10 hardly moves it */
    assert_true(fabs(d->turn - 16.0) < 0.5 && d->turns_down);
    assert_true(d->turn_lower < d->turn && d->turn < d->turn_upper);
    trial_close(&t);
}

/* ToothGrowth, length of teeth of guinea pigs: Crampton 1947, J Nutr 33:491-504, as in R's
 * datasets. Turning points and their limits: R 4.2.2, lm with a parabola for each supplement;
 * each limit is where |t| of the slope reaches the quantile, found by uniroot. */
static const char *const tooth_lengths[2][3] = {
    {"15.2,21.5,17.6,9.7,14.5,10,8.2,9.4,16.5,9.7",
     "19.7,23.3,23.6,26.4,20,25.2,25.8,21.2,14.5,27.3",
     "25.5,26.4,22.4,24.5,24.8,30.9,26.4,27.3,29.4,23"},
    {"4.2,11.5,7.3,5.8,6.4,10,11.2,11.2,5.2,7",
     "16.5,16.5,15.2,17.3,22.5,17.3,13.6,14.5,18.8,15.5",
     "23.6,18.5,33.9,25.5,26.4,32.5,26.7,21.5,23.3,29.5"}};

static void tooth_data(char out[4096])
{
    static const char *const supplement[] = {"OJ", "VC"}, *const dose[] = {
                                                              "0.5", "1", "2"};
    size_t at = (size_t)snprintf(out, 4096, "animal,supplement,dose,length\n");
    int animal = 0;
    for (int s = 0; s < 2; s++) {
        for (int d = 0; d < 3; d++) {
            for (const char *x = tooth_lengths[s][d]; *x != '\0'; animal++) {
                const size_t length = strcspn(x, ",");
                at += (size_t)snprintf(out + at,
                                       4096 - at,
                                       "%d,%s,%s,%.*s\n",
                                       animal + 1,
                                       supplement[s],
                                       dose[d],
                                       (int)length,
                                       x);
                x += length + (x[length] == ',' ? 1 : 0);
            }
        }
    }
}

static void a_curve_inside_each_supplement(void **state)
{
    (void)state;
    static const char protocol[] = "quincunx: 1\n"
                                   "units:\n"
                                   "  animal: {count: 60}\n"
                                   "treatments:\n"
                                   "  supplement: {levels: [OJ, VC], on: animal}\n"
                                   "  dose: {levels: [0.5, 1, 2], on: animal, unit: mg}\n"
                                   "measure:\n"
                                   "  length: {kind: continuous, on: animal}\n";
    char data[4096];
    trial t;
    tooth_data(data);
    assert_int_equal(trial_open(&t, protocol, data), QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_int_equal(r->dose_count, 3);
    assert_int_equal(r->dose[0].within.count, 0);
    assert_digits(r->dose[0].turn, "1.90132408575", 9);
    assert_digits(r->dose[0].turn_lower, "1.67874725243", 9);
    assert_digits(r->dose[0].turn_upper, "2.56153993980", 9);
    assert_string_equal(r->dose[1].within.level[0], "OJ");
    assert_int_equal(r->dose[1].degree, 2);
    assert_digits(r->dose[1].turn, "1.66174582798", 9);
    assert_digits(r->dose[1].turn_lower, "1.50352852539", 9);
    assert_digits(r->dose[1].turn_upper, "2.15112368584", 9);
    assert_digits(
        r->dose[1].part[1].estimate / r->dose[1].part[1].se, "-3.62600161253", 9);
    assert_true(r->dose[1].turns_down && r->dose[1].rises);
    /* bitter: a straight line does; its bend of t -1.91 on 54 df is not shown */
    assert_string_equal(r->dose[2].within.level[0], "VC");
    assert_int_equal(r->dose[2].degree, 1);
    assert_digits(
        r->dose[2].part[1].estimate / r->dose[2].part[1].se, "-1.91074924511", 9);
    assert_true(isnan(r->dose[2].turn));
    trial_close(&t);
}

static const char empty_protocol[] = "quincunx: 1\n"
                                     "units:\n"
                                     "  block: {count: 4}\n"
                                     "  tree: {within: block, count: 6}\n"
                                     "treatments:\n"
                                     "  pinch: {levels: [none, early], on: tree}\n"
                                     "  angle: {levels: [30, 60, 90], on: tree}\n"
                                     "measure:\n"
                                     "  y: {kind: continuous, on: tree, margin: 5}\n";

/* Invented; early with 90 was never tried. */
static const char empty_data[] =
    "block,tree,pinch,angle,y\n"
    "1,1,none,30,45.58\n1,2,none,60,48.90\n1,3,none,90,49.13\n1,4,early,30,41.47\n"
    "1,5,early,60,43.82\n2,1,none,30,44.06\n2,2,none,60,44.94\n2,3,none,90,47.18\n"
    "2,4,early,30,43.60\n2,5,early,60,47.25\n3,1,none,30,45.35\n3,2,none,60,46.84\n"
    "3,3,none,90,50.05\n3,4,early,30,44.98\n3,5,early,60,50.51\n4,1,none,30,46.22\n"
    "4,2,none,60,49.00\n4,3,none,90,53.29\n4,4,early,30,46.04\n4,5,early,60,51.07\n";

static const qx_difference *
cells(const qx_result *r, const char *const first[2], const char *const second[2])
{
    for (size_t i = 0; i < r->difference_count; i++) {
        const qx_difference *d = &r->difference[i];
        if (strcmp(d->term, "pinch:angle") == 0 &&
            strcmp(d->first.level[0], first[0]) == 0 &&
            strcmp(d->first.level[1], first[1]) == 0 &&
            strcmp(d->second.level[0], second[0]) == 0 &&
            strcmp(d->second.level[1], second[1]) == 0) {
            return d;
        }
    }
    fail_msg("no such pair");
    return NULL;
}

static void empty_cells_are_named_and_not_counted(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(trial_open(&t, empty_protocol, empty_data), QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_true(has_note(r, "pinch:angle: no mean for early with 90"));
    assert_true(has_note(r, "pinch: no mean for early,"));
    assert_true(has_note(r, "angle: no mean for 90,"));
    static const char *const none30[] = {"none", "30"}, *const none60[] = {"none", "60"},
                             *const none90[] = {"none", "90"},
                             *const early60[] = {"early", "60"},
                             *const early90[] = {"early", "90"};
    /* five cells, not six: emmeans, pairs() of a model with one factor of five levels */
    assert_printed(cells(r, none90, none30)->p_adjusted, "0.0159");
    assert_printed(cells(r, none60, none30)->p_adjusted, "0.4315");
    assert_printed(cells(r, early60, none90)->p_adjusted, "0.6022");
    assert_true(isnan(cells(r, early90, none30)->estimate));
    /* Letters of the five, none of the sixth. */
    size_t with = 0;
    for (size_t i = 0; i < r->mean_count; i++) {
        const qx_mean *m = &r->mean[i];
        if (strcmp(m->term, "pinch:angle") == 0) {
            with += m->letters != NULL ? 1 : 0;
            assert_true((m->letters == NULL) == (bool)isnan(m->estimate));
        }
    }
    assert_int_equal(with, 5);
    trial_close(&t);
}

/* Geometric means 2 and 16 by hand: first over second is 8, whatever the base. */
static void logarithms_give_ratios(void **state)
{
    (void)state;
    static const char *const transform[] = {"log", "log10"};
    for (size_t i = 0; i < 2; i++) {
        char protocol[256];
        trial t;
        (void)snprintf(protocol,
                       sizeof protocol,
                       "quincunx: 1\nunits:\n  tree: {count: 4}\ntreatments:\n"
                       "  a: {levels: [x, z], on: tree}\n"
                       "measure:\n  y: {kind: continuous, on: tree, transform: %s}\n",
                       transform[i]);
        assert_int_equal(
            trial_open(&t, protocol, "tree,a,y\n1,x,1\n2,x,4\n3,z,8\n4,z,32\n"), QX_OK);
        const qx_difference *d = &t.findings->result[0].difference[0];
        assert_near(d->ratio.estimate, 8.0, 1e-12);
        /* log difference 3 log 2, standard error log 2 x sqrt(2), t(0.975, 2 df) = 4.3027 */
        assert_near(d->ratio.lower, pow(2.0, 3.0 - 4.302652729911275 * sqrt(2.0)), 1e-9);
        assert_near(d->ratio.upper, pow(2.0, 3.0 + 4.302652729911275 * sqrt(2.0)), 1e-9);
        trial_close(&t);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(parts_of_the_oats),
        cmocka_unit_test(contrasts_are_one_family),
        cmocka_unit_test(seven_levels_add_up),
        cmocka_unit_test(a_curve_inside_each_supplement),
        cmocka_unit_test(empty_cells_are_named_and_not_counted),
        cmocka_unit_test(logarithms_give_ratios),
    };
    return cmocka_run_group_tests_name("findings/dose", tests, NULL, NULL);
}
