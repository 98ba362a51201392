/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One table as CSV and as JSON at once. Must never hold more than a part of it: what is written goes
 * on to the files as it grows.
 */
#include "andamento/base/csv_out.h"
#include "andamento/base/instant.h"
#include "andamento/base/json_out.h"
#include "andamento/base/number.h"
#include "andamento/base/output_folder.h"
#include "andamento/stat/rules.h"
#include "trace/evidence.h"

#include <inttypes.h>
#include <math.h>
#include <string.h>

enum { PART = 65536 };

struct an_evidence_table {
    struct an_folder_file *csv_file, *json_file;
    struct an_text csv_text, json_text;
    struct an_csv_out csv;
    struct an_json json;
    struct an_arena *arena; /* of the names */
    const char **names;
    const char **beside; /* the name of the column after it, that is derived; NULL: none is */
    size_t columns, column;
};

void an_evidence_table_drop(struct an_evidence_table *table)
{
    if (table) {
        an_folder_file_drop(table->csv_file);
        an_folder_file_drop(table->json_file);
        an_text_free(&table->csv_text);
        an_text_free(&table->json_text);
        an_arena_close(table->arena);
        an_free(table);
    }
}

static enum an_status no_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory");
}

enum an_status an_evidence_table_open(struct an_output_folder *folder, const char *path,
                                      const char *schema, struct an_evidence_table **table,
                                      struct an_error *err)
{
    struct an_evidence_table *opened = an_alloc(1, sizeof *opened);
    *table = NULL;
    if (!opened) {
        return no_memory(err);
    }
    opened->arena = an_arena_open();
    char *csv = opened->arena ? an_arena_printf(opened->arena, "%s.csv", path) : NULL;
    char *json = opened->arena ? an_arena_printf(opened->arena, "%s.json", path) : NULL;
    enum an_status st = csv && json ? AN_OK : no_memory(err);
    st = st ? st : an_folder_file_open(folder, csv, &opened->csv_file, err);
    st = st ? st : an_folder_file_open(folder, json, &opened->json_file, err);
    if (st) {
        an_evidence_table_drop(opened);
        return st;
    }
    opened->csv.out = &opened->csv_text;
    opened->json = an_json_into(&opened->json_text, false);
    an_json_object(&opened->json);
    an_json_put_string(&opened->json, "schema", schema);
    an_json_key(&opened->json, "data");
    an_json_array(&opened->json);
    *table = opened;
    return AN_OK;
}

enum an_status an_evidence_table_names(struct an_evidence_table *table, const char *const names[],
                                       size_t count, bool derive, struct an_error *err)
{
    table->columns = count;
    table->names = an_arena_alloc(table->arena, count + 1, sizeof *table->names);
    table->beside = an_arena_alloc(table->arena, count + 1, sizeof *table->beside);
    if (!table->names || !table->beside) {
        return no_memory(err);
    }
    for (size_t c = 0; c < count; c++) {
        const size_t length = strlen(names[c]);
        const bool time = derive && length > 3 && strcmp(names[c] + length - 3, "_us") == 0;
        table->names[c] = an_arena_copy(table->arena, names[c], length);
        if (time) {
            table->beside[c] =
                an_arena_printf(table->arena, "%.*s_utc", (int)(length - 3), names[c]);
        } else if (derive && strcmp(names[c], "rule") == 0) {
            table->beside[c] = "rule_name";
        }
        if (!table->names[c] || (time && !table->beside[c])) {
            return no_memory(err);
        }
        an_csv_out_text(&table->csv, names[c]);
        if (table->beside[c]) {
            an_csv_out_text(&table->csv, table->beside[c]);
        }
    }
    an_csv_out_end_row(&table->csv);
    return AN_OK;
}

/* ---- cells ------------------------------------------------------------------------------------- */
void an_evidence_table_begin_row(struct an_evidence_table *table)
{
    table->column = 0;
    an_text_add_char(&table->json_text, '\n'); /* white space between rows, for people */
    an_json_object(&table->json);
}

static const char *next(struct an_evidence_table *table)
{
    an_json_key(&table->json, table->names[table->column]);
    return table->beside[table->column++];
}

static void put_beside(struct an_evidence_table *table, const char *name, const char *text)
{
    an_json_put_string(&table->json, name, text);
    an_csv_out_text(&table->csv, text);
}

void an_evidence_table_none(struct an_evidence_table *table)
{
    const char *beside = next(table);
    an_json_null(&table->json);
    an_csv_out_text(&table->csv, NULL);
    if (beside) {
        put_beside(table, beside, NULL);
    }
}

void an_evidence_table_text(struct an_evidence_table *table, struct an_bytes text)
{
    struct an_text whole = {0};
    (void)next(table);
    if (text.length && memchr(text.at, '\0', text.length)) { /* both end at a NUL */
        an_text_add_visible(&whole, text, text.length);
    } else {
        an_text_add_bytes(&whole, text);
    }
    an_json_string(&table->json, an_text_of(&whole));
    an_csv_out_text(&table->csv, an_text_of(&whole));
    table->csv_text.failed = table->csv_text.failed || whole.failed;
    an_text_free(&whole);
}

void an_evidence_table_number(struct an_evidence_table *table, double value)
{
    if (isnan(value)) {
        an_evidence_table_none(table);
        return;
    }
    (void)next(table);
    an_json_number(&table->json, value);
    an_csv_out_number(&table->csv, value);
}

void an_evidence_table_integer(struct an_evidence_table *table, int64_t value)
{
    const char *beside = next(table);
    char text[40];
    an_json_integer(&table->json, value);
    an_csv_out_integer(&table->csv, value);
    if (beside && strcmp(beside, "rule_name") == 0) {
        put_beside(table, beside,
                   value >= 0 && value < AN_RULE_COUNT ? an_rule_name((enum an_rule)value) : NULL);
    } else if (beside) {
        put_beside(table, beside, an_instant_rfc3339(value, text));
    }
}

/* The digits as they stood, with the point where it belongs. */
void an_evidence_table_decimal(struct an_evidence_table *table, int64_t scaled, int decimals)
{
    struct an_text text = {0};
    struct an_text digits = {0};
    const uint64_t size = scaled < 0 ? 0 - (uint64_t)scaled : (uint64_t)scaled;

    (void)next(table);
    an_text_addf(&digits, "%" PRIu64, size);
    if (scaled < 0) {
        an_text_add_char(&text, '-');
    }
    if (decimals <= 0) {
        an_text_add(&text, an_text_of(&digits));
        for (int i = decimals; i < 0 && scaled; i++) {
            an_text_add_char(&text, '0');
        }
    } else {
        const size_t after = (size_t)decimals;
        const size_t before = digits.length > after ? digits.length - after : 0;
        an_text_add_bytes(&text,
                          (struct an_bytes){(const unsigned char *)an_text_of(&digits), before});
        an_text_add(&text, before ? "." : "0.");
        for (size_t i = digits.length; i < after; i++) {
            an_text_add_char(&text, '0');
        }
        an_text_add(&text, an_text_of(&digits) + before);
    }
    an_json_raw(&table->json, an_text_of(&text));
    an_csv_out_text(&table->csv, an_text_of(&text));
    table->csv_text.failed = table->csv_text.failed || text.failed || digits.failed;
    an_text_free(&text);
    an_text_free(&digits);
}

/* ---- rows -------------------------------------------------------------------------------------- */
static void pass_on(struct an_text *text, struct an_folder_file *file, size_t from)
{
    if (text->length >= from) {
        (void)an_folder_file_write(file, an_text_of(text), text->length); /* told by close */
        an_text_clear(text);
    }
}

enum an_status an_evidence_table_end_row(struct an_evidence_table *table, struct an_error *err)
{
    if (table->column != table->columns) {
        return an_fail(err, AN_BUG, "a row of evidence has %zu columns instead of %zu",
                       table->column, table->columns);
    }
    an_json_end(&table->json, '}');
    an_csv_out_end_row(&table->csv);
    if (table->csv_text.failed || table->json_text.failed) {
        return no_memory(err);
    }
    pass_on(&table->csv_text, table->csv_file, PART);
    pass_on(&table->json_text, table->json_file, PART);
    return AN_OK;
}

enum an_status an_evidence_table_close(struct an_evidence_table *table, struct an_error *err)
{
    an_json_end(&table->json, ']');
    an_json_end(&table->json, '}');
    an_text_add_char(&table->json_text, '\n');
    enum an_status st = table->csv_text.failed || table->json_text.failed ? no_memory(err) : AN_OK;
    if (!st) {
        struct an_folder_file *csv = table->csv_file;
        struct an_folder_file *json = table->json_file;
        pass_on(&table->csv_text, csv, 1);
        pass_on(&table->json_text, json, 1);
        table->csv_file = NULL;
        st = an_folder_file_close(csv, NULL, err);
        if (!st) {
            table->json_file = NULL;
            st = an_folder_file_close(json, NULL, err);
        }
    }
    an_evidence_table_drop(table);
    return st;
}
