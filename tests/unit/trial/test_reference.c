/* Every protocol and data file of the reference cases and the worked examples is read
 * without a problem. The folders are given on the command line; a case is a folder with
 * protocol*.yaml and data.csv, or NAME.protocol*.yaml beside NAME.csv. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <dirent.h>
#include <sys/stat.h>

#include "base/file.h"
#include "trial/identity.h"
#include "trial_support.h"

static char **folders;
static size_t folder_count;
static size_t read_count;

static void check_pair(qx_ctx *cx, const char *protocol, const char *data)
{
    qx_arena *arena = qx_arena_new();
    qx_problems *problems = qx_problems_new(arena);
    qx_protocol *p = NULL;
    qx_table *table = NULL;
    qx_status status = qx_protocol_read(cx, protocol, problems, &p);
    if (status == QX_OK) {
        status = qx_data_read(cx, p, data, false, problems, &table, NULL);
    }
    if (status != QX_OK) {
        print_error("%s: %s\n%s", protocol, qx_ctx_message(cx), told(arena, problems));
    }
    assert_string_equal(told(arena, problems), "");
    assert_int_equal(status, QX_OK);
    if (table == NULL) {
        fail_msg("%s has no table", data);
        return;
    }
    assert_true(table->rows > 0);
    for (size_t v = 0; v < p->variate_count; v++) {
        qx_identity identity[QX_NAMES_MOST];
        assert_ok(cx, qx_identify(cx, arena, p, table, v, NULL, identity));
    }
    read_count++;
    qx_table_free(table);
    qx_protocol_free(p);
    qx_arena_free(arena);
}

/* protocol*.yaml goes with data.csv, NAME.protocol*.yaml with NAME.csv. */
static void check_name(qx_ctx *cx, qx_arena *arena, const char *folder, const char *name)
{
    const char *word = strstr(name, "protocol");
    const size_t length = strlen(name);
    if (word == NULL || length < 5 || strcmp(name + length - 5, ".yaml") != 0) {
        return;
    }
    const char *data =
        word == name ? "data.csv"
                     : qx_arena_printf(arena, "%.*s.csv", (int)(word - name - 1), name);
    check_pair(cx, qx_path_join(arena, folder, name), qx_path_join(arena, folder, data));
}

static void check_folder(qx_ctx *cx, const char *path, int depth)
{
    qx_arena *arena = qx_arena_new();
    DIR *folder = opendir(path);
    assert_non_null(folder);
    const struct dirent *entry = NULL;
    while ((entry = readdir(folder)) != NULL) {
        const char *child = qx_path_join(arena, path, entry->d_name);
        struct stat about;
        if (entry->d_name[0] == '.' || stat(child, &about) != 0) {
            continue;
        }
        if (!S_ISDIR(about.st_mode)) {
            check_name(cx, arena, path, entry->d_name);
        } else if (depth == 0) {
            check_folder(cx, child, depth + 1);
        }
    }
    (void)closedir(folder);
    qx_arena_free(arena);
}

static void every_case_is_read_without_a_problem(void **state)
{
    for (size_t i = 0; i < folder_count; i++) {
        check_folder(*state, folders[i], 0);
    }
    print_message("%zu protocols with their data\n", read_count);
    assert_true(read_count >= 100);
}

int main(int argc, char **argv)
{
    folders = argv + 1;
    folder_count = (size_t)argc - 1;
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            every_case_is_read_without_a_problem, support_ctx_new, support_ctx_free),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
