/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where an item was, and which items stand beside it. */
#include "andamento/store/item_stays.h"
#include "store/handle.h"
#include "support_fixture.h"

#include <stdio.h>
#include <string.h>

START_TEST(stays_come_with_their_file)
{
    struct filled filled;
    struct an_item_stay *stays = NULL;
    size_t count = 0;
    OK(fill_committed(store, 1, &filled, &err));
    OK(an_store_item_stays(store, filled.tile_id, arena, &stays, &count, &err));
    ck_assert_uint_eq(count, 1);
    ck_assert_int_eq(stays[0].visit_id, filled.visit_id);
    ck_assert_int_eq(stays[0].item_id, filled.tile_id);
    ck_assert_int_eq(stays[0].file_id, filled.file_id);
    ck_assert_str_eq(stays[0].station, "transfer");
    ck_assert(!memcmp(&stays[0].hash, &filled.hash, sizeof filled.hash));
    ck_assert(stays[0].first_us <= stays[0].last_us && stays[0].rows > 0);
    /* what was never at a station has none, and that is no error */
    OK(an_store_item_stays(store, filled.wall_id, arena, &stays, &count, &err));
    ck_assert_uint_eq(count, 0);
    OK(an_store_item_stays(store, 999999, arena, &stays, &count, &err));
    ck_assert_uint_eq(count, 0);
}
END_TEST

START_TEST(items_beside_are_of_the_kind_and_in_order)
{
    int64_t file_id = 0;
    int64_t id = 0;
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &file_id, &err));
    for (int i = 9; i >= 0; i--) {
        char serial[8];
        (void)snprintf(serial, sizeof serial, "L-%02d", i);
        OK(an_store_item(store, "lot", an_bytes_of(serial), file_id, &id, &err));
        (void)snprintf(serial, sizeof serial, "L-%02dx", i); /* of another kind: never told */
        OK(an_store_item(store, "tray", an_bytes_of(serial), file_id, &id, &err));
    }
    const struct an_file file = {.file_id = file_id,
                                 .hash = an_sha256_of("f", 1),
                                 .name = "f",
                                 .path = "f",
                                 .station = "s",
                                 .modified_us = 1,
                                 .first_us = 1,
                                 .last_us = 2};
    OK(an_store_put_file(store, &file, &err));
    OK(an_store_commit(store, &err));
    static const struct {
        const char *serial;
        size_t most;
        const char *wanted;
    } rows[] = {{"L-05", 2, "L-03 L-04 L-06 L-07 "},
                {"L-00", 3, "L-01 L-02 L-03 "},
                {"L-09", 1, "L-08 "},
                {"M", 2, "L-08 L-09 "}, /* one that there is not */
                {"L-05", 0, ""}};
    for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++) {
        struct an_item *items = NULL;
        size_t count = 0;
        char text[200] = "";
        OK(an_store_items_beside(store, "lot", rows[r].serial, rows[r].most, arena, &items, &count,
                                 &err));
        for (size_t i = 0; i < count; i++) {
            ck_assert_str_eq(items[i].kind, "lot");
            (void)snprintf(text + strlen(text), sizeof text - strlen(text), "%s ", items[i].serial);
        }
        ck_assert_str_eq(text, rows[r].wanted);
    }
}
END_TEST

/* Visits whose rows reach between two lines, whether they begin, end, lie or go past them. */
START_TEST(stays_between_lines)
{
    static const struct {
        const char *serial;
        uint64_t first, last;
    } visits[] = {{"before", 2, 5}, {"across", 3, 20}, {"inside", 7, 8},
                  {"ends", 4, 6},   {"begins", 9, 12}, {"behind", 10, 30}};
    static const struct {
        uint64_t first, last;
        const char *wanted;
    } rows[] = {{6, 9, "across ends inside begins "},
                {7, 7, "across inside "},
                {1, 1, ""},
                {31, 40, ""},
                {2, 30, "before across ends inside begins behind "},
                {13, 20, "across behind "}};
    int64_t file_id = 0;
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &file_id, &err));
    for (size_t v = 0; v < sizeof visits / sizeof visits[0]; v++) {
        struct an_visit visit = {.file_id = file_id,
                                 .first_us = 1,
                                 .last_us = 2,
                                 .shift_from_us = AN_NO_INSTANT,
                                 .first_line = visits[v].first,
                                 .last_line = visits[v].last,
                                 .rows = 1,
                                 .tool = "RT1"};
        OK(an_store_item(store, "tile", an_bytes_of(visits[v].serial), file_id, &visit.item_id,
                         &err));
        OK(an_store_put_visit(store, &visit, &err));
    }
    const struct an_file file = {.file_id = file_id,
                                 .hash = an_sha256_of("f", 1),
                                 .name = "f",
                                 .path = "f",
                                 .station = "s",
                                 .modified_us = 1,
                                 .first_us = 1,
                                 .last_us = 2};
    OK(an_store_put_file(store, &file, &err));
    OK(an_store_commit(store, &err));
    for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++) {
        struct an_item_stay *stays = NULL;
        size_t count = 0;
        char text[200] = "";
        OK(an_store_line_stays(store, file_id, rows[r].first, rows[r].last, arena, &stays, &count,
                               &err));
        for (size_t i = 0; i < count; i++) {
            struct an_item item;
            OK(an_store_item_by_id(store, stays[i].item_id, arena, &item, &err));
            ck_assert_str_eq(stays[i].tool, "RT1");
            (void)snprintf(text + strlen(text), sizeof text - strlen(text), "%s ", item.serial);
        }
        ck_assert_str_eq(text, rows[r].wanted);
        OK(an_store_line_stays(store, file_id + 1, rows[r].first, rows[r].last, arena, &stays,
                               &count, &err));
        ck_assert_uint_eq(count, 0); /* another file's lines are none of these */
    }
}
END_TEST

/* The questions find their rows by an index, however large the store. */
START_TEST(no_table_is_read_whole)
{
    struct an_item_stay *stays = NULL;
    struct an_item *items = NULL;
    size_t count = 0;
    size_t asked = 0;
    OK(an_store_item_stays(store, 1, arena, &stays, &count, &err));
    OK(an_store_line_stays(store, 1, 2, 3, arena, &stays, &count, &err));
    OK(an_store_items_beside(store, "lot", "L", 3, arena, &items, &count, &err));
    for (size_t k = 0; k < AN_STATEMENTS; k++) {
        const char *sql = store->statements[k].sql;
        char explain[1200];
        sqlite3_stmt *plan = NULL;
        if (!sql || !strstr(sql, "SELECT")) {
            continue;
        }
        (void)snprintf(explain, sizeof explain, "EXPLAIN QUERY PLAN %s", sql);
        ck_assert_int_eq(sqlite3_prepare_v2(store->db, explain, -1, &plan, NULL), SQLITE_OK);
        while (sqlite3_step(plan) == SQLITE_ROW) {
            const char *detail = (const char *)sqlite3_column_text(plan, 3);
            asked += strstr(detail, "SEARCH") != NULL;
            ck_assert_msg(!strstr(sql, "visit v") || strncmp(detail, "SCAN", 4) != 0, "%s: %s", sql,
                          detail);
            ck_assert_msg(!strstr(sql, "FROM item WHERE kind") || strncmp(detail, "SCAN", 4) != 0,
                          "%s: %s", sql, detail);
        }
        sqlite3_finalize(plan);
    }
    ck_assert_uint_ge(asked, 4);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("item stays");
    TCase *one = tcase_create("stays");
    tcase_add_checked_fixture(one, fixture_set_up, fixture_tear_down);
    tcase_add_test(one, stays_come_with_their_file);
    tcase_add_test(one, stays_between_lines);
    tcase_add_test(one, items_beside_are_of_the_kind_and_in_order);
    tcase_add_test(one, no_table_is_read_whole);
    suite_add_tcase(suite, one);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
