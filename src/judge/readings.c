/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Single readings of samples. Must never keep more than one block of a file decoded.
 *
 * The hard idea: a file is stored by column and block, a sample is a set of its rows. So the
 * samples are sorted as a file's rows are (visit, line), each block is decoded once, and every row
 * finds its sample by bisection; what it gives is kept with its sample's number and dealt out at
 * the end by counting.
 */
#include "judge/readings.h"

#include "andamento/base/names.h"
#include "andamento/base/number.h"
#include "andamento/store/retention.h"
#include "judge/stream_split.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct taken { /* one reading on its way */
    double value;
    uint64_t line;
    int64_t visit_id;
    size_t sample, site;
};

struct place { /* where a sample's rows lie */
    int64_t file_id, visit_id;
    uint64_t first_line, last_line;
    size_t sample;
    double factor; /* of the correction of its unit; 1 if there is none */
};

struct walk {
    struct an_store *store;
    const struct an_characteristic *characteristic;
    struct an_split split;
    bool by_visit;          /* a sample's rows are of one visit */
    int64_t asked_visit_id; /* else: the visit last asked for its purpose, and the answer */
    bool asked_fits;
    struct place *places;
    size_t place_count;
    struct taken *taken;
    size_t taken_count, taken_room;
    struct an_names *sites;
    struct an_arena *block_arena;
    struct an_arena *arena; /* of the result */
    bool *dropped;          /* by sample */
    const char *dropped_text;
};

/* One column of a block, whatever it is stored as. */
struct cells {
    size_t rows;
    uint32_t *codes; /* texts, or NULL */
    struct an_bytes *texts;
    size_t text_count;
    struct an_number_block numbers;
    bool *fits; /* of a column that selects rows: does text number i fit */
};

static int compare_places(const void *a, const void *b)
{
    const struct place *x = a;
    const struct place *y = b;

    if (x->file_id != y->file_id) {
        return x->file_id < y->file_id ? -1 : 1;
    }
    if (x->visit_id != y->visit_id) {
        return x->visit_id < y->visit_id ? -1 : 1;
    }
    if (x->first_line != y->first_line) {
        return x->first_line < y->first_line ? -1 : 1;
    }
    return x->sample < y->sample ? -1 : x->sample > y->sample;
}

/* The last place whose (visit, first line) is not behind the row, if the row lies in it. */
static const struct place *find_place(const struct place *places, size_t count, int64_t visit_id,
                                      uint64_t line)
{
    size_t lo = 0;
    size_t hi = count;

    while (lo < hi) {
        const size_t middle = lo + (hi - lo) / 2;
        const bool before =
            places[middle].visit_id < visit_id ||
            (places[middle].visit_id == visit_id && places[middle].first_line <= line);
        if (before) {
            lo = middle + 1;
        } else {
            hi = middle;
        }
    }
    if (lo == 0) {
        return NULL;
    }
    const struct place *found = &places[lo - 1];
    return found->visit_id == visit_id && line <= found->last_line ? found : NULL;
}

/* A column as texts if it is stored so, as numbers else. Intake keeps the texts of a column that is
 * also read as numbers under a name of their own. */
static enum an_status read_cells(struct walk *walk, int64_t file_id, const char *column,
                                 size_t block, struct cells *cells, struct an_error *err)
{
    memset(cells, 0, sizeof *cells);
    enum an_status st =
        an_store_texts(walk->store, file_id, column, block, walk->block_arena, &cells->codes,
                       &cells->rows, &cells->texts, &cells->text_count, err);
    if (st == AN_NOT_FOUND) {
        const char *texts = an_arena_printf(walk->block_arena, "%s@text", column);
        st = texts ? an_store_texts(walk->store, file_id, texts, block, walk->block_arena,
                                    &cells->codes, &cells->rows, &cells->texts, &cells->text_count,
                                    err)
                   : AN_NO_MEMORY;
    }
    if (st == AN_NOT_FOUND) {
        st = an_store_numbers(walk->store, file_id, column, block, walk->block_arena,
                              &cells->numbers, err);
        cells->rows = cells->numbers.rows;
    }
    return st;
}

/* The text of a number as a station wrote it: 12 with one decimal is "1.2". */
static struct an_bytes number_text(int64_t scaled, int decimals, char buffer[32])
{
    const uint64_t digits = scaled < 0 ? UINT64_C(0) - (uint64_t)scaled : (uint64_t)scaled;
    struct an_text text = {0};

    if (decimals <= 0 || decimals > 18) {
        an_number_shortest(an_decimal_value(scaled, decimals), buffer);
        return an_bytes_of(buffer);
    }
    uint64_t scale = 1;
    for (int i = 0; i < decimals; i++) {
        scale *= 10;
    }
    an_text_addf(&text, "%s%llu.%0*llu", scaled < 0 ? "-" : "",
                 (unsigned long long)(digits / scale), decimals,
                 (unsigned long long)(digits % scale));
    const size_t length = text.length < 31 ? text.length : 31;
    memcpy(buffer, an_text_of(&text), length);
    buffer[length] = '\0';
    an_text_free(&text);
    return an_bytes_of(buffer);
}

static bool cell_text(const struct cells *cells, size_t row, char buffer[32], struct an_bytes *text)
{
    if (cells->codes) {
        if (cells->codes[row] >= cells->text_count) {
            return false;
        }
        *text = cells->texts[cells->codes[row]];
        return true;
    }
    if (!cells->numbers.scaled || cells->numbers.scaled[row] == AN_CELL_MISSING) {
        return false;
    }
    *text = number_text(cells->numbers.scaled[row], cells->numbers.decimals, buffer);
    return true;
}

/* Does the cell hold one of the words? An empty cell is the empty word. */
static bool cell_is(const struct cells *cells, size_t row, const char *const *words, size_t count)
{
    char buffer[32];
    struct an_bytes text = {0};

    if (cells->fits && cells->codes[row] < cells->text_count) {
        return cells->fits[cells->codes[row]];
    }
    (void)cell_text(cells, row, buffer, &text);
    for (size_t i = 0; i < count; i++) {
        if (an_bytes_are(an_bytes_trim(text), words[i])) {
            return true;
        }
    }
    return false;
}

/* Answers the question once for each text instead of once for each row. */
static enum an_status fill_fits(struct walk *walk, struct cells *cells, const char *const *words,
                                size_t count)
{
    if (!cells->codes || cells->text_count == 0) {
        return AN_OK;
    }
    cells->fits = an_arena_alloc(walk->block_arena, cells->text_count, sizeof *cells->fits);
    if (!cells->fits) {
        return AN_NO_MEMORY;
    }
    for (size_t t = 0; t < cells->text_count; t++) {
        for (size_t i = 0; i < count; i++) {
            cells->fits[t] =
                cells->fits[t] || an_bytes_are(an_bytes_trim(cells->texts[t]), words[i]);
        }
    }
    return AN_OK;
}

/* Marks the rows of a block that are not of this stream. */
static enum an_status select_rows(struct walk *walk, int64_t file_id, size_t block, size_t rows,
                                  bool *out, struct an_error *err)
{
    const struct an_characteristic *c = walk->characteristic;
    struct cells cells;

    for (size_t s = 0; s < walk->split.count; s++) {
        const char *const *word = &walk->split.parts[s].value;
        enum an_status st =
            read_cells(walk, file_id, walk->split.parts[s].column, block, &cells, err);
        st = st ? st : fill_fits(walk, &cells, word, 1);
        if (st) {
            return st;
        }
        for (size_t row = 0; row < rows && row < cells.rows; row++) {
            out[row] = out[row] || !cell_is(&cells, row, word, 1);
        }
    }
    if (c->only_column) {
        const char *const *words = (const char *const *)c->only_words.at;
        enum an_status st = read_cells(walk, file_id, c->only_column, block, &cells, err);
        st = st ? st : fill_fits(walk, &cells, words, c->only_words.count);
        if (st) {
            return st;
        }
        for (size_t row = 0; row < rows && row < cells.rows; row++) {
            out[row] = out[row] || !cell_is(&cells, row, words, c->only_words.count);
        }
    }
    return AN_OK;
}

/* `one` but for its site */
static enum an_status take(struct walk *walk, struct taken one, const struct cells *positions,
                           size_t row)
{
    char buffer[32];
    struct an_bytes text;
    size_t site = AN_NONE;

    if (positions->rows > row && cell_text(positions, row, buffer, &text)) {
        site = an_names_add(walk->sites, text);
        if (site == AN_NO_NAME) {
            return AN_NO_MEMORY;
        }
    }
    if (!an_grow((void **)&walk->taken, walk->taken_count, &walk->taken_room,
                 sizeof *walk->taken)) {
        return AN_NO_MEMORY;
    }
    one.site = site;
    walk->taken[walk->taken_count++] = one;
    return AN_OK;
}

/* Where samples go on over visits: is the row's visit of the stream's purpose? */
static enum an_status purpose_fits(struct walk *walk, int64_t visit_id, bool *fits,
                                   struct an_error *err)
{
    struct an_visit visit;

    if (visit_id != walk->asked_visit_id) {
        const enum an_status st =
            an_store_visit(walk->store, visit_id, walk->block_arena, &visit, err);
        if (st) {
            return st;
        }
        const char *wanted = walk->split.purpose ? walk->split.purpose : "";
        walk->asked_visit_id = visit_id;
        walk->asked_fits = strcmp(visit.purpose ? visit.purpose : "", wanted) == 0;
    }
    *fits = walk->asked_fits;
    return AN_OK;
}

static enum an_status walk_block(struct walk *walk, const struct place *places, size_t count,
                                 size_t block, struct an_error *err)
{
    const struct an_characteristic *c = walk->characteristic;
    const int64_t file_id = places[0].file_id;
    const bool measured = c->kind == AN_MEASURED; /* else a row is asked for, not its value */
    struct an_number_block lines = {0};
    struct an_number_block visits = {0};
    struct an_number_block values = {0};
    struct cells positions = {0};
    struct an_arena *arena = walk->block_arena;

    enum an_status st =
        an_store_numbers(walk->store, file_id, AN_COLUMN_LINE, block, arena, &lines, err);
    st = st ? st
            : an_store_numbers(walk->store, file_id, AN_COLUMN_VISIT, block, arena, &visits, err);
    if (!st && measured) {
        st = an_store_numbers(walk->store, file_id, c->column, block, arena, &values, err);
    }
    if (!st && c->position_column) {
        st = read_cells(walk, file_id, c->position_column, block, &positions, err);
    }
    if (st) {
        return st;
    }
    bool *out = an_arena_alloc(arena, lines.rows ? lines.rows : 1, sizeof *out);
    if (!out) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while reading values");
    }
    st = select_rows(walk, file_id, block, lines.rows, out, err);
    for (size_t row = 0; !st && row < lines.rows; row++) {
        if (out[row] ||
            (measured && (row >= values.rows || values.scaled[row] == AN_CELL_MISSING))) {
            continue;
        }
        const struct place *place = find_place(
            places, count, walk->by_visit ? visits.scaled[row] : 0, (uint64_t)lines.scaled[row]);
        bool fits = place != NULL;
        if (place && !walk->by_visit) {
            st = purpose_fits(walk, visits.scaled[row], &fits, err);
        }
        if (!st && fits) {
            const double read =
                measured ? an_decimal_value(values.scaled[row], values.decimals) : (double)NAN;
            st = take(walk,
                      (struct taken){.value = (read * c->factor + c->offset) * place->factor,
                                     .line = (uint64_t)lines.scaled[row],
                                     .visit_id = visits.scaled[row],
                                     .sample = place->sample},
                      &positions, row);
        }
    }
    return st;
}

/* A file without blocks: were they dropped? */
static enum an_status note_dropped(struct walk *walk, const struct place *places, size_t count,
                                   struct an_error *err)
{
    struct an_dropped dropped;
    bool found = false;
    const enum an_status st = an_store_dropped(walk->store, places[0].file_id, AN_KEPT_READINGS,
                                               walk->arena, &dropped, &found, err);
    if (st || !found) {
        return st;
    }
    for (size_t i = 0; i < count; i++) {
        walk->dropped[places[i].sample] = true;
    }
    walk->dropped_text = an_dropped_text(&dropped, walk->arena);
    return walk->dropped_text ? AN_OK
                              : an_fail(err, AN_NO_MEMORY, "out of memory while reading values");
}

static enum an_status walk_file(struct walk *walk, const struct place *places, size_t count,
                                struct an_error *err)
{
    size_t blocks = 0;
    enum an_status st = an_store_block_count(walk->store, places[0].file_id, &blocks, err);

    if (!st && blocks == 0) {
        return note_dropped(walk, places, count, err);
    }
    for (size_t block = 0; !st && block < blocks; block++) {
        walk->block_arena = an_arena_open();
        if (!walk->block_arena) {
            return an_fail(err, AN_NO_MEMORY, "out of memory while reading values");
        }
        st = walk_block(walk, places, count, block, err);
        an_arena_close(walk->block_arena);
        walk->block_arena = NULL;
    }
    return st;
}

static enum an_status walk_all(struct walk *walk, struct an_error *err)
{
    enum an_status st = AN_OK;

    for (size_t from = 0; !st && from < walk->place_count;) {
        size_t until = from + 1;
        while (until < walk->place_count &&
               walk->places[until].file_id == walk->places[from].file_id) {
            until++;
        }
        st = walk_file(walk, walk->places + from, until - from, err);
        from = until;
    }
    return st;
}

/* Deals the readings out to their samples, keeping the order in which they came. */
static enum an_status deal(const struct walk *walk, size_t count, struct an_arena *arena,
                           struct an_site_readings *readings)
{
    const size_t n = walk->taken_count;

    readings->first = an_arena_alloc(arena, count + 2, sizeof *readings->first);
    readings->value = an_arena_alloc(arena, n + 1, sizeof *readings->value);
    readings->site = an_arena_alloc(arena, n + 1, sizeof *readings->site);
    readings->line = an_arena_alloc(arena, n + 1, sizeof *readings->line);
    readings->visit_id = an_arena_alloc(arena, n + 1, sizeof *readings->visit_id);
    readings->site_count = an_names_count(walk->sites);
    readings->sites = an_arena_alloc(arena, readings->site_count + 1, sizeof *readings->sites);
    if (!readings->first || !readings->value || !readings->site || !readings->line ||
        !readings->visit_id || !readings->sites) {
        return AN_NO_MEMORY;
    }
    for (size_t s = 0; s < readings->site_count; s++) {
        const struct an_bytes name = an_names_at(walk->sites, s);
        readings->sites[s] = an_arena_copy(arena, name.at, name.length);
        if (!readings->sites[s]) {
            return AN_NO_MEMORY;
        }
    }
    /* first[i + 2] counts sample i, then sums make first[i + 1] the place its next reading goes;
     * when all are dealt, first[i + 1] has become the end of sample i */
    for (size_t i = 0; i < n; i++) {
        readings->first[walk->taken[i].sample + 2]++;
    }
    for (size_t s = 1; s < count + 2; s++) {
        readings->first[s] += readings->first[s - 1];
    }
    for (size_t i = 0; i < n; i++) {
        const size_t at = readings->first[walk->taken[i].sample + 1]++;
        readings->value[at] = walk->taken[i].value;
        readings->site[at] = walk->taken[i].site;
        readings->line[at] = walk->taken[i].line;
        readings->visit_id[at] = walk->taken[i].visit_id;
    }
    return AN_OK;
}

enum an_status an_site_readings_of(struct an_store *store, const struct an_stream *stream,
                                   const struct an_characteristic *characteristic,
                                   const struct an_sample samples[], size_t count,
                                   const bool wanted[], struct an_arena *arena,
                                   struct an_site_readings *readings, struct an_error *err)
{
    struct walk walk = {.store = store,
                        .characteristic = characteristic,
                        .by_visit = characteristic->subgroup != AN_SUBGROUP_EVERY};
    enum an_status st = an_split_of(stream->split, characteristic, arena, &walk.split);

    memset(readings, 0, sizeof *readings);
    walk.sites = an_names_open();
    walk.places = an_alloc(count ? count : 1, sizeof *walk.places);
    walk.arena = arena;
    walk.dropped = an_arena_alloc(arena, count + 1, sizeof *walk.dropped);
    if (st || !walk.sites || !walk.places || !walk.dropped) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory while reading values");
        goto done;
    }
    for (size_t i = 0; i < count; i++) {
        if (!wanted || wanted[i]) {
            walk.places[walk.place_count++] =
                (struct place){.file_id = samples[i].file_id,
                               .visit_id = walk.by_visit ? samples[i].visit_id : 0,
                               .first_line = samples[i].first_line,
                               .last_line = samples[i].last_line,
                               .sample = i,
                               .factor = samples[i].corrected_by ? samples[i].factor : 1};
        }
    }
    qsort(walk.places, walk.place_count, sizeof *walk.places, compare_places);
    st = walk_all(&walk, err);
    readings->dropped = walk.dropped;
    readings->dropped_text = walk.dropped_text;
    if (!st && deal(&walk, count, arena, readings)) {
        st = AN_NO_MEMORY;
    }
    if (st == AN_NO_MEMORY) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory while reading values");
    }
done:
    an_names_close(walk.sites);
    an_free(walk.places);
    an_free(walk.taken);
    return st;
}

/* ---- for everyone -------------------------------------------------------------------------------- */
/* How many of the newest samples hold `most` readings; all if most is 0. */
static size_t samples_for(const struct an_sample samples[], size_t count, size_t most)
{
    size_t used = 0;
    size_t readings = 0;

    if (most == 0) {
        return count;
    }
    while (used < count && readings < most) {
        used++;
        readings += (size_t)samples[count - used].n;
    }
    return used;
}

/* Derived and counted characteristics: the plotted value of each sample that has one. */
static enum an_status one_each(const struct an_characteristic *characteristic,
                               struct an_readings *readings, struct an_arena *arena)
{
    const size_t n = readings->sample_count;

    readings->value = an_arena_alloc(arena, n + 1, sizeof *readings->value);
    readings->sample = an_arena_alloc(arena, n + 1, sizeof *readings->sample);
    if (!readings->value || !readings->sample) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < n; i++) {
        const struct an_sample *s = &readings->samples[i];
        double value = s->mean;

        if (characteristic->kind == AN_COUNTED) {
            const bool plain = characteristic->family == AN_C || characteristic->family == AN_NP;
            if (!plain && !(s->opportunities > 0)) {
                continue;
            }
            value = plain ? s->count : s->count / s->opportunities;
        } else if (s->n < 1) {
            continue;
        }
        readings->value[readings->count] = value;
        readings->sample[readings->count++] = i;
    }
    return AN_OK;
}

static enum an_status many_each(struct an_store *store, const struct an_stream *stream,
                                const struct an_characteristic *characteristic, size_t most,
                                struct an_arena *arena, struct an_readings *readings,
                                struct an_error *err)
{
    struct an_site_readings sites;
    enum an_status st = an_site_readings_of(store, stream, characteristic, readings->samples,
                                            readings->sample_count, NULL, arena, &sites, err);
    if (st) {
        return st;
    }
    if (!sites.first || !sites.value) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while reading values");
    }
    const size_t all = sites.first[readings->sample_count];
    const size_t skip = most && all > most ? all - most : 0;

    readings->count = all - skip;
    readings->value = sites.value + skip;
    readings->sample = an_arena_alloc(arena, all + 1, sizeof *readings->sample);
    if (characteristic->position_column) {
        readings->position = an_arena_alloc(arena, all + 1, sizeof *readings->position);
    }
    if (!readings->sample || (characteristic->position_column && !readings->position)) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while reading values");
    }
    readings->dropped_text = sites.dropped_text;
    for (size_t s = 0; s < readings->sample_count; s++) {
        readings->dropped_count += sites.dropped[s];
        for (size_t i = sites.first[s]; i < sites.first[s + 1]; i++) {
            readings->sample[i] = s;
            if (readings->position && sites.site[i] != AN_NONE) {
                readings->position[i] = sites.sites[sites.site[i]];
            }
        }
    }
    readings->sample += skip;
    readings->position = readings->position ? readings->position + skip : NULL;
    return AN_OK;
}

enum an_status an_judge_readings(struct an_store *store, const struct an_line *line,
                                 const struct an_stream *stream, int64_t from_us, int64_t until_us,
                                 size_t most, struct an_arena *arena, struct an_readings *readings,
                                 struct an_error *err)
{
    const struct an_station *station;
    const struct an_characteristic *characteristic;
    const char *purpose;

    memset(readings, 0, sizeof *readings);
    if (!an_judge_resolve(line, stream, &station, &characteristic, &purpose, arena)) {
        return an_fail(err, AN_BAD_CONFIG, "stream %s is no longer in the line description",
                       stream->name);
    }
    enum an_status st = an_store_samples(store, stream->stream_id, from_us, until_us, 0, arena,
                                         &readings->samples, &readings->sample_count, err);
    if (st) {
        return st;
    }
    const size_t used = samples_for(readings->samples, readings->sample_count,
                                    characteristic->kind == AN_MEASURED ? most : 0);
    readings->samples += readings->sample_count - used;
    readings->sample_count = used;
    if (characteristic->kind == AN_MEASURED) {
        return many_each(store, stream, characteristic, most, arena, readings, err);
    }
    if (most && used > most) {
        readings->samples += used - most;
        readings->sample_count = most;
    }
    if (one_each(characteristic, readings, arena)) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while reading values");
    }
    return AN_OK;
}
