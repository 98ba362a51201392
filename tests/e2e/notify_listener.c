/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Listens where a service manager would: binds a datagram socket to the name (a path, or @name for
 * one without a file), says "listening", then prints what comes, line by line. Ends when killed or
 * after ten minutes. For tests/e2e/test_follow.sh.
 */
#include <stddef.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

int main(int argc, char *argv[])
{
    struct sockaddr_un name = {.sun_family = AF_UNIX};
    char text[4096];
    if (argc != 2 || strlen(argv[1]) >= sizeof name.sun_path) {
        return 64;
    }
    const size_t length = strlen(argv[1]);
    memcpy(name.sun_path, argv[1], length);
    if (name.sun_path[0] == '@') {
        name.sun_path[0] = '\0';
    }
    const int made = socket(AF_UNIX, SOCK_DGRAM, 0);
    if (made < 0 || bind(made, (const struct sockaddr *)&name,
                         (socklen_t)(offsetof(struct sockaddr_un, sun_path) + length))) {
        perror("listener");
        return 1;
    }
    (void)alarm(600);
    (void)puts("listening");
    (void)fflush(stdout);
    for (;;) {
        const ssize_t got = recv(made, text, sizeof text - 1, 0);
        if (got < 0) {
            return 1;
        }
        text[got] = '\0';
        (void)puts(text);
        (void)fflush(stdout);
    }
}
