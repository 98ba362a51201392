/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A row's print: 128 bits by which the same row is known again in another file. Must depend on what
 * the cells say, never on how they are padded, ordered or where they stand.
 *
 * SipHash-2-4 with 128 bits of output [Aumasson, Bernstein, SipHash: a fast short-input PRF, 2012,
 * and its reference code's 128-bit variant]: a row is short, and a SHA-256 of each took a third of
 * the time of reading a file. The key is fixed, since prints must agree from file to file; that a
 * visit's rows are the same is told by the SHA-256 over the sum of their prints.
 */
#include "intake/row_print.h"

#include <string.h>

static uint64_t rotate(uint64_t x, unsigned by)
{
    return x << by | x >> (64 - by);
}

static void sip_rounds(uint64_t v[4], int rounds)
{
    for (int i = 0; i < rounds; i++) {
        v[0] += v[1];
        v[1] = rotate(v[1], 13) ^ v[0];
        v[0] = rotate(v[0], 32);
        v[2] += v[3];
        v[3] = rotate(v[3], 16) ^ v[2];
        v[0] += v[3];
        v[3] = rotate(v[3], 21) ^ v[0];
        v[2] += v[1];
        v[1] = rotate(v[1], 17) ^ v[2];
        v[2] = rotate(v[2], 32);
    }
}

static uint64_t read_low_first(const unsigned char *at, size_t count)
{
    uint64_t word = 0;

    for (size_t i = 0; i < count; i++) {
        word |= (uint64_t)at[i] << 8 * i;
    }
    return word;
}

static uint64_t sip_end(uint64_t v[4])
{
    sip_rounds(v, 4);
    return v[0] ^ v[1] ^ v[2] ^ v[3];
}

struct an_row_print an_row_print_of(struct an_bytes bytes)
{
    const uint64_t key[2] = {0x0706050403020100, 0x0F0E0D0C0B0A0908};
    uint64_t v[4] = {key[0] ^ 0x736F6D6570736575, key[1] ^ 0x646F72616E646F6D ^ 0xEE,
                     key[0] ^ 0x6C7967656E657261, key[1] ^ 0x7465646279746573};
    const uint64_t last = (uint64_t)bytes.length << 56;
    struct an_row_print print;

    for (; bytes.length >= 8; bytes.at += 8, bytes.length -= 8) {
        const uint64_t word = read_low_first(bytes.at, 8);
        v[3] ^= word;
        sip_rounds(v, 2);
        v[0] ^= word;
    }
    const uint64_t word = last | read_low_first(bytes.at, bytes.length);
    v[3] ^= word;
    sip_rounds(v, 2);
    v[0] ^= word;
    v[2] ^= 0xEE;
    print.low = sip_end(v);
    v[1] ^= 0xDD;
    print.high = sip_end(v);
    return print;
}

static void add_low_first(struct an_text *out, uint64_t value, size_t count)
{
    unsigned char bytes[8];

    for (size_t i = 0; i < count; i++) {
        bytes[i] = (unsigned char)(value >> 8 * i);
    }
    an_text_add_bytes(out, (struct an_bytes){bytes, count});
}

static void add_number(struct an_text *out, struct an_decimal number)
{
    while (number.scaled && number.scaled % 10 == 0) { /* 0.50 and 0.5 are one reading */
        number.scaled /= 10;
        number.decimals--;
    }
    if (!number.scaled) {
        number.decimals = 0;
    }
    add_low_first(out, (uint64_t)number.scaled, 8);
    an_text_add_char(out, (char)number.decimals);
}

struct an_row_print an_row_print(struct an_row *row, const struct an_plan *plan,
                                 struct an_text *scratch)
{
    an_text_clear(scratch);
    for (size_t i = 0; i < plan->column_count; i++) {
        const size_t mark = scratch->length;

        if (i == plan->item) {
            an_text_add_bytes(scratch, row->serial);
        } else if (i == plan->time) {
            add_low_first(scratch, (uint64_t)row->at_us, 8);
        } else if ((plan->columns[i].uses & AN_USE_VALUE) &&
                   an_row_number(row, plan, i) == AN_CELL_NUMBER) {
            add_number(scratch, row->cells[i].number);
        } else {
            an_text_add_bytes(scratch, row->cells[i].text);
        }
        /* the length behind each cell keeps "ab","c" apart from "a","bc" */
        add_low_first(scratch, scratch->length - mark, 4);
    }
    return an_row_print_of(
        (struct an_bytes){(const unsigned char *)an_text_of(scratch), scratch->length});
}
