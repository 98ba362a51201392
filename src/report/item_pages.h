/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reports on one item, from gathered data to pages, sentences and JSON. Shared only inside this
 * layer, an_item_report_write() excepted.
 */
#ifndef AN_REPORT_ITEM_PAGES_H
#define AN_REPORT_ITEM_PAGES_H

#include "andamento/base/json_out.h"
#include "report/book.h"
#include "report/item_data.h"

struct an_item_result {
    int pages;
    size_t parts, signals, open;
    size_t certain, possible; /* products that carry it; of a batch and a tile */
    const char *serial;       /* in the arena given */
    const char *path;
    const char *lead; /* the sentence */
};
/* Gathers and writes the PDF; of a report without a path, SERIAL.pdf of its kind beside it is not
 * made up here: path must be set. json (or NULL) gets one object with the same facts. Statuses: those of
 * finding the item, of the definition, of reading and of writing; on failure there is no file. */
AN_CHECKED enum an_status an_item_report_write(struct an_store *store, const struct an_line *line,
                                               const struct an_item_report *report,
                                               struct an_json *json, struct an_arena *arena,
                                               struct an_item_result *result, struct an_error *err);

const char *an_say_item_lead(struct an_arena *arena, const struct an_item_data *data);
const char *an_say_item_second(struct an_arena *arena, const struct an_item_data *data);
void an_item_json(struct an_json *json, const struct an_item_data *data);

void an_compose_item(struct an_book *book, const void *item_data);
void an_item_front(struct an_book *book, const struct an_item_data *data,
                   const struct an_report_page *page);
void an_item_values_page(struct an_book *book, const struct an_item_data *data,
                         const struct an_report_page *page);
void an_item_pictures_page(struct an_book *book, const struct an_item_data *data,
                           const struct an_report_page *page);
void an_item_sites_page(struct an_book *book, const struct an_item_data *data,
                        const struct an_report_page *page);

/* Tables, each whole: rows and their cells in the book's arena. most 0: all. */
struct an_item_table {
    struct an_table table;
    size_t left_out; /* rows beyond `most` */
};
struct an_item_table an_batches_table(struct an_book *book, const struct an_item_data *data,
                                      size_t most, bool brief);
struct an_item_table an_carriers_table(struct an_book *book, const struct an_item_data *data);
/* Carriers by kind, place, state and role (order: room for all of them), and those of one kind in rows,
 * serials that follow each other as a run "A to B". */
enum { AN_PLACE_COLUMNS = 5 }; /* where, how sure, as, items, which */
struct an_place_rows {
    const char **cells;   /* of a row that goes on: how sure, as and items are "" */
    size_t rows, longest; /* longest: bytes of "which" */
    bool placed;          /* some of the kind are in a whole */
};
void an_carriers_by_place(const struct an_item_data *data, const struct an_item_carrier **order);
void an_place_rows_of(struct an_book *book, const struct an_item_carrier *const *order,
                      size_t count, struct an_place_rows *rows);
/* All carriers on as few pages as they take. */
void an_draw_carriers_by_place(struct an_book *book, const struct an_item_data *data);
struct an_item_table an_whereabouts_table(struct an_book *book, const struct an_item_data *data,
                                          size_t most);
struct an_item_table an_tools_table(struct an_book *book, const struct an_item_data *data);
struct an_item_table an_signals_table(struct an_book *book, const struct an_item_data *data);
struct an_item_table an_sources_table(struct an_book *book, const struct an_item_data *data);
struct an_item_table an_neighbours_table(struct an_book *book, const struct an_item_data *data);
struct an_item_table an_sharers_table(struct an_book *book, const struct an_item_data *data,
                                      size_t most);

#endif
