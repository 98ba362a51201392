/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where a hit belongs. Must never join hits under different limits: they judge different things. */
#include "judge/episode.h"

#include "andamento/stat/rules.h"

void an_episodes_free(struct an_episodes *episodes)
{
    an_free(episodes->hits);
    *episodes = (struct an_episodes){0};
}

enum an_status an_episodes_add(struct an_episodes *episodes, const struct an_episode_hit *hit)
{
    if (!an_grow((void **)&episodes->hits, episodes->count, &episodes->room,
                 sizeof *episodes->hits)) {
        return AN_NO_MEMORY;
    }
    /* kept by point: hits come nearly in order, so this moves few */
    size_t at = episodes->count++;
    while (at > 0 && episodes->hits[at - 1].at > hit->at) {
        episodes->hits[at] = episodes->hits[at - 1];
        at--;
    }
    episodes->hits[at] = *hit;
    return AN_OK;
}

static bool goes_with(const struct an_episode_hit *a, const struct an_episode_hit *b)
{
    return a->limits_id == b->limits_id && a->panel == b->panel &&
           (a->side == b->side || a->side == 0 || b->side == 0);
}

/* First hit whose point is not before `at`. */
static size_t lower_bound(const struct an_episodes *episodes, size_t at)
{
    size_t lo = 0;
    size_t hi = episodes->count;

    while (lo < hi) {
        const size_t middle = lo + (hi - lo) / 2;
        if (episodes->hits[middle].at < at) {
            lo = middle + 1;
        } else {
            hi = middle;
        }
    }
    return lo;
}

int64_t an_episodes_find(const struct an_episodes *episodes, const struct an_episode_hit *hit)
{
    const struct an_episode_hit *hits = episodes->hits;
    const size_t here = lower_bound(episodes, hit->at);
    const size_t behind = lower_bound(episodes, hit->at + 1);

    for (size_t i = here; i < behind; i++) {
        if (hits[i].limits_id == hit->limits_id && hits[i].panel == hit->panel &&
            hits[i].rule == hit->rule && hits[i].side == hit->side) {
            return hits[i].signal_id;
        }
    }
    for (size_t i = behind; i > 0 && hit->at - hits[i - 1].at <= AN_RULE_MEMORY; i--) {
        if (!hits[i - 1].withdrawn && goes_with(&hits[i - 1], hit)) {
            return hits[i - 1].signal_id;
        }
    }
    for (size_t i = behind; i < episodes->count && hits[i].at - hit->at <= AN_RULE_MEMORY; i++) {
        if (!hits[i].withdrawn && goes_with(&hits[i], hit)) {
            return hits[i].signal_id;
        }
    }
    return 0;
}
