/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From gathered data to a PDF, without a store: what tests draw invented shifts with.
 */
#ifndef AN_REPORT_COMPOSE_H
#define AN_REPORT_COMPOSE_H

#include "report/period_data.h"

/* AN_CANNOT_CREATE, AN_IO, AN_NO_MEMORY; no file is left then. *pages is written on AN_OK. */
AN_CHECKED enum an_status an_report_compose(const struct an_period_data *data, const char *path,
                                            const struct an_paper *paper, int *pages,
                                            struct an_error *err);

/* The same with pages of another report: called once a pass. */
struct an_book;
struct an_composer {
    void (*pages)(struct an_book *book, const void *context);
    const void *context;
    const char *subject; /* of the document */
};
AN_CHECKED enum an_status an_report_compose_by(const struct an_composer *composer,
                                               const struct an_period_data *data, const char *path,
                                               const struct an_paper *paper, int *pages,
                                               struct an_error *err);

#endif
