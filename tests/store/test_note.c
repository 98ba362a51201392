/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Signed heads as text. The key and its short name in the first check are those of the public example
 * of C2SP's signed-note format (from memory); what is wrong with the other notes is ours.
 */
#include "andamento/store/note.h"

#include <check.h>
#include <string.h>

static struct an_error err;

/* PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW: the key's name, its short name, and
 * base64 of byte 1 and the key */
START_TEST(short_name)
{
    static const unsigned char wanted[4] = {0xc7, 0x4f, 0x20, 0xa3};
    unsigned char coded[33];
    struct an_public_key key;
    struct an_key_id id;
    ck_assert(
        an_base64_read(an_bytes_of("ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"), coded, 33));
    ck_assert_int_eq(coded[0], 1);
    memcpy(key.at, coded + 1, 32);
    ck_assert_int_eq(an_key_id_of(an_bytes_of("PeterNeumann"), &key, &id), AN_OK);
    ck_assert_mem_eq(id.at, wanted, 4);
}
END_TEST

static struct an_text secret, open_key;
static struct an_public_key key;
static const struct an_ledger_head head = {3047, {{1, 2, 3, 0xFF}}};

static struct an_bytes bytes_of(const struct an_text *text)
{
    return (struct an_bytes){(const unsigned char *)an_text_of(text), text->length};
}

static void make_key(void)
{
    ck_assert_int_eq(an_key_new(&secret, &open_key, &err), AN_OK);
    ck_assert_int_eq(an_key_public(bytes_of(&open_key), &key, &err), AN_OK);
}

static void free_key(void)
{
    an_text_free(&secret);
    an_text_free(&open_key);
}

static enum an_status read_note(struct an_bytes note, enum an_note_state *state)
{
    struct an_ledger_head read;
    const enum an_status st = an_note_read(note, &key, &read, state, &err);
    if (!st && *state == AN_NOTE_SIGNED) { /* what is signed is this head and no other */
        ck_assert_uint_eq(read.size, head.size);
        ck_assert_mem_eq(read.root.at, head.root.at, 32);
    }
    return st;
}

START_TEST(there_and_back)
{
    struct an_text note = {0};
    enum an_note_state state;
    ck_assert_int_eq(an_note_make("line", &head, bytes_of(&secret), &note, &err), AN_OK);
    ck_assert_int_eq(strncmp(an_text_of(&note),
                             "line\n3047\nAQID/wAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=\n\n", 56),
                     0);
    ck_assert_int_eq(read_note(bytes_of(&note), &state), AN_OK);
    ck_assert_int_eq(state, AN_NOTE_SIGNED);
    an_text_free(&note);
}
END_TEST

/* Each byte changed in three ways, and each beginning: never taken for signed, never a crash. */
START_TEST(no_byte_may_change)
{
    static const unsigned char masks[] = {0x01, 0x20, 0x80};
    struct an_text note = {0};
    enum an_note_state state;
    size_t forged = 0;
    ck_assert_int_eq(an_note_make("line", &head, bytes_of(&secret), &note, &err), AN_OK);
    for (size_t k = 0; k < note.length; k++) {
        for (size_t m = 0; m < sizeof masks; m++) {
            note.at[k] = (char)(note.at[k] ^ masks[m]);
            const enum an_status st = read_note(bytes_of(&note), &state);
            ck_assert_msg(st == AN_BAD_INPUT || state != AN_NOTE_SIGNED, "byte %zu is not signed",
                          k);
            forged += st == AN_OK && state == AN_NOTE_FORGED;
            note.at[k] = (char)(note.at[k] ^ masks[m]);
        }
        const enum an_status st = read_note((struct an_bytes){bytes_of(&note).at, k}, &state);
        ck_assert(st == AN_BAD_INPUT || state != AN_NOTE_SIGNED);
    }
    ck_assert_uint_gt(forged, 60); /* the text's and the signature's bytes, for the most */
    an_text_free(&note);
}
END_TEST

#define ROOT "AQID/wAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=\n"
static const struct {
    const char *note;
    uint64_t line;
    const char *says;
} no_notes[] = {
    {"", 1, "opens with its name"},
    {"\n3\n" ROOT "\n", 1, "opens with its name"},
    {"line", 1, "opens with its name"},
    {"line\n", 2, "no number of entries"},
    {"line\n03\n" ROOT "\n", 2, "no number of entries"},
    {"line\n-3\n" ROOT "\n", 2, "no number of entries"},
    {"line\n99999999999999999999\n" ROOT "\n", 2, "no number of entries"},
    {"line\n3\nAQID\n\n", 3, "no root"},
    {"line\n3\n" ROOT, 4, "empty line"},
    {"line\n3\n" ROOT "more\n", 5, "empty line"},
    {"line\n3\n" ROOT "\nsigned by me\n", 5, "no signature"},
    {"line\n3\n" ROOT "\n\xE2\x80\x94 name\n", 5, "no signature"},
};

START_TEST(not_a_note)
{
    enum an_note_state state;
    ck_assert_int_eq(read_note(an_bytes_of(no_notes[_i].note), &state), AN_BAD_INPUT);
    ck_assert_uint_eq(err.line, no_notes[_i].line);
    ck_assert_msg(strstr(err.text, no_notes[_i].says) != NULL, "%s", err.text);
}
END_TEST

START_TEST(others_may_sign)
{
    enum an_note_state state;
    ck_assert_int_eq(
        read_note(an_bytes_of("line\n3\n" ROOT "\n\xE2\x80\x94 other AAAAAAA=\n"), &state), AN_OK);
    ck_assert_int_eq(state, AN_NOTE_UNSIGNED);
    ck_assert_int_eq(read_note(an_bytes_of("line\n3\n" ROOT "\n"), &state), AN_OK);
    ck_assert_int_eq(state, AN_NOTE_UNSIGNED);
}
END_TEST

START_TEST(names)
{
    struct an_text note = {0};
    static const char *const bad[] = {"", "a b", "a+b", "a\nb", "\xFF", "\x7F"};
    for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) {
        ck_assert_int_eq(an_note_make(bad[k], &head, bytes_of(&secret), &note, &err), AN_BAD_USAGE);
    }
    ck_assert(an_note_name_fits(an_bytes_of("line/one.example")));
    ck_assert_uint_eq(note.length, 0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("note");
    TCase *tests = tcase_create("note");
    tcase_add_checked_fixture(tests, make_key, free_key);
    tcase_add_test(tests, short_name);
    tcase_add_test(tests, there_and_back);
    tcase_add_test(tests, no_byte_may_change);
    tcase_add_loop_test(tests, not_a_note, 0, (int)(sizeof no_notes / sizeof no_notes[0]));
    tcase_add_test(tests, others_may_sign);
    tcase_add_test(tests, names);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
