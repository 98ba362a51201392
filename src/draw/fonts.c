/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Hands the embedded faces to fontconfig, cairo and pango. Must never look at a font or a setting
 * of the machine: a report would then differ from one machine to the next.
 *
 * The hard idea: all three libraries want a file name, and cairo remembers faces by that name for
 * the life of the process, long after the document that used them is closed. A name that meant the
 * regular face once and the bold one later would set the wrong letters. So the faces are written
 * once a process into memory files that stay open until it ends, and their names never change
 * their meaning. This is the one place of the layer that keeps anything between documents; it is
 * written once, under pthread_once, and only read afterwards.
 */
#define _GNU_SOURCE 1 /* memfd_create */

#include "draw/fonts.h"

#include <errno.h>
#include <pthread.h>
#include <stdio.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

extern const unsigned char an_font_Inter_Regular[], an_font_Inter_Regular_end[];
extern const unsigned char an_font_Inter_SemiBold[], an_font_Inter_SemiBold_end[];

static struct {
    pthread_once_t once;
    FcConfig *config;       /* NULL: the load failed */
    FcCharSet *held_by_all; /* characters that every face has */
    enum an_status failed;
    char why[200];
} faces = {.once = PTHREAD_ONCE_INIT};

static bool write_all(int fd, const unsigned char *at, size_t length)
{
    while (length > 0) {
        const ssize_t n = write(fd, at, length);
        if (n < 0 && errno == EINTR) {
            continue;
        }
        if (n <= 0) {
            return false;
        }
        at += n;
        length -= (size_t)n;
    }
    return true;
}

/* The file stays open for good: see above. */
static bool add_face(FcConfig *config, const unsigned char *from, const unsigned char *to)
{
    const int fd = memfd_create("andamento-font", MFD_CLOEXEC);
    if (fd < 0 || !write_all(fd, from, (size_t)(to - from))) {
        snprintf(faces.why, sizeof faces.why, "could not hold a font in memory: %s",
                 strerror(errno));
        if (fd >= 0) {
            close(fd);
        }
        return false;
    }
    char name[64];
    snprintf(name, sizeof name, "/proc/self/fd/%d", fd);
    if (!FcConfigAppFontAddFile(config, (const FcChar8 *)name)) {
        snprintf(faces.why, sizeof faces.why,
                 "could not read the program's own font through %s; is /proc mounted?", name);
        close(fd);
        return false;
    }
    return true;
}

static FcCharSet *common_characters(FcConfig *config)
{
    const FcFontSet *set = FcConfigGetFonts(config, FcSetApplication);
    FcCharSet *common = NULL;
    for (int i = 0; set && i < set->nfont; i++) {
        FcCharSet *of_face = NULL;
        if (FcPatternGetCharSet(set->fonts[i], FC_CHARSET, 0, &of_face) != FcResultMatch) {
            continue;
        }
        FcCharSet *next = common ? FcCharSetIntersect(common, of_face) : FcCharSetCopy(of_face);
        if (common) {
            FcCharSetDestroy(common);
        }
        common = next;
    }
    return common;
}

static void load(void)
{
    faces.failed = AN_IO;
    FcConfig *config = FcConfigCreate();
    if (!config) {
        faces.failed = AN_NO_MEMORY;
        snprintf(faces.why, sizeof faces.why, "out of memory while loading the fonts");
        return;
    }
    FcConfigSetRescanInterval(config, 0);
    if (!add_face(config, an_font_Inter_Regular, an_font_Inter_Regular_end) ||
        !add_face(config, an_font_Inter_SemiBold, an_font_Inter_SemiBold_end)) {
        FcConfigDestroy(config);
        return;
    }
    /* Pango starts fontconfig in a thread of its own; with a current configuration present that
     * start reads nothing of the machine and writes no cache into anybody's home. */
    faces.held_by_all = common_characters(config);
    if (!faces.held_by_all || !FcConfigSetCurrent(config)) {
        snprintf(faces.why, sizeof faces.why, "could not set up the fonts; memory may be out");
        FcConfigDestroy(config);
        return;
    }
    faces.config = config;
    faces.failed = AN_OK;
}

enum an_status an_fonts_load(FcConfig **config, struct an_error *err)
{
    *config = NULL;
    if (pthread_once(&faces.once, load) != 0) {
        return an_fail(err, AN_BUG, "could not load the fonts once");
    }
    if (faces.failed) {
        return an_fail(err, faces.failed, "%s", faces.why);
    }
    *config = faces.config;
    return AN_OK;
}

bool an_fonts_have(uint32_t character)
{
    return faces.held_by_all && FcCharSetHasChar(faces.held_by_all, character);
}
