/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Held rows, counts of them, and the traffic of stations. */
#include "andamento/base/instant.h"
#include "support_hand.h"

#include <string.h>

struct plan {
    const char *station; /* NULL: none fits */
    int64_t first_us, modified_us;
    const char *held_codes; /* a letter a held row */
    const char *held_whole; /* code of a file held whole */
};

static const struct plan plans[] = {
    {"transfer", 100, 1, "aab", NULL},
    {"transfer", 200, 1, "", NULL},
    {"aoi", 200, 1, "b", NULL},
    {"aoi", AN_NO_INSTANT, 250, "", "file.empty"}, /* by its own time */
    {NULL, AN_NO_INSTANT, 220, "", "file.station"},
    {"repair", 900, 1, "a", NULL},
};

static void put_plans(void)
{
    for (size_t k = 0; k < sizeof plans / sizeof *plans; k++) {
        const struct plan *plan = &plans[k];
        struct an_file file = {.hash = an_sha256_of(&k, sizeof k),
                               .name = "f",
                               .path = "f",
                               .station = plan->station,
                               .modified_us = plan->modified_us,
                               .state = plan->held_whole ? AN_FILE_HELD : AN_FILE_TAKEN,
                               .code = plan->held_whole,
                               .why = plan->held_whole ? "so it is" : NULL,
                               .rows = 5 + (int64_t)strlen(plan->held_codes),
                               .taken = 2,
                               .duplicate = 2,
                               .blank = 1,
                               .held = (int64_t)strlen(plan->held_codes),
                               .first_us = plan->first_us,
                               .last_us = plan->first_us == AN_NO_INSTANT ? AN_NO_INSTANT
                                                                          : plan->first_us + 20};
        OK(an_store_begin(store, &err));
        OK(an_store_next_file(store, &file.file_id, &err));
        for (const char *c = plan->held_codes; *c; c++) {
            const char code[2] = {*c, '\0'};
            struct an_held held = {.file_id = file.file_id,
                                   .line = 7,
                                   .column = 2,
                                   .column_name = "dx",
                                   .code = code,
                                   .why = "why",
                                   .text = {(const unsigned char *)"1,\0\xff", 4}};
            OK(an_store_put_held(store, &held, &err));
        }
        OK(an_store_put_file(store, &file, &err));
        OK(an_store_commit(store, &err));
    }
}

START_TEST(held_rows)
{
    static const struct {
        const char *station, *code;
        int64_t file_id;
        size_t most;
        const char *ids;
    } rows[] = {
        {NULL, NULL, 0, 0, "12345"},  {NULL, NULL, 0, 2, "12"},    {"transfer", NULL, 0, 0, "123"},
        {"transfer", "b", 0, 0, "3"}, {"aoi", NULL, 0, 0, "4"},    {NULL, "a", 0, 0, "125"},
        {NULL, "b", 0, 1, "3"},       {NULL, NULL, 1, 0, "123"},   {NULL, "a", 1, 0, "12"},
        {"aoi", "a", 1, 0, ""},       {"nowhere", NULL, 0, 0, ""}, {NULL, "z", 0, 0, ""},
    };
    struct an_held *held = NULL;
    size_t count = 0;
    put_plans();
    for (size_t k = 0; k < sizeof rows / sizeof *rows; k++) {
        OK(an_store_held(store, rows[k].station, rows[k].code, rows[k].file_id, rows[k].most, arena,
                         &held, &count, &err));
        ck_assert_msg(count == strlen(rows[k].ids), "row %zu: %zu", k, count);
        for (size_t i = 0; i < count; i++) {
            ck_assert_int_eq(held[i].held_id, rows[k].ids[i] - '0');
        }
    }
    OK(an_store_held(store, NULL, "b", 0, 1, arena, &held, &count, &err));
    ck_assert_int_eq(held->file_id, 1);
    ck_assert_uint_eq(held->line, 7);
    ck_assert_uint_eq(held->column, 2);
    ck_assert_str_eq(held->column_name, "dx");
    ck_assert_str_eq(held->why, "why");
    ck_assert_uint_eq(held->text.length, 4);
    ck_assert_mem_eq(held->text.at, "1,\0\xff", 4);
    ck_assert_str_eq(held->file_name, "f");
    ck_assert_str_eq(held->station, "transfer");
}
END_TEST

START_TEST(held_counts)
{
    struct an_held_count *counts = NULL;
    size_t count = 0;
    put_plans();
    OK(an_store_held_counts(store, 0, 300, arena, &counts, &count, &err));
    ck_assert_uint_eq(count, 5);
    ck_assert_ptr_null(counts[0].station);
    ck_assert_str_eq(counts[0].code, "file.station");
    ck_assert_int_eq(counts[0].rows, 0);
    ck_assert_int_eq(counts[0].files, 1);
    ck_assert_str_eq(counts[1].station, "aoi");
    ck_assert_str_eq(counts[1].code, "b");
    ck_assert_str_eq(counts[2].code, "file.empty");
    ck_assert_str_eq(counts[3].station, "transfer");
    ck_assert_str_eq(counts[3].code, "a");
    ck_assert_int_eq(counts[3].rows, 2);
    ck_assert_int_eq(counts[3].files, 1);
    ck_assert_str_eq(counts[4].code, "b");
    OK(an_store_held_counts(store, 300, 800, arena, &counts, &count, &err));
    ck_assert_uint_eq(count, 0);
}
END_TEST

START_TEST(traffic_of_stations)
{
    struct an_station_traffic *t = NULL;
    size_t count = 0;
    put_plans();
    OK(an_store_put_sighting(store, 2, "again", &err));
    OK(an_store_traffic(store, 210, 300, arena, &t, &count, &err)); /* touched by 200 to 220 */
    ck_assert_uint_eq(count, 4);
    ck_assert_str_eq(t[0].station, "aoi");
    ck_assert_int_eq(t[0].files, 2);
    ck_assert_int_eq(t[0].files_held, 1);
    ck_assert_int_eq(t[0].rows, 11);
    ck_assert_int_eq(t[0].taken, 4);
    ck_assert_int_eq(t[0].duplicate, 4);
    ck_assert_int_eq(t[0].held, 1);
    ck_assert_int_eq(t[0].blank, 2);
    ck_assert_int_eq(t[0].last_us, 220);
    ck_assert_str_eq(t[1].station, "repair"); /* silent in the period, and told */
    ck_assert_int_eq(t[1].files, 0);
    ck_assert_int_eq(t[1].last_us, 920);
    ck_assert_str_eq(t[2].station, "transfer");
    ck_assert_int_eq(t[2].files, 1);
    ck_assert_int_eq(t[2].sightings, 1);
    ck_assert_ptr_null(t[3].station);
    ck_assert_int_eq(t[3].files, 1);
    ck_assert_int_eq(t[3].files_held, 1);
    ck_assert_int_eq(t[3].last_us, AN_NO_INSTANT);
    OK(an_store_traffic(store, 121, 200, arena, &t, &count, &err)); /* the end is not in it */
    ck_assert_uint_eq(count, 3);
    ck_assert_int_eq(t[2].files, 0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("held rows");
    TCase *tcase = tcase_create("all");
    tcase_add_checked_fixture(tcase, fixture_set_up, fixture_tear_down);
    tcase_add_test(tcase, held_rows);
    tcase_add_test(tcase, held_counts);
    tcase_add_test(tcase, traffic_of_stations);
    suite_add_tcase(suite, tcase);
    return hand_run(suite);
}
