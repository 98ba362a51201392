/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How files are put by hand. */
#include "support_hand.h"

#include "andamento/base/instant.h"

#include <math.h>
#include <stdlib.h>

struct in_hand begin_file(const char *serial)
{
    struct in_hand hand = {0};
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &hand.file_id, &err));
    OK(an_store_item(store, "tile", an_bytes_of(serial), hand.file_id, &hand.item_id, &err));
    struct an_visit visit = {.file_id = hand.file_id, .item_id = hand.item_id};
    OK(an_store_put_visit(store, &visit, &err));
    hand.visit_id = visit.visit_id;
    return hand;
}

void end_file(const struct in_hand *hand, int64_t known_us)
{
    const struct an_file file = {.file_id = hand->file_id,
                                 .hash = an_sha256_of(&hand->file_id, sizeof hand->file_id),
                                 .name = "f",
                                 .path = "f",
                                 .station = "s",
                                 .modified_us = 1,
                                 .known_us = known_us,
                                 .first_us = 1,
                                 .last_us = 2};
    OK(an_store_put_file(store, &file, &err));
    OK(an_store_commit(store, &err));
}

int64_t put_sample(const struct in_hand *hand, int64_t stream_id, int64_t at_us, double mean)
{
    struct an_sample sample = {.stream_id = stream_id,
                               .visit_id = hand->visit_id,
                               .item_id = hand->item_id,
                               .file_id = hand->file_id,
                               .at_us = at_us,
                               .shift_from_us = AN_NO_INSTANT,
                               .n = 1,
                               .mean = mean,
                               .min = mean,
                               .max = mean,
                               .count = NAN,
                               .opportunities = NAN};
    OK(an_store_put_sample(store, &sample, &err));
    return sample.sample_id;
}

int hand_run(Suite *suite)
{
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
