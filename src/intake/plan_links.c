/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the rules of a whole line say of one rule's links: may they end, can they close a loop? Must
 * never look into the store: it is settled before the first row.
 */
#include "andamento/base/memory.h"
#include "intake/plan.h"

static bool same_kinds(const struct an_station *a, const struct an_link_rule *ra,
                       const struct an_station *b, const struct an_link_rule *rb)
{
    const size_t parent_a = ra->other_is_parent ? ra->kind : a->item_kind;
    const size_t parent_b = rb->other_is_parent ? rb->kind : b->item_kind;
    const size_t child_a = ra->other_is_parent ? a->item_kind : ra->kind;
    const size_t child_b = rb->other_is_parent ? b->item_kind : rb->kind;

    return parent_a == parent_b && child_a == child_b;
}

bool an_plan_may_end(const struct an_plan *plan, const struct an_link_rule *rule)
{
    bool found = rule->single || rule->ends;

    for (size_t s = 0; s < plan->line->station_count && !found; s++) {
        const struct an_station *other = &plan->line->stations[s];

        for (size_t i = 0; i < other->link_count && !found; i++) {
            found = other->links[i].ends && !other->links[i].other_is_same &&
                    same_kinds(plan->station, rule, other, &other->links[i]);
        }
    }
    return found;
}

bool an_plan_may_loop(const struct an_plan *plan, const struct an_link_rule *rule)
{
    const struct an_line *line = plan->line;
    const size_t part = rule->other_is_parent ? rule->kind : plan->station->item_kind;
    bool *reached = an_arena_alloc(plan->arena, line->kind_count + 1, sizeof *reached);
    bool grew = reached != NULL;

    if (!reached) {
        return true; /* asked once too often does no harm */
    }
    reached[rule->other_is_parent ? plan->station->item_kind : rule->kind] = true;
    while (grew && !reached[part]) {
        grew = false;
        for (size_t s = 0; s < line->station_count; s++) {
            const struct an_station *other = &line->stations[s];

            for (size_t i = 0; i < other->link_count; i++) {
                const struct an_link_rule *of = &other->links[i];
                const size_t from = of->other_is_parent ? of->kind : other->item_kind;
                const size_t to = of->other_is_parent ? other->item_kind : of->kind;

                if (!of->other_is_same && reached[from] && !reached[to]) {
                    reached[to] = grew = true;
                }
            }
        }
    }
    return reached[part];
}
