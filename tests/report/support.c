/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Invented shifts, and what looks into the PDFs made of them. All figures here are made up. */
#include "support.h"

#include "andamento/base/instant.h"
#include "report/wording.h"

#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* fontconfig and pango keep their tables until the process ends; under AddressSanitizer that would
 * be told as leaks of every test. Leaks of ours have our frames and are told. */
__attribute__((visibility("default"))) const char *__lsan_default_suppressions(void);
const char *__lsan_default_suppressions(void)
{
    return "leak:libfontconfig\nleak:libpango\nleak:libglib\nleak:libgobject\n";
}

static const char line_text[] =
    "line: libeccio\n"
    "title: Wall line Libeccio, hall 4\n"
    "zone: Europe/Rome\n"
    "shifts: {early: 06:00, late: 14:00, night: 22:00}\n"
    "kinds:\n"
    "  wafer: {}\n"
    "  tile: {product: yes}\n"
    "  wall: {product: yes}\n"
    "stations:\n"
    "  transfer:\n"
    "    title: Mass transfer\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    silent_after: 2 h\n"
    "    cautions: Laser station of class 4 inside its enclosure; only authorised people open it.\n"
    "    characteristics:\n"
    "      dx: {title: Transfer offset x, column: dx, unit: um, split: [colour, head]}\n"
    "  edge:\n"
    "    title: Edge contact\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    silent_after: 4 h\n"
    "    characteristics:\n"
    "      resistance: {title: Edge resistance, column: r, unit: ohm, subgroup: row}\n"
    "  lumen:\n"
    "    title: Luminance\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      white: {title: White luminance, column: lv, unit: cd/m2}\n";

static void no_mistake(void *context, const char *path, uint64_t line, uint64_t column,
                       const char *text)
{
    (void)context;
    fprintf(stderr, "%s:%llu:%llu: %s\n", path, (unsigned long long)line,
            (unsigned long long)column, text);
}

struct an_line *invented_line(void)
{
    struct an_line *line = NULL;
    struct an_error err = {0};
    if (an_line_read(an_bytes_of(line_text), "line.yaml", ".", no_mistake, NULL, &line, &err)) {
        fprintf(stderr, "%s\n", err.text);
        abort();
    }
    return line;
}

/* A number between -1.7 and 1.7, near enough to a standard deviation of one. */
static double noise(uint64_t *state)
{
    *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return ((double)(*state >> 40) / 16777216.0 - 0.5) * 3.4641;
}

struct story { /* what a stream does */
    size_t count;
    double centre, sigma, decimals_unit;
    size_t from;  /* drift starts here; count: never */
    double slope; /* sigmas a point */
    bool limits;
};

static void invent_panel(struct an_arena *arena, const struct an_period_data *data,
                         struct an_panel_sheet *panel, const struct story *story, uint64_t *seed,
                         const char *statistic, int *beyond)
{
    static const char *const wafers[] = {"WR00117", "WR00118", "WR00121", "WR00122 + WR00123"};
    panel->statistic = statistic;
    panel->count = story->count;
    panel->points = an_arena_alloc(arena, story->count + 1, sizeof *panel->points);
    panel->signals = an_arena_alloc(arena, story->count + 1, sizeof *panel->signals);
    const int64_t begin = data->axis_from_us;
    const double step = (double)(data->now.until_us - begin - AN_MINUTE_US) /
                        (double)(story->count ? story->count : 1);
    size_t open = SIZE_MAX;
    for (size_t i = 0; i < story->count; i++) {
        const double drift = i >= story->from ? story->slope * (double)(i - story->from + 1) : 0;
        const double z = noise(seed) * 0.9 + drift;
        const bool out = story->limits && fabs(z) > 3.0;
        panel->points[i] = (struct an_plot_point){
            .at_us = begin + (int64_t)((double)i * step),
            .value = story->centre + story->sigma * z,
            .centre = story->limits ? story->centre : (double)NAN,
            .lcl = story->limits ? story->centre - 3 * story->sigma : (double)NAN,
            .ucl = story->limits ? story->centre + 3 * story->sigma : (double)NAN,
            .phase = story->limits ? 1 : 0,
            .flagged = out,
            .ribbon = wafers[i * 4 / story->count]};
        if (out && (open == SIZE_MAX || panel->signals[open].last + 1 < i)) {
            open = panel->signal_count++;
            panel->signals[open] = (struct an_plot_signal){i, i, z > 0 ? "B+" : "B-"};
        } else if (out) {
            panel->signals[open].last = i;
        }
        *beyond += out;
    }
}

static const char *serials(struct an_arena *arena, size_t i, bool longer)
{
    return an_arena_printf(arena, longer ? "TILE-OF-A-VERY-LONG-SERIAL-KIND-%08zu-K" : "T-%06zu",
                           4117 + i + i / 17);
}

static void invent_facts(struct an_arena *arena, struct an_stream_sheet *sheet)
{
    static const struct an_fact facts[] = {
        {"Chart", "item means, limits from item-to-item variation; the spread inside items is "
                  "judged by itself"},
        {"Limits in force", "lcl -0.93, centre 0.12, ucl 1.17 um"},
        {"Locked", "revision 2 of 2, 1 March 09:12 by L. Brandt: after the stage was rebuilt"},
        {"Baseline", "120 samples, 2 left out by name, 20 February 06:00 to 28 February 22:00"},
        {"Sigma", "of the plotted value 0.350 um; inside a sample 0.410 um; between items beyond "
                  "that 0.338 um; known to about 7 % (one standard error)"},
        {"Baseline's shape",
         "normal shape not contradicted (Anderson-Darling p 0.412); neighbours correlate 0.11"},
        {"Rules in force", "B a point beyond a control limit; R9 9 points in a row on one side of "
                           "the centre"},
        {"False alarms to expect", "about 0.27 points in this shift's 60 samples, if nothing had "
                                   "changed (both panels; andamento limits show tells how)"},
        {"Gauge", "vision V-3, tool TR-1"},
        {"Sampling", "one sample an item, n 24; 60 samples this shift, one about every 8 min"},
        {"Spec", "target 0, lower -3, upper 3 um; it judges units, not the plotted values"},
        {"Capability", "no Cpk: 14 samples signal; Ppk 1.02 (0.91 to 1.13) over the chart's period "
                       "describes the past only"}};
    sheet->fact_count = sizeof facts / sizeof facts[0];
    sheet->facts = an_arena_alloc(arena, sheet->fact_count, sizeof *sheet->facts);
    memcpy(sheet->facts, facts, sizeof facts);
}

static void invent_sheet(struct an_arena *arena, struct an_period_data *data, size_t i,
                         const struct invented *how)
{
    static const char *const colours[] = {"R", "G", "B"};
    static const char *const stations[] = {"transfer", "edge", "lumen"};
    static const char *const titles[] = {"Transfer offset x", "Edge resistance", "White luminance"};
    static const char *const units[] = {"um", "ohm", "cd/m2"};
    static const double centres[] = {0.12, 2.05, 800};
    static const double sigmas[] = {0.35, 0.1, 5};
    const bool moves = i < how->signals;
    const size_t station = moves ? i % 3 : (i - how->signals) * 3 / (how->quiet_streams + 1);
    struct an_stream_sheet *sheet = &data->sheets[i];
    uint64_t seed = 77 + i * 1013;
    const size_t count = how->no_samples ? 40 : 60 + i % 5 * 17;
    sheet->stream = (struct an_stream){.stream_id = (int64_t)i + 1,
                                       .station = stations[station],
                                       .characteristic = "dx",
                                       .split = "",
                                       .name = "transfer.dx@colour=R,head=H2"};
    sheet->title = an_arena_printf(
        arena,
        how->long_names ? "%s of the characteristic whose title its author could not keep short "
                          "enough for any page, colour %s, head H%zu"
                        : "%s, colour %s, head H%zu",
        titles[station], colours[i % 3], i / 3 + 1);
    sheet->station = station;
    sheet->station_title = data->stations[station].title;
    sheet->unit = units[station];
    sheet->decimals = station == 2 ? 1 : 2;
    sheet->described = sheet->news = true;
    sheet->has_limits = !how->no_limits;
    const struct story story = {.count = count,
                                .centre = centres[station],
                                .sigma = sigmas[station],
                                .from = moves ? count / 2 + i % 7 : count,
                                .slope = i % 2 ? -0.13 : 0.13,
                                .limits = !how->no_limits};
    int beyond = 0;
    invent_panel(arena, data, &sheet->panel[0], &story, &seed, station == 1 ? "value" : "mean",
                 &beyond);
    sheet->readings_per_sample = station == 1 ? 1 : 24;
    sheet->counted_in = "reading";
    sheet->single_values = station == 1;
    sheet->lsl = station == 1 ? 1.6 : (double)NAN;
    sheet->usl = station == 1 ? 2.6 : (double)NAN;
    sheet->target = station == 1 ? 2.0 : (double)NAN;
    if (station != 1) {
        const struct story spread = {.count = count,
                                     .centre = sigmas[station] * 1.2,
                                     .sigma = sigmas[station] * 0.15,
                                     .from = count,
                                     .limits = !how->no_limits};
        invent_panel(arena, data, &sheet->panel[1], &spread, &seed, "standard deviation", &beyond);
    }
    if (how->no_samples) {
        for (int p = 0; p < 2; p++) { /* all before the shift */
            for (size_t k = 0; k < sheet->panel[p].count; k++) {
                sheet->panel[p].points[k].at_us -= 8 * AN_HOUR_US;
            }
        }
    }
    sheet->phase_labels = an_arena_alloc(arena, 2, sizeof *sheet->phase_labels);
    sheet->phase_labels[0] = "no limits";
    sheet->phase_labels[1] = "P2 from 1 March 09:12, L. Brandt";
    sheet->phase_count = 2;
    sheet->ribbon_title = station == 0 ? "wafer" : NULL;
    for (size_t k = 0; k < sheet->panel[0].count; k++) {
        sheet->last_us = sheet->panel[0].points[k].at_us;
        sheet->last_value = sheet->panel[0].points[k].value;
        sheet->period_samples += sheet->last_us >= data->now.from_us;
        sheet->before_samples +=
            sheet->last_us >= data->before.from_us && sheet->last_us < data->now.from_us;
    }
    sheet->cautions = data->line->stations[station].cautions;
    sheet->expected_false = sheet->has_limits ? 0.0045 * (double)sheet->period_samples : 0;
    invent_facts(arena, sheet);
    data->samples += sheet->period_samples;
    data->before_samples += sheet->before_samples;
    data->judged_streams += sheet->has_limits && sheet->period_samples;
    data->expected_false += sheet->expected_false;
}

static void invent_signal(struct an_arena *arena, struct an_period_data *data, size_t i,
                          const struct invented *how)
{
    struct an_period_signal *one = &data->signals[i];
    const struct an_stream_sheet *sheet = &data->sheets[i];
    const struct an_plot_point *points = sheet->panel[0].points;
    const size_t from = sheet->panel[0].count / 2 + i % 7;
    one->sheet = i;
    one->name = an_arena_printf(arena, "stream-%zu", i + 1);
    one->is_new = i % 4 != 3;
    one->product = true;
    one->kind = "tile";
    one->item_count = i == 0 && how->items ? how->items : 3 + (how->signals - i) * 4;
    one->items = an_arena_alloc(arena, one->item_count, sizeof *one->items);
    for (size_t k = 0; k < one->item_count; k++) {
        one->items[k].serial = serials(arena, k * (1 + i % 2), how->long_names);
        one->items[k].kind = "tile";
        one->items[k].in =
            k < one->item_count / 3 ? an_arena_printf(arena, "WALL-%03zu", 31 + k / 6) : NULL;
    }
    one->onset_at = (double)from;
    one->onset_earliest = (double)from - 3;
    one->onset_latest = (double)from + 5;
    const char *walls = an_say_count(arena, (int64_t)one->item_count / 3);
    one->signal = (struct an_signal){
        .record = {.signal_id = (int64_t)i + 1, .first_us = points[from].at_us, .panel = 0},
        .stream = sheet->stream,
        .open = i != 2,
        .code = i % 2 ? "R9-" : "B+",
        .size = (i % 2 ? -1 : 1) * 2.6 * (points[0].ucl - points[0].centre) / 3,
        .size_sigmas = 2.6,
        .has_change = true,
        .onset_us = points[from].at_us,
        .onset_earliest_us = points[from - 3].at_us,
        .onset_latest_us = points[from + 5].at_us,
        .item_count = one->item_count,
        .product_in_next = one->item_count / 3,
        .next_kind = "wall",
        .first_serial = one->items[0].serial,
        .last_serial = one->items[one->item_count - 1].serial,
        .ribbon_note = i == 0 ? "began with wafer WR00121" : NULL,
        .sentence = an_arena_printf(
            arena,
            "%s has %s since %s, by %s so far (2.6 sigma); %zu tiles carry it, %s are in walls.",
            sheet->title, i % 2 ? "fallen" : "risen",
            an_say_time(arena, data->line->zone, points[from].at_us),
            an_say_measure(arena, fabs(2.6 * (points[0].ucl - points[0].centre) / 3),
                           sheet->decimals, sheet->unit),
            one->item_count, walls)};
    one->also = an_arena_alloc(arena, how->signals + 1, sizeof *one->also);
    for (size_t k = 0; k < how->signals && k < 3; k++) {
        if (k != i) {
            one->also[one->also_count++] = k;
        }
    }
    if (!one->signal.open) {
        one->answered_by = "L. Engineer";
        one->answer = "nozzle clogged; cleaned at 03:10; tiles of the hour held";
    }
    data->open_signals += one->signal.open;
}

static void invent_stations(struct an_arena *arena, struct an_period_data *data,
                            const struct invented *how)
{
    data->station_count = data->line->station_count;
    data->stations = an_arena_alloc(arena, data->station_count + 1, sizeof *data->stations);
    for (size_t i = 0; i < data->station_count; i++) {
        const struct an_station *station = &data->line->stations[i];
        data->stations[i] = (struct an_station_sheet){
            .name = station->name,
            .title = station->title,
            .described = true,
            .silent_after_us = station->silent_after_us,
            .last_us = how->nothing ? AN_NO_INSTANT : data->now.until_us - 5 * AN_MINUTE_US};
        if (!how->nothing && !how->no_samples) {
            data->stations[i].traffic =
                (struct an_station_traffic){.station = station->name,
                                            .files = 61,
                                            .files_held = how->all_well ? 0 : (int64_t)i,
                                            .rows = 19440,
                                            .taken = how->all_well ? 19440 : 19301,
                                            .duplicate = how->all_well ? 0 : 108,
                                            .held = how->all_well ? 0 : 29,
                                            .blank = how->all_well ? 0 : 2,
                                            .sightings = how->all_well ? 0 : 3};
        }
    }
    if (!how->all_well) {
        data->stations[1].silent = true;
        data->stations[1].last_us =
            how->nothing ? AN_NO_INSTANT : data->now.until_us - 5 * AN_HOUR_US;
    }
}

static void invent_trouble(struct an_arena *arena, struct an_period_data *data)
{
    static struct an_held_reason held[] = {
        {"transfer", "number.bad", 17, 1,
         "TR-20260304-0310.txt line 212: column dx_um holds '0.3.1', which is no number",
         "Ask the station's keeper; then correct the mapping and release the rows."},
        {"lumen", "row.fields", 12, 2, "LM-0311.csv line 9: 11 fields where the header has 12",
         "A row was cut or a delimiter stands in a text; compare with the neighbours."}};
    static const struct an_file files[] = {{.name = "LM-0312.csv",
                                            .station = "lumen",
                                            .state = AN_FILE_HELD,
                                            .code = "unit.changed",
                                            .why = "column lv is in fL, the description says cd/m2",
                                            .why_line = 2,
                                            .first_us = AN_NO_INSTANT,
                                            .last_us = AN_NO_INSTANT},
                                           {.name = "export(3).csv",
                                            .state = AN_FILE_HELD,
                                            .code = "file.no_station",
                                            .why = "no station's pattern fits this name",
                                            .first_us = AN_NO_INSTANT,
                                            .last_us = AN_NO_INSTANT}};
    static struct an_due_signal due[] = {
        {0, 0, "Edge resistance, colour G, head H1", "R9+", "9 points in a row above the centre"},
        {0, 0, "White luminance, colour B, head H3", "B-", "a point beyond its limits"}};
    static const char *limitless[] = {"Haze, site 4", "Haze, site 5"};
    static const char *absent[] = {"Void count"};
    static const char *proposed[] = {"Coating thickness, edge N (2 March 10:00)"};
    static const char *uncertain[] = {"Bond pressure (12)", "Bond dwell (18)"};
    data->held = held;
    data->held_count = 2;
    data->held_files = an_arena_alloc(arena, 2, sizeof files[0]);
    memcpy(data->held_files, files, sizeof files);
    data->held_file_count = 2;
    data->due = an_arena_alloc(arena, 2, sizeof due[0]);
    for (size_t i = 0; i < 2; i++) {
        data->due[i] = due[i];
        data->due[i].signal_id = 11 + (int64_t)i;
        data->due[i].signal_us = data->now.from_us - (3 - (int64_t)i) * AN_DAY_US;
    }
    data->due_count = 2;
    data->no_limits = (struct an_text_list){limitless, 2};
    data->absent = (struct an_text_list){absent, 1};
    data->proposed = (struct an_text_list){proposed, 1};
    data->uncertain = (struct an_text_list){uncertain, 2};
}

struct an_period_data *invented_shift(struct an_arena *arena, const struct an_line *line,
                                      const struct an_report_definition *definition,
                                      const struct invented *how)
{
    struct an_period_data *data = an_arena_alloc(arena, 1, sizeof *data);
    struct an_error err = {0};
    data->line = line;
    data->definition = definition;
    struct an_shift shift = {0};
    struct an_report_options options = {0};
    if (an_line_shift_parse(line, an_bytes_of("2026-03-04 night"), &shift, &err) ||
        an_report_of_shift(line, &shift, arena, &options, &err)) {
        abort();
    }
    data->now = options.now;
    data->before = options.before;
    data->word = "shift";
    data->period = an_say_period(arena, line->zone, data->now.from_us, data->now.until_us);
    data->title = definition->title;
    data->store_name = how->long_names
                           ? "a-store-with-a-name-that-goes-on-for-longer-than-a-name-should.store"
                           : "line.store";
    data->program_version = "0.1.0";
    data->head.size = 12408;
    data->head.root = an_sha256_of("invented", 8);
    an_sha256_hex(&data->head.root, data->root_hex);
    data->newest_us = data->now.until_us + AN_HOUR_US;
    data->as_of_us = data->now.until_us;
    data->axis_from_us = data->now.from_us - (int64_t)definition->days_before * AN_DAY_US;
    data->axis_until_us = data->now.until_us;
    data->limits_locked = how->no_limits ? 0 : 14;
    invent_stations(arena, data, how);
    if (!how->nothing) {
        data->sheet_count = how->signals + how->quiet_streams;
        data->sheets = an_arena_alloc(arena, data->sheet_count + 1, sizeof *data->sheets);
        for (size_t i = 0; i < data->sheet_count; i++) {
            invent_sheet(arena, data, i, how);
        }
        data->signal_count = how->signals;
        data->signals = an_arena_alloc(arena, how->signals + 1, sizeof *data->signals);
        for (size_t i = 0; i < how->signals; i++) {
            invent_signal(arena, data, i, how);
            data->new_streams += data->signals[i].is_new;
        }
        data->moved_streams = how->signals;
        data->before_moved = 1;
    }
    if (how->signals) {
        data->at_risk = an_arena_alloc(arena, 1, sizeof *data->at_risk);
        data->at_risk[0] =
            (struct an_kind_at_risk){.kind = "tile",
                                     .product = true,
                                     .items = data->signals[0].item_count + 6,
                                     .in_next = data->signals[0].item_count / 3,
                                     .next = "wall",
                                     .next_items = data->signals[0].item_count / 18 + 1,
                                     .first = data->signals[0].signal.first_serial,
                                     .last = data->signals[0].signal.last_serial};
        data->at_risk_count = 1;
    }
    if (!how->all_well && !how->nothing) {
        invent_trouble(arena, data);
    }
    return data;
}

/* ---- files ---------------------------------------------------------------------------------- */
char *fresh_path(struct an_arena *arena, const char *name)
{
    const char *base = getenv("TMPDIR");
    char *folder = an_arena_printf(arena, "%s/an-report-XXXXXX", base ? base : "/tmp");
    if (!mkdtemp(folder)) {
        abort();
    }
    return an_arena_printf(arena, "%s/%s", folder, name);
}

void remove_folder(const char *path)
{
    char folder[512];
    char entry[1024];
    snprintf(folder, sizeof folder, "%s", path);
    char *slash = strrchr(folder, '/');
    if (!slash || !strstr(folder, "an-report-")) {
        return;
    }
    *slash = '\0';
    DIR *dir = opendir(folder);
    for (struct dirent *at = dir ? readdir(dir) : NULL; at; at = readdir(dir)) {
        if (strcmp(at->d_name, ".") != 0 && strcmp(at->d_name, "..") != 0) {
            snprintf(entry, sizeof entry, "%s/%s", folder, at->d_name);
            unlink(entry);
        }
    }
    if (dir) {
        closedir(dir);
    }
    rmdir(folder);
}

static char *read_all(struct an_arena *arena, FILE *file, size_t *length)
{
    size_t room = 65536;
    size_t used = 0;
    char *bytes = an_arena_alloc(arena, room, 1);
    for (size_t got; (got = fread(bytes + used, 1, room - used - 1, file)) > 0;) {
        used += got;
        if (room - used < 4096) {
            char *more = an_arena_alloc(arena, room * 2, 1);
            memcpy(more, bytes, used);
            bytes = more;
            room *= 2;
        }
    }
    bytes[used] = '\0';
    if (length) {
        *length = used;
    }
    return bytes;
}

char *whole_file(struct an_arena *arena, const char *path, size_t *length)
{
    FILE *file = fopen(path, "rb");
    if (!file) {
        return NULL;
    }
    char *bytes = read_all(arena, file, length);
    fclose(file);
    return bytes;
}

char *pdf_text(struct an_arena *arena, const char *path, int page)
{
    char *command = page
                        ? an_arena_printf(arena, "pdftotext -layout -f %d -l %d '%s' - 2>/dev/null",
                                          page, page, path)
                        : an_arena_printf(arena, "pdftotext -layout '%s' - 2>/dev/null", path);
    FILE *pipe = popen(command, "r");
    if (!pipe) {
        return NULL;
    }
    char *text = read_all(arena, pipe, NULL);
    return pclose(pipe) ? NULL : text;
}

int pdf_pages(const char *path)
{
    char command[1024];
    int pages = -1;
    snprintf(command, sizeof command, "pdfinfo '%s' 2>/dev/null | sed -n 's/^Pages: *//p'", path);
    FILE *pipe = popen(command, "r");
    if (pipe) {
        if (fscanf(pipe, "%d", &pages) != 1) {
            pages = -1;
        }
        pclose(pipe);
    }
    return pages;
}
