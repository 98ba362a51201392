/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The life of a tool and the product of a sample, as they came along with it. Any thread. */
#ifndef AN_JUDGE_ALONG_H
#define AN_JUDGE_ALONG_H

#include "judge/baseline.h"

/* The life in a sample's text (the last of several joined by " + "); NAN if there is none. */
double an_life_of(const char *text);
/* mean becomes the distance from its product's target in the product's sigmas; n becomes 0 where the
 * limits do not know the product, so that it is not judged. */
void an_products_scale(const struct an_limits *limits, const struct an_sample *sample,
                       struct an_chart_sample *charted);
/* Learns limits->model (and products), as an_learn_other() for wear and short_run; short_run scales
 * baseline->charted. */
AN_CHECKED enum an_status an_learn_wear(const struct an_baseline *baseline,
                                        struct an_limits *limits, struct an_arena *arena,
                                        struct an_error *err);
AN_CHECKED enum an_status an_learn_short_run(const struct an_baseline *baseline,
                                             struct an_limits *limits, struct an_arena *arena,
                                             struct an_error *err);

#endif
