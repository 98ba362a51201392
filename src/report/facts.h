/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The parts of the facts beside a chart; shared only inside this layer. Texts live in the data's arena. */
#ifndef AN_REPORT_FACTS_H
#define AN_REPORT_FACTS_H

#include "report/gather.h"

struct an_facts {
    struct an_gather *gather;
    const struct an_stream_view *view;
    const struct an_limits *limits; /* in force at the newest sample */
    struct an_stream_sheet *sheet;
};

/* Nothing is added without a text, nor beyond the room. */
void an_fact_add(struct an_stream_sheet *sheet, const char *name, const char *text);
/* The family, and what gathers its points. */
const char *an_say_chart(const struct an_facts *of);
const char *an_say_limits(const struct an_facts *of);
/* limits: NULL where there are none. */
const char *an_say_sampling(const struct an_gather *gather, const struct an_stream_view *view,
                            const struct an_limits *limits, const struct an_stream_sheet *sheet);
/* What the family has learned and what it says of the newest samples. */
AN_CHECKED enum an_status an_facts_of_family(const struct an_facts *of);
/* Do counts scatter otherwise than when the limits were learned? NULL for other families. */
const char *an_say_scatter(const struct an_facts *of);
/* t2, mewma: both variables, and which of them speaks. */
AN_CHECKED enum an_status an_facts_of_both(const struct an_facts *of);
/* wear: the line, and the end of the tool in use. */
void an_facts_of_wear(const struct an_facts *of);

#endif
