/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What goes along with each sample and changes what is expected of it: the life of a tool that wears,
 * the product that is being made. Must never guess either: a column names it.
 *
 * Both travel with samples as the ribbon does, so a characteristic has one of the three.
 */
#include "line/sections.h"

#include <math.h>
#include <string.h>

static void read_product(struct an_reading *reading, const struct an_yaml_pair *pair,
                         struct an_product_given *product)
{
    struct an_map map = an_map_open(reading, pair->value, pair->key, "a product");
    const struct an_yaml_node *target = an_map_take(&map, "target");
    const struct an_yaml_node *sigma = an_map_take(&map, "sigma");
    product->name = pair->key->text;
    product->target = an_read_number(reading, target, "target", (double)NAN);
    product->sigma = an_read_number(reading, sigma, "sigma", (double)NAN);
    an_map_close(&map);
    if (sigma && !(product->sigma > 0)) {
        an_tell(reading, sigma, "'sigma' of product '%s' is above 0, not %s", product->name,
                sigma->text);
    }
    if (!target && map.node) {
        an_tell(
            reading, pair->key,
            "product '%s' has no 'target'; give it, or leave the product out to have it learned",
            product->name);
    }
}

static void read_products(struct an_reading *reading, const struct an_yaml_node *node,
                          struct an_characteristic *one)
{
    if (!node) {
        return;
    }
    const struct an_map map = an_map_open(reading, node, node, "'products'");
    const size_t count = map.node ? map.node->count : 0;
    one->products = an_room(reading, count, sizeof *one->products);
    for (size_t i = 0; one->products && i < count; i++) {
        read_product(reading, &map.node->pair[i], &one->products[one->product_count++]);
    }
}

void an_read_along(struct an_reading *reading, struct an_map *map,
                   const struct an_yaml_node *ribbon, const struct an_yaml_node *family,
                   struct an_characteristic *one)
{
    const struct an_yaml_node *life = an_map_take(map, "life_column");
    const struct an_yaml_node *product = an_map_take(map, "product_column");
    const struct an_yaml_node *products = an_map_take(map, "products");
    const bool wears = one->family == AN_WEAR;
    const bool runs = one->family == AN_SHORT_RUN;
    const char *column = NULL;

    read_products(reading, products, one);
    if (life && !wears) {
        an_tell(reading, life, "'life_column' is for the family wear, not for '%s'",
                an_family_name(one->family));
    } else if ((product || products) && !runs) {
        an_tell(reading, product ? product : products,
                "'%s' is for the family short_run, not for '%s'",
                product ? "product_column" : "products", an_family_name(one->family));
    } else if (wears || runs) {
        column = an_read_column(reading, wears ? life : product,
                                wears ? "life_column" : "product_column");
        if (!column && !reading->torn && !(wears ? life : product)) {
            an_tell(reading, family, "'%s' needs '%s'", an_family_name(one->family),
                    wears ? "life_column: a column with the tool's life, such as cycles"
                          : "product_column: a column that names the product");
        }
    }
    if (column && ribbon) {
        an_tell(reading, ribbon, "'ribbon' and '%s' do not go together; keep one",
                wears ? "life_column" : "product_column");
    } else if (column) {
        one->ribbon_column = column;
    }
    if ((wears || runs) && one->weighting.kind != AN_UNWEIGHTED) {
        an_tell(reading, family, "'%s' and 'weighted' do not go together; leave 'weighted' out",
                an_family_name(one->family));
        one->weighting = (struct an_weighting){.kind = AN_UNWEIGHTED};
    }
}
