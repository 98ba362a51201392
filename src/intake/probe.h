/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What sample files of one station look like, as a proposal for the line description. It reads
 * samples only, settles nothing that the samples do not settle, and stores nothing. One thread.
 */
#ifndef AN_INTAKE_PROBE_H
#define AN_INTAKE_PROBE_H

#include "andamento/base/memory.h"
#include "andamento/base/text.h"
#include "line/line.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct an_probe_options {
    const char *name;           /* of the station; NULL: from the first file's name */
    const char *kind;           /* of the item; NULL: found */
    const struct an_line *line; /* a description whose kinds are used, or NULL */
};

struct an_probe_finding { /* one key of the block */
    const char *path;     /* below the station: "format.delimiter", "links.-", "time"; below
                             the kinds: "kinds.tile" */
    const char *value;    /* YAML in one line */
    bool proposed;        /* false: stands as a comment, for a person to take or leave */
    bool needed;          /* not proposed, and the block cannot be used without it */
    const char *evidence; /* or NULL */
    const char **doubts;
    size_t doubt_count;
};

struct an_probe_look { /* what was read of one file */
    const char *path;
    uint64_t bytes, read;
    uint64_t rows; /* that were looked at */
};

struct an_probe_result {
    const char *station;
    const struct an_probe_finding *findings; /* in the order of the block */
    size_t finding_count;
    const char **remarks; /* doubts about the files as such */
    size_t remark_count;
    const struct an_probe_look *looks;
    size_t look_count, given; /* files looked into, files named */
    bool passed_over;         /* a file could not be used; a remark says which */
    bool complete;            /* nothing is `needed` */
};

/* Everything in *result is the arena's. AN_BAD_INPUT when no file can be read as a table (err says
 * why), AN_NOT_FOUND, AN_DENIED, AN_IO, AN_NO_MEMORY; AN_BAD_USAGE for a name that is none. */
AN_CHECKED enum an_status an_probe(const char *const *paths, size_t count,
                                   const struct an_probe_options *options, struct an_arena *arena,
                                   struct an_probe_result *result, struct an_error *err);
/* The block with its comments. */
void an_probe_block(const struct an_probe_result *result, struct an_text *out);

#endif
