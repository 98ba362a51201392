/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Invented charts, scratch files and rasterised pages for the tests of this layer. */
#include "support.h"

#include "andamento/base/memory.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define HOUR_US INT64_C(3600000000)
#define START_US (INT64_C(1772582400) * 1000000) /* 2026-03-04T00:00:00Z */

const struct an_document_info sample_info = {"sample", "tests", "charts", "", START_US};

/* Not Check's own assertion: the samples are also built outside a test. */
static void must(bool held)
{
    if (!held) {
        fputs("the support of the drawing tests failed\n", stderr);
        abort();
    }
}

double sample_uniform(uint64_t *state)
{
    *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (double)(*state >> 11) / 9007199254740992.0;
}

double sample_normal(uint64_t *state)
{
    double sum = 0;
    for (int i = 0; i < 12; i++) {
        sum += sample_uniform(state);
    }
    return sum - 6;
}

struct sample *sample_plain(size_t n, double centre, double sigma)
{
    struct sample *s = an_alloc(1, sizeof *s);
    must(s != NULL);
    uint64_t state = 11;
    for (size_t i = 0; i < n && i < SAMPLE_MOST; i++) {
        s->points[i] = (struct an_plot_point){.at_us = START_US + (int64_t)i * HOUR_US,
                                              .value = centre + sigma * sample_normal(&state),
                                              .centre = centre,
                                              .lcl = centre - 3 * sigma,
                                              .ucl = centre + 3 * sigma};
    }
    s->plot = (struct an_plot){.title = "mean of 24 sites",
                               .unit = "cd/m²",
                               .decimals = 2,
                               .points = s->points,
                               .count = n,
                               .signals = s->signals,
                               .shifts = s->shifts,
                               .lsl = NAN,
                               .usl = NAN,
                               .target = NAN};
    return s;
}

static void add_signal(struct sample *s, size_t first, size_t last, const char *code)
{
    s->signals[s->plot.signal_count++] = (struct an_plot_signal){first, last, code};
    if (first == last) {
        s->points[first].flagged = true;
    }
    for (size_t i = first; first < last && i <= last; i++) {
        s->points[i].in_run = true;
    }
}

struct sample *sample_full(void)
{
    enum { N = 72 };
    struct sample *s = sample_plain(N, 12.0, 0.4);
    for (size_t i = 0; i < N; i++) {
        struct an_plot_point *p = &s->points[i];
        if (i >= 26) {
            p->phase = 1;
            p->centre = 12.3;
            p->lcl = 11.1;
            p->ucl = 13.5;
        }
        if (i >= 50) {
            p->value += 0.035 * (double)(i - 50) + 0.3;
        }
        snprintf(s->names[i / 9], sizeof s->names[0], "W-%03zu", 117 + i / 9);
        p->ribbon = s->names[i / 9];
    }
    s->points[17].gap_before = true;
    s->points[12].excluded = true;
    s->points[12].value = 13.6;
    s->points[12].note = 1;
    s->points[40].value = 22.0;
    s->points[40].note = 2;
    s->points[40].excluded = true;
    s->points[67].value = 13.72;
    s->points[69].value = 13.85;
    s->points[71].value = 13.92;
    add_signal(s, 67, 67, "B+");
    add_signal(s, 69, 69, "B+");
    add_signal(s, 71, 71, "B+");
    add_signal(s, 54, 66, "R9+");
    add_signal(s, 60, 65, "D6+");
    s->plot.phase_labels = s->labels;
    s->plot.phase_label_count = 2;
    s->labels[0] = "P1 locked 2 March, L. Brandt";
    s->labels[1] = "P2 locked 5 March after stamp change, L. Brandt";
    s->plot.ribbon_title = "wafer";
    s->plot.onset = (struct an_plot_onset){true, 51.5, 49, 54};
    static const char *const names[] = {"night", "early", "late"};
    static const char *const dates[] = {"4 March", "5 March", "6 March"};
    for (size_t i = 0; i < 9; i++) {
        s->shifts[i] = (struct an_plot_shift){START_US + (int64_t)i * 8 * HOUR_US, names[i % 3],
                                              i % 3 == 0, dates[i / 3]};
    }
    s->plot.shift_count = 9;
    s->notes[0] =
        "4 March 12:00, probe lifted while moving, excluded by K. Aalto, retest on the same "
        "tile agreed with its neighbours";
    s->notes[1] = "5 March 16:00, tile without a mask, excluded by K. Aalto";
    s->plot.notes = s->notes;
    s->plot.note_count = 2;
    uint64_t state = 5;
    for (size_t i = 0; i < 600; i++) {
        s->readings[i] = 12.3 + 0.62 * sample_normal(&state);
    }
    s->side = (struct an_side_view){s->readings, 600, 10.0, 14.8, 12.4};
    s->plot.side = &s->side;
    return s;
}

void sample_free(struct sample *sample)
{
    an_free(sample);
}

/* --- files --------------------------------------------------------------------------------- */

static char folder[64];

void scratch_open(void)
{
    strcpy(folder, "/tmp/an-draw-XXXXXX");
    must(mkdtemp(folder) != NULL);
}

const char *scratch_path(const char *name)
{
    static char paths[4][160];
    static size_t next;
    char *path = paths[next++ % 4];
    snprintf(path, sizeof paths[0], "%s/%s", folder, name);
    return path;
}

void scratch_close(void)
{
    char command[128];
    snprintf(command, sizeof command, "rm -rf '%s'", folder);
    must(system(command) == 0);
}

char *read_file(const char *path, size_t *length)
{
    FILE *file = fopen(path, "rb");
    must(file != NULL);
    must(fseek(file, 0, SEEK_END) == 0);
    const long size = ftell(file);
    must(size >= 0);
    rewind(file);
    char *bytes = an_alloc((size_t)size + 1, 1);
    must(bytes != NULL);
    *length = fread(bytes, 1, (size_t)size, file);
    must(*length == (size_t)size);
    fclose(file);
    return bytes;
}

bool rasterise(const char *pdf, int dots_per_inch, struct picture *picture)
{
    char command[512];
    snprintf(command, sizeof command,
             "command -v pdftoppm >/dev/null && pdftoppm -r %d -gray -singlefile '%s' '%s'",
             dots_per_inch, pdf, pdf);
    if (system(command) != 0) {
        return false;
    }
    char path[256];
    snprintf(path, sizeof path, "%s.pgm", pdf);
    FILE *file = fopen(path, "rb");
    must(file != NULL);
    must(fscanf(file, "P5 %zu %zu 255", &picture->width, &picture->height) == 2);
    fgetc(file);
    picture->grey = an_alloc(picture->width * picture->height, 1);
    must(picture->grey != NULL);
    must(fread(picture->grey, 1, picture->width * picture->height, file) ==
         picture->width * picture->height);
    fclose(file);
    return true;
}

void picture_free(struct picture *picture)
{
    an_free(picture->grey);
    picture->grey = NULL;
}
