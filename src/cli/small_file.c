/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A small file of the user's, whole, as a report definition is. Never more than a megabyte. */
#include "andamento/base/sign.h"
#include "cli/cli.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { MOST_BYTES = 1 << 20 };

static enum an_status read_all(struct an_cli *cli, int fd, const char *path,
                               struct an_bytes *content)
{
    unsigned char *room = an_arena_alloc(cli->arena, MOST_BYTES + 1, 1);
    size_t length = 0;
    struct stat about;

    if (!room) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    if (fstat(fd, &about) != 0 || !S_ISREG(about.st_mode)) {
        return an_fail(&cli->err, AN_NOT_FOUND, "'%s' is not a file", path);
    }
    while (length <= MOST_BYTES) {
        const ssize_t got = read(fd, room + length, MOST_BYTES + 1 - length);
        if (got == 0) {
            *content = (struct an_bytes){room, length};
            return AN_OK;
        }
        if (got > 0) {
            length += (size_t)got;
        } else if (errno != EINTR) {
            return an_fail(&cli->err, AN_IO, "could not read '%s': %s", path, strerror(errno));
        }
    }
    return an_fail(&cli->err, AN_BAD_INPUT, "'%s' is larger than a megabyte", path);
}

enum an_status an_cli_read_file(struct an_cli *cli, const char *path, struct an_bytes *content)
{
    const int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);

    if (fd < 0) {
        return an_fail(&cli->err, errno == EACCES ? AN_DENIED : AN_NOT_FOUND,
                       "could not open '%s': %s", path, strerror(errno));
    }
    const enum an_status st = read_all(cli, fd, path, content);
    (void)close(fd);
    return st;
}

void an_cli_wipe(struct an_bytes content)
{
    union { /* the bytes are the arena's and ours to write; the type of a view does not say so */
        const unsigned char *read;
        unsigned char *write;
    } at = {content.at};

    an_wipe(at.write, content.length);
}
