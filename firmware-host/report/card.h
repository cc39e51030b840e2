/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a label or a page shows of one item, in words: all of them say the same. */
#pragma once

#include "report/report.h"

/* Where an item comes to rest. */
enum up_card_place { UP_CARD_UNDECIDED, UP_CARD_FLOATS, UP_CARD_HOVERS, UP_CARD_SINKS };

struct up_card_water {
    const struct up_row *row; /* lent: it lives as long as the rows */
    char *title, *title_brief, *class, *meaning, *net, *interval, *basis;
    const char *basis_brief; /* without what it is calculated for; lent */
    char *range;             /* the interval in short and without its unit, for below the net */
    enum up_card_place place;
};

/* All texts are clean; "" where there is none. Fresh and sea water; of what has a result in neither
   the tank's. */
struct up_card {
    char *banner; /* what was never weighed */
    char *name, *description, *marks, *scope, *origin;
    char *brief; /* the marks in few words, for a strip */
    struct up_card_water water[2];
    int waters; /* 0: nothing was measured */
};

/* The rows of one item, which stand together. */
const struct up_row *up_rows_of(const struct up_rows *rows, const char *item_id, size_t *count);

/* `waters`: two that are asked for instead of fresh and sea, the second may be NULL; NULL: none. */
void up_card_fill(struct up_card *card, const struct up_item *item, const struct up_row *row,
                  size_t rows, const char *const *waters, const struct up_style *style);
void up_card_release(struct up_card *card);

/* "+- 1.2 g" becomes "± 1.2 g", a minus before a digit a real one, "20.0 C" "20.0 °C"; takes the
   text, and returns another for the caller. */
char *up_typeset(char *text);

#define UP_CAUTION_USE "Not a conformity test of lifejackets or other protective equipment."
