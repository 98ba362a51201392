/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Hits of rules gathered into episodes: what is already kept, and where a new hit belongs.
 * Numbers only; writes nothing. One thread a set.
 */
#ifndef AN_JUDGE_EPISODE_H
#define AN_JUDGE_EPISODE_H

#include "andamento/base/memory.h"
#include "andamento/base/status.h"
#include "andamento/stat/rules.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Points before (or behind) a hit in which hits of its signal can lie: a window, and the memory. */
#define AN_EPISODE_REACH ((size_t)2 * AN_RULE_MEMORY)

struct an_episode_hit { /* a hit that belongs to a signal */
    int64_t signal_id, limits_id;
    size_t from, at; /* indexes of the first point of its window, and of its point */
    int panel, side, rule;
    int opened_side, opened_rule; /* of the hit that opened its signal */
    bool withdrawn; /* no longer true; one that is told anew at the same point is not meant */
};

struct an_episodes {
    struct an_episode_hit *hits;
    size_t count, room;
};

void an_episodes_free(struct an_episodes *episodes);
AN_CHECKED enum an_status an_episodes_add(struct an_episodes *episodes,
                                          const struct an_episode_hit *hit);
/*
 * Fills signal_id, opened_side and opened_rule of a new hit with those of the signal it joins;
 * signal_id is 0 if it opens one. In this order: a signal that had a hit of the
 * same rule and side at this very point (its window was retold); one it goes with that has a hit
 * no more than AN_RULE_MEMORY points before this one's window; one that has a hit whose window begins
 * no more than that behind this point (late samples). Windows, not last points: else a run that one
 * point interrupts would be two stories.
 *
 * A hit goes with a signal of the same limits and panel that was opened on the same side. Patterns
 * without a side tell another story: a stream that alternates, or keeps off its centre, takes points
 * beyond a limit on either side along (and is taken along by them), but no run or trend; a stream
 * that hugs its centre goes with nothing else.
 */
void an_episodes_find(const struct an_episodes *episodes, struct an_episode_hit *hit);

#endif
