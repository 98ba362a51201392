/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Findings about the station: time, item, links, roles, word lists. Each comes with the counts it rests on. Must never propose a choice that the
 * samples leave open: such a key stands as a comment, and is called needed if nothing works without.
 */
#include "intake/probe_inner.h"

#include <string.h>

#define LLU(n) ((unsigned long long)(n))

/* ---- time ------------------------------------------------------------------------------------- */
static const char *time_value(struct an_probe_state *probe, const char *column, const char *pattern)
{
    return strcmp(pattern, "rfc3339") == 0
               ? an_probe_sayf(probe, "{column: %s}", an_probe_quoted(probe, column))
               : an_probe_sayf(probe, "{column: %s, pattern: \"%s\"}",
                               an_probe_quoted(probe, column), pattern);
}

static void say_open_time(struct an_probe_state *probe, const struct an_probe_column *c)
{
    const char *both[2] = {c->time.pattern, c->time.other};
    struct an_probe_finding *finding = NULL;
    for (size_t i = 0; i < 2; i++) {
        finding =
            an_probe_find(probe, "time", false, time_value(probe, c->name, both[i]),
                          i ? "or"
                            : an_probe_sayf(probe, "times like \"%s\"; %llu of %llu fields read so",
                                            c->time.first, LLU(c->time.hits), LLU(c->time.tried)));
        if (i == 0) {
            if (c->time.hits < c->time.tried) {
                an_probe_doubt(
                    probe, finding,
                    "neither of two patterns reads all fields; the first that this one cannot read is \"%s\" in %s. Ask the "
                    "station, take one of the two",
                    c->time.odd ? c->time.odd : "",
                    an_probe_where(probe, c->time.odd_file, c->time.odd_line));
            } else {
                an_probe_doubt(
                    probe, finding,
                    "two patterns read the samples as different days, and no value settles which "
                    "number is the day. Ask the station, take one of the two");
            }
        }
        finding->needed = i == 0;
    }
}

static void say_no_time(struct an_probe_state *probe)
{
    const struct an_probe_column *near = NULL;
    for (size_t i = 0; i < probe->column_count; i++) {
        const struct an_probe_column *c = &probe->columns[i];
        if (c->time.milliseconds || c->time.clock_only ||
            (!near &&
             (c->time.pattern || an_probe_name_has(c->name, "time date zeit datum timestamp")))) {
            near = c;
        }
    }
    struct an_probe_finding *finding =
        an_probe_find(probe, "time", near == NULL, "file",
                      near ? NULL : "no column holds times: the file's own time is used, and said");
    if (!near) {
        an_probe_doubt(probe, finding,
                       "all rows of a file get one time; is there really none in the rows?");
        return;
    }
    finding->needed = true;
    an_probe_doubt(
        probe, finding,
        near->time.milliseconds
            ? "\"%s\" counts milliseconds or finer since 1970, which no time pattern reads; let the station write "
              "seconds or RFC 3339, or take the file's own time"
        : near->time.clock_only
            ? "\"%s\" holds the time of day only, and a time is read from one column: let the station write date and time "
              "together, or take the file's own time"
            : "\"%s\" looks like the time by its name, but no pattern reads it; give one, or take the file's own time",
        near->name);
}

static void say_time(struct an_probe_state *probe)
{
    const struct an_probe_column *c = an_probe_column_of(probe, AN_PROBE_TIME);
    if (!c) {
        say_no_time(probe);
        return;
    }
    const struct an_probe_time *t = &c->time;
    if (t->other) {
        say_open_time(probe, c);
        return;
    }
    struct an_probe_finding *finding = an_probe_find(
        probe, "time", true, time_value(probe, c->name, t->pattern),
        t->beaten
            ? an_probe_sayf(
                  probe,
                  "times like \"%s\"; %llu of %llu fields read so, %llu of them only so (not by \"%s\")",
                  t->first, LLU(t->hits), LLU(t->tried), LLU(t->settled), t->beaten)
            : an_probe_sayf(probe, "times like \"%s\"; %llu of %llu fields read so", t->first,
                            LLU(t->hits), LLU(t->tried)));
    if (!t->has_zone) {
        an_probe_doubt(
            probe, finding,
            "the texts tell no zone: the line's is assumed; add zone: if the station's clock shows another");
    }
    if (t->date_only) {
        an_probe_doubt(probe, finding,
                       "dates without a time of day: the order within a day is lost%s", "");
    }
    if (t->odd) {
        an_probe_doubt(probe, finding,
                       "%llu texts do not fit, the first \"%s\" in %s: their rows will be held",
                       LLU(t->tried - t->hits), t->odd,
                       an_probe_where(probe, t->odd_file, t->odd_line));
    }
    if (strcmp(t->pattern, "%n") == 0 || strcmp(t->pattern, "%s") == 0) {
        an_probe_doubt(probe, finding, "numbers whose range and name suggest %s",
                       t->pattern[1] == 'n' ? "a spreadsheet's days" : "seconds since 1970");
    }
    for (size_t i = 0; i < probe->column_count; i++) {
        const struct an_probe_column *other = &probe->columns[i];
        if (other != c && (other->time.pattern || other->time.clock_only)) {
            an_probe_doubt(probe, finding, "\"%s\" holds times too%s", other->name,
                           other->time.clock_only ? " (of day only)" : "");
        }
    }
}

/* ---- item, links, roles ----------------------------------------------------------------------- */
static const char *kind_name(struct an_probe_state *probe, const struct an_probe_column *c)
{
    static const char *const endings[] = {"_id",     "_no",     "_nr",  "_sn",
                                          "_serial", "_number", "_code"};
    if (c->kind != AN_NONE) {
        return probe->options->line->kinds[c->kind].name;
    }
    const char *name = an_probe_make_name(probe->arena, c->name);
    for (size_t i = 0; i < sizeof endings / sizeof *endings; i++) {
        const size_t length = strlen(name);
        const size_t cut = strlen(endings[i]);
        if (length > cut && strcmp(name + length - cut, endings[i]) == 0) {
            return an_arena_copy(probe->arena, name, length - cut);
        }
    }
    return strcmp(name, "id") == 0 || strcmp(name, "sn") == 0 || strcmp(name, "serial") == 0
               ? "item"
               : name;
}

static void say_kind(struct an_probe_state *probe, const char *kind,
                     const struct an_probe_column *c)
{
    const char *path = an_probe_sayf(probe, "kinds.%s", kind);
    const struct an_line *line = probe->options->line;
    const char *doubt = NULL;
    const char *reference = NULL;

    if (line && an_line_kind(line, an_bytes_of(kind)) != AN_NONE) {
        return;
    }
    for (size_t i = 0; i < probe->finding_count; i++) {
        if (strcmp(probe->findings[i].path, path) == 0) {
            return;
        }
    }
    const char *regex = c ? an_probe_serials(probe, c, &doubt, &reference) : NULL;
    struct an_probe_finding *finding = an_probe_find(
        probe, path, true,
        regex ? an_probe_sayf(probe, "{id: %s}", an_probe_quoted(probe, regex)) : "{}",
        c ? an_probe_sayf(probe, "\"%s\": %zu%s distinct serials in %llu rows", c->name,
                          an_names_count(c->words), c->more_words ? " or more" : "",
                          LLU(c->rows - c->empty))
          : "the file tells too little about its serials for a pattern");
    if (doubt) {
        an_probe_doubt(probe, finding, "%s", doubt);
    }
    if (c && c->role == AN_PROBE_ITEM) {
        an_probe_doubt(probe, finding,
                       "add product: yes if these are products at risk, not materials");
    }
    if (reference && c->role == AN_PROBE_ITEM) {
        struct an_probe_finding *purpose =
            an_probe_find(probe, "purpose.reference_id", true, an_probe_quoted(probe, reference),
                          "serials that look like reference items");
        an_probe_doubt(probe, purpose, "are they?");
    }
}

static void say_item(struct an_probe_state *probe)
{
    const struct an_probe_column *c = an_probe_column_of(probe, AN_PROBE_ITEM);
    const struct an_probe_prelude *prelude = NULL;
    for (size_t i = 0; i < probe->prelude_count; i++) {
        const struct an_probe_prelude *p = &probe->prelude[i];
        prelude = p->is_item ? p : prelude;
        const bool known = p->is_item;
        struct an_probe_finding *finding = an_probe_find(
            probe, an_probe_sayf(probe, "preamble.%s", p->name),
            known && p->files == probe->file_count, an_probe_quoted(probe, p->regex),
            an_probe_sayf(probe, "\"%s\" before the header; found in %zu of %zu files", p->value,
                          p->files, probe->file_count));
        if (known && p->files < probe->file_count) {
            an_probe_doubt(probe, finding, "files without it will be held");
            finding->needed = true;
        }
    }
    if (!c && !prelude) {
        struct an_probe_finding *finding =
            an_probe_find(probe, "item", false, "{kind: KIND, column: COLUMN}",
                          "no column holds serials of items");
        finding->needed = true;
        an_probe_doubt(probe, finding,
                       "which column tells the item? A row without an item cannot be taken");
        return;
    }
    const char *kind = probe->options->kind ? probe->options->kind
                       : prelude            ? prelude->name
                                            : kind_name(probe, c);
    const char *column = prelude ? prelude->name : c->name;
    probe->item_kind = kind;
    struct an_probe_finding *finding = an_probe_find(
        probe, "item", true,
        an_probe_sayf(probe, "{kind: %s, column: %s}", kind, an_probe_quoted(probe, column)),
        an_probe_sayf(probe,
                      "%llu distinct in %llu rows; add made_here: yes if the station makes them",
                      LLU(probe->items), LLU(probe->rows)));
    if (!prelude) {
        if (c->empty) {
            an_probe_doubt(probe, finding, "%llu of %llu rows have none and will be held",
                           LLU(c->empty), LLU(c->rows));
        }
        if (c->outer_blanks) {
            an_probe_doubt(probe, finding, "%llu serials have blanks around them in quotes",
                           LLU(c->outer_blanks));
        }
        for (size_t i = 0; i < probe->column_count; i++) {
            if (probe->columns[i].role == AN_PROBE_LINK) {
                an_probe_doubt(probe, finding,
                               "\"%s\" holds serials too; is the row about that one?",
                               probe->columns[i].name);
            }
        }
    }
    for (size_t i = 0; i < probe->prelude_count && !prelude; i++) {
        const struct an_probe_prelude *p = &probe->prelude[i];
        if (an_probe_serial_like(an_bytes_of(p->value))) {
            an_probe_doubt(
                probe, finding,
                "\"%s\" (%s) stands before the header: is the whole file about that one? Then "
                "say --kind %s",
                p->value, p->name, p->name);
        }
    }
    say_kind(probe, kind, prelude ? NULL : c);
}

static void say_links(struct an_probe_state *probe)
{
    for (size_t i = 0; i < probe->column_count; i++) {
        const struct an_probe_column *c = &probe->columns[i];
        if (c->role != AN_PROBE_LINK && c->role != AN_PROBE_SERIAL) {
            continue;
        }
        const bool link = c->role == AN_PROBE_LINK;
        const char *kind = kind_name(probe, c);
        struct an_probe_finding *finding = an_probe_find(
            probe, "links.-", link,
            an_probe_sayf(probe, "{column: %s, kind: %s}", an_probe_quoted(probe, c->name), kind),
            an_probe_sayf(probe, "%zu%s distinct serials, empty in %llu of %llu rows",
                          an_names_count(c->words), c->more_words ? " or more" : "", LLU(c->empty),
                          LLU(c->rows)));
        an_probe_doubt(
            probe, finding,
            link
                ? "did it go into this row's item (other_is: parent, taken if not told), or come out of it "
                  "(other_is: child)?"
                : "by its name a tool or a part of one, so no link is proposed");
        if (link) {
            say_kind(probe, kind, c);
        }
    }
}

static void say_role(struct an_probe_state *probe, enum an_probe_role role, const char *path)
{
    const struct an_probe_column *chosen = an_probe_column_of(probe, role);
    if (!chosen) {
        return;
    }
    struct an_probe_finding *finding =
        an_probe_find(probe, path, true, an_probe_quoted(probe, chosen->name),
                      role == AN_PROBE_SEQUENCE
                          ? an_probe_sayf(probe, "rises by one in %llu of %llu steps",
                                          LLU(chosen->up_one), LLU(chosen->steps))
                          : an_probe_sayf(probe, "by its name; %zu distinct texts in %llu rows",
                                          an_names_count(chosen->words), LLU(chosen->rows)));
    if (chosen->empty) {
        an_probe_doubt(probe, finding, "empty in %llu of %llu rows", LLU(chosen->empty),
                       LLU(chosen->rows));
    }
    for (const struct an_probe_column *c = chosen + 1; c < probe->columns + probe->column_count;
         c++) {
        if (c->role == role) {
            an_probe_doubt(probe, finding, "or \"%s\"?", c->name);
        }
    }
}

static void say_purpose(struct an_probe_state *probe)
{
    const struct an_probe_column *c = an_probe_column_of(probe, AN_PROBE_PURPOSE);
    if (!c) {
        return;
    }
    const size_t words = an_names_count(c->words);
    for (size_t w = 0; w < words; w++) {
        const char *word = (const char *)an_names_at(c->words, w).at;
        if (an_probe_name_has(word, "prod production")) {
            (void)an_probe_find(probe, "purpose.column", true, an_probe_quoted(probe, c->name),
                                NULL);
            struct an_probe_finding *finding = an_probe_find(
                probe, "purpose.production", true,
                an_probe_sayf(probe, "[%s]", an_probe_quoted(probe, word)),
                an_probe_sayf(probe, "%llu of %llu rows", LLU(c->of_word[w].count), LLU(c->rows)));
            if (words > 1) {
                an_probe_doubt(
                    probe, finding,
                    "by the word only: do the other %zu words mean rows that are no production?",
                    words - 1);
            } else {
                an_probe_doubt(probe, finding,
                               "no other word was seen; others will count as no production");
            }
            return;
        }
    }
}

/* ---- closed lists ----------------------------------------------------------------------------- */
static void say_allowed(struct an_probe_state *probe)
{
    for (size_t i = 0; i < probe->column_count; i++) {
        const struct an_probe_column *c = &probe->columns[i];
        if (c->role != AN_PROBE_SPLIT && c->role != AN_PROBE_OUTCOME &&
            c->role != AN_PROBE_WORDS_FEW) {
            continue;
        }
        struct an_text list = {0};
        struct an_text rare = {0};
        size_t taken = 0;
        const size_t words = an_names_count(c->words);
        for (size_t w = 0; w < words; w++) {
            const char *word = (const char *)an_names_at(c->words, w).at;
            if (c->of_word[w].count * 500 < c->rows) {
                an_text_addf(&rare, "%s\"%s\" (%llu, first in %s)", rare.length ? ", " : "", word,
                             LLU(c->of_word[w].count),
                             an_probe_where(probe, c->of_word[w].file, c->of_word[w].line));
                continue;
            }
            an_text_addf(&list, "%s%s", taken++ ? ", " : "", an_probe_quoted(probe, word));
        }
        const bool sure = c->role != AN_PROBE_WORDS_FEW && c->rows >= 20 && taken;
        struct an_probe_finding *finding = an_probe_find(
            probe, an_probe_sayf(probe, "allowed.%s", an_probe_quoted(probe, c->name)), sure,
            an_probe_sayf(probe, "[%s]", an_text_of(&list)),
            an_probe_sayf(probe, "%zu words in %llu rows", words, LLU(c->rows - c->empty)));
        if (rare.length) {
            an_probe_doubt(probe, finding, "left out as rare, so their rows will be held: %s",
                           an_text_of(&rare));
        }
        if (!sure) {
            an_probe_doubt(probe, finding, "a closed list, or may new words come?");
        }
        an_text_free(&list);
        an_text_free(&rare);
    }
}

void an_probe_describe(struct an_probe_state *probe)
{
    an_probe_format(probe);
    say_time(probe);
    say_item(probe);
    say_links(probe);
    say_purpose(probe);
    say_role(probe, AN_PROBE_SEQUENCE, "sequence_column");
    say_role(probe, AN_PROBE_GAUGE, "gauge_column");
    say_role(probe, AN_PROBE_TOOL, "tool_column");
    say_role(probe, AN_PROBE_OPERATOR, "operator_column");
    say_role(probe, AN_PROBE_ATTEMPT, "attempt_column");
    say_allowed(probe);
}
