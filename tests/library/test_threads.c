/* Fits in two threads at once are the fits of one thread, bit for bit: the library shares
 * nothing between contexts. Built with -Db_sanitize=thread it also shows that nothing is raced
 * for. Data are invented. */
#include <pthread.h>
#include <quincunx.h>
#include <stdio.h>
#include <string.h>

#define TRIALS  40
#define ROWS    36
#define NUMBERS 8

typedef struct work {
    size_t first, step;
    double result[TRIALS][NUMBERS];
    qx_status status;
} work;

static qx_status one_trial(qx_ctx *cx, size_t trial, double out[])
{
    double y[ROWS];
    uint32_t date[ROWS], dose[ROWS], block[ROWS], tree[ROWS];
    qx_rng rng = qx_rng_seeded(1000 + trial);
    for (uint32_t i = 0; i < ROWS; i++) {
        block[i] = i / 9;
        tree[i] = i / 3;
        date[i] = tree[i] % 3;
        dose[i] = i % 3;
        y[i] = 20.0 + date[i] + 2.0 * (tree[i] % 5) + qx_rng_normal(&rng);
    }
    const qx_codes fixed[] = {{"date", 3, date}, {"dose", 3, dose}};
    const qx_codes random[] = {{"block", 4, block}, {"tree", 12, tree}};
    const qx_arrays data = {ROWS, y, 2, fixed, 2, random, QX_KENWARD_ROGER};
    qx_arrays_fit *fit = NULL;
    qx_comparison pair[3];
    qx_joint_test test;
    QX_TRY(qx_arrays_fit_new(cx, &data, &fit));
    qx_status status = qx_arrays_pairs(cx, fit, 0, QX_ADJUST_TUKEY, 0.95, pair);
    if (status == QX_OK) {
        status = qx_arrays_test(cx, fit, 1, &test);
    }
    if (status == QX_OK) {
        const double numbers[NUMBERS] = {fit->fit->reml_criterion,
                                         fit->fit->component[1].variance,
                                         pair[0].estimate,
                                         pair[0].df,
                                         pair[1].p_adjusted,
                                         pair[2].upper,
                                         test.f,
                                         test.p};
        memcpy(out, numbers, sizeof numbers);
    }
    qx_arrays_fit_free(fit);
    return status;
}

static void *run(void *given)
{
    work *w = given;
    qx_ctx *cx = qx_ctx_new();
    w->status = cx == NULL ? QX_E_NOMEM : QX_OK;
    for (size_t t = w->first; t < TRIALS && w->status == QX_OK; t += w->step) {
        w->status = one_trial(cx, t, w->result[t]);
    }
    qx_ctx_free(cx);
    return NULL;
}

int main(void)
{
    static work alone = {.first = 0, .step = 1};
    static work both[2] = {{.first = 0, .step = 1}, {.first = 0, .step = 1}};
    pthread_t thread[2];
    for (int i = 0; i < 2; i++) {
        if (pthread_create(&thread[i], NULL, run, &both[i]) != 0) {
            printf("no thread\n");
            return 1;
        }
    }
    for (int i = 0; i < 2; i++) {
        pthread_join(thread[i], NULL);
    }
    (void)run(&alone);
    for (int i = 0; i < 2; i++) {
        if (both[i].status != QX_OK || alone.status != QX_OK ||
            memcmp(both[i].result, alone.result, sizeof alone.result) != 0) {
            printf("thread %d does not give what one thread gives\n", i);
            return 1;
        }
    }
    /* and what it gives is something */
    return alone.result[7][0] > 0.0 && alone.result[7][7] > 0.0 ? 0 : 1;
}
