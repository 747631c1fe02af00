#include "test.h"

#include <stdatomic.h>

#include "base/workers.h"

#define TASKS 1000

/* Each task: a walk of a length of its own, so that threads meet in every order. */
static qx_status walk(qx_ctx *cx, void *shared, size_t task)
{
    double *room = NULL;
    QX_NEW(cx, room, 64);
    uint64_t state = task + 1;
    for (size_t i = 0; i < 1000 + 37 * (task % 50); i++) {
        state = state * 6364136223846793005U + 1442695040888963407U;
        room[i % 64] += (double)(state >> 40);
    }
    double sum = 0;
    for (size_t i = 0; i < 64; i++) {
        sum += room[i];
    }
    ((double *)shared)[task] = sum;
    return QX_OK;
}

static void run_with(qx_ctx *cx, size_t threads, double out[TASKS])
{
    const qx_workers_options options = {.threads = threads};
    assert_ok(cx, qx_workers_run(cx, &options, TASKS, walk, out));
}

static void the_result_does_not_depend_on_the_threads(void **state)
{
    static double one[TASKS], many[TASKS];
    run_with(*state, 1, one);
    static const size_t threads[] = {4, 3, 0, 2};
    for (size_t i = 0; i < QX_COUNT(threads); i++) {
        memset(many, 0, sizeof many);
        run_with(*state, threads[i], many);
        assert_memory_equal(one, many, sizeof one);
    }
}

static void the_scratch_of_the_caller_is_as_before(void **state)
{
    static double out[TASKS];
    const qx_arena_mark before = qx_arena_get_mark(qx_ctx_scratch(*state));
    run_with(*state, 4, out);
    const qx_arena_mark after = qx_arena_get_mark(qx_ctx_scratch(*state));
    assert_ptr_equal(before.block, after.block);
    assert_int_equal(before.used, after.used);
    assert_ptr_equal(before.defer, after.defer);
}

static qx_status fail_some(qx_ctx *cx, void *shared, size_t task)
{
    (void)shared;
    QX_TRY(qx_note(cx, "forgotten"));
    if (task >= 300 && task % 7 == 0) {
        return qx_fail(cx, QX_E_RANK, "trial %zu is empty", task);
    }
    return QX_OK;
}

static void the_lowest_task_that_fails_is_told(void **state)
{
    qx_ctx *cx = *state;
    for (size_t threads = 1; threads <= 4; threads++) {
        const qx_workers_options options = {.threads = threads};
        const qx_status got = qx_workers_run(cx, &options, TASKS, fail_some, NULL);
        assert_non_null(strstr(qx_ctx_file(cx), "test_workers.c"));
        assert_fails(cx, got, QX_E_RANK, "trial 301 is empty");
        assert_int_equal(qx_ctx_note_count(cx), 0);
    }
}

static qx_status fail_in_silence(qx_ctx *cx, void *shared, size_t task)
{
    (void)cx;
    (void)shared;
    return task == 5 ? QX_E_NUMERIC : QX_OK;
}

static void a_task_without_a_message_fails_all_the_same(void **state)
{
    assert_fails(*state,
                 qx_workers_run(*state, NULL, 10, fail_in_silence, NULL),
                 QX_E_NUMERIC,
                 "task 5");
    assert_fails(*state, qx_workers_run(*state, NULL, 10, NULL, NULL), QX_E_ARG, "task");
}

typedef struct counting {
    qx_ctx *caller;
    atomic_size_t runs;
} counting;

/* The tenth cancels; whoever began later waits for that, so that none slips through. */
static qx_status cancel_after_ten(qx_ctx *cx, void *shared, size_t task)
{
    counting *c = shared;
    (void)task;
    const size_t run = atomic_fetch_add(&c->runs, 1) + 1;
    if (run == 10) {
        qx_ctx_cancel(c->caller);
    }
    while (run >= 10 && !qx_ctx_cancelled(cx)) {
    }
    return QX_OK;
}

static void cancelling_stops_all(void **state)
{
    counting c = {.caller = *state};
    const qx_workers_options options = {.threads = 4};
    assert_fails(*state,
                 qx_workers_run(*state, &options, TASKS, cancel_after_ten, &c),
                 QX_E_CANCELLED,
                 "stopped");
    assert_in_range(atomic_load(&c.runs), 10, 10 + 4);
}

typedef struct heard {
    size_t calls;
    size_t last;
} heard;

static void hear(void *listener, const char *what, size_t done, size_t total)
{
    heard *h = listener;
    assert_string_equal(what, "trials");
    assert_int_equal(total, TASKS);
    assert_true(done >= h->last);
    h->last = done;
    h->calls++; /* not atomic: the sanitizer for threads sees a second thread here */
}

static void progress_comes_from_one_thread_and_ends(void **state)
{
    static double out[TASKS];
    heard h = {0, 0};
    qx_ctx_listen(*state, hear, &h);
    const qx_workers_options options = {.threads = 4, .what = "trials"};
    assert_ok(*state, qx_workers_run(*state, &options, TASKS, walk, out));
    qx_ctx_listen(*state, NULL, NULL);
    assert_int_equal(h.last, TASKS);
    assert_in_range(h.calls, 1, TASKS + 1);
}

static qx_status run_inside(qx_ctx *cx, void *shared, size_t task)
{
    double inner[8] = {0};
    QX_TRY(qx_workers_run(cx, NULL, QX_COUNT(inner), walk, inner));
    ((double *)shared)[task] = inner[task % QX_COUNT(inner)];
    return QX_OK;
}

static void a_run_inside_a_task_works(void **state)
{
    double out[16] = {0};
    double flat[8] = {0};
    const qx_workers_options options = {.threads = 3};
    assert_ok(*state, qx_workers_run(*state, &options, 16, run_inside, out));
    assert_ok(*state, qx_workers_run(*state, &options, 8, walk, flat));
    for (size_t i = 0; i < 16; i++) {
        assert_true(out[i] == flat[i % 8]);
    }
}

static void there_is_always_a_thread_and_never_one_too_many(void **state)
{
    (void)state;
    assert_in_range(qx_workers_threads(0, 0), 1, 1);
    assert_in_range(qx_workers_threads(8, 3), 1, 3);
    assert_in_range(qx_workers_threads(2, 100), 1, 2);
    double nothing = 0;
    assert_ok(*state, qx_workers_run(*state, NULL, 0, walk, &nothing));
    assert_true(nothing == 0);
}

static qx_status run_few(qx_ctx *cx, void *given)
{
    (void)given;
    double out[4] = {0};
    const qx_workers_options options = {.threads = 1};
    return qx_workers_run(cx, &options, QX_COUNT(out), walk, out);
}

static void without_memory_it_fails(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(run_few, NULL) >= 4);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(the_result_does_not_depend_on_the_threads),
        CTX_TEST(the_scratch_of_the_caller_is_as_before),
        CTX_TEST(the_lowest_task_that_fails_is_told),
        CTX_TEST(a_task_without_a_message_fails_all_the_same),
        CTX_TEST(cancelling_stops_all),
        CTX_TEST(progress_comes_from_one_thread_and_ends),
        CTX_TEST(a_run_inside_a_task_works),
        CTX_TEST(there_is_always_a_thread_and_never_one_too_many),
        cmocka_unit_test(without_memory_it_fails),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
