/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Evidence of an item: what goes into the folder, what is refused, and that nothing is left behind when
 * memory runs out at any allocation. The folders are checked by their own script, with the system's
 * tools. That a whole line's evidence holds, and every change of it is found, is tested end to end.
 */
#include "andamento/store/correction.h"
#include "support.h"
#include "trace/evidence.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char base[320], folder[360];

static void set_up_all(void)
{
    set_up();
    (void)snprintf(base, sizeof base, "%s.d", store_path());
    (void)snprintf(folder, sizeof folder, "%s/ev", base);
    char command[400];
    (void)snprintf(command, sizeof command, "mkdir %s", base);
    ck_assert_int_eq(system(command), 0);
}

static void tear_down_all(void)
{
    char command[400];
    (void)snprintf(command, sizeof command, "rm -rf %s", base);
    ck_assert_int_eq(system(command), 0);
    tear_down();
}

/* In the folder that holds the evidence. */
static int run(const char *command)
{
    char text[900];
    (void)snprintf(text, sizeof text, "cd %s && %s", base, command);
    return system(text);
}

#define HOLDS(command) ck_assert_msg(run(command) == 0, "%s", command)

/* A file with its original: links "parent > child" as in support.h, and rows that were held. */
static void put_file(const char *const links[], const char *const held[])
{
    int64_t file_id = 0;
    struct an_text bytes = {0};
    int64_t rows = 0;

    begin_file(&file_id);
    an_text_addf(&bytes, "file %lld\n", (long long)file_id);
    for (size_t i = 0; links[i]; i++, rows++) {
        char parent[60];
        const char *arrow = strstr(links[i], " > ");
        ck_assert_ptr_nonnull(arrow);
        (void)snprintf(parent, sizeof parent, "%.*s", (int)(arrow - links[i]), links[i]);
        const char *const names[2] = {parent, arrow + 3};
        int64_t ids[2];
        for (int k = 0; k < 2; k++) {
            const char *colon = strchr(names[k], ':');
            const char *kind = an_arena_copy(arena, names[k], (size_t)(colon - names[k]));
            OK(an_store_item(store, kind, an_bytes_of(colon + 1), file_id, &ids[k], &err));
        }
        const struct an_link link = {.parent_id = ids[0],
                                     .child_id = ids[1],
                                     .role = "R",
                                     .share = 0.5,
                                     .row = (int64_t)i,
                                     .column = 1,
                                     .at_us = 1000000,
                                     .file_id = file_id,
                                     .line = i + 2,
                                     .sure = AN_LINK_SCANNED};
        OK(an_store_put_link(store, &link, &err));
        an_text_addf(&bytes, "%s\n", links[i]);
    }
    int64_t held_rows = 0;
    for (size_t i = 0; held[i]; i++, held_rows++) {
        struct an_held row = {.file_id = file_id,
                              .line = 90 + i,
                              .code = "number.bad",
                              .why = "not a number",
                              .text = an_bytes_of(held[i])};
        OK(an_store_put_held(store, &row, &err));
        an_text_addf(&bytes, "%s\n", held[i]);
    }
    const struct an_sha256 hash = an_sha256_of(an_text_of(&bytes), bytes.length);
    OK(an_store_original_open(store, &err));
    OK(an_store_original_add(store, an_text_of(&bytes), bytes.length, &err));
    OK(an_store_original_close(store, file_id, &hash, &err));
    const struct an_file file = {.file_id = file_id,
                                 .hash = hash,
                                 .bytes = (int64_t)bytes.length,
                                 .name = "a.csv",
                                 .path = "a.csv",
                                 .station = "assembly",
                                 .modified_us = AN_NO_INSTANT,
                                 .rows = rows + held_rows,
                                 .taken = rows,
                                 .held = held_rows,
                                 .first_us = 1,
                                 .last_us = 2};
    OK(an_store_put_file(store, &file, &err));
    OK(an_store_commit(store, &err));
    an_text_free(&bytes);
}

static const char *const none[] = {NULL};

static void put_line(void)
{
    static const char *const wall[] = {"tile:T-1 > wall:W-1", "tile:T-2 > wall:W-1", NULL};
    static const char *const tiles[] = {"donor:D-1 > tile:T-1", "donor:D-2 > tile:T-2", NULL};
    static const char *const far[] = {"donor:D-9 > tile:T-9", "tile:T-9 > wall:W-9", NULL};
    static const char *const held[] = {"2026-03-04,T-1,x",    /* a field */
                                       "2026-03-04;\"D-2\" ", /* quoted, other separator */
                                       "2026-03-04,T-11,x",   /* another serial */
                                       "2026-03-04,xT-1 T-1,x", NULL};
    put_file(wall, none);
    put_file(tiles, none);
    put_file(far, none);
    put_file(none, held);
}

static enum an_status write_to(const char *item, const char *path, struct an_evidence_told *told)
{
    const struct an_evidence_ask ask = {.item = item, .path = path, .program_version = "0"};
    return an_evidence_write(store, NULL, &ask, arena, told, &err);
}

START_TEST(what_goes_in)
{
    struct an_evidence_told told;
    put_line();
    OK(write_to("W-1", folder, &told));
    ck_assert_str_eq(told.item.kind, "wall");
    ck_assert_uint_eq(told.items, 5);
    ck_assert_uint_eq(told.files, 3); /* not that of the other wall */
    ck_assert_uint_eq(told.originals, 3);
    ck_assert_uint_eq(told.leaves, 3);
    ck_assert_uint_eq(told.head.size, 4);
    HOLDS("sh ev/check.sh >said && grep -q '^as proved: 3 leaves under head 4:' said");
    HOLDS("grep -c . ev/records/links.csv | grep -qx 5");
    HOLDS("grep -q 'wall,W-1,tile,T-2,R,,0.5,1,1,1000000,1970-01-01T00:00:01Z,,,scanned' "
          "ev/records/links.csv");
    HOLDS("cut -d, -f2,4,5 ev/records/items.csv | sort | tr '\\n' ' ' | grep -qx "
          "'D-1,2,0.25 D-2,2,0.25 T-1,1,0.5 T-2,1,0.5 W-1,0,1 serial,links_away,share_of_it '");
    HOLDS("! grep -q 'W-9\\|T-9\\|D-9' ev/records/*.csv");
    /* the two rows in which a serial is a field, and only they */
    HOLDS("grep -c . ev/records/held.csv | grep -qx 3");
    HOLDS("grep -q '2026-03-04,T-1,x' ev/records/held.csv && grep -q D-2 ev/records/held.csv");
    HOLDS("grep -qx 'donor:D-1 > tile:T-1' $(grep -l donor:D-1 ev/originals/*)");
    HOLDS("ls -A | sort | tr '\\n' ' ' | grep -qx 'ev said '");
}
END_TEST

START_TEST(corrected)
{
    struct an_evidence_told told;
    put_line();
    struct an_correction fix = {.kind = AN_CORRECT_PARENT,
                                .item_id = id_of("wall:W-1"),
                                .was_id = id_of("tile:T-2"),
                                .is_id = id_of("tile:T-9"),
                                .factor = (double)NAN,
                                .author = "A. Person",
                                .reason = "read wrongly"};
    OK(an_store_put_correction(store, &fix, arena, &err));
    an_store_close(store);
    OK(an_store_open(store_path(), AN_STORE_READ, &store, &err));
    OK(write_to("W-1", folder, &told));
    HOLDS("sh ev/check.sh >said");
    /* what was recorded, and what holds */
    HOLDS("grep -q 'wall,W-1,tile,T-2,.*,1,T-9,' ev/records/links.csv");
    HOLDS("grep -q 'parent,.*,W-1,T-2,T-9,.*A. Person,read wrongly' ev/records/corrections.csv");
    HOLDS("cut -d, -f2 ev/records/items.csv | sort | tr '\\n' ' ' | grep -qx 'D-1 D-9 T-1 T-9 W-1 "
          "serial '");
    HOLDS("tail -c +2 ev/leaves/4 | sed -n 2p | grep -qx correction");
}
END_TEST

START_TEST(refused)
{
    struct an_evidence_told told;
    struct an_evidence_ask ask = {.item = "W-1", .path = folder, .program_version = "0"};
    put_line();
    FAILS(write_to("W-2", folder, &told), AN_NOT_FOUND);
    ck_assert_msg(strstr(err.text, "no item 'W-2' in the store; the nearest") != NULL, "%s",
                  err.text);
    FAILS(write_to("W-1", base, &told), AN_CANNOT_CREATE);
    ask.private_key = an_bytes_of("no key");
    FAILS(an_evidence_write(store, NULL, &ask, arena, &told, &err), AN_BAD_INPUT);
    HOLDS("test $(ls -A | wc -l) = 0");
    OK(write_to("W-1", folder, &told));
    FAILS(write_to("W-1", folder, &told), AN_CANNOT_CREATE);
}
END_TEST

/* An item that went into another by two ways is one item; a part of a part in a ring ends. */
START_TEST(by_two_ways)
{
    static const char *const links[] = {"lot:L > donor:A", "lot:L > donor:B", "donor:A > tile:T",
                                        "donor:B > tile:T", NULL};
    struct an_evidence_told told;
    put_file(links, none);
    OK(write_to("tile:T", folder, &told));
    ck_assert_uint_eq(told.items, 4);
    HOLDS("sh ev/check.sh >said");
    HOLDS("grep -c '^lot,L,' ev/records/items.csv | grep -qx 1");
    HOLDS("grep -q '^lot,L,R,2,0.5,' ev/records/items.csv"); /* 1/2 * 1/2 twice */
}
END_TEST

START_TEST(memory_runs_out)
{
    struct an_evidence_told told;
    size_t k = 1;
    enum an_status st = AN_NO_MEMORY;
    put_line();
    while (st == AN_NO_MEMORY) {
        (void)an_alloc_fail_at(k, false);
        st = write_to("W-1", folder, &told);
        (void)an_alloc_fail_at(0, false);
        if (st) {
            ck_assert_int_eq(st, AN_NO_MEMORY);
            ck_assert(err.text[0]);
            HOLDS("test $(ls -A | wc -l) = 0");
        }
        k += 1 + k / 40; /* thinner further on: rows are alike */
    }
    ck_assert_int_eq(st, AN_OK);
    ck_assert_uint_gt(k, 100);
    HOLDS("sh ev/check.sh >said");
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("evidence");
    TCase *tcase = tcase_create("folder");
    tcase_add_checked_fixture(tcase, set_up_all, tear_down_all);
    tcase_add_test(tcase, what_goes_in);
    tcase_add_test(tcase, corrected);
    tcase_add_test(tcase, refused);
    tcase_add_test(tcase, by_two_ways);
    tcase_add_test(tcase, memory_runs_out);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
