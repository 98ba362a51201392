/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The program's outer shell: which commands there are, what they share, and how an answer leaves.
 * Only this layer prints and exits. stdout carries the answer and nothing else; problems go to
 * stderr, one line each.
 */
#ifndef AN_CLI_CLI_H
#define AN_CLI_CLI_H

#include "andamento/base/csv_out.h"
#include "andamento/base/json_out.h"
#include "andamento/base/memory.h"
#include "andamento/base/number.h"
#include "andamento/base/text.h"
#include "andamento/store/store.h"
#include "cli/options.h"
#include "line/line.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Exit statuses; those of failures follow sysexits(3). No other value is ever returned. */
enum an_exit {
    AN_EXIT_DONE = 0,
    AN_EXIT_FINDING = 1, /* done, and something needs a person */
    AN_EXIT_USAGE = 64,
    AN_EXIT_INPUT = 65,
    AN_EXIT_MISSING = 66,
    AN_EXIT_STORE = 69,
    AN_EXIT_BUG = 70,
    AN_EXIT_CREATE = 73,
    AN_EXIT_IO = 74,
    AN_EXIT_BUSY = 75,
    AN_EXIT_DENIED = 77,
    AN_EXIT_CONFIG = 78
};

enum an_format { AN_FORMAT_TABLE, AN_FORMAT_CSV, AN_FORMAT_JSON };

struct an_cli {
    const char *version, *commit;
    struct an_arena *arena; /* lives as long as the command */
    struct an_options options;
    enum an_format format;
    bool quiet, verbose, dry_run;
    int answer_fd;      /* where stdout's answer goes */
    struct an_text out; /* the answer so far */
    bool out_failed;
    struct an_store *store;
    struct an_line *line;
    int64_t as_of_us;      /* the moment of --as-of; AN_NO_INSTANT: now */
    int64_t as_of_entries; /* of the ledger then */
    bool takes_author;     /* an act of a person, that --key signs */
    char key_id[17];       /* of the key that signs; empty: nothing is signed */
    bool is_now;           /* --as-of is passed over: the second run of --then-and-now */
    struct an_text *kept;  /* NULL, or takes what would go to stdout */
    struct an_error err;   /* of the failure in hand */
};

/* What a row of a command's CSV is about, for --then-and-now. */
enum an_rows_of { AN_ROWS_NOT_COMPARED, AN_ROWS_SAMPLES, AN_ROWS_SIGNALS, AN_ROWS_LIMITS };

struct an_command {
    const char *name;                /* "limits propose" */
    const char *operands;            /* "[STREAM...]" for the usage line; "" for none */
    const char *summary;             /* one line */
    const char *example;             /* printed first by --help */
    const char *more;                /* further text of the help, or NULL */
    const struct an_option *options; /* ends with a NULL name */
    size_t operands_least, operands_most;
    bool as_of;              /* takes --as-of: it only reads, through an_cli_open() */
    enum an_rows_of rows_of; /* takes --then-and-now, too */
    enum an_exit (*run)(struct an_cli *cli);
};
extern const struct an_command *const an_commands[]; /* NULL-terminated */

/* Runs the program. */
int an_cli_main(int argc, char *argv[], const char *version, const char *commit);

/* Prints the failure in cli->err (or the given text) to stderr and gives its exit status. */
enum an_exit an_cli_failed(struct an_cli *cli, enum an_status st);
enum an_exit an_cli_exit_of(enum an_status st);
void an_cli_say(struct an_cli *cli, const char *format, ...) AN_PRINTF(2, 3); /* stderr, one line */

/* Sends what stands in cli->out on its way; call now and then in long answers. */
void an_cli_flush(struct an_cli *cli);

/* Opens the store (and reads its newest line description when with_line), as it was known at the
 * moment of --as-of if that is given. Exits by status: call
 * as `if (an_cli_open(cli, mode, true)) return an_cli_failed(cli, cli->err.status);` */
AN_CHECKED enum an_status an_cli_open(struct an_cli *cli, enum an_store_mode mode, bool with_line);
/* The newest line description of the open store. */
AN_CHECKED enum an_status an_cli_read_line(struct an_cli *cli);
/* Names the file that the failure in hand is about, with its line if it has one. */
enum an_status an_cli_in_file(struct an_cli *cli, const char *path, enum an_status st);
const char *an_cli_store_path(const struct an_cli *cli);

/* --from and --until, or any other option holding a time; AN_NO_INSTANT when not given. */
AN_CHECKED enum an_status an_cli_time(struct an_cli *cli, const char *option, int64_t *at_us);
AN_CHECKED enum an_status an_cli_count(struct an_cli *cli, const char *option, size_t usual,
                                       size_t *count);

/* The streams named by the operands (names or fnmatch patterns), or all when there are none and
 * all_by_default, or with --all. AN_NOT_FOUND naming the operand and the nearest stream. */
AN_CHECKED enum an_status an_cli_streams(struct an_cli *cli, bool all_by_default,
                                         struct an_stream **streams, size_t *count);

/* ---- answers ---------------------------------------------------------------------------------- */
/* JSON answers: {"schema": NAME, "generated_by": ..., "data": ...} */
struct an_json an_cli_json_begin(struct an_cli *cli, const char *schema);
void an_cli_json_end(struct an_cli *cli, struct an_json *json);
/* key: RFC 3339 UTC; key_local: the same in the line's zone. null for AN_NO_INSTANT. */
void an_cli_json_time(struct an_cli *cli, struct an_json *json, const char *key, int64_t at_us);

/* A table for people or CSV for programs, by cli->format: cells row by row. */
struct an_cli_table {
    const char *const *titles;
    size_t columns;
    struct an_text cells; /* NUL-separated */
    size_t cell_count;
    unsigned right; /* bit c: column c is set to the right */
};
void an_cli_cell(struct an_cli_table *table, const char *text);
void an_cli_cellf(struct an_cli_table *table, const char *format, ...) AN_PRINTF(2, 3);
void an_cli_table_print(struct an_cli *cli, struct an_cli_table *table); /* and frees */

/* "1 file", "2 files" */
const char *an_plural(size_t n, const char *one, const char *many);

/* A file's content in the command's arena; a megabyte at most. AN_NOT_FOUND, AN_DENIED, AN_IO,
 * AN_BAD_INPUT. */
AN_CHECKED enum an_status an_cli_read_file(struct an_cli *cli, const char *path,
                                           struct an_bytes *content);

/* Overwrites what an_cli_read_file() read, where it is a secret. */
void an_cli_wipe(struct an_bytes content);

/* Shared option rows. */
#define AN_OPTION_PERIOD                                                                           \
    {"from", 0, "TIME", "only samples at or after this time (2026-03-04T06:00)"},                  \
    {                                                                                              \
        "until", 0, "TIME", "only samples before this time"                                        \
    }
#define AN_OPTION_END                                                                              \
    {                                                                                              \
        NULL, 0, NULL, NULL                                                                        \
    }

#endif
