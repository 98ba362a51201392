/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Writing the station files into their folders, and the honest mess among them: the damage that
 * exports suffer, done to single files on purpose, each with what a collector should make of it.
 * One thread an output.
 */
#ifndef AN_DEMO_MESS_H
#define AN_DEMO_MESS_H

#include "demo/sheet.h"

enum an_demo_damage {
    AN_DEMO_TRUNCATED,      /* the last row ends in the middle of a number */
    AN_DEMO_DUPLICATE,      /* the same bytes again under another name */
    AN_DEMO_UNIT_CHANGE,    /* one column in nm where um is due, units row and all */
    AN_DEMO_DAMAGED_SERIAL, /* a spreadsheet made a number of a serial */
    AN_DEMO_MISSING_CODE,   /* readings that are codes, not numbers */
    AN_DEMO_NO_DENOMINATOR, /* a count without what it is a count of */
    AN_DEMO_MARK,           /* a byte-order mark where the station writes none */
    AN_DEMO_EMPTY,          /* a file of no bytes */
    AN_DEMO_LATE            /* a file that comes after all others of its station */
};
#define AN_DEMO_MESS_COUNT 9

struct an_demo_mess {
    enum an_demo_damage damage;
    const char *kind, *story;
    enum an_demo_station station;
    int day, pattern;    /* which shift's file */
    bool done;           /* it was: the plan is long enough to have that file */
    char file[96];       /* "transfer/transfer_20260304_late.csv", below the spool folder */
    const char *outcome; /* "taken", "held", "duplicate" */
    int64_t taken, held; /* rows of that file */
    int64_t missing;     /* readings stored as codes */
};

struct an_demo_station_files {
    int64_t files, rows;
};

struct an_demo_output {
    const struct an_demo_plan *plan;
    const char *folder; /* the demonstration's */
    struct an_demo_station_files of[AN_DEMO_STATION_COUNT];
    int64_t files, rows, bytes;
    struct an_demo_mess mess[AN_DEMO_MESS_COUNT]; /* none is done on a quiet line */
};

struct an_demo_output an_demo_output_to(const struct an_demo_plan *plan, const char *folder);
/* Makes the folder, its spool folders and those of the stations. The folder must be empty if it
 * exists: AN_CANNOT_CREATE otherwise, or if one cannot be made. */
AN_CHECKED enum an_status an_demo_output_folders(const struct an_demo_output *output,
                                                 struct an_error *err);
/* Writes the sheet as STATION_DATE_SHIFT.csv, with the damage that is due to it (the sheet may be
 * changed by that). A sheet without rows is not written. AN_IO, AN_CANNOT_CREATE, AN_NO_MEMORY. */
AN_CHECKED enum an_status an_demo_output_shift(struct an_demo_output *output,
                                               enum an_demo_station station,
                                               const struct an_demo_shift *shift,
                                               struct an_demo_sheet *sheet, struct an_error *err);
/* Writes the sheet under a name of its own, undamaged. */
AN_CHECKED enum an_status an_demo_output_named(struct an_demo_output *output,
                                               enum an_demo_station station, const char *name,
                                               const struct an_demo_sheet *sheet,
                                               struct an_error *err);

#endif
