/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A card for the shelf or a tag for the hook: what one item does in fresh and in sea water, how
 * sure that is, and what it is not. Drawn by cairo, set by pango.
 */
#pragma once

#include "report/items.h"

struct up_label_wish {
    double width_mm, height_mm; /* of one label */
    bool on_sheets;             /* as many as fit on pages of A4, with lines to cut along */
    const char *water[2];       /* instead of fresh and sea; NULL: those, or no second */
    const char *link_base;      /* stands before the id in the QR code; "": the id alone */
    struct up_style style;
    void (*watch)(const char *doing,
                  unsigned long done); /* NULL; or told of labels, 0 at the end */
};

/* What may be left out, in this order. */
enum up_label_part {
    UP_LABEL_CODE,
    UP_LABEL_ORIGIN,
    UP_LABEL_DESCRIPTION,
    UP_LABEL_PICTURE,
    UP_LABEL_PARTS
};
struct up_labels_drawn {
    unsigned labels, pages;
    unsigned not_measured;             /* items that have no result to put on a label */
    unsigned left_out[UP_LABEL_PARTS]; /* labels that had no room for it */
    unsigned without_glyph;            /* labels with characters that no font here has */
};

/* "74x105mm", each side with up to two decimals, from 25x15 to 210x297 mm either way round. */
bool up_label_size(const char *text, struct up_label_wish *wish);

/* A file whose name ends with .pdf holds all of them, one whose name ends with .svg one alone. It
   appears whole or not at all; the same catalogue gives the same bytes. A label on which name,
   class, sign, water, marks and cautions do not fit in letters of 7 points: UP_STATUS_WRONG_INPUT
   names a size that has room for them. */
bool up_labels_draw(const struct up_rows *rows, const struct up_items *items,
                    const struct up_label_wish *wish, const char *file,
                    struct up_labels_drawn *drawn, struct up_failure *failure);
