/* 01_first_model.c - three pruning dates in four complete blocks: do they differ?
 *     cc 01_first_model.c $(pkg-config --cflags --libs quincunx) -o first && ./first
 * The lengths (cm) are invented. */
#include <quincunx.h>
#include <stdio.h>

static const double length[12] = {20, 24, 22, 23, 27, 28, 19, 25, 22, 22, 28, 25};
static const uint32_t date[12] = {0, 1, 2, 0, 1, 2, 0, 1, 2, 0, 1, 2};
static const uint32_t block[12] = {0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3, 3};

int main(void)
{
    const qx_codes dates = {"date", 3, date}, blocks = {"block", 4, block};
    const qx_arrays data = {12, length, 1, &dates, 1, &blocks, QX_KENWARD_ROGER};
    qx_ctx *cx = qx_ctx_new();
    qx_arrays_fit *fit = NULL;
    qx_comparison d[3]; /* early - none, late - none, late - early */
    qx_joint_test t;
    if (cx == NULL || qx_arrays_fit_new(cx, &data, &fit) != QX_OK ||
        qx_arrays_pairs(cx, fit, 0, QX_ADJUST_NONE, 0.95, d) != QX_OK ||
        qx_arrays_test(cx, fit, 0, &t) != QX_OK) {
        (void)fprintf(stderr, "%s\n", cx == NULL ? "no memory" : qx_ctx_message(cx));
        qx_arrays_fit_free(fit);
        qx_ctx_free(cx);
        return 1;
    }
    printf("early - none: %.3f cm, standard error %.4f, %.2f df\n",
           d[0].estimate,
           d[0].se,
           d[0].df);
    printf("dates differ: F = %.3f on %g and %.2f df, p = %.5f\n",
           t.f,
           t.num_df,
           t.den_df,
           t.p);
    qx_arrays_fit_free(fit);
    qx_ctx_free(cx);
    return 0;
}
