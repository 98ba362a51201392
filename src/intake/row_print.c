/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A row's print: 128 bits by which the same row is known again in another file. Must depend on what
 * the cells say, never on how they are padded, ordered or where they stand.
 *
 * Each cell becomes a word of 64 bits: a text its SipHash-2-4 [Aumasson, Bernstein, SipHash: a fast
 * short-input PRF, 2012, with the 128 bits of its reference code, of which the low half is used], a
 * number the bits of the double nearest to it (below 10^15 units different decimals have different
 * ones), a time its microseconds. Pairs of words are multiplied and summed: NH [Black, Halevi,
 * Krawczyk, Krovetz, Rogaway, UMAC: fast and secure message authentication, 1999], which gives two
 * rows that differ the same sum in one of 2^64 keys; then all bits are mixed, since what counts is
 * the sum over the rows of a visit and rows must not be able to trade cells. (The mixing is the
 * last step of MurmurHash3's 128-bit variant, by A. Appleby, public domain; from memory.) A visit
 * is compared with others of the same item only, so 64 bits are plenty; and a row is a few
 * nanoseconds' work where its words are known, as those of texts are that come again.
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

uint64_t an_print_text(struct an_bytes text)
{
    return an_row_print_of(text).low;
}

uint64_t an_print_number(const struct an_decimal *number)
{
    const int64_t most = INT64_C(1000000000000000);
    int64_t scaled = number->scaled;
    int decimals = number->decimals;

    if (scaled <= -most || scaled >= most) { /* 0.50 and 0.5 are one reading */
        while (scaled % 10 == 0) {
            scaled /= 10;
            decimals--;
        }
        if (scaled <= -most || scaled >= most) {
            unsigned char bytes[9] = {(unsigned char)decimals};

            for (size_t i = 0; i < 8; i++) {
                bytes[1 + i] = (unsigned char)((uint64_t)scaled >> 8 * i);
            }
            return an_print_text((struct an_bytes){bytes, sizeof bytes});
        }
    }
    return an_print_value(number->value);
}

uint64_t an_print_key(size_t column)
{
    /* SplitMix64 [Steele, Lea, Flood, Fast splittable pseudorandom number generators, 2014] */
    uint64_t z = (uint64_t)(column + 1) * UINT64_C(0x9E3779B97F4A7C15);

    z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
    return z ^ z >> 31;
}

static uint64_t word_of(struct an_row *row, const struct an_plan *plan, size_t column)
{
    if (column == plan->item) {
        return an_print_text(row->serial);
    }
    if (column == plan->time) {
        return (uint64_t)row->at_us;
    }
    if ((plan->columns[column].uses & (AN_USE_VALUE | AN_USE_GRID)) &&
        an_row_number(row, plan, column) == AN_CELL_NUMBER) {
        return an_print_number(&row->cells[column].number);
    }
    return an_print_text(row->cells[column].text);
}

struct an_row_print an_row_print(struct an_row *row, const struct an_plan *plan)
{
    an_print_sum sum = 0;

    for (size_t i = 0; i < plan->column_count; i += 2) {
        sum += an_print_pair(word_of(row, plan, i),
                             i + 1 < plan->column_count ? word_of(row, plan, i + 1) : 0,
                             an_print_key(i), an_print_key(i + 1));
    }
    return an_print_end(sum);
}
