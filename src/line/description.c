/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A description from bytes to an_line: the order of the sections, the telling of the mistakes, and
 * the handle's life. Must never hand out a line that has a mistake.
 */
#include "line/line.h"
#include "line/sections.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static size_t find_name(size_t count, const char *(*name_at)(const void *list, size_t i),
                        const void *list, struct an_bytes name)
{
    for (size_t i = 0; i < count; i++) {
        if (an_bytes_are(name, name_at(list, i))) {
            return i;
        }
    }
    return AN_NONE;
}

static const char *station_name(const void *list, size_t i)
{
    return ((const struct an_station *)list)[i].name;
}

static const char *kind_name(const void *list, size_t i)
{
    return ((const struct an_item_kind *)list)[i].name;
}

size_t an_line_station(const struct an_line *line, struct an_bytes name)
{
    return find_name(line->station_count, station_name, line->stations, name);
}

size_t an_line_kind(const struct an_line *line, struct an_bytes name)
{
    return find_name(line->kind_count, kind_name, line->kinds, name);
}

size_t an_line_characteristic(const struct an_line *line, size_t station, struct an_bytes name)
{
    if (station >= line->station_count) {
        return AN_NONE;
    }
    const struct an_station *of = &line->stations[station];
    for (size_t i = 0; i < of->characteristic_count; i++) {
        if (an_bytes_are(name, line->characteristics[of->characteristics[i]].name)) {
            return of->characteristics[i];
        }
    }
    return AN_NONE;
}

void an_line_close(struct an_line *line)
{
    if (line) {
        struct an_arena *arena = line->arena;
        an_zone_close(line->zone);
        an_arena_close(arena); /* the line itself lives in it */
    }
}

/* --- reading --------------------------------------------------------------------------------- */

/* Kinds before stations, whatever their order in the file: stations speak of kinds. */
static void read_sections(struct an_reading *reading, const struct an_yaml_node *root,
                          struct an_line *line)
{
    struct an_map map = an_map_open(reading, root, root, "the description");
    const struct an_yaml_node *name = an_map_need(&map, "line", "the line's name");
    line->name = an_read_text(reading, name, "line", "");
    if (name && line->name[0]) {
        an_check_name(reading, name, "line");
    }
    line->title = an_read_text(reading, an_map_take(&map, "title"), "title", line->name);
    line->zone_name = an_read_zone(
        reading, an_map_need(&map, "zone", "the line's time zone, such as Europe/Rome"),
        &line->zone);
    line->keep = an_read_keep(reading, an_map_take(&map, "keep"), "the line", &(struct an_keep){0});
    an_read_shifts(reading, an_map_need(&map, "shifts", "the shift pattern"), root, line);
    const struct an_yaml_node *kinds = an_map_need(&map, "kinds", "the kinds of items");
    an_read_kinds(reading, kinds, root, line);
    an_read_stations(reading, an_map_need(&map, "stations", "the stations"), root, line);
    an_read_gauges(reading, an_map_take(&map, "gauges"), line);
    an_check_closings(reading, line, kinds);
    an_map_close(&map);
}

static void read_all(struct an_mistakes *mistakes, struct an_line *line)
{
    const struct an_yaml_node *root = NULL;
    bool torn = false;
    an_yaml_read(line->source, line->arena, mistakes, &root, &torn);
    if (mistakes->failed) {
        return;
    }
    if (!root || root->absent) {
        if (!torn) {
            an_mistakes_add(mistakes, 1, 1,
                            "the file is empty; a description begins with 'line: NAME'");
        }
        return;
    }
    struct an_reading reading = {.arena = line->arena, .mistakes = mistakes, .torn = torn};
    read_sections(&reading, root, line);
}

static enum an_status tell_all(struct an_mistakes *mistakes, const char *path,
                               an_line_mistake *mistake, void *context, struct an_error *err)
{
    an_mistakes_sort(mistakes);
    for (size_t i = 0; mistake && i < mistakes->count; i++) {
        const struct an_mistake *one = &mistakes->at[i];
        mistake(context, path, one->line, one->column, one->text);
    }
    const struct an_mistake *first = &mistakes->at[0];
    return an_fail_at(err, AN_BAD_CONFIG, first->line, first->column,
                      "%s has %s%zu mistake%s; nothing of it was taken over", path,
                      mistakes->more ? "more than " : "", mistakes->count,
                      mistakes->count == 1 ? "" : "s");
}

/* A line with nothing in it but its arena. */
static struct an_line *open_line(struct an_bytes yaml, const char *folder)
{
    struct an_arena *arena = an_arena_open();
    struct an_line *line = arena ? an_arena_alloc(arena, 1, sizeof *line) : NULL;
    if (!line) {
        an_arena_close(arena);
        return NULL;
    }
    line->arena = arena;
    const char *kept = folder && folder[0] ? folder : ".";
    line->folder = an_arena_copy(arena, kept, strlen(kept));
    /* A file that is too long is refused by its length alone. */
    const bool keep = yaml.length <= AN_YAML_BYTES_MOST;
    const char *source =
        keep ? an_arena_copy(arena, yaml.at ? yaml.at : (const void *)"", yaml.length) : "";
    if (!line->folder || !source) {
        an_arena_close(arena);
        return NULL;
    }
    line->source = (struct an_bytes){(const unsigned char *)source, yaml.length};
    return line;
}

enum an_status an_line_read(struct an_bytes yaml, const char *path, const char *folder,
                            an_line_mistake *mistake, void *context, struct an_line **line,
                            struct an_error *err)
{
    *line = NULL;
    struct an_line *read = open_line(yaml, folder);
    if (!read) {
        return an_fail(err, AN_NO_MEMORY, "memory ran out while reading '%s'", path);
    }
    struct an_mistakes mistakes = {.arena = read->arena};
    read_all(&mistakes, read);
    enum an_status st = AN_OK;
    if (mistakes.failed) {
        st = an_fail(err, AN_NO_MEMORY, "memory ran out while reading '%s'", path);
    } else if (mistakes.count > 0) {
        st = tell_all(&mistakes, path, mistake, context, err);
    }
    an_mistakes_free(&mistakes);
    if (st) {
        an_line_close(read);
        return st;
    }
    *line = read;
    return AN_OK;
}

/* --- from a file ----------------------------------------------------------------------------- */

/* One byte more than is allowed is enough to know that the file is too long. */
static enum an_status read_bytes(int fd, const char *path, unsigned char *room, size_t *length,
                                 struct an_error *err)
{
    *length = 0;
    while (*length <= AN_YAML_BYTES_MOST) {
        const ssize_t got = read(fd, room + *length, AN_YAML_BYTES_MOST + 1 - *length);
        if (got > 0) {
            *length += (size_t)got;
        } else if (got == 0) {
            break;
        } else if (errno != EINTR) {
            return an_fail(err, AN_IO, "could not read '%s': %s", path, strerror(errno));
        }
    }
    return AN_OK;
}

static enum an_status open_file(const char *path, int *fd, struct an_error *err)
{
    *fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);
    if (*fd < 0) {
        const enum an_status st = errno == ENOENT || errno == ENOTDIR ? AN_NOT_FOUND
                                  : errno == EACCES                   ? AN_DENIED
                                                                      : AN_IO;
        return an_fail(err, st, "could not open the line description '%s': %s", path,
                       strerror(errno));
    }
    struct stat about;
    if (fstat(*fd, &about) != 0 || !S_ISREG(about.st_mode)) {
        close(*fd);
        *fd = -1;
        return an_fail(err, AN_IO, "'%s' is not a file; name the line description itself", path);
    }
    return AN_OK;
}

/* The folder part of a path into room of the path's own size. */
static const char *folder_of(const char *path, char *room)
{
    const char *slash = strrchr(path, '/');
    if (!slash) {
        return ".";
    }
    const size_t length = slash == path ? 1 : (size_t)(slash - path);
    memcpy(room, path, length);
    room[length] = 0;
    return room;
}

enum an_status an_line_read_file(const char *path, an_line_mistake *mistake, void *context,
                                 struct an_line **line, struct an_error *err)
{
    *line = NULL;
    int fd = -1;
    enum an_status st = open_file(path, &fd, err);
    if (st) {
        return st;
    }
    size_t length = 0;
    char *folder = an_alloc(strlen(path) + 2, 1);
    unsigned char *room = an_alloc(AN_YAML_BYTES_MOST + 1, 1);
    if (!folder || !room) {
        st = an_fail(err, AN_NO_MEMORY, "memory ran out while reading '%s'", path);
        goto done;
    }
    st = read_bytes(fd, path, room, &length, err);
    if (st) {
        goto done;
    }
    st = an_line_read((struct an_bytes){room, length}, path, folder_of(path, folder), mistake,
                      context, line, err);
done:
    an_free(room);
    an_free(folder);
    close(fd);
    return st;
}
