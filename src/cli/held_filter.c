/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which held rows and files an operator means. Must never widen what was asked for. */
#include "cli/held_filter.h"

#include "intake/collect.h"

#include <string.h>

/* A name that nothing bears must not read as "nothing is held": it is a slip of the pen. A station that
 * the description has no longer counts as long as one of its files is there. */
static enum an_status check_station(struct an_cli *cli, const char *name)
{
    struct an_file *files = NULL;
    size_t count = 0;
    if (an_line_station(cli->line, an_bytes_of(name)) != AN_NONE) {
        return AN_OK;
    }
    const enum an_status st = an_store_files(cli->store, AN_NO_INSTANT, AN_NO_INSTANT, cli->arena,
                                             &files, &count, &cli->err);
    if (st) {
        return st;
    }
    for (size_t i = 0; i < count; i++) {
        if (files[i].station && strcmp(files[i].station, name) == 0) {
            return AN_OK;
        }
    }
    return an_fail(&cli->err, AN_BAD_USAGE,
                   "there is no station '%s', and no file of one; 'andamento streams' names those "
                   "that there are",
                   name);
}

static enum an_status check(struct an_cli *cli, const struct an_held_filter *filter)
{
    struct an_file file;
    if (filter->code && !an_held_advice(filter->code)) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "there is no reason '%s'; 'andamento held --count' lists those that were "
                       "met, docs/held.md all",
                       filter->code);
    }
    if (filter->file_id &&
        an_store_file(cli->store, filter->file_id, cli->arena, &file, &cli->err) == AN_NOT_FOUND) {
        return an_fail(&cli->err, AN_NOT_FOUND, "there is no file %lld in '%s'",
                       (long long)filter->file_id, an_store_path(cli->store));
    }
    return filter->station ? check_station(cli, filter->station) : AN_OK;
}

enum an_status an_cli_held_filter(struct an_cli *cli, struct an_held_filter *filter)
{
    size_t file_id = 0;
    enum an_status st = an_cli_count(cli, "file", 0, &file_id);

    *filter = (struct an_held_filter){.station = an_option_value(&cli->options, "station"),
                                      .code = an_option_value(&cli->options, "code"),
                                      .file_id = (int64_t)file_id,
                                      .state = an_option_on(&cli->options, "all") ? AN_HELD_ANY
                                               : an_option_on(&cli->options, "released")
                                                   ? AN_HELD_RELEASED
                                                   : AN_HELD_OPEN};
    st = st ? st : an_cli_time(cli, "from", &filter->from_us);
    st = st ? st : an_cli_time(cli, "until", &filter->until_us);
    return st ? st : check(cli, filter);
}
