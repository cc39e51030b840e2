/* SPDX-License-Identifier: GPL-3.0-or-later */
#pragma once

#include <pango/pangocairo.h>

#include "label/label.h"
#include "report/card.h"

#define LABEL_PT_PER_MM (72 / 25.4)

/* How a label is set. */
struct label_setting {
    double width_pt, height_pt;
    const char *code; /* what a scanner reads */
    int code_modules; /* how wide that is */
    double scale;     /* of all letters, none below 7 points */
    bool leaves_out[UP_LABEL_PARTS];
    bool strip;         /* few lines close to one another, for the roll of a label printer */
    bool draws;         /* else it is only measured */
    bool lacks_a_glyph; /* found while it was set, as is this: */
    bool too_narrow;    /* for what must stand on one line */
};

/* Sets a label at the origin of `cairo`; returns the height that it takes. */
double label_set(cairo_t *cairo, const struct up_card *card, struct label_setting *setting);

/* Chooses the letters' scale; leaves out what may be left out, one part after the other, until the
   rest fits, and last sets it as a strip, with the code if that fits. False where it never does. */
bool label_fit(cairo_t *cairo, const struct up_card *card, struct label_setting *setting);

/* How many modules wide the code is with its margin; 0 where the text is too long for any. */
int label_code_modules(const char *text);
void label_code_draw(cairo_t *cairo, const char *text, double x_pt, double y_pt, double module_pt);

/* The item in its water: at the surface, between, or on the floor. */
void label_picture_draw(cairo_t *cairo, enum up_card_place place, double x_pt, double y_pt,
                        double side_pt);
