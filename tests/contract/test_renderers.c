/* Every format of report/renderers.def: every node is handled, all text survives. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>

#include "base/text.h"
#include "report/render.h"
#include "support.h"

static const char *const words[] = {"TitleWord",
                                    "WarningWord",
                                    "MakerWord",
                                    "HeadingWord",
                                    "SmallerWord",
                                    "ParagraphWord",
                                    "markword",
                                    "FindingWord",
                                    "NoteWord",
                                    "CautionWord",
                                    "TermWord",
                                    "MeaningWord",
                                    "CaptionWord",
                                    "ColumnWord",
                                    "GroupWord",
                                    "CellWord",
                                    "FootWord",
                                    "PictureWord",
                                    "DescriptionWord"};

static qx_doc *every_node(qx_arena *arena)
{
    qx_doc *doc = qx_doc_new(arena);
    assert_non_null(doc);
    doc->title = "TitleWord";
    doc->warning = "WarningWord";
    doc->maker = "MakerWord";
    qx_doc_heading(doc, 2, "heading", "HeadingWord");
    qx_doc_heading(doc, 3, NULL, "SmallerWord");
    qx_doc_add(doc, QX_NODE_PARAGRAPH, "ParagraphWord");
    qx_doc_finding(doc, "markword", "FindingWord");
    qx_doc_add(doc, QX_NODE_NOTE, "NoteWord");
    qx_doc_add(doc, QX_NODE_CAUTION, "CautionWord");
    qx_doc_define(doc, "TermWord", "MeaningWord");
    qx_doc_table *t = qx_doc_table_new(doc, "CaptionWord");
    qx_table_column(t, "ColumnWord", false);
    qx_table_column(t, "Other", true);
    qx_table_group(doc, t, "GroupWord");
    const char **cell = qx_table_row(doc, t, false);
    cell[0] = "CellWord";
    cell[1] = "7";
    qx_table_foot(doc, t, "FootWord");
    qx_scene *scene = qx_scene_new(arena, 100, 50);
    scene->title = "PictureWord";
    scene->description = "DescriptionWord";
    qx_scene_nothing(scene, "Nothing.");
    qx_doc_chart(doc, scene);
    assert_false(doc->failed);
    return doc;
}

static void every_node_and_all_text(void **state)
{
    qx_ctx *cx = *state;
    for (size_t i = 0; i < qx_renderer_count(); i++) {
        const qx_renderer *r = qx_renderer_at(i);
        qx_arena *arena = qx_arena_new();
        qx_text *out = qx_text_new(arena);
        assert_ok(cx, qx_render(cx, r, every_node(arena), out));
        for (size_t w = 0; w < QX_COUNT(words); w++) {
            if (strstr(qx_text_get(out), words[w]) == NULL) {
                fail_msg("%s lost %s", r->key, words[w]);
            }
        }
        assert_non_null(strstr(r->mime, "utf-8"));
        qx_arena_free(arena);
    }
}

static void hostile_text_is_tamed(void **state)
{
    qx_ctx *cx = *state;
    static const char hostile[] = "</style><b>\"x\"&amp;,\n'y'";
    qx_arena *arena = qx_arena_new();
    qx_doc *doc = every_node(arena);
    doc->title = hostile;
    qx_doc_add(doc, QX_NODE_PARAGRAPH, hostile);
    qx_doc_finding(doc, hostile, hostile);
    qx_text *page = qx_text_new(arena);
    assert_ok(cx, qx_render(cx, &qx_renderer_html, doc, page));
    assert_null(strstr(qx_text_get(page), "<b>"));
    qx_text *csv = qx_text_new(arena);
    assert_ok(cx, qx_render(cx, &qx_renderer_csv, doc, csv));
    assert_non_null(strstr(qx_text_get(csv), "\"</style><b>\"\"x\"\"&amp;,\n'y'\""));
    qx_arena_free(arena);
}

static void a_failed_document_is_refused(void **state)
{
    qx_ctx *cx = *state;
    qx_arena *arena = qx_arena_new();
    qx_doc *doc = every_node(arena);
    doc->failed = true;
    for (size_t i = 0; i < qx_renderer_count(); i++) {
        qx_text *out = qx_text_new(arena);
        assert_fails(
            cx, qx_render(cx, qx_renderer_at(i), doc, out), QX_E_NOMEM, "no memory");
        assert_int_equal(qx_text_length(out), 0);
    }
    qx_arena_free(arena);
}

static void minus_is_a_hyphen_for_spreadsheets(void **state)
{
    qx_ctx *cx = *state;
    qx_arena *arena = qx_arena_new();
    qx_doc *doc = every_node(arena);
    qx_doc_add(doc,
               QX_NODE_PARAGRAPH,
               "\xe2\x88\x92"
               "4.6 to \xe2\x88\x92"
               "1.2");
    qx_text *out = qx_text_new(arena);
    assert_ok(cx, qx_render(cx, &qx_renderer_csv, doc, out));
    assert_non_null(strstr(qx_text_get(out), "-4.6 to -1.2"));
    qx_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            every_node_and_all_text, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            hostile_text_is_tamed, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            a_failed_document_is_refused, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            minus_is_a_hyphen_for_spreadsheets, support_ctx_new, support_ctx_free)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
