/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How answers leave: whole or with a failure status, as text for people, CSV or JSON. */
#include "cli/cli.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

void an_cli_flush(struct an_cli *cli)
{
    size_t done = 0;
    if (cli->out.failed) {
        cli->out_failed = true;
    }
    if (cli->kept) {
        an_text_add_bytes(cli->kept, (struct an_bytes){(const unsigned char *)an_text_of(&cli->out),
                                                       cli->out.length});
        done = cli->out.length;
    }
    while (done < cli->out.length && !cli->out_failed) {
        const ssize_t wrote = write(cli->answer_fd, cli->out.at + done, cli->out.length - done);
        if (wrote >= 0) {
            done += (size_t)wrote;
        } else if (errno != EINTR) {
            cli->out_failed = true;
        }
    }
    an_text_clear(&cli->out);
}

void an_cli_say(struct an_cli *cli, const char *format, ...)
{
    va_list args;
    (void)cli;
    va_start(args, format);
    (void)vfprintf(stderr, format, args);
    va_end(args);
    (void)fputc('\n', stderr);
}

struct an_json an_cli_json_begin(struct an_cli *cli, const char *schema)
{
    struct an_json json = an_json_into(&cli->out, true);
    an_json_object(&json);
    an_json_put_string(&json, "schema", schema);
    an_json_key(&json, "generated_by");
    struct an_text by = {0};
    an_text_addf(&by, "andamento %s", cli->version);
    an_json_string(&json, an_text_of(&by));
    an_text_free(&by);
    an_json_key(&json, "data");
    return json;
}

void an_cli_json_end(struct an_cli *cli, struct an_json *json)
{
    an_json_end(json, '}');
    an_cli_flush(cli);
}

void an_cli_json_time(struct an_cli *cli, struct an_json *json, const char *key, int64_t at_us)
{
    char text[40];
    char local[64];
    an_json_put_string(json, key, at_us == AN_NO_INSTANT ? NULL : an_instant_rfc3339(at_us, text));
    if (cli->line) {
        (void)snprintf(local, sizeof local, "%s_local", key);
        an_json_put_string(
            json, local,
            at_us == AN_NO_INSTANT ? NULL : an_instant_rfc3339_in(cli->line->zone, at_us, text));
    }
}

void an_cli_cell(struct an_cli_table *table, const char *text)
{
    an_text_add(&table->cells, text ? text : "");
    an_text_add_char(&table->cells, '\0');
    table->cell_count++;
}

void an_cli_cellf(struct an_cli_table *table, const char *format, ...)
{
    char text[512];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    an_cli_cell(table, text);
}

/* Characters, not bytes: every byte that does not continue a UTF-8 sequence starts one. */
static size_t width_of(const char *text)
{
    size_t width = 0;
    for (; *text; text++) {
        width += ((unsigned char)*text & 0xC0) != 0x80;
    }
    return width;
}

static void print_row(struct an_cli *cli, const struct an_cli_table *table, const size_t *widths,
                      const char *const *cells)
{
    for (size_t c = 0; c < table->columns; c++) {
        const size_t pad = widths[c] - width_of(cells[c]);
        const bool right = table->right >> c & 1;
        const bool last = c + 1 == table->columns;
        for (size_t i = 0; right && i < pad; i++) {
            an_text_add_char(&cli->out, ' ');
        }
        an_text_add(&cli->out, cells[c]);
        for (size_t i = 0; !right && !last && i < pad; i++) {
            an_text_add_char(&cli->out, ' ');
        }
        an_text_add(&cli->out, last ? "\n" : "  ");
    }
}

enum { most_columns = 32 };

static void print_aligned(struct an_cli *cli, const struct an_cli_table *table)
{
    size_t widths[most_columns];
    const char *row[most_columns];
    for (size_t c = 0; c < table->columns; c++) {
        widths[c] = width_of(table->titles[c]);
    }
    const char *cell = table->cells.at;
    for (size_t i = 0; i < table->cell_count; i++, cell += strlen(cell) + 1) {
        const size_t width = width_of(cell);
        if (width > widths[i % table->columns]) {
            widths[i % table->columns] = width;
        }
    }
    print_row(cli, table, widths, table->titles);
    cell = table->cells.at;
    for (size_t i = 0; i < table->cell_count; i++, cell += strlen(cell) + 1) {
        row[i % table->columns] = cell;
        if (i % table->columns + 1 == table->columns) {
            print_row(cli, table, widths, row);
        }
    }
}

void an_cli_table_print(struct an_cli *cli, struct an_cli_table *table)
{
    if (table->cells.failed) {
        cli->out_failed = true;
    } else if (cli->format == AN_FORMAT_CSV) {
        struct an_csv_out csv = {&cli->out, 0};
        for (size_t c = 0; c < table->columns; c++) {
            an_csv_out_text(&csv, table->titles[c]);
        }
        an_csv_out_end_row(&csv);
        const char *cell = table->cells.at;
        for (size_t i = 0; i < table->cell_count; i++, cell += strlen(cell) + 1) {
            an_csv_out_text(&csv, cell);
            if (i % table->columns + 1 == table->columns) {
                an_csv_out_end_row(&csv);
            }
        }
    } else if (table->columns <= most_columns) {
        print_aligned(cli, table);
    }
    an_text_free(&table->cells);
    an_cli_flush(cli);
}

const char *an_plural(size_t n, const char *one, const char *many)
{
    return n == 1 ? one : many;
}

enum an_status an_cli_in_file(struct an_cli *cli, const char *path, enum an_status st)
{
    const struct an_error was = cli->err;

    return was.line ? an_fail(&cli->err, st, "%s:%llu:%llu: %s", path, (unsigned long long)was.line,
                              (unsigned long long)was.column, was.text)
                    : an_fail(&cli->err, st, "%s: %s", path, was.text);
}
