/* 03_layout.c - three treatments drawn for the trees of four blocks; the same seed gives the
 * same layout for ever. */
#include <quincunx.h>
#include <stdio.h>

static void print(const qx_layout *layout, const char *const treatment[])
{
    printf("%s\n", layout->kind);
    for (size_t i = 0; i < layout->placed_count; i++) {
        const uint32_t level = layout->level[i * layout->treatment_count];
        if (level == QX_NO_LEVEL) {
            printf("block %s:", layout->placed[i].label);
        }
        for (size_t k = 0; k < layout->placed_count; k++) {
            const uint32_t inside = layout->level[k * layout->treatment_count];
            if (level == QX_NO_LEVEL && inside != QX_NO_LEVEL &&
                layout->placed[k].parent[0] == i) {
                printf(" %s", treatment[inside]);
            }
        }
        printf("%s", level == QX_NO_LEVEL ? "\n" : "");
    }
}

int main(void)
{
    static const char *const pinch[] = {"none", "early", "late"};
    const qx_layout_unit units[] = {
        {.name = "block", .count = 4},
        {.name = "tree", .parent_count = 1, .parent = {0}, .count = 3}};
    const qx_layout_treatment treatment = {"pinch", 3, pinch, 1};
    const qx_layout_spec spec = {
        .unit_count = 2, .unit = units, .treatment_count = 1, .treatment = &treatment};
    qx_ctx *cx = qx_ctx_new();
    qx_layout *layout = NULL;
    if (cx == NULL || qx_layout_make(cx, &spec, 2026, &layout) != QX_OK) {
        (void)fprintf(stderr, "%s\n", cx == NULL ? "no memory" : qx_ctx_message(cx));
        qx_ctx_free(cx);
        return 1;
    }
    print(layout, pinch);
    qx_layout_free(layout);
    qx_ctx_free(cx);
    return 0;
}
