/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Copies of files that were taken already; see sighting.h. Putting one is file.c's. */
#include "andamento/store/sighting.h"

#include "store/handle.h"

enum an_status an_store_sighting_is_known(struct an_store *store, int64_t file_id, const char *path,
                                          int64_t modified_us, bool *known, struct an_error *err)
{
    static const char sql[] = "SELECT 1 FROM file_sighting"
                              " WHERE file_id = $1 AND path = $2 AND known_us >= $3 LIMIT 1";
    const int64_t now_us = an_clock_now_us();
    const int64_t since_us = modified_us == AN_NO_INSTANT ? INT64_MIN : modified_us;
    struct an_query query;
    enum an_status st = an_query_start(&query, store, sql, "looking for a sighting", err);

    *known = false;
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    an_query_text(&query, path);
    an_query_int(&query, since_us > now_us ? INT64_MIN : since_us);
    st = an_query_row(&query, known, err);
    if (!st && *known) {
        an_query_end(&query);
    }
    return st;
}
