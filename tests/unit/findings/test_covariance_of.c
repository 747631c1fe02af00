/* Dates, residuals by season and field trends from protocol and data. Data are drawn here
 * from a known truth; the shares that must be recognised are far from what chance gives. */
#include "trial.h"

#include "base/text.h"
#include "numeric/rng.h"

enum { ROWS = 6, PLACES = 10, SEEDS = 12 };

static const char orchard[] = "quincunx: 1\n"
                              "units:\n"
                              "  tree: {count: 60, position: {row: row, place: place}}\n"
                              "treatments:\n"
                              "  oil: {levels: [a, b, c, d], on: tree}\n"
                              "measure:\n"
                              "  yield: {kind: continuous, on: tree}\n"
                              "analysis:\n"
                              "  field_trend: auto\n";

typedef double trend_at(size_t row, size_t place, const double of_row[]);

static double flat(size_t row, size_t place, const double of_row[])
{
    (void)row;
    (void)place;
    (void)of_row;
    return 0.0;
}

static double by_row(size_t row, size_t place, const double of_row[])
{
    (void)place;
    return 2.0 * of_row[row];
}

/* A hill and a hollow. */
static double hilly(size_t row, size_t place, const double of_row[])
{
    (void)of_row;
    return 3.0 * sin(0.9 * (double)row) * cos(0.5 * (double)place);
}

static const char *field_data(qx_arena *arena, uint64_t seed, trend_at *trend)
{
    qx_text *text = qx_text_new(arena);
    qx_rng rng = qx_rng_seeded(seed);
    double of_row[ROWS];
    for (size_t r = 0; r < ROWS; r++) {
        of_row[r] = qx_rng_normal(&rng);
    }
    qx_text_printf(text, "tree,row,place,oil,yield\n");
    for (size_t r = 0; r < ROWS; r++) {
        for (size_t p = 0; p < PLACES; p++) {
            const double y = 20.0 + trend(r, p, of_row) + qx_rng_normal(&rng);
            qx_text_printf(text,
                           "%zu,%zu,%zu,%c,%ld\n",
                           r * PLACES + p + 1,
                           r + 1,
                           p + 1,
                           "abcd"[(r * 3 + p) % 4],
                           lround(1000.0 * y));
        }
    }
    return qx_text_get(text);
}

/* How often each trend was taken over the seeds. */
static void count_taken(trend_at *trend, size_t taken[6])
{
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        trial t;
        qx_arena *arena = qx_arena_new();
        assert_non_null(arena);
        assert_int_equal(trial_open(&t, orchard, field_data(arena, seed, trend)), QX_OK);
        const qx_result *r = &t.findings->result[0];
        assert_int_equal(r->field_count, 5);
        for (size_t k = 0; k < r->field_count; k++) {
            taken[k] += r->field[k].chosen ? 1 : 0;
        }
        trial_close(&t);
        qx_arena_free(arena);
    }
}

static void no_trend_is_mostly_told_as_none(void **state)
{
    size_t taken[6] = {0};
    (void)state;
    count_taken(flat, taken);
    assert_true(taken[0] >= SEEDS / 2 + 1);
}

static void rows_that_differ_are_found(void **state)
{
    size_t taken[6] = {0};
    (void)state;
    count_taken(by_row, taken);
    assert_int_equal(taken[0], 0);
    assert_int_equal(taken[2], 0); /* never the places alone */
}

static void hills_are_found_as_neighbours(void **state)
{
    size_t taken[6] = {0};
    (void)state;
    count_taken(hilly, taken);
    assert_int_equal(taken[4], SEEDS);
}

static void the_trend_is_told_in_words(void **state)
{
    trial t;
    qx_arena *arena = qx_arena_new();
    (void)state;
    assert_non_null(arena);
    assert_int_equal(trial_open(&t, orchard, field_data(arena, 3, hilly)), QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_true(has_note(r, "A tree is like its neighbours"));
    assert_true(has_note(r, "Field trends were weighed"));
    assert_int_equal(r->correlation_count, 2);
    assert_string_equal(r->correlation[0].name, "row");
    assert_string_equal(r->variance[0].term, "row:place");
    trial_close(&t);
    qx_arena_free(arena);
}

/* --- dates --- */

static const char girths[] = "quincunx: 1\n"
                             "units:\n"
                             "  block: {count: 4}\n"
                             "  tree: {within: block, count: 3}\n"
                             "treatments:\n"
                             "  oil: {levels: [a, b, c], on: tree}\n"
                             "measure:\n"
                             "  girth: {kind: continuous, on: tree, dates: day}\n";

static const char *girth_data(qx_arena *arena, size_t dates, double rho)
{
    static const char *const day[] = {
        "2025-05-01", "2025-05-15", "2025-06-05", "2025-07-03", "2025-08-14"};
    qx_text *text = qx_text_new(arena);
    qx_rng rng = qx_rng_seeded(7);
    qx_text_printf(text, "block,tree,oil,day,girth\n");
    for (size_t k = 0; k < 12; k++) {
        double last = 0.0;
        for (size_t d = 0; d < dates; d++) {
            const double fresh = qx_rng_normal(&rng);
            last = d == 0 ? fresh : rho * last + sqrt(1.0 - rho * rho) * fresh;
            qx_text_printf(text,
                           "%zu,%zu,%c,%s,%ld\n",
                           k / 3 + 1,
                           k % 3 + 1,
                           "abc"[k % 3],
                           day[d],
                           lround(1000.0 * (last + (double)d)));
        }
    }
    return qx_text_get(text);
}

static void dates_are_a_factor_and_a_correlation(void **state)
{
    trial t;
    qx_arena *arena = qx_arena_new();
    (void)state;
    assert_non_null(arena);
    assert_int_equal(trial_open(&t, girths, girth_data(arena, 5, 0.8)), QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_int_equal(r->fixed_count, 3);
    assert_string_equal(r->fixed[0], "day");
    assert_string_equal(r->fixed[2], "day:oil");
    assert_string_equal(r->random[1], "block:day");
    assert_int_equal(r->correlation_count, 1);
    assert_string_equal(r->correlation[0].name, "day");
    assert_true(r->correlation[0].estimate > 0.3);
    assert_true(r->correlation[0].lower < r->correlation[0].estimate);
    assert_true(find_test(r, "oil").den_df < 9.0); /* trees, not their dates */
    trial_close(&t);
    qx_arena_free(arena);
}

static void two_dates_have_one_number_for_both(void **state)
{
    trial t;
    qx_arena *arena = qx_arena_new();
    (void)state;
    assert_non_null(arena);
    assert_int_equal(trial_open(&t, girths, girth_data(arena, 2, 0.8)), QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_true(has_note(r, "the correlation stands for both"));
    for (size_t i = 0; i < r->random_count; i++) {
        assert_string_not_equal(r->random[i], "block:tree");
    }
    trial_close(&t);
    qx_arena_free(arena);
}

static void one_date_is_an_ordinary_analysis(void **state)
{
    trial t;
    qx_arena *arena = qx_arena_new();
    (void)state;
    assert_non_null(arena);
    assert_int_equal(trial_open(&t, girths, girth_data(arena, 1, 0.0)), QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_true(has_note(r, "was measured on one date"));
    assert_int_equal(r->correlation_count, 0);
    assert_int_equal(r->fixed_count, 1);
    trial_close(&t);
    qx_arena_free(arena);
}

/* --- seasons --- */

static void each_season_has_a_residual(void **state)
{
    static const char protocol[] = "quincunx: 1\n"
                                   "seasons: [2024, 2025]\n"
                                   "units: {tree: {count: 24}}\n"
                                   "treatments: {oil: {levels: [a, b], on: tree}}\n"
                                   "measure: {girth: {kind: continuous, on: tree}}\n"
                                   "analysis: {residual: {by: season}}\n";
    trial t;
    qx_arena *arena = qx_arena_new();
    qx_text *text = qx_text_new(arena);
    qx_rng rng = qx_rng_seeded(5);
    (void)state;
    qx_text_printf(text, "season,tree,oil,girth\n");
    for (size_t i = 0; i < 48; i++) {
        const double sd = i < 24 ? 1.0 : 4.0;
        qx_text_printf(text,
                       "%d,%zu,%c,%ld\n",
                       i < 24 ? 2024 : 2025,
                       i % 24 + 1,
                       "ab"[i % 2],
                       lround(1000.0 * sd * qx_rng_normal(&rng)));
    }
    assert_int_equal(trial_open(&t, protocol, qx_text_get(text)), QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_string_equal(r->variance[r->variance_count - 2].term, "residual 2024");
    assert_string_equal(r->variance[r->variance_count - 1].term, "residual 2025");
    const qx_check_line *check = &r->check[r->check_count - 1];
    assert_string_equal(check->check, "residual by season");
    assert_true(check->p < 0.001);
    trial_close(&t);
    qx_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_trend_is_mostly_told_as_none),
        cmocka_unit_test(rows_that_differ_are_found),
        cmocka_unit_test(hills_are_found_as_neighbours),
        cmocka_unit_test(the_trend_is_told_in_words),
        cmocka_unit_test(dates_are_a_factor_and_a_correlation),
        cmocka_unit_test(two_dates_have_one_number_for_both),
        cmocka_unit_test(one_date_is_an_ordinary_analysis),
        cmocka_unit_test(each_season_has_a_residual),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
