/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a file is judged by as a whole, each part in a file of its own: values of its streams, header
 * and machine. Called by watch.c alone, in this order. One thread a reading.
 */
#ifndef AN_INTAKE_WATCH_PARTS_H
#define AN_INTAKE_WATCH_PARTS_H

#include "intake/watch.h"

/* Columns that came, went or moved since the station's last file. */
AN_CHECKED enum an_status an_watch_header(struct an_reading *reading, struct an_error *err);
/* The machine that the file names: unlike the station's usual one, reading->whole is set. */
AN_CHECKED enum an_status an_watch_identity(struct an_reading *reading, struct an_error *err);
/* Units and stuck values; what is in doubt is put unless the file is held whole. */
AN_CHECKED enum an_status an_watch_streams(struct an_reading *reading, struct an_error *err);

#endif
