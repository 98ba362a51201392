/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A record's fields, through the CSV library. One thread. */
#ifndef AN_INTAKE_FIELDS_H
#define AN_INTAKE_FIELDS_H

#include "andamento/base/bytes.h"
#include "andamento/base/status.h"

#include <csv.h>
#include <stdbool.h>
#include <stddef.h>

enum { AN_MOST_COLUMNS = 4096, AN_MOST_FIELD_BYTES = 256 * 1024 };

struct an_fields {
    struct an_bytes *at; /* of the last record; live until the next one */
    size_t count;        /* may be more than AN_MOST_COLUMNS: then only those are kept */
    size_t longest;      /* bytes of the longest field */
    struct csv_parser parser;
    bool parser_open, failed;
    size_t capacity;
    unsigned char *bytes; /* the fields' own bytes: the library's live in its callback only */
    size_t used, room;
};

AN_CHECKED enum an_status an_fields_open(struct an_fields *fields, struct an_error *err);
void an_fields_close(struct an_fields *fields); /* all zeroes is fine */
/* For the records to come. */
AN_CHECKED enum an_status an_fields_begin(struct an_fields *fields, char delimiter, bool trim,
                                          struct an_error *err);
/* Parts one record (without its last line end, quotes well set). AN_DOMAIN if the library does not
 * agree that they are; AN_NO_MEMORY. */
AN_CHECKED enum an_status an_fields_part(struct an_fields *fields, struct an_bytes record,
                                         struct an_error *err);

#endif
