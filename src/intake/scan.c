/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The scanner. Must never call a line plain that the CSV library could read otherwise.
 *
 * The hard idea: 64 bytes become three bit masks (delimiters and line feeds; line feeds; bytes that
 * no plain line holds), made in the way the processor does best; all the rest is the same code over
 * masks. A line is known to be regular by two counts: every so many places there is a line feed,
 * and there are no more line feeds than that.
 */
#include "intake/scan.h"

#include <string.h>

#if defined(__x86_64__)
#include <immintrin.h>
#define HAS_X86 1
#else
#define HAS_X86 0
#endif

#define INLINE static inline __attribute__((always_inline))

enum { BATCH = 16 }; /* times 64 bytes are looked at before places are written */

struct masks {
    uint64_t place; /* delimiters and line feeds */
    uint64_t feed;  /* line feeds */
    uint64_t odd;
    unsigned places, feeds; /* how many */
};

/* A CR is plain just before a line feed. `next` is the byte behind the 64. */
INLINE uint64_t odd_returns(uint64_t returns, uint64_t feeds, unsigned char next)
{
    return returns & ~(feeds >> 1 | (uint64_t)(next == '\n') << 63);
}

/* ---- in words of eight bytes, on any processor ------------------------------------------------ */
/* The top bit of each byte that is zero, exactly. */
INLINE uint64_t zero_bytes(uint64_t word)
{
    const uint64_t low = UINT64_C(0x7F7F7F7F7F7F7F7F);

    return ~(((word & low) + low) | word | low);
}

INLINE uint64_t equal_bytes(uint64_t word, unsigned char c)
{
    return zero_bytes(word ^ c * UINT64_C(0x0101010101010101));
}

/* The top bits of the eight bytes as eight bits, the first byte lowest. */
INLINE uint64_t gather(uint64_t tops)
{
    return (tops >> 7) * UINT64_C(0x0102040810204080) >> 56;
}

INLINE uint64_t load_low_first(const unsigned char *at)
{
    uint64_t word = 0;

    memcpy(&word, at, 8);
#if __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
    word = __builtin_bswap64(word);
#endif
    return word;
}

INLINE struct masks one_by_words(const unsigned char *at, unsigned char delimiter)
{
    const uint64_t tops = UINT64_C(0x8080808080808080);
    struct masks all = {0, 0, 0, 0, 0};
    uint64_t returns = 0;

    for (unsigned i = 0; i < 8; i++) {
        const uint64_t word = load_low_first(at + 8 * i);
        const uint64_t split = equal_bytes(word, delimiter);
        const uint64_t feed = equal_bytes(word, '\n');
        const uint64_t back = equal_bytes(word, '\r');
        /* below 20: adding 60 to its low seven bits does not reach the top bit */
        const uint64_t low = ~(((word & ~tops) + UINT64_C(0x6060606060606060)) | word) & tops;
        const uint64_t odd =
            ((word & tops) | low | equal_bytes(word, '"') | equal_bytes(word, 0x7F)) &
            ~(split | feed | back);

        all.place |= gather(split | feed) << 8 * i;
        all.feed |= gather(feed) << 8 * i;
        all.odd |= gather(odd) << 8 * i;
        returns |= gather(back) << 8 * i;
    }
    all.odd |= odd_returns(returns, all.feed, at[64]);
    return all;
}

static void masks_by_words(const unsigned char *at, size_t count, unsigned char delimiter,
                           struct masks *out)
{
    for (size_t i = 0; i < count; i++) {
        out[i] = one_by_words(at + 64 * i, delimiter);
        out[i].places = (unsigned)__builtin_popcountll(out[i].place);
        out[i].feeds = (unsigned)__builtin_popcountll(out[i].feed);
    }
}

/* ---- in registers of the x86 ------------------------------------------------------------------ */
#if HAS_X86
INLINE struct masks one_by_sse2(const unsigned char *at, unsigned char delimiter)
{
    struct masks all = {0, 0, 0, 0, 0};
    uint64_t returns = 0;

    for (unsigned i = 0; i < 4; i++) {
        const __m128i bytes = _mm_loadu_si128((const __m128i *)(const void *)(at + 16 * i));
        const __m128i split = _mm_cmpeq_epi8(bytes, _mm_set1_epi8((char)delimiter));
        const __m128i feed = _mm_cmpeq_epi8(bytes, _mm_set1_epi8('\n'));
        const __m128i back = _mm_cmpeq_epi8(bytes, _mm_set1_epi8('\r'));
        const __m128i place = _mm_or_si128(split, feed);
        __m128i odd = _mm_cmpgt_epi8(_mm_set1_epi8(0x20), bytes); /* signed: 80 to FF too */
        odd = _mm_or_si128(odd, _mm_cmpeq_epi8(bytes, _mm_set1_epi8('"')));
        odd = _mm_or_si128(odd, _mm_cmpeq_epi8(bytes, _mm_set1_epi8(0x7F)));
        odd = _mm_andnot_si128(_mm_or_si128(place, back), odd);
        all.place |= (uint64_t)(uint32_t)_mm_movemask_epi8(place) << 16 * i;
        all.feed |= (uint64_t)(uint32_t)_mm_movemask_epi8(feed) << 16 * i;
        all.odd |= (uint64_t)(uint32_t)_mm_movemask_epi8(odd) << 16 * i;
        returns |= (uint64_t)(uint32_t)_mm_movemask_epi8(back) << 16 * i;
    }
    all.odd |= odd_returns(returns, all.feed, at[64]);
    return all;
}

static void masks_by_sse2(const unsigned char *at, size_t count, unsigned char delimiter,
                          struct masks *out)
{
    for (size_t i = 0; i < count; i++) {
        out[i] = one_by_sse2(at + 64 * i, delimiter);
        out[i].places = (unsigned)__builtin_popcountll(out[i].place);
        out[i].feeds = (unsigned)__builtin_popcountll(out[i].feed);
    }
}

#define WITH_AVX2 __attribute__((target("avx2,popcnt")))

WITH_AVX2 INLINE struct masks one_by_avx2(const unsigned char *at, unsigned char delimiter)
{
    struct masks all = {0, 0, 0, 0, 0};
    uint64_t returns = 0;

    for (unsigned i = 0; i < 2; i++) {
        const __m256i bytes = _mm256_loadu_si256((const __m256i *)(const void *)(at + 32 * i));
        const __m256i split = _mm256_cmpeq_epi8(bytes, _mm256_set1_epi8((char)delimiter));
        const __m256i feed = _mm256_cmpeq_epi8(bytes, _mm256_set1_epi8('\n'));
        const __m256i back = _mm256_cmpeq_epi8(bytes, _mm256_set1_epi8('\r'));
        const __m256i place = _mm256_or_si256(split, feed);
        __m256i odd = _mm256_cmpgt_epi8(_mm256_set1_epi8(0x20), bytes); /* signed: 80 to FF too */
        odd = _mm256_or_si256(odd, _mm256_cmpeq_epi8(bytes, _mm256_set1_epi8('"')));
        odd = _mm256_or_si256(odd, _mm256_cmpeq_epi8(bytes, _mm256_set1_epi8(0x7F)));
        odd = _mm256_andnot_si256(_mm256_or_si256(place, back), odd);
        all.place |= (uint64_t)(uint32_t)_mm256_movemask_epi8(place) << 32 * i;
        all.feed |= (uint64_t)(uint32_t)_mm256_movemask_epi8(feed) << 32 * i;
        all.odd |= (uint64_t)(uint32_t)_mm256_movemask_epi8(odd) << 32 * i;
        returns |= (uint64_t)(uint32_t)_mm256_movemask_epi8(back) << 32 * i;
    }
    all.odd |= odd_returns(returns, all.feed, at[64]);
    return all;
}

WITH_AVX2 static void masks_by_avx2(const unsigned char *at, size_t count, unsigned char delimiter,
                                    struct masks *out)
{
    for (size_t i = 0; i < count; i++) {
        out[i] = one_by_avx2(at + 64 * i, delimiter);
        out[i].places = (unsigned)__builtin_popcountll(out[i].place);
        out[i].feeds = (unsigned)__builtin_popcountll(out[i].feed);
    }
}
#endif

/* ---- over masks ------------------------------------------------------------------------------- */
typedef void make_masks(const unsigned char *at, size_t count, unsigned char delimiter,
                        struct masks *out);

struct walk {
    const unsigned char *text;
    size_t length, fields, most_rows;
    uint32_t *at;        /* behind the first place */
    size_t count, feeds; /* places written, line feeds among them */
    struct an_scan scan;
};

INLINE void put_places(uint32_t *at, uint64_t mask, uint32_t base)
{
    for (; mask; mask &= mask - 1) {
        *at++ = base + (uint32_t)__builtin_ctzll(mask);
    }
}

/* Lines before the first one that has fewer or more fields. */
static size_t regular_rows(const struct walk *walk, size_t from)
{
    for (; (from + 1) * walk->fields <= walk->count; from++) {
        const uint32_t *at = walk->at + from * walk->fields;

        for (size_t f = 0; f < walk->fields; f++) {
            if ((walk->text[at[f]] == '\n') != (f + 1 == walk->fields)) {
                return from;
            }
        }
    }
    return from;
}

/* Keeps the bits below the first odd one, and those of the text. */
static void cut(struct walk *walk, struct masks *masks, size_t base)
{
    uint64_t within = UINT64_MAX;

    if (walk->length - base < 64) {
        within = (UINT64_C(1) << (walk->length - base)) - 1;
    }
    masks->odd &= within;
    if (masks->odd) {
        within &= (masks->odd & (~masks->odd + 1)) - 1;
        walk->scan.is_stuck = true;
    }
    masks->place &= within;
    masks->feed &= within;
    masks->places = (unsigned)__builtin_popcountll(masks->place);
    masks->feeds = (unsigned)__builtin_popcountll(masks->feed);
}

/* Takes the places of 64 bytes; false when that was the end. */
INLINE bool take(struct walk *walk, struct masks *masks, size_t base)
{
    const size_t before = walk->scan.rows;
    bool regular = true;

    if (masks->odd || walk->length - base < 64) {
        cut(walk, masks, base);
    }
    put_places(walk->at + walk->count, masks->place, (uint32_t)base);
    walk->count += masks->places;
    walk->feeds += masks->feeds;
    while ((walk->scan.rows + 1) * walk->fields <= walk->count) {
        walk->scan.rows++;
        regular = regular && walk->text[walk->at[walk->scan.rows * walk->fields - 1]] == '\n';
    }
    if (!regular || walk->feeds != walk->scan.rows) {
        walk->scan.rows = regular_rows(walk, before);
        walk->scan.is_stuck = true;
    }
    return !walk->scan.is_stuck && walk->scan.rows < walk->most_rows;
}

static struct an_scan scan_by(make_masks *make, struct walk walk, char delimiter)
{
    bool more = walk.fields > 0;
    struct masks masks[BATCH];

    walk.at[-1] = UINT32_MAX;
    for (size_t base = 0; more && base < walk.length;) {
        const size_t left = (walk.length - base + 63) / 64;
        const size_t count = left < BATCH ? left : BATCH;

        make(walk.text + base, count - 1, (unsigned char)delimiter, masks);
        if (count == left) { /* the last 64 bytes may reach further than the slack */
            unsigned char end[64 + 1] = {0};
            const size_t at = base + 64 * (count - 1);

            memcpy(end, walk.text + at, walk.length - at);
            make(end, 1, (unsigned char)delimiter, &masks[count - 1]);
        } else {
            make(walk.text + base + 64 * (count - 1), 1, (unsigned char)delimiter,
                 &masks[count - 1]);
        }
        for (size_t i = 0; more && i < count; i++, base += 64) {
            more = take(&walk, &masks[i], base);
        }
    }
    if (walk.scan.rows > walk.most_rows) {
        walk.scan.rows = walk.most_rows;
        walk.scan.is_stuck = false;
    }
    return walk.scan;
}

static enum an_scan_how best_way(void)
{
#if HAS_X86
    return __builtin_cpu_supports("avx2") && __builtin_cpu_supports("popcnt") ? AN_SCAN_AVX2
                                                                              : AN_SCAN_SSE2;
#else
    return AN_SCAN_WORDS;
#endif
}

bool an_scan_lines_by(enum an_scan_how how, const unsigned char *text, size_t length,
                      char delimiter, size_t fields, size_t most_rows, uint32_t *at,
                      struct an_scan *scan)
{
    const struct walk walk = {
        .text = text, .length = length, .fields = fields, .most_rows = most_rows, .at = at + 1};

    switch (how == AN_SCAN_BEST ? best_way() : how) {
#if HAS_X86
    case AN_SCAN_AVX2:
        if (!__builtin_cpu_supports("avx2") || !__builtin_cpu_supports("popcnt")) {
            return false;
        }
        *scan = scan_by(masks_by_avx2, walk, delimiter);
        return true;
    case AN_SCAN_SSE2:
        *scan = scan_by(masks_by_sse2, walk, delimiter);
        return true;
#endif
    case AN_SCAN_WORDS:
        *scan = scan_by(masks_by_words, walk, delimiter);
        return true;
    default:
        return false;
    }
}

struct an_scan an_scan_lines(const unsigned char *text, size_t length, char delimiter,
                             size_t fields, size_t most_rows, uint32_t *at)
{
    struct an_scan scan = {0, false};

    (void)an_scan_lines_by(AN_SCAN_BEST, text, length, delimiter, fields, most_rows, at, &scan);
    return scan;
}
