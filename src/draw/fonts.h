/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The two faces that the program carries inside itself, as fontconfig wants them.
 * Threads: everything here is safe from any thread.
 */
#ifndef AN_DRAW_FONTS_H
#define AN_DRAW_FONTS_H

#include "andamento/base/status.h"

#include <fontconfig/fontconfig.h>
#include <stdbool.h>
#include <stdint.h>

#define AN_FONT_FAMILY "Inter"

/* A configuration that holds our faces and nothing of the system's. It lives as long as the
 * process. AN_IO if the faces could not be handed to the libraries, AN_NO_MEMORY. */
AN_CHECKED enum an_status an_fonts_load(FcConfig **config, struct an_error *err);
/* True if every face has a glyph for the character. False before a successful load. */
bool an_fonts_have(uint32_t character);

#endif
