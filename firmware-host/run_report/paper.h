/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Sheets of A4, filled from the top down. What does not fit begins the next one. All is set twice:
 * first to count the pages, then to draw, with the count at the foot of each.
 */
#pragma once

#include <pango/pangocairo.h>
#include <stdbool.h>

struct paper {
    cairo_t *cairo;
    PangoContext *context;
    const char *title; /* at the foot of each page */
    double y_pt;
    unsigned page, pages; /* this one, from 1; of how many, 0 while they are counted */
    bool draws;
    bool lacks_a_glyph; /* found while it was set */
};

#define PAPER_PT_PER_MM    (72 / 25.4)
#define PAPER_A4_WIDTH_PT  (210 * PAPER_PT_PER_MM)
#define PAPER_A4_HEIGHT_PT (297 * PAPER_PT_PER_MM)

enum { PAPER_COLUMNS_MAX = 10 };
struct paper_column {
    const char *head;
    double share; /* of the width; all together 1 */
    bool number;  /* stands at the right of its column */
};

void paper_begin(struct paper *paper);
void paper_end(struct paper *paper); /* the foot of the last page */

/* Every text may be any: it is made harmless. */
void paper_banner(struct paper *paper, const char *text); /* white on black */
void paper_title(struct paper *paper, const char *text);
void paper_heading(struct paper *paper, const char *text); /* never the last line of a page */
void paper_line(struct paper *paper, const char *text);
void paper_text(struct paper *paper, const char *text); /* with a little room below it */
void paper_boxed(struct paper *paper, const char *text);
/* "term   text"; nothing where the text is empty. */
void paper_pair(struct paper *paper, const char *term, const char *text);
/* "term   ________", for a hand to fill in. */
void paper_blank(struct paper *paper, const char *term);

/* The head, and again at the top of each page that the table goes on to. */
struct paper_table {
    struct paper *paper;
    const struct paper_column *column;
    int columns;
};
void paper_table(struct paper_table *table);
void paper_row(struct paper_table *table, const char *const *cell);
