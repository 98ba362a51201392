/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The findings as a block of the line description: keys in the reference's order, evidence and
 * doubts as comments above each. Must never leave a doubt out, and must write only YAML that stands
 * for what was found.
 */
#include "intake/probe.h"

#include <string.h>

static const char *const heads[] = {
    "files",       "format",          "preamble",       "columns",         "time",
    "item",        "links",           "purpose",        "sequence_column", "gauge_column",
    "tool_column", "operator_column", "attempt_column", "part_whole",      "allowed",
    "missing",     "characteristics"};
enum { WIDTH = 100 };

/* A comment, broken between words. */
static void add_comment(struct an_text *out, size_t indent, const char *lead, const char *text)
{
    size_t column = 0;
    for (const char *p = text; *p;) {
        const size_t word = strcspn(p, " ");
        if (column && column + 1 + word > WIDTH) {
            an_text_add_char(out, '\n');
            column = 0;
        }
        if (!column) {
            an_text_addf(out, "%*s# %s", (int)indent, "", p == text ? lead : "  ");
            column = indent + 2 + strlen(p == text ? lead : "  ");
        } else {
            an_text_add_char(out, ' ');
            column++;
        }
        /* control characters could end the comment */
        an_text_add_visible(out, (struct an_bytes){(const unsigned char *)p, word}, word * 4 + 4);
        column += word;
        p += word;
        p += strspn(p, " ");
    }
    an_text_add_char(out, '\n');
}

static void add_finding(struct an_text *out, const struct an_probe_finding *finding, size_t indent,
                        const char *key)
{
    if (finding->evidence) {
        add_comment(out, indent, "", finding->evidence);
    }
    for (size_t i = 0; i < finding->doubt_count; i++) {
        add_comment(out, indent, "DOUBT: ", finding->doubts[i]);
    }
    if (finding->needed) {
        add_comment(out, indent, "", "NEEDED: take one of the readings before this block is used:");
    }
    const char *off = finding->proposed ? "" : "# ";
    if (strcmp(key, "-") == 0) {
        an_text_addf(out, "%*s%s- %s\n", (int)indent, "", off, finding->value);
    } else {
        an_text_addf(out, "%*s%s%s: %s\n", (int)indent, "", off, key, finding->value);
    }
}

/* Is the path `head` itself, or below it? The rest of it, NULL if not. */
static const char *below(const char *path, const char *head)
{
    const size_t length = strlen(head);
    if (strncmp(path, head, length) != 0 || (path[length] && path[length] != '.')) {
        return NULL;
    }
    return path[length] ? path + length + 1 : "";
}

static bool any_below(const struct an_probe_result *result, const char *head, bool proposed)
{
    bool any = false;
    for (size_t i = 0; i < result->finding_count; i++) {
        any = any || (below(result->findings[i].path, head) &&
                      (!proposed || result->findings[i].proposed));
    }
    return any;
}

/* characteristics.NAME.KEY */
static void add_characteristics(const struct an_probe_result *result, struct an_text *out)
{
    char last[40] = "";
    for (size_t i = 0; i < result->finding_count; i++) {
        const struct an_probe_finding *finding = &result->findings[i];
        const char *rest = below(finding->path, "characteristics");
        if (!rest) {
            continue;
        }
        const size_t name = strcspn(rest, ".");
        if (!rest[name]) { /* one that is not proposed at all */
            add_finding(out, finding, 6, rest);
            continue;
        }
        if (strlen(last) != name || strncmp(last, rest, name) != 0) {
            an_text_addf(out, "      %.*s:\n", (int)name, rest);
            memcpy(last, rest, name < 39 ? name : 39);
            last[name < 39 ? name : 39] = '\0';
        }
        add_finding(out, finding, 8, rest + name + 1);
    }
}

static void add_head(const struct an_probe_result *result, const char *head, struct an_text *out)
{
    bool opened = false;
    if (!any_below(result, head, false)) {
        return;
    }
    if (strcmp(head, "characteristics") == 0) {
        an_text_addf(out, "    %scharacteristics:\n", any_below(result, head, true) ? "" : "# ");
        add_characteristics(result, out);
        return;
    }
    for (size_t i = 0; i < result->finding_count; i++) {
        const struct an_probe_finding *finding = &result->findings[i];
        const char *key = below(finding->path, head);
        if (!key) {
            continue;
        }
        if (!*key) {
            add_finding(out, finding, 4, head);
            continue;
        }
        if (!opened) {
            an_text_addf(out, "    %s%s:\n", any_below(result, head, true) ? "" : "# ", head);
            opened = true;
        }
        add_finding(out, finding, 6, key);
    }
}

static void add_looks(const struct an_probe_result *result, struct an_text *out)
{
    enum { MOST = 12 };
    for (size_t i = 0; i < result->look_count && i < MOST; i++) {
        const struct an_probe_look *look = &result->looks[i];
        struct an_text line = {0};
        if (look->read < look->bytes) {
            an_text_addf(&line, "read: %s, %llu of %llu bytes (beginning, middle, end), %llu rows",
                         look->path, (unsigned long long)look->read,
                         (unsigned long long)look->bytes, (unsigned long long)look->rows);
        } else {
            an_text_addf(&line, "read: %s, whole, %llu rows", look->path,
                         (unsigned long long)look->rows);
        }
        out->failed = out->failed || line.failed;
        add_comment(out, 0, "", an_text_of(&line));
        an_text_free(&line);
    }
    if (result->look_count > MOST) {
        an_text_addf(out, "# read: %zu more files\n", result->look_count - MOST);
    }
}

void an_probe_block(const struct an_probe_result *result, struct an_text *out)
{
    an_text_addf(
        out,
        "# A proposal for station '%s', made from samples. Nothing of it is used until a "
        "person\n# has read it, settled the doubts and put it into the line description.\n",
        result->station);
    if (!result->complete) {
        an_text_add(out, "# It is not complete: look for NEEDED.\n");
    }
    add_looks(result, out);
    for (size_t i = 0; i < result->remark_count; i++) {
        add_comment(out, 0, "DOUBT: ", result->remarks[i]);
    }
    if (any_below(result, "kinds", false)) {
        an_text_add(out,
                    "# Kinds that the description needs; leave out those that it has.\nkinds:\n");
    }
    for (size_t i = 0; i < result->finding_count; i++) {
        const char *kind = below(result->findings[i].path, "kinds");
        if (kind) {
            add_finding(out, &result->findings[i], 2, kind);
        }
    }
    an_text_addf(out, "stations:\n  %s:\n", result->station);
    for (size_t i = 0; i < sizeof heads / sizeof *heads; i++) {
        add_head(result, heads[i], out);
    }
}
