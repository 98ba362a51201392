/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where a hit belongs. Must never join hits under different limits: they judge different things. */
#include "judge/episode.h"

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

static bool is_two_sided(int rule)
{
    return rule == AN_RULE_ALTERNATING || rule == AN_RULE_AVOIDING_CENTRE;
}

static bool goes_with(const struct an_episode_hit *kept, const struct an_episode_hit *hit)
{
    if (kept->limits_id != hit->limits_id || kept->panel != hit->panel) {
        return false;
    }
    if (kept->opened_side != 0 && hit->side != 0) {
        return kept->opened_side == hit->side;
    }
    if (kept->opened_rule == hit->rule) {
        return true;
    }
    return (is_two_sided(kept->opened_rule) || kept->opened_rule == AN_RULE_BEYOND_LIMIT) &&
           (is_two_sided(hit->rule) || hit->rule == AN_RULE_BEYOND_LIMIT);
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

static void join(struct an_episode_hit *hit, const struct an_episode_hit *kept)
{
    hit->signal_id = kept->signal_id;
    hit->opened_side = kept->opened_side;
    hit->opened_rule = kept->opened_rule;
}

void an_episodes_find(const struct an_episodes *episodes, struct an_episode_hit *hit)
{
    const struct an_episode_hit *hits = episodes->hits;
    const size_t here = lower_bound(episodes, hit->at);
    const size_t behind = lower_bound(episodes, hit->at + 1);

    hit->signal_id = 0;
    hit->opened_side = hit->side;
    hit->opened_rule = hit->rule;
    for (size_t i = here; i < behind; i++) {
        if (hits[i].limits_id == hit->limits_id && hits[i].panel == hit->panel &&
            hits[i].rule == hit->rule && hits[i].side == hit->side) {
            join(hit, &hits[i]);
            return;
        }
    }
    for (size_t i = behind; i > 0 && hits[i - 1].at + AN_RULE_MEMORY >= hit->from; i--) {
        if (!hits[i - 1].withdrawn && goes_with(&hits[i - 1], hit)) {
            join(hit, &hits[i - 1]);
            return;
        }
    }
    for (size_t i = behind; i < episodes->count && hits[i].at <= hit->at + AN_EPISODE_REACH; i++) {
        if (!hits[i].withdrawn && hits[i].from <= hit->at + AN_RULE_MEMORY &&
            goes_with(&hits[i], hit)) {
            join(hit, &hits[i]);
            return;
        }
    }
}
