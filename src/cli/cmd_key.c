/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * key new: a pair of keys for signing, in files of their own. Must never put a private key into a
 * store, show one, or write over one.
 */
#include "andamento/base/sign.h"
#include "cli/commands.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool write_all(int fd, const struct an_text *text)
{
    size_t done = 0;
    while (done < text->length) {
        const ssize_t got = write(fd, text->at + done, text->length - done);
        if (got >= 0) {
            done += (size_t)got;
        } else if (errno != EINTR) {
            return false;
        }
    }
    return fsync(fd) == 0;
}

/* A file that was not there before, whole or not at all. */
static enum an_status write_new(struct an_cli *cli, const char *path, const struct an_text *text,
                                mode_t mode)
{
    const int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, mode);
    if (fd < 0) {
        return errno == EEXIST
                   ? an_fail(&cli->err, AN_CANNOT_CREATE,
                             "'%s' is there already, and a key is never written over: name another "
                             "file",
                             path)
                   : an_fail(&cli->err, AN_CANNOT_CREATE, "could not make '%s': %s", path,
                             strerror(errno));
    }
    /* the umask may take away more than is meant */
    const bool good = fchmod(fd, mode) == 0 && write_all(fd, text);
    const int why = errno;
    if (close(fd) != 0 || !good) {
        (void)unlink(path);
        return an_fail(&cli->err, AN_IO, "could not write '%s': %s", path, strerror(why));
    }
    return AN_OK;
}

static enum an_status make(struct an_cli *cli, const char *path, const char *public_path)
{
    struct an_text secret = {0};
    struct an_text open = {0};
    enum an_status st = an_key_new(&secret, &open, &cli->err);

    st = st ? st : write_new(cli, public_path, &open, 0644);
    if (!st) {
        st = write_new(cli, path, &secret, 0600);
        if (st) {
            (void)unlink(public_path);
        }
    }
    if (secret.at) {
        memset(secret.at, 0, secret.capacity);
    }
    an_text_free(&secret);
    an_text_free(&open);
    return st;
}

static enum an_exit run(struct an_cli *cli)
{
    const char *path = cli->options.operands[0];
    const char *public_path = an_arena_printf(cli->arena, "%s.pub", path);
    const enum an_status st = public_path ? make(cli, path, public_path)
                                          : an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.key.1");
        an_json_object(&json);
        an_json_put_string(&json, "private", path);
        an_json_put_string(&json, "public", public_path);
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
    } else if (!cli->quiet) {
        an_text_addf(
            &cli->out,
            "private key: %s (only you may read it; keep it off the machine of the store)\n"
            "public key: %s (give it to whoever shall check)\n",
            path, public_path);
    }
    return AN_EXIT_DONE;
}

static const struct an_option options[] = {AN_OPTION_END};

const struct an_command an_command_key_new = {
    .name = "key new",
    .operands = "FILE",
    .summary = "make a pair of Ed25519 keys for signing heads of the ledger",
    .example = "andamento key new ledger.key",
    .more =
        "Writes the private key to FILE, for its owner's eyes only, and the public one to\n"
        "FILE.pub, both in PEM, without a password. Neither is put into a store; files that are\n"
        "there already are never written over. For a new key in the place of an old one, sign a\n"
        "head with both.\n",
    .options = options,
    .operands_least = 1,
    .operands_most = 1,
    .run = run,
};
