/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which columns hold times, and by which pattern. Must never settle day and month by values under
 * 13: two patterns that read every field are both told, and none is proposed.
 *
 * The hard idea: patterns are few hundred combinations of a date, a separator, a clock and an
 * offset. All are tried on the first distinct texts of a column; those that read one go on to all.
 */
#include "andamento/base/instant.h"
#include "intake/probe_inner.h"

#include <stdio.h>
#include <string.h>

static const char *const dates[] = {"%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d",  "%Y%m%d",   "%d.%m.%Y",
                                    "%m.%d.%Y", "%d/%m/%Y", "%m/%d/%Y",  "%d-%m-%Y", "%m-%d-%Y",
                                    "%d.%m.%y", "%m.%d.%y", "%d/%m/%y",  "%m/%d/%y", "%d-%m-%y",
                                    "%m-%d-%y", "%y-%m-%d", "%y/%m/%d",  "%d %b %Y", "%d-%b-%Y",
                                    "%d-%b-%y", "%b %d %Y", "%b %d, %Y", "%d %m %Y", "%m %d %Y"};
static const char *const clocks[] = {
    " %H:%M:%S",  "T%H:%M:%S", " %H:%M",    "T%H:%M",    " %I:%M:%S %p",
    " %I:%M %p",  " %H%M%S",   "T%H%M%S",   "_%H%M%S",   "%H%M%S",
    ", %H:%M:%S", "-%H:%M:%S", " %H.%M.%S", "_%H:%M:%S", ""};
static const char *const offsets[] = {"", "%z", " %z"};
enum { MOST_ALIVE = 12, FIRST_TEXTS = 60 };

struct alive {
    char pattern[40];
    uint64_t hits;
    bool differs; /* reads another day than the best somewhere, or what that cannot */
};

/* The day that a pattern reads in a text, or INT64_MIN. */
static int64_t day_of(struct an_bytes text, const char *pattern)
{
    struct an_civil civil;
    return an_civil_parse(text, pattern, &civil) == AN_OK ? an_civil_days(&civil) : INT64_MIN;
}

static bool is_year_sane(struct an_bytes text, const char *pattern)
{
    struct an_civil civil;
    return an_civil_parse(text, pattern, &civil) == AN_OK && civil.year >= 1990 &&
           civil.year <= 2099;
}

static size_t find_alive(const struct an_probe_column *column, struct alive alive[MOST_ALIVE])
{
    size_t count = 0;
    const size_t words = an_names_count(column->words);

    for (size_t w = 0; w < words && w < FIRST_TEXTS; w++) {
        const struct an_bytes text = an_names_at(column->words, w);
        if (text.length < 6 || text.length > 40 || text.at[0] > '9' + ('z' - '9')) {
            continue;
        }
        for (size_t k = 0; k < count && !an_bytes_are(text, ""); k++) {
            if (is_year_sane(text, alive[k].pattern)) {
                goto next;
            }
        }
        if (count < MOST_ALIVE && is_year_sane(text, "rfc3339")) {
            (void)snprintf(alive[count++].pattern, sizeof alive[0].pattern, "rfc3339");
            continue;
        }
        for (size_t d = 0; d < sizeof dates / sizeof *dates; d++) {
            for (size_t c = 0; c < sizeof clocks / sizeof *clocks; c++) {
                for (size_t o = 0; o < 3 && count < MOST_ALIVE; o++) {
                    char pattern[40];
                    (void)snprintf(pattern, sizeof pattern, "%s%s%s", dates[d], clocks[c],
                                   offsets[o]);
                    if (is_year_sane(text, pattern)) {
                        memcpy(alive[count].pattern, pattern, sizeof pattern);
                        alive[count++].hits = 0;
                    }
                }
            }
        }
    next:;
    }
    return count;
}

/* Patterns that a field can only have left open: those with day and month changed over. */
static size_t add_twins(struct alive *alive, size_t count)
{
    const size_t first = count;
    for (size_t i = 0; i < first && count < MOST_ALIVE; i++) {
        struct alive twin = {.hits = 0};
        const char *p = alive[i].pattern;
        memcpy(twin.pattern, p, sizeof twin.pattern);
        char *day = strstr(twin.pattern, "%d");
        char *month = strstr(twin.pattern, "%m");
        if (!day || !month || strstr(p, "%Y%m%d") || p[1] == 'Y') {
            continue;
        }
        day[1] = 'm';
        month[1] = 'd';
        bool known = false;
        for (size_t k = 0; k < count; k++) {
            known = known || strcmp(alive[k].pattern, twin.pattern) == 0;
        }
        if (!known) {
            alive[count++] = twin;
        }
    }
    return count;
}

/* ---- counting over all rows ------------------------------------------------------------------- */
struct count {
    struct alive (*alive)[MOST_ALIVE]; /* per column */
    size_t *alive_count;
    size_t *best;
    bool compare; /* second time: the best is known */
};

static void count_cell(struct count *count, struct an_probe_column *column, size_t at,
                       struct an_bytes cell)
{
    for (size_t k = 0; k < count->alive_count[at]; k++) {
        count->alive[at][k].hits += is_year_sane(cell, count->alive[at][k].pattern);
    }
    column->time.tried++;
}

/* Which patterns read another day than the best one in this cell? */
static void compare_cell(struct an_probe_state *probe, struct count *count,
                         struct an_probe_column *column, size_t at, struct an_bytes cell,
                         size_t file, uint64_t line)
{
    struct an_probe_time *time = &column->time;
    struct alive *alive = count->alive[at];
    const int64_t day = day_of(cell, alive[count->best[at]].pattern);

    if (day == INT64_MIN) {
        for (size_t k = 0; k < count->alive_count[at]; k++) { /* does another read it? */
            alive[k].differs = alive[k].differs || day_of(cell, alive[k].pattern) != INT64_MIN;
        }
        if (!time->odd) {
            time->odd = an_probe_sayf(probe, "%.*s", (int)(cell.length < 40 ? cell.length : 40),
                                      (const char *)cell.at);
            time->odd_line = line;
            time->odd_file = file;
        }
        return;
    }
    if (!time->first) {
        time->first = an_probe_sayf(probe, "%.*s", (int)cell.length, (const char *)cell.at);
    }
    for (size_t k = 0; k < count->alive_count[at]; k++) {
        if (k != count->best[at] && !alive[k].differs) {
            const int64_t other = day_of(cell, alive[k].pattern);
            alive[k].differs = other != INT64_MIN && other != day;
        }
    }
}

static bool count_row(void *context, struct an_probe_state *probe, size_t file, uint64_t line,
                      const struct an_fields *fields)
{
    struct count *count = context;
    for (size_t i = 0; i < fields->count; i++) {
        const size_t at = probe->files[file].column_of[i];
        const struct an_bytes cell = an_bytes_trim(fields->at[i]);
        if (!count->alive_count[at] || !cell.length) {
            continue;
        }
        if (count->compare) {
            compare_cell(probe, count, &probe->columns[at], at, cell, file, line);
        } else {
            count_cell(count, &probe->columns[at], at, cell);
        }
    }
    return !probe->no_memory;
}

static void judge(struct an_probe_state *probe, struct an_probe_column *column,
                  const struct alive *alive, size_t count, size_t best)
{
    struct an_probe_time *time = &column->time;
    uint64_t second = 0;

    time->hits = alive[best].hits;
    time->pattern = an_probe_sayf(probe, "%s", alive[best].pattern);
    for (size_t k = 0; k < count; k++) {
        if (k != best && alive[k].differs && alive[k].hits > second) {
            second = alive[k].hits;
            time->other = an_probe_sayf(probe, "%s", alive[k].pattern);
        }
    }
    if (time->other && second < time->hits) {
        time->settled = time->hits - second;
        time->beaten = time->other;
        /* settled only by fields that the other cannot read, and not when both fail somewhere */
        if (time->hits == time->tried || second * 50 < time->hits * 49) {
            time->other = NULL;
        }
    }
    time->has_zone = strstr(time->pattern, "%z") || strcmp(time->pattern, "rfc3339") == 0;
    time->date_only = !strstr(time->pattern, "%H") && !strstr(time->pattern, "%I") &&
                      strcmp(time->pattern, "rfc3339") != 0;
    time->two_digit_year = strstr(time->pattern, "%y") != NULL;
}

static const char time_words[] = "time date at zeit datum when stamp timestamp datetime epoch ts "
                                 "uhrzeit day unix utc t tested done started ended ora data";

/* Seconds since 1970 or a spreadsheet's days: numbers whose range and name tell. */
static void find_counted(struct an_probe_column *column)
{
    struct an_probe_time *time = &column->time;
    const bool named = an_probe_name_has(column->name, time_words);
    const bool rising =
        column->steps >= 5 && column->down * 50 <= column->steps && column->up * 2 > column->steps;

    if (column->numbers * 10 < (column->rows - column->empty) * 9 || !column->numbers) {
        return;
    }
    if (column->least >= 946684800 && column->most < 4102444800.0 && (named || rising)) {
        time->pattern = "%s";
        time->has_zone = true;
    } else if (column->least >= 36526 && column->most < 73051 && column->decimals >= 1 &&
               (named || (rising && column->decimals >= 4))) {
        time->pattern = "%n";
    } else if (column->least >= 946684800e3 && column->most < 4102444800e6 && (named || rising)) {
        time->milliseconds = true;
    } else {
        return;
    }
    time->tried = column->rows - column->empty;
    time->hits = column->numbers;
    time->first = (const char *)an_names_at(column->words, 0).at;
}

static bool is_clock(struct an_bytes text)
{
    struct an_civil civil;
    return an_civil_parse(text, "%H:%M:%S", &civil) == AN_OK ||
           an_civil_parse(text, "%H:%M", &civil) == AN_OK;
}

/* Which patterns a column is tried with; none if it holds no times by pattern. */
static size_t begin(struct an_probe_column *column, struct alive alive[MOST_ALIVE])
{
    const size_t words = an_names_count(column->words);
    size_t clocks_seen = 0;

    if (!words) {
        return 0;
    }
    find_counted(column);
    if (column->time.pattern || column->time.milliseconds) {
        return 0;
    }
    for (size_t w = 0; w < words; w++) {
        clocks_seen += is_clock(an_names_at(column->words, w));
    }
    if (clocks_seen * 2 > words) {
        column->time.clock_only = true;
        column->time.tried = words;
        column->time.hits = clocks_seen;
        return 0;
    }
    return add_twins(alive, find_alive(column, alive));
}

void an_probe_times_find(struct an_probe_state *probe)
{
    const size_t columns = probe->column_count;
    struct count count = {.alive = an_alloc(columns + 1, sizeof *count.alive),
                          .alive_count = an_alloc(columns + 1, sizeof *count.alive_count),
                          .best = an_alloc(columns + 1, sizeof *count.best)};

    probe->no_memory = probe->no_memory || !count.alive || !count.alive_count || !count.best;
    for (size_t i = 0; i < columns && !probe->no_memory; i++) {
        count.alive_count[i] = begin(&probe->columns[i], count.alive[i]);
    }
    if (!probe->no_memory) {
        an_probe_all_rows(probe, count_row, &count);
    }
    for (size_t i = 0; i < columns && !probe->no_memory; i++) {
        struct an_probe_column *column = &probe->columns[i];
        for (size_t k = 1; k < count.alive_count[i]; k++) {
            count.best[i] =
                count.alive[i][k].hits > count.alive[i][count.best[i]].hits ? k : count.best[i];
        }
        /* texts of another sort, of which some look like dates, and whole numbers that happen to */
        const uint64_t hits = count.alive[i][count.best[i]].hits;
        const bool by_number =
            column->whole * 2 > column->rows && !an_probe_name_has(column->name, time_words);
        if (count.alive_count[i] && (hits * 2 < column->time.tried || by_number)) {
            column->time = (struct an_probe_time){0};
            count.alive_count[i] = 0;
        }
    }
    count.compare = true;
    if (!probe->no_memory) {
        an_probe_all_rows(probe, count_row, &count);
    }
    for (size_t i = 0; i < columns && !probe->no_memory; i++) {
        if (count.alive_count[i]) {
            judge(probe, &probe->columns[i], count.alive[i], count.alive_count[i], count.best[i]);
        }
    }
    an_free(count.alive);
    an_free(count.alive_count);
    an_free(count.best);
}
