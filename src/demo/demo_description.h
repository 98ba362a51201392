/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The text of the demonstration's line.yaml. Any thread. */
#ifndef AN_DEMO_DESCRIPTION_H
#define AN_DEMO_DESCRIPTION_H

#include "andamento/base/text.h"

void an_demo_description(struct an_text *yaml); /* look at yaml->failed afterwards */

#endif
