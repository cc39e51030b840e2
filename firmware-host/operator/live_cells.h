/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Text and large letters on a canvas of cells, for live_layout.c. */
#pragma once

#include "operator/live.h"

/* Where to write: one row, from a column on, within so many columns. */
struct place {
    int row, column, width;
};

/* Writes in one row, cut with dots where it is too long; outside the canvas nothing is written.
   Returns the columns used. */
int live_put(struct up_canvas *canvas, struct place place, enum up_live_style style,
             const char *text);
int live_format(struct up_canvas *canvas, struct place place, enum up_live_style style,
                const char *format, ...) __attribute__((format(printf, 4, 5)));
/* Broken at blanks into at most so many rows, the last one cut. Returns the rows used. */
int live_wrap(struct up_canvas *canvas, struct place place, int rows, enum up_live_style style,
              const char *text);
/* A row of blocks up to `share` of its width (0 to 1). */
void live_bar(struct up_canvas *canvas, struct place place, enum up_live_style style, double share);

/* Large letters, five cells high and mostly four wide, each cell drawn as scale * scale cells. */
enum { LARGE_ROWS = 5 };
int live_large_width(const char *text, int scale);
void live_large(struct up_canvas *canvas, struct place place, int scale, enum up_live_style style,
                const char *text);
/* As large as the place and its rows allow, broken at blanks; what does not fit is left out. */
void live_large_wrap(struct up_canvas *canvas, struct place place, int rows,
                     enum up_live_style style, const char *text);

/* Whether the terminal (TERM) can place its letters; nothing is sent to it. `leave` gets what
   brings the normal screen and the cursor back. */
bool live_terminal_places(int descriptor, char *leave, size_t size);
