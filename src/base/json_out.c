/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Streaming JSON: the writer keeps only where it is, so that size costs nothing. */
#include "andamento/base/json_out.h"

#include "andamento/base/number.h"

#include <assert.h>
#include <math.h>
#include <string.h>

struct an_json an_json_into(struct an_text *out, bool pretty)
{
    return (struct an_json){.out = out, .pretty = pretty};
}

static void new_line(struct an_json *json)
{
    if (json->pretty) {
        an_text_add_char(json->out, '\n');
        for (int i = 0; i < json->depth; i++) {
            an_text_add(json->out, "  ");
        }
    }
}

static void before_value(struct an_json *json)
{
    if (json->after_key) {
        json->after_key = false;
        return;
    }
    if (json->depth > 0) {
        if (json->has_member[json->depth]) {
            an_text_add_char(json->out, ',');
        }
        json->has_member[json->depth] = true;
        new_line(json);
    }
}

static void open_bracket(struct an_json *json, char bracket)
{
    before_value(json);
    an_text_add_char(json->out, bracket);
    assert(json->depth < 32);
    json->depth++;
    json->has_member[json->depth] = false;
}

void an_json_object(struct an_json *json)
{
    open_bracket(json, '{');
}

void an_json_array(struct an_json *json)
{
    open_bracket(json, '[');
}

void an_json_end(struct an_json *json, char bracket)
{
    const bool any = json->has_member[json->depth];
    assert(json->depth > 0);
    json->depth--;
    if (any) {
        new_line(json);
    }
    an_text_add_char(json->out, bracket);
    if (json->depth == 0 && json->pretty) {
        an_text_add_char(json->out, '\n');
    }
}

static void quoted(struct an_json *json, struct an_bytes value)
{
    an_text_add_char(json->out, '"');
    size_t i = 0;
    while (i < value.length) {
        const unsigned char c = value.at[i];
        if (c == '"' || c == '\\') {
            an_text_add_char(json->out, '\\');
            an_text_add_char(json->out, (char)c);
            i++;
        } else if (c == '\n') {
            an_text_add(json->out, "\\n");
            i++;
        } else if (c == '\t') {
            an_text_add(json->out, "\\t");
            i++;
        } else if (c < 0x20 || c == 0x7F) {
            an_text_addf(json->out, "\\u%04x", (unsigned)c);
            i++;
        } else {
            size_t plain = i; /* the longest run that needs no escape */
            while (plain < value.length && value.at[plain] >= 0x20 && value.at[plain] != 0x7F &&
                   value.at[plain] != '"' && value.at[plain] != '\\') {
                plain++;
            }
            const struct an_bytes run = {value.at + i, plain - i};
            const size_t good = an_utf8_check(run);
            an_text_add_bytes(json->out, (struct an_bytes){run.at, good});
            i += good;
            if (good < run.length) {
                an_text_add(json->out, "\xEF\xBF\xBD");
                i++;
            }
        }
    }
    an_text_add_char(json->out, '"');
}

void an_json_key(struct an_json *json, const char *key)
{
    before_value(json);
    quoted(json, an_bytes_of(key));
    an_text_add(json->out, json->pretty ? ": " : ":");
    json->after_key = true;
}

void an_json_bytes(struct an_json *json, struct an_bytes value)
{
    before_value(json);
    quoted(json, value);
}

void an_json_string(struct an_json *json, const char *value)
{
    if (value) {
        an_json_bytes(json, an_bytes_of(value));
    } else {
        an_json_null(json);
    }
}

void an_json_number(struct an_json *json, double value)
{
    char buffer[32];
    before_value(json);
    an_text_add(json->out, an_number_shortest(value, buffer));
}

void an_json_integer(struct an_json *json, int64_t value)
{
    before_value(json);
    an_text_addf(json->out, "%lld", (long long)value);
}

void an_json_bool(struct an_json *json, bool value)
{
    before_value(json);
    an_text_add(json->out, value ? "true" : "false");
}

void an_json_null(struct an_json *json)
{
    before_value(json);
    an_text_add(json->out, "null");
}

void an_json_raw(struct an_json *json, const char *value)
{
    before_value(json);
    an_text_add(json->out, value);
}

void an_json_put_string(struct an_json *json, const char *key, const char *value)
{
    an_json_key(json, key);
    an_json_string(json, value);
}

void an_json_put_number(struct an_json *json, const char *key, double value)
{
    an_json_key(json, key);
    an_json_number(json, value);
}

void an_json_put_integer(struct an_json *json, const char *key, int64_t value)
{
    an_json_key(json, key);
    an_json_integer(json, value);
}

void an_json_put_bool(struct an_json *json, const char *key, bool value)
{
    an_json_key(json, key);
    an_json_bool(json, value);
}
