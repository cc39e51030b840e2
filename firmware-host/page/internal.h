/* SPDX-License-Identifier: GPL-3.0-or-later */
#pragma once

#include "page/page.h"
#include "report/card.h"

/* ---- html.c: nothing of a name ever is markup ---- */

/* Clean, with &, <, > and quotes as their entities. */
void page_put(FILE *stream, const char *text);
/* In an element of its own, so that its direction touches nothing beside it. */
void page_put_name(FILE *stream, const char *name);
/* Everything up to the first line of the body. Its policy allows what it needs and nothing else.
   `up`: the way to the index, NULL on the index. */
enum page_needs { PAGE_PLAIN, PAGE_SCRIPT, PAGE_SCRIPT_AND_PICTURE };
void page_put_head(FILE *stream, const char *title, enum page_needs needs, const char *up);
void page_put_foot(FILE *stream, bool with_script);
/* A picture of where an item comes to rest: defined once a page, then used by its place. */
void page_put_symbols(FILE *stream);
void page_put_symbol(FILE *stream, enum up_card_place place);

/* ---- evidence.c ---- */

/* Of each result that is shown, how it came about, as HTML in the units of the style; by the
 * result's id. */
json_t *page_evidence(struct up_catalogue *catalogue, const struct up_rows *rows,
                      const struct up_style *style, struct up_failure *failure);

/* ---- item.c, index.c ---- */

struct page {
    const struct up_rows *rows;
    const struct up_items *items;
    const struct up_page_wish *wish;
    json_t *evidence; /* by result id */
    json_t *slice;    /* by item id: where its rows begin */
    json_t *file;     /* by item id: the name of its page, without its ending */
    json_t *model;    /* by maker and model: the places of its items */
    json_t *picture;  /* by maker and model: what gnuplot drew, as base64; NULL: not asked for */
};

const struct up_row *page_rows_of(const struct page *page, const char *item_id, size_t *count);
/* "3f2a1b00" */
const char *page_name_of(const struct page *page, const char *item_id);
/* The same of its model's; "" where it has none. */
const char *page_model_of(const struct page *page, const struct up_item *item);

/* ---- pictures.c ---- */

/* The sizes of each model against net buoyancy, where it has any; NULL where it fails. */
json_t *page_pictures(const struct page *page, struct up_failure *failure);

void page_put_item(const struct page *page, const struct up_item *item, FILE *stream);
/* The table of some items; `up` stands before the links: "" or "../". */
void page_put_table(const struct page *page, const struct up_item *const *item, size_t count,
                    const char *up, FILE *stream);
