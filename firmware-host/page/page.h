/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The catalogue as pages to be read with a browser, from a folder or over http: an index that sorts
 * and searches, and a page for each item and each model. They fetch nothing.
 */
#pragma once

#include "report/items.h"

struct up_page_wish {
    bool single;   /* one file that holds all, to be sent by mail */
    bool data;     /* data/ holds what the catalogue exports, and the index leads there */
    bool pictures; /* gnuplot draws each model's sizes: a third of a second each */
    struct up_style style;
    void (*watch)(const char *doing, unsigned long done); /* NULL; or told of files, 0 at the end */
};

struct up_pages_written {
    unsigned items, models, indexes;
    unsigned changed; /* files that are other than before */
};

enum { UP_PAGE_ITEMS = 500, UP_PAGE_SINGLE_BYTES = 5000000 };

/* Into `directory`, which is made where it does not exist. A file that would hold the same bytes is
   left alone. A single file beyond UP_PAGE_SINGLE_BYTES: UP_STATUS_WRONG_INPUT says how many items
   fit one. UP_STATUS_UNABLE where there is no item. */
bool up_pages_write(struct up_catalogue *catalogue, const struct up_rows *rows,
                    const struct up_items *items, const struct up_page_wish *wish,
                    const char *directory, struct up_pages_written *written,
                    struct up_failure *failure);
