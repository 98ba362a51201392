/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Parts of a signal's sentence for families of their own kind. One thread a story. */
#ifndef AN_JUDGE_JOINT_WORDS_H
#define AN_JUDGE_JOINT_WORDS_H

#include "andamento/base/text.h"
#include "judge/story.h"

/* "; dx up by 0.84 um (3.4 sigma), dy unchanged"; nothing where the values cannot be read again. */
void an_words_joint(struct an_text *text, const struct an_story *story);
/* ": head=H3 stood 4.2 sigma above its own level", the member that is furthest at the last hit. */
void an_words_member(struct an_text *text, const struct an_story *story);
/* " came sooner than luck explains: 9 events, on average 3.1 h from one to the next, where 50 h is
 * usual" */
void an_words_gap(struct an_text *text, const struct an_story *story);

#endif
