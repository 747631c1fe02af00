#include "test.h"

#include <dirent.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"

struct place {
    qx_ctx *cx;
    char *folder;
};

static int place_new(void **state)
{
    struct place *place = malloc(sizeof *place);
    assert_non_null(place);
    place->cx = qx_ctx_new();
    place->folder = support_folder_new();
    *state = place;
    return place->cx == NULL ? -1 : 0;
}

static int place_free(void **state)
{
    struct place *place = *state;
    qx_ctx_free(place->cx);
    support_folder_free(place->folder);
    free(place);
    return 0;
}

static char *at(const struct place *place, const char *name)
{
    char *path = qx_path_join(qx_ctx_scratch(place->cx), place->folder, name);
    assert_non_null(path);
    return path;
}

static qx_bytes read_back(const struct place *place, const char *name)
{
    qx_bytes got = {NULL, 0};
    const qx_status status = qx_file_read(
        place->cx, qx_ctx_scratch(place->cx), at(place, name), 1000000, &got);
    assert_ok(place->cx, status);
    return got;
}

static size_t files_in(const struct place *place)
{
    DIR *folder = opendir(place->folder);
    assert_non_null(folder);
    size_t count = 0;
    for (const struct dirent *e = readdir(folder); e != NULL; e = readdir(folder)) {
        count += e->d_name[0] == '.' ? 0 : 1;
    }
    (void)closedir(folder);
    return count;
}

static void what_is_written_is_read(void **state)
{
    const struct place *p = *state;
    assert_ok(p->cx, qx_file_write(p->cx, at(p, "a"), "x\0y\n", 4));
    qx_bytes got = read_back(p, "a");
    assert_int_equal(got.length, 4);
    assert_memory_equal(got.bytes, "x\0y\n", 5);
    assert_ok(p->cx, qx_file_write(p->cx, at(p, "a"), "", 0));
    got = read_back(p, "a");
    assert_int_equal(got.length, 0);
    assert_string_equal(got.bytes, "");
    assert_int_equal(files_in(p), 1);
}

static void a_large_file_is_read_whole(void **state)
{
    const struct place *p = *state;
    const size_t length = 900001;
    char *bytes = qx_arena_alloc(qx_ctx_scratch(p->cx), length, 1);
    for (size_t i = 0; i < length; i++) {
        bytes[i] = (char)(i % 251);
    }
    assert_ok(p->cx, qx_file_write(p->cx, at(p, "large"), bytes, length));
    const qx_bytes got = read_back(p, "large");
    assert_int_equal(got.length, length);
    assert_memory_equal(got.bytes, bytes, length);
}

static void reading_tells_what_is_wrong(void **state)
{
    const struct place *p = *state;
    qx_arena *arena = qx_ctx_scratch(p->cx);
    qx_bytes got = {NULL, 0};
    assert_fails(p->cx,
                 qx_file_read(p->cx, arena, at(p, "none.csv"), 100, &got),
                 QX_E_INPUT,
                 "none.csv cannot be found");
    assert_fails(p->cx,
                 qx_file_read(p->cx, arena, p->folder, 100, &got),
                 QX_E_INPUT,
                 "is a folder");
    assert_fails(p->cx, qx_file_read(p->cx, arena, "", 100, &got), QX_E_INPUT, "");
    assert_ok(p->cx, qx_file_write(p->cx, at(p, "a"), "0123456789", 10));
    assert_fails(p->cx,
                 qx_file_read(p->cx, arena, at(p, "a"), 9, &got),
                 QX_E_INPUT,
                 "larger than 9 bytes");
    assert_ok(p->cx, qx_file_read(p->cx, arena, at(p, "a"), 10, &got));
    assert_fails(
        p->cx, qx_file_read(p->cx, arena, at(p, "a"), SIZE_MAX, &got), QX_E_ARG, "more");
    assert_fails(p->cx,
                 qx_file_read(p->cx, arena, at(p, "a/b"), 10, &got),
                 QX_E_INPUT,
                 "cannot be found");
}

static void an_endless_source_is_limited(void **state)
{
    const struct place *p = *state;
    qx_bytes got = {NULL, 0};
    assert_fails(p->cx,
                 qx_file_read(p->cx, qx_ctx_scratch(p->cx), "/dev/zero", 300000, &got),
                 QX_E_INPUT,
                 "larger than");
}

static void a_dash_is_standard_input(void **state)
{
    const struct place *p = *state;
    assert_ok(p->cx, qx_file_write(p->cx, at(p, "in"), "rows", 4));
    assert_non_null(freopen(at(p, "in"), "r", stdin));
    qx_bytes got = {NULL, 0};
    assert_ok(p->cx, qx_file_read(p->cx, qx_ctx_scratch(p->cx), "-", 100, &got));
    assert_string_equal(got.bytes, "rows");
}

static void creating_leaves_an_old_file_alone(void **state)
{
    const struct place *p = *state;
    assert_ok(p->cx, qx_file_create(p->cx, at(p, "a"), "first", 5));
    assert_fails(p->cx,
                 qx_file_create(p->cx, at(p, "a"), "second", 6),
                 QX_E_EXISTS,
                 "is there already");
    assert_string_equal(read_back(p, "a").bytes, "first");
    assert_int_equal(files_in(p), 1);
}

static void writing_keeps_permissions_and_follows_links(void **state)
{
    const struct place *p = *state;
    assert_ok(p->cx, qx_file_write(p->cx, at(p, "real"), "1", 1));
    assert_int_equal(chmod(at(p, "real"), 0640), 0);
    assert_int_equal(symlink("real", at(p, "link")), 0);
    assert_ok(p->cx, qx_file_write(p->cx, at(p, "link"), "2", 1));
    assert_string_equal(read_back(p, "real").bytes, "2");
    struct stat about;
    assert_int_equal(lstat(at(p, "link"), &about), 0);
    assert_true(S_ISLNK(about.st_mode));
    assert_int_equal(stat(at(p, "real"), &about), 0);
    assert_int_equal(about.st_mode & 0777, 0640);
}

static void a_folder_that_is_not_there_is_told(void **state)
{
    const struct place *p = *state;
    assert_fails(p->cx,
                 qx_file_write(p->cx, at(p, "none/a"), "1", 1),
                 QX_E_IO,
                 "none/a could not be written: No such file");
    assert_fails(p->cx, qx_file_write(p->cx, p->folder, "1", 1), QX_E_IO, "directory");
}

static void a_read_only_folder_is_told(void **state)
{
    const struct place *p = *state;
    if (geteuid() == 0) {
        /* Nothing is read-only to the administrator: the kernel's own tree serves. */
        assert_fails(p->cx,
                     qx_file_write(p->cx, "/proc/quincunx", "1", 1),
                     QX_E_IO,
                     "/proc/quincunx could not be written");
        return;
    }
    assert_int_equal(chmod(p->folder, 0500), 0);
    const qx_status status = qx_file_write(p->cx, at(p, "a"), "1", 1);
    assert_int_equal(chmod(p->folder, 0700), 0);
    assert_fails(p->cx, status, QX_E_IO, "Permission denied");
    assert_int_equal(files_in(p), 0);
}

/* A limit on the size of files stands for the full disk: the same step fails. */
static void a_write_that_stops_half_way_leaves_the_old_file(void **state)
{
    const struct place *p = *state;
    assert_ok(p->cx, qx_file_write(p->cx, at(p, "a"), "old", 3));
    char *bytes = qx_arena_alloc(qx_ctx_scratch(p->cx), 100000, 1);
    assert_non_null(bytes);
    struct rlimit before;
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    const struct rlimit small = {4096, before.rlim_max};
    (void)signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &small), 0);
    const qx_status replaced = qx_file_write(p->cx, at(p, "a"), bytes, 100000);
    const qx_status created = qx_file_create(p->cx, at(p, "b"), bytes, 100000);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    assert_int_equal(created, QX_E_IO);
    assert_fails(p->cx, replaced, QX_E_IO, "could not be written: File too large");
    assert_string_equal(read_back(p, "a").bytes, "old");
    assert_int_equal(files_in(p), 1);
}

static void a_full_device_is_told(void **state)
{
    const struct place *p = *state;
    assert_fails(p->cx,
                 qx_file_write(p->cx, "/dev/full", "1", 1),
                 QX_E_IO,
                 "/dev/full could not be written: No space left");
    assert_ok(p->cx, qx_file_write(p->cx, "/dev/null", "1", 1));
}

static void folders_are_made_with_those_above(void **state)
{
    const struct place *p = *state;
    assert_ok(p->cx, qx_folder_make(p->cx, at(p, "a/b//c/")));
    assert_ok(p->cx, qx_folder_make(p->cx, at(p, "a/b/c")));
    assert_true(qx_file_exists(at(p, "a/b/c")));
    assert_false(qx_file_exists(at(p, "a/c")));
    assert_ok(p->cx, qx_file_write(p->cx, at(p, "file"), "1", 1));
    assert_fails(p->cx, qx_folder_make(p->cx, at(p, "file")), QX_E_IO, "is a file");
    assert_fails(p->cx, qx_folder_make(p->cx, at(p, "file/a")), QX_E_IO, "is a file");
    assert_fails(
        p->cx, qx_folder_make(p->cx, "/proc/none"), QX_E_IO, "could not be made");
}

static void paths_are_joined_once(void **state)
{
    const struct place *p = *state;
    qx_arena *arena = qx_ctx_scratch(p->cx);
    assert_string_equal(qx_path_join(arena, "a", "b"), "a/b");
    assert_string_equal(qx_path_join(arena, "a/", "b"), "a/b");
    assert_string_equal(qx_path_join(arena, "/", "b"), "/b");
    assert_string_equal(qx_path_join(arena, "", "b"), "b");
}

static qx_status write_and_read(qx_ctx *cx, void *given)
{
    const struct place *p = given;
    char path[4096];
    (void)snprintf(path, sizeof path, "%s/walk", p->folder);
    QX_TRY(qx_folder_make(cx, p->folder));
    QX_TRY(qx_file_write(cx, path, "abc", 3));
    qx_bytes got = {NULL, 0};
    return qx_file_read(cx, qx_ctx_scratch(cx), path, 10, &got);
}

static void every_failed_allocation_is_told(void **state)
{
    struct place *p = *state;
    assert_true(fail_each_allocation(write_and_read, p) >= 4);
    assert_int_equal(files_in(p), 1);
}

#define PLACE_TEST(name) cmocka_unit_test_setup_teardown(name, place_new, place_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        PLACE_TEST(what_is_written_is_read),
        PLACE_TEST(a_large_file_is_read_whole),
        PLACE_TEST(reading_tells_what_is_wrong),
        PLACE_TEST(an_endless_source_is_limited),
        PLACE_TEST(a_dash_is_standard_input),
        PLACE_TEST(creating_leaves_an_old_file_alone),
        PLACE_TEST(writing_keeps_permissions_and_follows_links),
        PLACE_TEST(a_folder_that_is_not_there_is_told),
        PLACE_TEST(a_read_only_folder_is_told),
        PLACE_TEST(a_write_that_stops_half_way_leaves_the_old_file),
        PLACE_TEST(a_full_device_is_told),
        PLACE_TEST(folders_are_made_with_those_above),
        PLACE_TEST(paths_are_joined_once),
        PLACE_TEST(every_failed_allocation_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
