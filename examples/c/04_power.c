/* 04_power.c - how many trees a treatment: two groups that differ by half a standard
 * deviation, and what complete blocks of a given size can show. */
#include <quincunx.h>
#include <stdio.h>

int main(void)
{
    const qx_plain_layout groups = {QX_PLAIN_TWO_GROUPS, 2, 1.0, 0.0, 0.0};
    const qx_plain_layout blocks = {QX_PLAIN_BLOCKS, 4, 2.5, 0.0, 0.0};
    qx_ctx *cx = qx_ctx_new();
    double trees, least;
    if (cx == NULL ||
        qx_plain_replicates_t(cx, &groups, 0.5, 0.05, 0.80, &trees) != QX_OK ||
        qx_plain_detectable(cx, &blocks, 6, 0.05, 0.80, &least) != QX_OK) {
        (void)fprintf(stderr, "%s\n", cx == NULL ? "no memory" : qx_ctx_message(cx));
        qx_ctx_free(cx);
        return 1;
    }
    printf("two groups, half a standard deviation: %.2f trees each, power of 64: %.4f\n",
           trees,
           qx_plain_power_t(&groups, 64, 0.5, 0.05));
    printf("six blocks of four, sd 2.5 cm: %g df, least difference %.2f cm\n",
           qx_plain_df(&blocks, 6),
           least);
    qx_ctx_free(cx);
    return 0;
}
