/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which shape a characteristic's readings are said to have. Must never fit one. The names are those
 * of the statistics, asked for one by one. */
#include "line/sections.h"

void an_read_shape(struct an_reading *reading, const struct an_yaml_node *node,
                   struct an_characteristic *one)
{
    struct an_word_choice choices[AN_SHAPE_COUNT + 1];
    for (int i = 0; i < (int)AN_SHAPE_COUNT; i++) {
        choices[i] = (struct an_word_choice){an_shape_name((enum an_shape)i), i, false};
    }
    choices[AN_SHAPE_COUNT] = (struct an_word_choice){"auto", (int)AN_SHAPE_COUNT + 1, false};
    one->shape.declared = node != NULL;
    if (node && one->kind == AN_COUNTED) {
        an_tell(reading, node,
                "'shape' is of measured and derived characteristics; '%s' is counted", one->name);
        node = NULL;
    }
    const int choice =
        an_read_choice(reading, node, "shape", choices, AN_SHAPE_COUNT + 1, AN_SHAPE_NORMAL);
    one->shape.automatic = choice > (int)AN_SHAPE_COUNT;
    one->shape.shape = one->shape.automatic ? AN_SHAPE_NORMAL : (enum an_shape)choice;
}
