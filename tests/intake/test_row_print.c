/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The hash behind a row's print against SipHash-2-4-128's published vectors (key 00 to 0f, message
 * 00 01 02 ...; vectors of the authors' reference code, first and sixteenth), as OpenSSL 3's own
 * implementation gives them too.
 */
#include "intake/row_print.h"
#include "support.h"

#include <string.h>

static void check(size_t length, const unsigned char wanted[16])
{
    unsigned char message[64];
    unsigned char bytes[16];

    for (size_t i = 0; i < sizeof message; i++) {
        message[i] = (unsigned char)i;
    }
    const struct an_row_print print = an_row_print_of((struct an_bytes){message, length});
    for (size_t i = 0; i < 8; i++) {
        bytes[i] = (unsigned char)(print.low >> 8 * i);
        bytes[8 + i] = (unsigned char)(print.high >> 8 * i);
    }
    ck_assert_mem_eq(bytes, wanted, 16);
}

START_TEST(published_vectors)
{
    static const unsigned char of_nothing[16] = {
        0xA3, 0x81, 0x7F, 0x04, 0xBA, 0x25, 0xA8, 0xE6,
        0x6D, 0xF6, 0x72, 0x14, 0xC7, 0x55, 0x02, 0x93,
    };
    static const unsigned char of_fifteen[16] = {
        0x54, 0x93, 0xE9, 0x99, 0x33, 0xB0, 0xA8, 0x11,
        0x7E, 0x08, 0xEC, 0x0F, 0x97, 0xCF, 0xC3, 0xD9,
    };

    check(0, of_nothing);
    check(15, of_fifteen);
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("row_print");
    TCase *group = tcase_create("row_print");

    tcase_add_test(group, published_vectors);
    suite_add_tcase(suite, group);
    return bench_main(suite, argc, argv);
}
