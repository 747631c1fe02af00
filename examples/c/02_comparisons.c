/* 02_comparisons.c - which pruning dates differ: all pairs with Tukey's adjustment, letters,
 * and whether a difference of 3 cm can be ruled out. Data of 01_first_model.c, invented. */
#include <quincunx.h>
#include <stdio.h>

static const double length[12] = {20, 24, 22, 23, 27, 28, 19, 25, 22, 22, 28, 25};
static const uint32_t date[12] = {0, 1, 2, 0, 1, 2, 0, 1, 2, 0, 1, 2};
static const uint32_t block[12] = {0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3, 3};
static const char *const dates[] = {"none", "early", "late"};

static qx_status print_means(qx_ctx *cx,
                             qx_arena *texts,
                             const qx_arrays_fit *fit,
                             const qx_comparison d[])
{
    static const size_t order[3] = {1, 2, 0}; /* from the largest mean to the smallest */
    const char *letters[3];
    bool differ[9] = {false};
    for (size_t l = 0, pair = 0; l < 3; l++) {
        for (size_t m = 0; m < l; m++, pair++) {
            differ[l + 3 * m] = differ[m + 3 * l] = d[pair].p_adjusted < 0.05;
        }
    }
    QX_TRY(qx_letters(cx, texts, 3, differ, order, letters));
    for (size_t l = 0; l < 3; l++) {
        qx_estimate mean;
        QX_TRY(qx_arrays_mean(cx, fit, 0, l, &mean));
        printf("%-5s %.2f cm %s\n", dates[l], mean.estimate, letters[l]);
    }
    return QX_OK;
}

static qx_status compare(qx_ctx *cx, const qx_arrays_fit *fit)
{
    qx_comparison d[3];
    QX_TRY(qx_arrays_pairs(cx, fit, 0, QX_ADJUST_TUKEY, 0.95, d));
    for (size_t l = 0, pair = 0; l < 3; l++) {
        for (size_t m = 0; m < l; m++, pair++) {
            const qx_equivalence e =
                qx_equivalence_test(d[pair].estimate, d[pair].se, d[pair].df, 3.0, 0.05);
            printf(
                "%s - %s: %.2f cm (%.2f to %.2f), adjusted p %.4f, within 3 cm p %.4f\n",
                dates[l],
                dates[m],
                d[pair].estimate,
                d[pair].lower,
                d[pair].upper,
                d[pair].p_adjusted,
                e.p);
        }
    }
    qx_arena *texts = qx_arena_new(); /* owns the letters */
    const qx_status status = texts == NULL ? qx_fail(cx, QX_E_NOMEM, "no memory")
                                           : print_means(cx, texts, fit, d);
    qx_arena_free(texts);
    return status;
}

int main(void)
{
    const qx_codes by_date = {"date", 3, date}, blocks = {"block", 4, block};
    const qx_arrays data = {12, length, 1, &by_date, 1, &blocks, QX_KENWARD_ROGER};
    qx_ctx *cx = qx_ctx_new();
    qx_arrays_fit *fit = NULL;
    const bool done = cx != NULL && qx_arrays_fit_new(cx, &data, &fit) == QX_OK &&
                      compare(cx, fit) == QX_OK;
    if (!done) {
        (void)fprintf(stderr, "%s\n", cx == NULL ? "no memory" : qx_ctx_message(cx));
    }
    qx_arrays_fit_free(fit);
    qx_ctx_free(cx);
    return done ? 0 : 1;
}
