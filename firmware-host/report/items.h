/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which items a list shows, in which order, and how those of one name are distinguished. */
#pragma once

#include "report/report.h"

/* NULL: any. Compared whole, case aside; each of the texts stands somewhere in what is known of the
   item. Class, waters and bench are those of its results. */
struct up_choice {
    const char *kind, *maker, *model, *size, *class, *bench;
    const char *const *text;
    size_t texts;
    const char *const *waters;
    size_t water_count;
    const char *sort; /* one of up_item_orders; NULL: as they came into the catalogue */
    bool retired;     /* these too */
    json_t *only;     /* ids of the only ones, as keys; NULL: any */
};

/* The next page of a choice: at most `limit` items, in the order of one of their texts, behind the
   item `after_id` (NULL: from the first). From then on the catalogue is read for those alone, and
   the choice shows them. `more`: others follow the last one. The caller releases choice->only. */
bool up_items_page(struct up_catalogue *catalogue, size_t limit, const char *after_id,
                   struct up_choice *choice, bool *more, char last_id[UP_ID_SIZE],
                   struct up_failure *failure);

/* "name", "kind", ..., ended by NULL. */
extern const char *const up_item_orders[];

struct up_items {
    struct up_item *item;
    size_t count;
    size_t retired; /* left out, as are these: */
    size_t others;  /* they do not fit the choice */
};

bool up_items_load(struct up_catalogue *catalogue, const struct up_rows *rows,
                   const struct up_choice *choice, struct up_items *items,
                   struct up_failure *failure);
void up_items_release(struct up_items *items);

/* Of each item whose name another one has, or has one that looks alike: "size L, maker Tern", or
   the beginning of its id where those do not distinguish it. An object by ids, for the caller to
   own; NULL where it fails. */
json_t *up_items_distinctions(struct up_catalogue *catalogue, struct up_failure *failure);

/* Aligned columns for a terminal: each item of the choice, with its class, net buoyancy and
   interval in each of its waters; with none named, in those that the catalogue has results for, at
   most four. */
bool up_items_print(struct up_catalogue *catalogue, const struct up_choice *choice,
                    const struct up_style *style, FILE *stream, struct up_failure *failure);
