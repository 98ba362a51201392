/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Runs one command with bytes on its standard input and keeps what it says. It must never take
 * longer than its limits, leave a child unreaped, or hand a descriptor of ours on.
 *
 * The hard part: a command may not read its input, may fill its output, may leave children that
 * keep the pipes open. So all three ends are non-blocking, and what decides is the child itself.
 */
#define _GNU_SOURCE /* posix_spawn_file_actions_addclosefrom_np, CLOCK_BOOTTIME */
#include "andamento/base/process.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

extern char **environ;

/* ---- clocks ----------------------------------------------------------------------------------- */

static int64_t microseconds(clockid_t clock)
{
    struct timespec now = {0};
    (void)clock_gettime(clock, &now);
    return (int64_t)now.tv_sec * 1000000 + now.tv_nsec / 1000;
}

int64_t an_clock_monotonic_us(void)
{
    return microseconds(CLOCK_BOOTTIME);
}

int64_t an_clock_wall_us(void)
{
    return microseconds(CLOCK_REALTIME);
}

const char *an_boot_id(char buffer[40])
{
    const int file = open("/proc/sys/kernel/random/boot_id", O_RDONLY | O_CLOEXEC);
    const ssize_t length = file >= 0 ? read(file, buffer, 39) : 0;
    if (file >= 0) {
        (void)close(file);
    }
    buffer[length > 0 ? length : 0] = '\0';
    buffer[strcspn(buffer, "\n")] = '\0';
    return buffer;
}

/* ---- starting --------------------------------------------------------------------------------- */

struct child {
    pid_t pid;
    int in, out; /* our ends; -1 closed */
    struct an_bytes input;
    bool ended;
    int status;
};

static void shut(int *fd)
{
    if (*fd >= 0) {
        (void)close(*fd);
        *fd = -1;
    }
}

static enum an_status not_started(const char *name, int reason, struct an_error *err)
{
    switch (reason) {
    case ENOENT:
    case ENOTDIR:
        return an_fail(err, AN_NOT_FOUND, "could not start '%s': there is no such command", name);
    case EACCES:
    case EPERM:
    case ENOEXEC:
        return an_fail(err, AN_DENIED, "could not start '%s': %s; is it executable?", name,
                       strerror(reason));
    case ENOMEM:
        return an_fail(err, AN_NO_MEMORY, "could not start '%s': memory ran out", name);
    default:
        return an_fail(err, AN_IO, "could not start '%s': %s", name, strerror(reason));
    }
}

/* A group of its own, every signal as at the start of a program, no descriptor but 0, 1, 2. */
static int spawn(struct child *child, const char *const *argv, int in, int out)
{
    posix_spawn_file_actions_t files;
    posix_spawnattr_t attributes;
    sigset_t none;
    sigset_t all;
    int reason = posix_spawn_file_actions_init(&files);
    if (reason) {
        return reason;
    }
    reason = posix_spawnattr_init(&attributes);
    if (reason) {
        (void)posix_spawn_file_actions_destroy(&files);
        return reason;
    }
    (void)sigemptyset(&none);
    (void)sigfillset(&all);
    reason = posix_spawn_file_actions_adddup2(&files, in, STDIN_FILENO);
    reason = reason ? reason : posix_spawn_file_actions_adddup2(&files, out, STDOUT_FILENO);
    reason = reason ? reason : posix_spawn_file_actions_adddup2(&files, out, STDERR_FILENO);
    reason = reason ? reason : posix_spawn_file_actions_addclosefrom_np(&files, 3);
    reason = reason ? reason : posix_spawnattr_setpgroup(&attributes, 0);
    reason = reason ? reason : posix_spawnattr_setsigmask(&attributes, &none);
    reason = reason ? reason : posix_spawnattr_setsigdefault(&attributes, &all);
    reason = reason ? reason
                    : posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETPGROUP |
                                                                POSIX_SPAWN_SETSIGMASK |
                                                                POSIX_SPAWN_SETSIGDEF);
    if (!reason) { /* the library's argv is not const, though it changes nothing */
        union {
            const char *const *given;
            char *const *wanted;
        } words = {.given = argv};
        reason = posix_spawnp(&child->pid, argv[0], &files, &attributes, words.wanted, environ);
    }
    (void)posix_spawnattr_destroy(&attributes);
    (void)posix_spawn_file_actions_destroy(&files);
    return reason;
}

static enum an_status start(struct child *child, const char *const *argv, struct an_error *err)
{
    int in[2] = {-1, -1};
    int out[2] = {-1, -1};
    int reason = 0;
    if (pipe2(in, O_CLOEXEC) || pipe2(out, O_CLOEXEC) || fcntl(in[1], F_SETFL, O_NONBLOCK) == -1 ||
        fcntl(out[0], F_SETFL, O_NONBLOCK) == -1) {
        reason = errno;
    }
    if (!reason) {
        reason = spawn(child, argv, in[0], out[1]);
    }
    shut(&in[0]);
    shut(&out[1]);
    child->in = in[1];
    child->out = out[0];
    if (reason) {
        shut(&child->in);
        shut(&child->out);
        return not_started(argv[0], reason, err);
    }
    return AN_OK;
}

/* ---- talking ---------------------------------------------------------------------------------- */

static void feed(struct child *child)
{
    while (child->in >= 0) {
        if (child->input.length == 0) {
            shut(&child->in);
            return;
        }
        const ssize_t wrote = write(child->in, child->input.at, child->input.length);
        if (wrote >= 0) {
            child->input.at += wrote;
            child->input.length -= (size_t)wrote;
        } else if (errno == EAGAIN) {
            return;
        } else if (errno != EINTR) { /* it does not want to know */
            shut(&child->in);
        }
    }
}

static void hear(struct child *child, size_t most, struct an_process_result *result)
{
    char piece[4096];
    while (child->out >= 0) {
        const ssize_t got = read(child->out, piece, sizeof piece);
        if (got > 0) {
            const size_t room = result->output.length < most ? most - result->output.length : 0;
            const size_t kept = (size_t)got < room ? (size_t)got : room;
            an_text_add_bytes(&result->output,
                              (struct an_bytes){(const unsigned char *)piece, kept});
            result->output_dropped += (size_t)got - kept;
        } else if (got == 0) {
            shut(&child->out);
        } else if (errno == EAGAIN) {
            return;
        } else if (errno != EINTR) {
            shut(&child->out);
        }
    }
}

static void look(struct child *child)
{
    const pid_t got = waitpid(child->pid, &child->status, WNOHANG);
    child->ended = child->ended || got == child->pid || (got < 0 && errno != EINTR);
}

static void wait_a_little(const struct child *child)
{
    struct pollfd ends[2] = {{.fd = child->in, .events = POLLOUT},
                             {.fd = child->out, .events = POLLIN}};
    (void)poll(ends, 2, 20); /* and look whether it has ended: it may leave the pipes to others */
}

static void attend(struct child *child, const struct an_process_limits *limits,
                   struct an_process_result *result)
{
    const int64_t from_us = an_clock_monotonic_us();
    int asked = 0; /* the signal it was sent last */
    int64_t asked_ms = 0;
    while (!child->ended) {
        feed(child);
        hear(child, limits->output_most, result);
        look(child);
        const int64_t now_ms = (an_clock_monotonic_us() - from_us) / 1000;
        const bool stop = limits->stop && *limits->stop;
        if (child->ended) {
            break;
        }
        if (!asked && (now_ms >= limits->run_ms || stop)) {
            result->out_of_time = !stop;
            asked = SIGTERM;
            asked_ms = now_ms;
            (void)kill(-child->pid, SIGTERM);
        } else if (asked == SIGTERM && (now_ms - asked_ms >= limits->grace_ms || stop)) {
            asked = SIGKILL;
            (void)kill(-child->pid, SIGKILL);
        }
        if (limits->tick) {
            limits->tick(limits->context);
        }
        wait_a_little(child);
    }
    hear(child, limits->output_most, result);
    if (asked) { /* children that outlived it */
        (void)kill(-child->pid, SIGKILL);
    }
    result->took_ms = (an_clock_monotonic_us() - from_us) / 1000;
}

enum an_status an_process_run(const char *const *argv, struct an_bytes input,
                              const struct an_process_limits *limits,
                              struct an_process_result *result, struct an_error *err)
{
    struct child child = {.in = -1, .out = -1, .input = input};
    struct sigaction ignore;
    struct sigaction before;
    memset(result, 0, sizeof *result);
    memset(&ignore, 0, sizeof ignore);
    ignore.sa_handler = SIG_IGN;
    (void)sigaction(SIGPIPE, &ignore, &before); /* it may not read its input */
    const enum an_status st = start(&child, argv, err);
    if (!st) {
        attend(&child, limits, result);
        shut(&child.in);
        shut(&child.out);
        const bool exited = WIFEXITED(child.status);
        result->exit_status = exited ? WEXITSTATUS(child.status) : -1;
        result->by_signal = exited ? 0 : WTERMSIG(child.status);
    }
    (void)sigaction(SIGPIPE, &before, NULL);
    return st;
}
