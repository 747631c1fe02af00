/* The charts of the split-plot fixture, byte for byte as they were looked at and found
 * right. `test_golden_svg FOLDER --write` writes them anew. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"
#include "fixture.h"
#include "report/chart.h"
#include "report/svg.h"
#include "support.h"

static const char *folder;
static bool write_anew;

static const struct {
    const char *key, *term, *file;
} pictures[] = {{"means", "pinch", "means.svg"},
                {"trend", "pinch:angle", "trend.svg"},
                {"differences", "angle", "differences.svg"},
                {"layout", NULL, "layout.svg"},
                {"residual", NULL, "residual.svg"},
                {"quantile", NULL, "quantile.svg"}};

static const qx_chart_kind *kind_of(const char *key)
{
    for (size_t i = 0; i < qx_chart_count(); i++) {
        if (strcmp(qx_chart_at(i)->key, key) == 0) {
            return qx_chart_at(i);
        }
    }
    fail_msg("no chart %s", key);
    return NULL;
}

static void pictures_are_as_they_were(void **state)
{
    (void)state;
    fixture f;
    fixture_open(&f, FIXTURE_SPLIT);
    for (size_t i = 0; i < QX_COUNT(pictures); i++) {
        qx_doc *doc = qx_doc_new(f.arena);
        const qx_chart_input in = {.doc = doc,
                                   .findings = &f.findings,
                                   .result = f.findings.result,
                                   .term = pictures[i].term};
        qx_text *svg = qx_text_new(f.arena);
        qx_svg_write(svg, qx_chart_draw(kind_of(pictures[i].key), &in), "chart", true);
        const char *path = qx_path_join(f.arena, folder, pictures[i].file);
        if (write_anew) {
            assert_ok(f.cx,
                      qx_file_write(f.cx, path, qx_text_get(svg), qx_text_length(svg)));
            continue;
        }
        qx_bytes was;
        assert_ok(f.cx, qx_file_read(f.cx, f.arena, path, 1000000, &was));
        if (strcmp(was.bytes, qx_text_get(svg)) != 0) {
            fail_msg("%s has changed", pictures[i].file);
        }
    }
    fixture_close(&f);
}

int main(int count, char *argument[])
{
    if (count < 2) {
        return 2;
    }
    folder = argument[1];
    write_anew = count > 2 && strcmp(argument[2], "--write") == 0;
    const struct CMUnitTest tests[] = {cmocka_unit_test(pictures_are_as_they_were)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
