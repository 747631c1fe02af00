/* 01_first_model.c - three pruning dates in four complete blocks: do they differ?
 *
 *     cc 01_first_model.c $(pkg-config --cflags --libs quincunx) -o first && ./first
 *
 * The lengths (cm) are invented. */
#include <quincunx.h>
#include <stdio.h>

static const double length[12] = {20, 24, 22, 23, 27, 28, 19, 25, 22, 22, 28, 25};
static const uint32_t date[12] = {0, 1, 2, 0, 1, 2, 0, 1, 2, 0, 1, 2};
static const uint32_t block[12] = {0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3, 3};

static qx_status analyse(qx_ctx *cx, qx_estimate *difference, qx_joint_test *test)
{
    static const char *const dates[] = {"none", "early", "late"};
    const qx_factor factors[] = {
        {.name = "date", .level_count = 3, .level = dates, .code = date},
        {.name = "block", .level_count = 4, .code = block}};
    const qx_frame frame = {.n = 12, .factor_count = 2, .factor = factors};
    const qx_term fixed = {
        .name = "date", .factor_count = 1, .factor = {0}, .number = QX_NO_COLUMN};
    const qx_random_term random = {.name = "block", .factor = 1};
    const qx_lmm_spec spec = {.frame = &frame,
                              .y = length,
                              .term_count = 1,
                              .term = &fixed,
                              .random_count = 1,
                              .random = &random,
                              .df = QX_KENWARD_ROGER,
                              .level = 0.95};
    qx_lmm *fit = NULL;
    QX_TRY(qx_lmm_fit(cx, &spec, &fit));
    const double early_minus_none[] = {0, 1, 0}; /* intercept, date=early, date=late */
    qx_mat rows = {0};
    qx_status status = qx_lmm_contrast(cx, fit, early_minus_none, 0, difference);
    if (status == QX_OK) {
        status = qx_design_marginal(cx, qx_ctx_scratch(cx), &fit->design, 0, &rows);
    }
    if (status == QX_OK) {
        status = qx_lmm_test(cx, fit, rows, test);
    }
    qx_lmm_free(fit);
    return status;
}

int main(void)
{
    qx_ctx *cx = qx_ctx_new();
    qx_estimate d = {0};
    qx_joint_test t = {0};
    if (cx == NULL || analyse(cx, &d, &t) != QX_OK) {
        (void)fprintf(stderr, "%s\n", cx == NULL ? "no memory" : qx_ctx_message(cx));
        qx_ctx_free(cx);
        return 1;
    }
    printf(
        "early - none: %.3f cm, standard error %.4f, %.2f df\n", d.estimate, d.se, d.df);
    printf("dates differ: F = %.3f on %g and %.2f df, p = %.5f\n",
           t.f,
           t.num_df,
           t.den_df,
           t.p);
    qx_ctx_free(cx);
    return 0;
}
