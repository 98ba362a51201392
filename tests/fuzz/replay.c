/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Runs a fuzz target over the files of a folder, for compilers without a fuzzer and for ctest. */
#include <dirent.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static int compare(const struct dirent **a, const struct dirent **b)
{
    return strcmp((*a)->d_name, (*b)->d_name);
}

static int no_dots(const struct dirent *entry)
{
    return entry->d_name[0] != '.';
}

static int run(const char *folder, const char *name)
{
    static uint8_t bytes[1 << 20];
    char path[4096];

    (void)snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "rb");
    if (!file) {
        (void)fprintf(stderr, "could not open %s\n", path);
        return 1;
    }
    const size_t length = fread(bytes, 1, sizeof bytes, file);
    (void)fclose(file);
    (void)LLVMFuzzerTestOneInput(bytes, length);
    return 0;
}

int main(int argc, char **argv)
{
    struct dirent **names = NULL;
    int failed = 0;

    if (argc != 2) {
        (void)fprintf(stderr, "usage: %s FOLDER\n", argv[0]);
        return 64;
    }
    const int count = scandir(argv[1], &names, no_dots, compare);
    if (count < 1) {
        (void)fprintf(stderr, "no files in %s\n", argv[1]);
        return 66;
    }
    for (int i = 0; i < count; i++) {
        failed += run(argv[1], names[i]->d_name);
        free(names[i]);
    }
    free((void *)names);
    (void)printf("%d files replayed\n", count);
    return failed ? 1 : 0;
}
