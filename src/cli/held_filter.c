/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which held rows and files an operator means. Must never widen what was asked for. */
#include "cli/held_filter.h"

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
    return st ? st : an_cli_time(cli, "until", &filter->until_us);
}
