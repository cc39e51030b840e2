/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which items a queue holds, by a file or by a barcode. */
#pragma once

#include "session/session.h"

/* Fills the entries of queue->path. A row of a stock list that the catalogue does not know becomes
   an entry that is new. */
bool up_stock_read(struct up_queue *queue, struct up_catalogue *catalogue,
                   struct up_failure *failure);
/* Adds those that are new to the catalogue, before the first one hangs. */
bool up_stock_register(struct up_queue *queue, struct up_catalogue *catalogue, unsigned *added,
                       struct up_failure *failure);
/* By stock number, as a barcode has it, else by name or id. */
bool up_stock_find(struct up_catalogue *catalogue, const char *text, struct up_item *item,
                   struct up_failure *failure);
