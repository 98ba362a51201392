/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Taking files: from a station's bytes to samples, links and held rows in the store.
 *
 * A file goes in whole or not at all, in one transaction, known by the SHA-256 of its bytes. Every
 * line ends in one bin: rows = taken + duplicate + held + blank. Memory does not grow with the
 * file. One thread a collect.
 */
#ifndef AN_INTAKE_COLLECT_H
#define AN_INTAKE_COLLECT_H

#include "andamento/base/status.h"
#include "andamento/store/store.h"
#include "line/line.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum an_take { AN_TAKEN, AN_HELD_WHOLE, AN_SEEN_BEFORE, AN_NO_STATION_FITS };

struct an_take_result {
    enum an_take how;    /* taken; held whole; same bytes seen before; no station fits */
    struct an_file file; /* texts valid until the next an_collect_file or close */
};

struct an_collect; /* holds parsers, buffers and caches between files */

struct an_collect_options {
    bool dry_run;        /* everything but the commit */
    const char *station; /* take every file as this station's; NULL: by folder and pattern */
    void (*progress)(void *context, uint64_t bytes_done, uint64_t bytes_total);
    void *context;
    size_t threads;           /* that read files; 0: as many as there are processors to run on */
    const volatile int *stop; /* checked between blocks; non-zero: the file in hand is undone and
                                  AN_BUSY returned; NULL never */
};

AN_CHECKED enum an_status an_collect_open(struct an_store *store, const struct an_line *line,
                                          const struct an_collect_options *options,
                                          struct an_collect **collect, struct an_error *err);
void an_collect_close(struct an_collect *collect); /* NULL is fine */
/* One file. A bad row or a bad file is a result, not a failure; AN_IO, AN_NOT_FOUND, AN_NO_MEMORY,
 * AN_BUG are failures, and then nothing of the file is in the store. Not a regular file, or one
 * whose name breaks the rules: AN_BAD_INPUT. */
AN_CHECKED enum an_status an_collect_file(struct an_collect *collect, const char *path,
                                          struct an_take_result *result, struct an_error *err);

/* What came of a file: st and result as an_collect_file() gives them (err's text if st). The result's
 * texts live until it returns. */
typedef void an_collect_report(void *context, size_t file, enum an_status st,
                               const struct an_take_result *result, const struct an_error *err);
/*
 * Many files: read by several threads, put by the caller's in the order given, several in one
 * transaction. Each is reported, in that order, once it is safe on the disk. One that is refused
 * (AN_BAD_INPUT, AN_NOT_FOUND, AN_DENIED; AN_IO when it could not be read, or changed meanwhile, the
 * store being well) is reported and the next ones go on; any other failure is reported and ends it,
 * files that came before being kept. What is stored does not depend on the
 * number of threads.
 */
AN_CHECKED enum an_status an_collect_files(struct an_collect *collect, const char *const *paths,
                                           size_t count, an_collect_report *report, void *context,
                                           struct an_error *err);

/* For the next files: threads as in the options. */
void an_collect_use_threads(struct an_collect *collect, size_t threads);

/* The station a path belongs to: its folder lies at the end of the file's folder and the pattern
 * fits the name; else the only pattern that fits. AN_NONE if none or several do. */
size_t an_collect_station_of(const struct an_line *line, const char *path);

/* All files below the paths (folders walked, sorted by name so that a run repeats; names with a
 * leading dot left out), for the program's PATH... operands. A link, a pipe, a folder that may not be
 * read are listed too: taking them tells why they are refused. */
AN_CHECKED enum an_status an_collect_list(const char *const *paths, size_t count,
                                          struct an_arena *arena, const char ***files,
                                          size_t *file_count, struct an_error *err);

/* Sentence and advice of a reason code ("number.bad"); NULL if there is no such code. All codes
 * and what to do about each stand in docs/held.md. */
const char *an_held_advice(const char *code);
/* Does it hold a whole file; and is it a doubt that a person may set aside? */
bool an_held_is_whole_file(const char *code);
bool an_held_is_doubt(const char *code);

#endif
