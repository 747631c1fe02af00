/* fuzz/replay.c - runs a fuzz target over the files of its corpus, without libFuzzer, so
 * that every compiler and every check replays what was once found.
 *
 *     replay_protocol FOLDER...
 *
 * Fails when a folder holds nothing: a replay of no files would show nothing. */
#include <dirent.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include "fuzz.h"

static int replay(const char *path)
{
    FILE *file = fopen(path, "rb");
    if (file == NULL) {
        perror(path);
        return 1;
    }
    int failed = 1;
    uint8_t *bytes = NULL;
    if (fseek(file, 0, SEEK_END) == 0) {
        const long size = ftell(file);
        rewind(file);
        bytes = size < 0 ? NULL : malloc((size_t)size + 1);
        if (bytes != NULL && fread(bytes, 1, (size_t)size, file) == (size_t)size) {
            /* A failure ends the process; the status itself is always nought. */
            failed = LLVMFuzzerTestOneInput(bytes, (size_t)size) != 0;
        }
    }
    free(bytes);
    (void)fclose(file);
    return failed;
}

static int replay_folder(const char *folder, int *count)
{
    DIR *entries = opendir(folder);
    if (entries == NULL) {
        perror(folder);
        return 1;
    }
    int failed = 0;
    for (const struct dirent *e = readdir(entries); e != NULL; e = readdir(entries)) {
        char path[4096];
        if (e->d_name[0] == '.') {
            continue;
        }
        (void)snprintf(path, sizeof path, "%s/%s", folder, e->d_name);
        failed |= replay(path);
        (*count)++;
    }
    (void)closedir(entries);
    return failed;
}

int main(int argc, char **argv)
{
    int count = 0;
    int failed = 0;
    for (int i = 1; i < argc; i++) {
        failed |= replay_folder(argv[i], &count);
    }
    printf("%d files replayed\n", count);
    return failed != 0 || count == 0;
}
