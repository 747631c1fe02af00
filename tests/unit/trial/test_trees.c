#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <zip.h>

#include "base/file.h"
#include "base/text.h"
#include "trial/read_xlsx.h"
#include "trial/trees.h"
#include "trial_support.h"

static const char *folder; /* of the lists beside this test */

static qx_status read_text(
    qx_ctx *cx, qx_arena *arena, const char *text, const char **problems, qx_trees **out)
{
    qx_problems *found = qx_problems_new(arena);
    const qx_status status =
        qx_trees_parse(cx, "trees.csv", text, strlen(text), found, out);
    *problems = told(arena, found);
    return status;
}

/* C = 18.6 cm is 27.5306 cm2; 5.8 and 6.0 cm are 27.3319 cm2 (arithmetic
 * worked by hand to the printed digits, from the definitions C^2/(4 pi) and pi d1 d2/4). */
static void trunk_areas(void **state)
{
    qx_arena *arena = qx_arena_new();
    const char *problems;
    qx_trees *trees = NULL;
    assert_printed(qx_trunk_area(18.6), "27.5306");
    assert_int_equal(read_text(*state,
                               arena,
                               "row,place,diameter_mm,diameter2_mm\n1,1,58,60\n1,2,60,\n",
                               &problems,
                               &trees),
                     QX_OK);
    assert_string_equal(problems, "");
    assert_true(trees->sized);
    assert_printed(trees->tree[0].trunk_area_cm2, "27.3319");
    assert_near(trees->tree[1].trunk_area_cm2, qx_trunk_area(M_PI * 6.0), 1e-14);
    assert_near(trees->tree[1].girth_cm, M_PI * 6.0, 1e-14);
    qx_trees_free(trees);
    qx_arena_free(arena);
}

static void places_labels_and_states(void **state)
{
    static const char list[] = "row;place;tree;circumference_mm;status;notes;weather\n"
                               "A;1;Old one;186,0;;\"thick; leaning\";fine\n"
                               "b;2;;;missing;;\n"
                               "3;4;;200;guard;;\n";
    qx_arena *arena = qx_arena_new();
    const char *problems;
    qx_trees *t = NULL;
    assert_int_equal(read_text(*state, arena, list, &problems, &t), QX_OK);
    assert_int_equal(t->count, 3);
    assert_string_equal(t->tree[0].label, "Old one");
    assert_string_equal(t->tree[0].notes, "thick; leaning");
    assert_string_equal(t->tree[1].label, "b-2");
    assert_true(t->tree[0].row == 1.0 && t->tree[1].row == 2.0 && t->tree[2].row == 3.0);
    assert_near(t->tree[0].girth_cm, 18.6, 1e-15);
    assert_int_equal(t->tree[1].status, QX_TREE_MISSING);
    assert_true(isnan(t->tree[1].trunk_area_cm2));
    assert_int_equal(t->tree[2].status, QX_TREE_GUARD);
    assert_int_equal(strlen(t->digest), 64);
    qx_trees_free(t);
    qx_arena_free(arena);
}

/* Everything that is wrong is told, each with its place. */
static void all_that_is_wrong(void **state)
{
    static const char list[] = "row,place,circumference_cm,status\n"
                               "1,1,-4,\n"
                               "1,1,18,\n"
                               "x1,0,900,gone\n"
                               "1,3,0,\n"
                               "1,4,thick,\n";
    qx_arena *arena = qx_arena_new();
    const char *problems;
    qx_trees *t = NULL;
    assert_int_equal(read_text(*state, arena, list, &problems, &t), QX_E_INPUT);
    assert_null(t);
    static const char *const parts[] = {
        "2:5: circumference_cm -4; expected more than 0",
        "3:3: row 1, place 1 has a tree already, on line 2; expected one tree",
        "4:1: row \"x1\" does not say where the tree stands; expected a whole number",
        "4:4: place \"0\" does not say where the tree stands",
        "4:6: circumference_cm 900 is thicker than any tree",
        "4:10: status \"gone\" is not known; expected ok, missing, guard, odd",
        "5:5: circumference_cm 0; expected more than 0; status missing",
        "6:5: "};
    for (size_t i = 0; i < QX_COUNT(parts); i++) {
        if (strstr(problems, parts[i]) == NULL) {
            fail_msg("not told: %s\nin:\n%s", parts[i], problems);
        }
    }
    qx_arena_free(arena);
}

static void columns_that_are_missing(void **state)
{
    qx_arena *arena = qx_arena_new();
    const char *problems;
    qx_trees *t = NULL;
    assert_int_equal(read_text(*state, arena, "row,girth\n1,20\n", &problems, &t),
                     QX_E_INPUT);
    assert_non_null(strstr(problems, "place"));
    qx_ctx_clear(*state);
    assert_int_equal(read_text(*state, arena, "", &problems, &t), QX_E_INPUT);
    qx_arena_free(arena);
}

/* A spreadsheet that openpyxl 3.0.9 wrote: a comma, quotes, a number, empty cells at the
 * end of rows, a second sheet. */
static void a_spreadsheet(void **state)
{
    qx_arena *arena = qx_arena_new();
    qx_problems *problems = qx_problems_new(arena);
    qx_trees *t = NULL;
    const char *path = qx_path_join(arena, folder, "list.xlsx");
    assert_int_equal(qx_trees_read(*state, path, problems, &t), QX_OK);
    assert_string_equal(told(arena, problems), "");
    assert_int_equal(t->count, 5);
    assert_string_equal(t->tree[0].notes, "text, with a comma \"quoted\"");
    assert_near(t->tree[0].girth_cm, 18.6, 1e-15);
    assert_near(t->tree[1].girth_cm, 18.0, 1e-15);
    assert_int_equal(t->tree[2].status, QX_TREE_MISSING);
    assert_int_equal(t->tree[3].status, QX_TREE_ODD);
    assert_string_equal(t->tree[4].notes, "Gr\xc3\xbcnrand");
    qx_trees_free(t);
    qx_arena_free(arena);
}

/* --- spreadsheets of our own, part by part --- */

#define BOOK                                                                             \
    "<workbook xmlns:r='o'><sheets><sheet name='S' sheetId='9' r:id='k1'/></sheets>"     \
    "</workbook>"
#define RELATIONS                                                                        \
    "<Relationships><Relationship Id='k1' Target='worksheets/one.xml'/></Relationships>"
#define SHEET(rows) "<worksheet><sheetData>" rows "</sheetData></worksheet>"

static void add_part(zip_t *zip, const char *name, const char *text)
{
    zip_source_t *part = zip_source_buffer(zip, text, strlen(text), 0);
    assert_non_null(part);
    assert_true(zip_file_add(zip, name, part, ZIP_FL_ENC_UTF_8) >= 0);
}

/* The bytes of a spreadsheet with this sheet; parts that are NULL are left out. */
static qx_bytes spreadsheet(qx_arena *arena,
                            const char *book,
                            const char *relations,
                            const char *shared,
                            const char *sheet)
{
    zip_error_t error;
    zip_error_init(&error);
    zip_source_t *target = zip_source_buffer_create(NULL, 0, 0, &error);
    assert_non_null(target);
    zip_source_keep(target);
    zip_t *zip = zip_open_from_source(target, ZIP_TRUNCATE, &error);
    assert_non_null(zip);
    const char *const names[] = {"xl/workbook.xml",
                                 "xl/_rels/workbook.xml.rels",
                                 "xl/sharedStrings.xml",
                                 "xl/worksheets/one.xml"};
    const char *const texts[] = {book, relations, shared, sheet};
    for (size_t i = 0; i < QX_COUNT(names); i++) {
        if (texts[i] != NULL) {
            add_part(zip, names[i], texts[i]);
        }
    }
    assert_int_equal(zip_close(zip), 0);
    zip_stat_t about;
    assert_int_equal(zip_source_open(target), 0);
    assert_int_equal(zip_source_stat(target, &about), 0);
    char *bytes = qx_arena_alloc(arena, about.size + 1, 1);
    assert_true(zip_source_read(target, bytes, about.size) == (zip_int64_t)about.size);
    (void)zip_source_close(target);
    zip_source_free(target);
    zip_error_fini(&error);
    return (qx_bytes){.bytes = bytes, .length = about.size};
}

static const char *
as_csv(qx_ctx *cx, qx_arena *arena, const char *shared, const char *sheet)
{
    const qx_bytes file = spreadsheet(arena, BOOK, RELATIONS, shared, sheet);
    qx_text *csv = qx_text_new(arena);
    const qx_status status = qx_xlsx_to_csv(cx, "t.xlsx", file.bytes, file.length, csv);
    return status == QX_OK ? qx_text_get(csv) : qx_ctx_message(cx);
}

/* Office Open XML, ECMA-376 part 1, section 18.3.1: kinds of cells, gaps, rich text. */
static void kinds_of_cells(void **state)
{
    qx_arena *arena = qx_arena_new();
    const char *text = as_csv(
        *state,
        arena,
        "<sst><si><t>row</t></si><si><r><t>pla</t></r><r><t>ce</t></r>"
        "<rPh><t>x</t></rPh></si></sst>",
        SHEET("<row r='2'><c r='A2' t='s'><v>0</v></c><c r='B2' t='s'><v>1</v></c>"
              "<c r='D2' t='inlineStr'><is><t>a\nb</t></is></c></row>"
              "<row r='4'><c r='B4'><v>2.5</v></c><c r='C4' t='b'><v>1</v></c></row>"
              "<row><c><f>1+1</f><v>2</v></c><c t='str'><v>x,y</v></c></row>"));
    assert_string_equal(text, "\nrow,place,,a b\n\n,2.5,1,\n2,\"x,y\",,\n");
    qx_arena_free(arena);
}

/* Problems in a spreadsheet name its row and column. */
static void places_in_a_spreadsheet(void **state)
{
    qx_arena *arena = qx_arena_new();
    qx_problems *problems = qx_problems_new(arena);
    qx_trees *t = NULL;
    const qx_bytes file = spreadsheet(
        arena,
        BOOK,
        RELATIONS,
        NULL,
        SHEET("<row r='1'><c t='str'><v>notes</v></c><c t='str'><v>row</v></c>"
              "<c t='str'><v>place</v></c></row>"
              "<row r='5'><c t='str'><v>long, long</v></c><c><v>1</v></c><c><v>0</v></c>"
              "</row>"));
    assert_int_equal(
        qx_trees_parse(*state, "t.xlsx", file.bytes, file.length, problems, &t),
        QX_E_INPUT);
    assert_non_null(strstr(told(arena, problems), "5:3: place \"0\""));
    qx_arena_free(arena);
}

static void not_a_spreadsheet(void **state)
{
    static const char *const sheets[] = {
        SHEET("<row r='1'><c t='s'><v>7</v></c></row>"), /* no such text */
        SHEET("<row r='2'/><row r='1'/>"),               /* out of order */
        SHEET("<row r='1'><c r='C1'><v>1</v></c><c r='A1'><v>1</v></c></row>"),
        SHEET("<row r='1'><c r='ZZZ1'/></row>"),
        "<worksheet><sheetData>"};
    qx_arena *arena = qx_arena_new();
    for (size_t i = 0; i < QX_COUNT(sheets); i++) {
        const char *said = as_csv(*state, arena, NULL, sheets[i]);
        assert_int_equal(qx_ctx_status(*state), QX_E_INPUT);
        assert_non_null(strstr(said, "t.xlsx"));
        qx_ctx_clear(*state);
    }
    const char *const parts[][3] = {{NULL, RELATIONS, SHEET("")},
                                    {BOOK, NULL, SHEET("")},
                                    {BOOK, RELATIONS, NULL},
                                    {"<workbook/>", RELATIONS, SHEET("")}};
    for (size_t i = 0; i < QX_COUNT(parts); i++) {
        qx_text *csv = qx_text_new(arena);
        const qx_bytes file =
            spreadsheet(arena, parts[i][0], parts[i][1], NULL, parts[i][2]);
        assert_int_equal(qx_xlsx_to_csv(*state, "t.xlsx", file.bytes, file.length, csv),
                         QX_E_INPUT);
        qx_ctx_clear(*state);
        /* cut off anywhere it is damaged, not a crash */
        for (size_t cut = 4; cut < file.length; cut += 7) {
            (void)qx_xlsx_to_csv(*state, "t.xlsx", file.bytes, cut, csv);
            qx_ctx_clear(*state);
        }
    }
    qx_arena_free(arena);
}

/* Each allocation fails in turn: an error, nothing lost, nothing leaked. */
static void without_memory(void **state)
{
    qx_arena *arena = qx_arena_new();
    qx_problems *problems = qx_problems_new(arena);
    static const char list[] = "row,place,circumference_cm\n1,1,20\n1,2,21\n";
    bool done = false;
    for (size_t n = 1; !done && n < 1000; n++) {
        qx_trees *t = NULL;
        qx_arena_fail_after(n);
        const qx_status status =
            qx_trees_parse(*state, "t.csv", list, strlen(list), problems, &t);
        qx_arena_fail_after(0);
        done = status == QX_OK;
        assert_true(done || status == QX_E_NOMEM);
        qx_trees_free(t);
        qx_ctx_clear(*state);
    }
    assert_true(done);
    qx_arena_free(arena);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(int count, char **argument)
{
    const struct CMUnitTest tests[] = {WITH_CTX(trunk_areas),
                                       WITH_CTX(places_labels_and_states),
                                       WITH_CTX(all_that_is_wrong),
                                       WITH_CTX(columns_that_are_missing),
                                       WITH_CTX(a_spreadsheet),
                                       WITH_CTX(kinds_of_cells),
                                       WITH_CTX(places_in_a_spreadsheet),
                                       WITH_CTX(not_a_spreadsheet),
                                       WITH_CTX(without_memory)};
    folder = count > 1 ? argument[1] : ".";
    return cmocka_run_group_tests_name("trial/trees", tests, NULL, NULL);
}
