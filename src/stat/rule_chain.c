/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From a set of rules to the finite chain of what they remember.
 *
 * Responsible for: the states, found by walking from a fresh chart through every zone, and the
 * joining of those with the same future. Must agree with rules.c point by point; the tests run both
 * over the same random points. Hard idea: what rules.c keeps of the past is a handful of capped
 * counters and flags, so the reachable combinations are few; those that lead to signals by the
 * same zones are one state.
 *
 * [Champ and Woodall, Exact results for Shewhart control charts with supplementary runs rules,
 * Technometrics 29(4), 1987: zones, states and their joining; from memory]
 */
#include "stat/rule_chain.h"

#include <math.h>
#include <string.h>

enum { TURN_POINTS = 14, NEAR_POINTS = 15, FAR_POINTS = 8 }; /* as in rules.c */

/* ---- what is remembered ---- */

/* All fields small; kept in one word so that it can be looked up. Fields that no rule of the set
 * needs stay 0. */
struct memory {
    unsigned any;                /* a point was seen */
    unsigned side, side_points;  /* side + 1 */
    unsigned beyond_2, beyond_1; /* 2 bits a point, newest lowest: side + 1 of those beyond, or 0 */
    unsigned near_points, far_points;
    unsigned step, rise_points, turn_points; /* step + 1 */
};

static uint64_t packed(const struct memory *m)
{
    return (uint64_t)m->any | (uint64_t)m->side << 1 | (uint64_t)m->side_points << 3 |
           (uint64_t)m->beyond_2 << 7 | (uint64_t)m->beyond_1 << 11 |
           (uint64_t)m->near_points << 19 | (uint64_t)m->far_points << 23 |
           (uint64_t)m->step << 27 | (uint64_t)m->rise_points << 29 |
           (uint64_t)m->turn_points << 33;
}

static struct memory unpacked(uint64_t key)
{
    return (struct memory){
        .any = key & 1,
        .side = key >> 1 & 3,
        .side_points = key >> 3 & 15,
        .beyond_2 = key >> 7 & 15,
        .beyond_1 = key >> 11 & 255,
        .near_points = key >> 19 & 15,
        .far_points = key >> 23 & 15,
        .step = key >> 27 & 3,
        .rise_points = key >> 29 & 15,
        .turn_points = key >> 33 & 15,
    };
}

/* Points among the newest `of` (this one and those in `flags`) beyond on `side`. */
static unsigned counted(unsigned flags, unsigned side, unsigned of)
{
    unsigned count = 1; /* this point */
    for (unsigned i = 0; i + 1 < of; i++) {
        count += (flags >> (2 * i) & 3) == side ? 1U : 0U;
    }
    return count;
}

/* Takes a point of a zone; true if a rule speaks. */
static bool take(struct memory *m, const struct an_rule_choice *choice, const struct an_zone *zone,
                 int step)
{
    const bool *on = choice->on;
    const unsigned side = (unsigned)(zone->side + 1);
    const struct memory was = *m;
    bool speaks = on[AN_RULE_BEYOND_LIMIT] && zone->beyond_limit;
    m->any = 1;
    if (on[AN_RULE_RUN_ONE_SIDE]) {
        const bool goes_on = was.any && side == was.side;
        m->side_points = side == 1 ? 0 : goes_on ? was.side_points + 1 : 1;
        m->side = side;
        speaks = speaks || m->side_points >= (unsigned)choice->run_length;
    }
    if (on[AN_RULE_TWO_OF_THREE_BEYOND_2S]) {
        const unsigned flag = zone->beyond_2 ? side + 1 : 0;
        speaks = speaks || (flag != 0 && counted(was.beyond_2, flag, 3) >= 2);
        m->beyond_2 = (was.beyond_2 << 2 | flag) & 15;
    }
    if (on[AN_RULE_FOUR_OF_FIVE_BEYOND_1S]) {
        const unsigned flag = zone->beyond_1 ? side + 1 : 0;
        speaks = speaks || (flag != 0 && counted(was.beyond_1, flag, 5) >= 4);
        m->beyond_1 = (was.beyond_1 << 2 | flag) & 255;
    }
    if (on[AN_RULE_HUGGING_CENTRE]) {
        m->near_points = zone->beyond_1 ? 0 : was.near_points + 1;
        speaks = speaks || m->near_points >= NEAR_POINTS;
    }
    if (on[AN_RULE_AVOIDING_CENTRE]) {
        m->far_points = zone->beyond_1 ? was.far_points + 1 : 0;
        speaks = speaks || m->far_points >= FAR_POINTS;
    }
    if (on[AN_RULE_STEADY_TREND] || on[AN_RULE_ALTERNATING]) {
        const unsigned now = (unsigned)((was.any ? step : 0) + 1);
        const bool level = now == 1;
        if (on[AN_RULE_STEADY_TREND]) {
            m->rise_points = level ? 1 : now == was.step && was.any ? was.rise_points + 1 : 2;
            speaks = speaks || m->rise_points >= (unsigned)choice->trend_length;
        }
        if (on[AN_RULE_ALTERNATING]) {
            m->turn_points = level ? 1 : now == 2 - was.step && was.any ? was.turn_points + 1 : 2;
            speaks = speaks || m->turn_points >= TURN_POINTS;
        }
        m->step = now;
    }
    return speaks;
}

/* ---- zones ---- */

static void add_line(double lines[], size_t *count, double z)
{
    size_t at = 0;
    while (at < *count && lines[at] < z) {
        at++;
    }
    if (at < *count && lines[at] == z) {
        return;
    }
    memmove(&lines[at + 1], &lines[at], (*count - at) * sizeof *lines);
    lines[at] = z;
    (*count)++;
}

/* Every line a rule of the set looks at, and the centre itself as a zone of its own if sides
 * count: a value on it is on no side. */
static void lay_zones(struct an_rule_chain *chain)
{
    const bool *on = chain->choice.on;
    double lines[8] = {0};
    size_t count = 0;
    if (on[AN_RULE_BEYOND_LIMIT]) {
        add_line(lines, &count, chain->k);
        add_line(lines, &count, -chain->k);
    }
    if (on[AN_RULE_TWO_OF_THREE_BEYOND_2S]) {
        add_line(lines, &count, 2.0);
        add_line(lines, &count, -2.0);
    }
    if (on[AN_RULE_FOUR_OF_FIVE_BEYOND_1S] || on[AN_RULE_HUGGING_CENTRE] ||
        on[AN_RULE_AVOIDING_CENTRE]) {
        add_line(lines, &count, 1.0);
        add_line(lines, &count, -1.0);
    }
    const bool sides = on[AN_RULE_RUN_ONE_SIDE];
    if (sides) {
        add_line(lines, &count, 0.0);
    }
    for (size_t i = 0; i <= count; i++) {
        struct an_zone *zone = &chain->zone[chain->zones++];
        zone->low = i > 0 ? lines[i - 1] : (double)-INFINITY;
        zone->high = i < count ? lines[i] : (double)INFINITY;
        if (sides && zone->high == 0.0) {
            chain->zone[chain->zones++] = (struct an_zone){.low = 0.0, .high = 0.0};
        }
    }
    for (size_t i = 0; i < chain->zones; i++) {
        struct an_zone *zone = &chain->zone[i];
        const double inner = zone->low >= 0.0 ? zone->low : zone->high <= 0.0 ? -zone->high : -1.0;
        zone->side = zone->low == zone->high ? 0
                     : zone->low >= 0.0      ? 1
                     : zone->high <= 0.0     ? -1
                                             : 0;
        zone->beyond_1 = inner >= 1.0;
        zone->beyond_2 = inner >= 2.0;
        zone->beyond_limit = inner >= chain->k;
    }
}

size_t an_zone_of(const struct an_rule_chain *chain, double z)
{
    for (size_t i = 0; i < chain->zones; i++) {
        const struct an_zone *zone = &chain->zone[i];
        const bool point = zone->low == zone->high;
        const bool in = point               ? z == zone->low
                        : zone->low >= 0.0  ? z > zone->low && z <= zone->high
                        : zone->high <= 0.0 ? z >= zone->low && z < zone->high
                                            : z >= zone->low && z <= zone->high;
        if (in) {
            return i;
        }
    }
    return chain->zones / 2; /* the centre, where no rule counts sides */
}

/* ---- the walk ---- */

struct walk {
    uint64_t *keys;  /* of the states found, in order */
    uint32_t *table; /* open addressing: state + 1 */
    uint32_t *next;
    size_t count, room, table_size; /* table_size: a power of two */
    struct an_arena *arena;
};

static size_t slot_of(const struct walk *walk, uint64_t key)
{
    uint64_t h = key * 0x9E3779B97F4A7C15U;
    size_t at = (size_t)(h ^ h >> 29) & (walk->table_size - 1);
    while (walk->table[at] != 0 && walk->keys[walk->table[at] - 1] != key) {
        at = (at + 1) & (walk->table_size - 1);
    }
    return at;
}

static bool make_room(struct walk *walk, size_t row)
{
    const size_t room = walk->room ? 2 * walk->room : 1024;
    uint64_t *keys = an_arena_alloc(walk->arena, room, sizeof *keys);
    uint32_t *next = an_arena_alloc(walk->arena, room * row, sizeof *next);
    uint32_t *table = an_arena_alloc(walk->arena, 4 * room, sizeof *table);
    if (keys == NULL || next == NULL || table == NULL) {
        return false;
    }
    if (walk->count) {
        memcpy(keys, walk->keys, walk->count * sizeof *keys);
        memcpy(next, walk->next, walk->count * row * sizeof *next);
    }
    *walk = (struct walk){keys, table, next, walk->count, room, 4 * room, walk->arena};
    for (size_t i = 0; i < walk->count; i++) {
        table[slot_of(walk, keys[i])] = (uint32_t)i + 1;
    }
    return true;
}

enum { STATES_MOST = 2000000 };

/* The state of this memory, new or known; AN_SIGNALLED when memory is out or too much. */
static uint32_t state_of(struct walk *walk, const struct memory *m, size_t row)
{
    const uint64_t key = packed(m);
    size_t at = slot_of(walk, key);
    if (walk->table[at] != 0) {
        return walk->table[at] - 1;
    }
    if (walk->count == STATES_MOST || (walk->count == walk->room && !make_room(walk, row))) {
        return AN_SIGNALLED;
    }
    at = slot_of(walk, key);
    walk->keys[walk->count] = key;
    walk->table[at] = (uint32_t)walk->count + 1;
    return (uint32_t)walk->count++;
}

static bool find_states(struct an_rule_chain *chain, struct walk *walk)
{
    const size_t row = chain->zones * 3;
    const struct memory fresh = {0};
    if (!make_room(walk, row) || state_of(walk, &fresh, row) == AN_SIGNALLED) {
        return false;
    }
    for (size_t s = 0; s < walk->count; s++) {
        for (size_t zone = 0; zone < chain->zones; zone++) {
            for (int step = -1; step <= 1; step++) {
                struct memory m = unpacked(walk->keys[s]);
                uint32_t to = AN_SIGNALLED;
                if (!chain->compares && step != 0) {
                    walk->next[s * row + zone * 3 + (size_t)(step + 1)] = AN_SIGNALLED;
                    continue;
                }
                if (!take(&m, &chain->choice, &chain->zone[zone], step)) {
                    to = state_of(walk, &m, row);
                    if (to == AN_SIGNALLED) {
                        return false;
                    }
                }
                walk->next[s * row + zone * 3 + (size_t)(step + 1)] = to;
            }
        }
    }
    return true;
}

/* ---- joining ---- */

static uint64_t mixed(uint64_t h, uint64_t value)
{
    h = (h ^ value) * 0xFF51AFD7ED558CCDU;
    return h ^ h >> 32;
}

static uint32_t class_of(const uint32_t class[], uint32_t state)
{
    return state == AN_SIGNALLED ? AN_SIGNALLED : class[state];
}

static bool same_future(const uint32_t *next, size_t row, const uint32_t class[], size_t a,
                        size_t b)
{
    if (class[a] != class[b]) {
        return false;
    }
    for (size_t i = 0; i < row; i++) {
        if (class_of(class, next[a * row + i]) != class_of(class, next[b * row + i])) {
            return false;
        }
    }
    return true;
}

/* One round of refinement: states of one class whose moves lead to different classes part. */
static size_t refine(const struct walk *walk, size_t row, const uint32_t class[], uint32_t finer[],
                     uint32_t first_of[], uint32_t table[])
{
    size_t classes = 0;
    memset(table, 0, walk->table_size * sizeof *table);
    for (size_t s = 0; s < walk->count; s++) {
        uint64_t h = class[s];
        for (size_t i = 0; i < row; i++) {
            h = mixed(h, class_of(class, walk->next[s * row + i]));
        }
        size_t at = (size_t)h & (walk->table_size - 1);
        while (table[at] != 0 && !same_future(walk->next, row, class, first_of[table[at] - 1], s)) {
            at = (at + 1) & (walk->table_size - 1);
        }
        if (table[at] == 0) {
            first_of[classes] = (uint32_t)s;
            table[at] = (uint32_t)++classes;
        }
        finer[s] = table[at] - 1;
    }
    return classes;
}

static enum an_status join(struct an_rule_chain *chain, const struct walk *walk)
{
    const size_t row = chain->zones * 3;
    struct an_arena *arena = walk->arena;
    uint32_t *class = an_arena_alloc(arena, walk->count, sizeof *class);
    uint32_t *finer = an_arena_alloc(arena, walk->count, sizeof *finer);
    uint32_t *first_of = an_arena_alloc(arena, walk->count, sizeof *first_of);
    uint32_t *table = an_arena_alloc(arena, walk->table_size, sizeof *table);
    if (class == NULL || finer == NULL || first_of == NULL || table == NULL) {
        return AN_NO_MEMORY;
    }
    size_t classes = 1;
    for (size_t found = 0;; classes = found) {
        found = refine(walk, row, class, finer, first_of, table);
        uint32_t *const keep = class;
        class = finer;
        finer = keep;
        if (found == classes) {
            break;
        }
    }
    chain->states = classes; /* state 0 is found first, so it is class 0 */
    chain->next = an_arena_alloc(arena, classes * row, sizeof *chain->next);
    if (chain->next == NULL) {
        return AN_NO_MEMORY;
    }
    for (size_t c = 0; c < classes; c++) {
        for (size_t i = 0; i < row; i++) {
            chain->next[c * row + i] = class_of(class, walk->next[first_of[c] * row + i]);
        }
    }
    return AN_OK;
}

static bool choice_ok(const struct an_rule_choice *choice, double k)
{
    bool any = false;
    for (int i = 0; i < AN_RULE_COUNT; i++) {
        any = any || choice->on[i];
    }
    return any && choice->run_length >= 7 && choice->run_length <= 12 &&
           choice->trend_length >= 6 && choice->trend_length <= 9 && k > 0.0 && isfinite(k);
}

enum an_status an_rule_chain_open(const struct an_rule_choice *choice, double k,
                                  struct an_arena *arena, struct an_rule_chain **chain)
{
    *chain = NULL;
    if (!choice_ok(choice, k)) {
        return AN_DOMAIN;
    }
    struct an_rule_chain *made = an_arena_alloc(arena, 1, sizeof *made);
    struct walk walk = {.arena = an_arena_open()};
    if (made == NULL || walk.arena == NULL) {
        an_arena_close(walk.arena);
        return AN_NO_MEMORY;
    }
    made->choice = *choice;
    made->k = k;
    made->compares = choice->on[AN_RULE_STEADY_TREND] || choice->on[AN_RULE_ALTERNATING];
    lay_zones(made);
    enum an_status st = find_states(made, &walk) ? AN_OK : AN_NO_MEMORY;
    st = st ? st : join(made, &walk);
    if (!st) { /* the chain outlives the walk */
        const size_t length = made->states * made->zones * 3;
        uint32_t *next = an_arena_alloc(arena, length, sizeof *next);
        if (next == NULL) {
            st = AN_NO_MEMORY;
        } else {
            memcpy(next, made->next, length * sizeof *next);
            made->next = next;
            *chain = made;
        }
    }
    an_arena_close(walk.arena);
    return st;
}

size_t an_rule_chain_states(const struct an_rule_chain *chain)
{
    return chain->states;
}
