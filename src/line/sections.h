/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The sections of a description, each read by a file of its own. All of them take the node (NULL
 * if the key is missing), fill what they can and tell what is wrong. One thread a reading.
 */
#ifndef AN_LINE_SECTIONS_H
#define AN_LINE_SECTIONS_H

#include "line/line.h"
#include "line/yaml_walk.h"

/* Where the parts of a characteristic stand, for what can only be checked once all are read. */
struct an_characteristic_places {
    const struct an_yaml_node *key, *unit, *split, *only, *family, *subgroup, *spec, *possible,
        *opportunities;
    const struct an_yaml_node *of[AN_JOINT_MOST]; /* derived: the sources' names */
    const char *what;                             /* "characteristic 'dx'" */
    bool broken;                                  /* its sort is not known: check no further */
};

/* shifts.c, kinds.c, stations.c */
void an_read_shifts(struct an_reading *reading, const struct an_yaml_node *node,
                    const struct an_yaml_node *at, struct an_line *line);
void an_read_kinds(struct an_reading *reading, const struct an_yaml_node *node,
                   const struct an_yaml_node *at, struct an_line *line);
void an_read_stations(struct an_reading *reading, const struct an_yaml_node *node,
                      const struct an_yaml_node *at, struct an_line *line);
/* The index of a declared kind; AN_NONE, told, if there is none of that name. */
size_t an_read_kind(struct an_reading *reading, const struct an_yaml_node *node, const char *name,
                    const struct an_line *line);
/* A zone's name, told if the system has no such zone. */
const char *an_read_zone(struct an_reading *reading, const struct an_yaml_node *node,
                         struct an_zone **zone);

/* keep.c: node NULL gives the usual */
struct an_keep an_read_keep(struct an_reading *reading, const struct an_yaml_node *node,
                            const char *what, const struct an_keep *usual);

/* dialect.c */
void an_read_dialect(struct an_reading *reading, const struct an_yaml_node *node, const char *what,
                     struct an_dialect *dialect);
/* links.c */
void an_read_links(struct an_reading *reading, const struct an_yaml_node *node, const char *what,
                   const struct an_line *line, struct an_station *station);
/* row_rules.c: what the station promises of each row */
void an_read_purpose(struct an_reading *reading, const struct an_yaml_node *node, const char *what,
                     struct an_purpose_rule *purpose);
void an_read_part_whole(struct an_reading *reading, const struct an_yaml_node *node,
                        const char *what, struct an_station *station);
void an_read_allowed(struct an_reading *reading, const struct an_yaml_node *node,
                     struct an_station *station);
int64_t an_read_duration_us(struct an_reading *reading, const struct an_yaml_node *node,
                            const char *name);

/* trust.c: how far files are trusted; the keys are taken from the station's map */
void an_read_trust(struct an_reading *reading, struct an_map *map, struct an_station *station);
void an_read_gauges(struct an_reading *reading, const struct an_yaml_node *node,
                    struct an_line *line);
void an_check_closings(struct an_reading *reading, const struct an_line *line,
                       const struct an_yaml_node *kinds);

/* missing.c: codes of missing readings; node NULL gives the usual ones */
struct an_missing_list {
    struct an_missing_code *at;
    size_t count;
};
struct an_missing_list an_read_missing(struct an_reading *reading, const struct an_yaml_node *node);
/* characteristics.c: those of one station, added to the line's; the room for them is there. */
void an_read_characteristics(struct an_reading *reading, const struct an_yaml_node *node,
                             struct an_line *line, size_t station,
                             const struct an_missing_list *station_codes);
/* counted.c */
void an_read_count(struct an_reading *reading, const struct an_yaml_node *node,
                   struct an_characteristic *one);
void an_read_opportunities(struct an_reading *reading, const struct an_yaml_node *node,
                           struct an_characteristic *one);
double an_read_per(struct an_reading *reading, const struct an_yaml_node *node);
/* derived.c: `count` characteristics and their places; looks up sources, settles units and
 * inherited splits, tells circles */
void an_read_derived(struct an_reading *reading, const struct an_yaml_node *node,
                     struct an_characteristic *one, struct an_characteristic_places *places);
void an_settle_derived(struct an_reading *reading, struct an_line *line, size_t first, size_t count,
                       const struct an_characteristic_places *places);
/* charting.c: how it is charted and judged */
/* `weighted`: ewma, cusum or moving average over the level panel. */
void an_read_weighting(struct an_reading *reading, const struct an_yaml_node *node,
                       struct an_characteristic *one);
/* `limits` (sigmas or probability), `covariance`, and what families with memory bring with them; after
 * family and weighting. */
void an_read_limits_by(struct an_reading *reading, const struct an_yaml_node *limits,
                       const struct an_yaml_node *covariance, const struct an_yaml_node *family,
                       struct an_characteristic *one);
/* along.c: life of a tool, product; after family, weighting and ribbon */
void an_read_along(struct an_reading *reading, struct an_map *map,
                   const struct an_yaml_node *ribbon, const struct an_yaml_node *family,
                   struct an_characteristic *one);
enum an_family an_read_family(struct an_reading *reading, const struct an_yaml_node *node,
                              const struct an_characteristic *one);
void an_read_subgroup(struct an_reading *reading, const struct an_yaml_node *node,
                      struct an_characteristic *one);
struct an_rule_choice an_read_rules(struct an_reading *reading, const struct an_yaml_node *node);
void an_read_ribbon(struct an_reading *reading, const struct an_yaml_node *node,
                    const struct an_line *line, struct an_characteristic *one);
/* shape.c: the shape that capability fits */
void an_read_shape(struct an_reading *reading, const struct an_yaml_node *node,
                   struct an_characteristic *one);
/* scale.c: the scale that readings are charted on; after family */
void an_read_scale(struct an_reading *reading, const struct an_yaml_node *node,
                   struct an_characteristic *one);
/* checks.c: what must hold between the parts of one characteristic */
void an_check_characteristic(struct an_reading *reading, const struct an_characteristic *one,
                             const struct an_characteristic_places *places);
/* checks.c: what must hold between stations */
void an_check_stations(struct an_reading *reading, const struct an_line *line,
                       const struct an_yaml_node *stations);

#endif
