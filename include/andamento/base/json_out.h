/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A streaming JSON writer (RFC 8259) into a text: keys in the order given, doubles in their
 * shortest form, NaN and infinity as null. It knows where a comma belongs; nesting up to 32.
 * With pretty, two blanks a level; without, no blanks at all: the canonical form that digests
 * are made of. Broken UTF-8 is replaced by U+FFFD. One thread a writer.
 */
#ifndef ANDAMENTO_BASE_JSON_OUT_H
#define ANDAMENTO_BASE_JSON_OUT_H

#include "andamento/base/text.h"

#include <stdbool.h>
#include <stdint.h>

struct an_json {
    struct an_text *out; /* the caller's */
    bool pretty;
    int depth;
    bool has_member[33], after_key;
};

struct an_json an_json_into(struct an_text *out, bool pretty);
void an_json_object(struct an_json *json);            /* { */
void an_json_array(struct an_json *json);             /* [ */
void an_json_end(struct an_json *json, char bracket); /* '}' or ']' */
void an_json_key(struct an_json *json, const char *key);
void an_json_string(struct an_json *json, const char *value); /* NULL writes null */
void an_json_bytes(struct an_json *json, struct an_bytes value);
void an_json_number(struct an_json *json, double value);
void an_json_integer(struct an_json *json, int64_t value);
void an_json_bool(struct an_json *json, bool value);
void an_json_null(struct an_json *json);
void an_json_raw(struct an_json *json, const char *value); /* already JSON */
/* key and value in one */
void an_json_put_string(struct an_json *json, const char *key, const char *value);
void an_json_put_number(struct an_json *json, const char *key, double value);
void an_json_put_integer(struct an_json *json, const char *key, int64_t value);
void an_json_put_bool(struct an_json *json, const char *key, bool value);

#endif
