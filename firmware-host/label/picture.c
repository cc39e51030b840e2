/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What an item does in the water, for who does not read: where it comes to rest, and which way it
   pulls. Right in grey print, since nothing hangs on a colour. */
#include <math.h>

#include "label/internal.h"

static void water(cairo_t *cairo, double side) {
    double surface = 0.28 * side;
    cairo_rectangle(cairo, 0, surface, side, side - surface);
    cairo_set_source_rgb(cairo, 0.84, 0.91, 0.97);
    cairo_fill(cairo);
    cairo_set_source_rgb(cairo, 0, 0, 0);
    cairo_set_line_width(cairo, 0.025 * side);
    cairo_move_to(cairo, 0, surface);
    for (int wave = 0; wave < 4; wave++) {
        cairo_rel_curve_to(cairo, side / 12, -side / 14, side / 6, side / 14, side / 4, 0);
    }
    cairo_stroke(cairo);
    cairo_set_line_width(cairo, 0.06 * side);
    cairo_move_to(cairo, 0, 0.97 * side);
    cairo_line_to(cairo, side, 0.97 * side);
    cairo_stroke(cairo);
}

/* A plain rounded bar: any gear. */
static void item(cairo_t *cairo, double side, double middle, bool sure) {
    double half = 0.08 * side, from = 0.2 * side, to = 0.8 * side;
    cairo_new_sub_path(cairo);
    cairo_arc(cairo, from + half, middle, half, M_PI / 2, 3 * M_PI / 2);
    cairo_arc(cairo, to - half, middle, half, 3 * M_PI / 2, M_PI / 2);
    cairo_close_path(cairo);
    cairo_set_line_width(cairo, 0.04 * side);
    cairo_set_source_rgb(cairo, sure ? 0.12 : 1, sure ? 0.12 : 1, sure ? 0.12 : 1);
    cairo_fill_preserve(cairo);
    cairo_set_source_rgb(cairo, 0.12, 0.12, 0.12);
    cairo_stroke(cairo);
}

static void arrow(cairo_t *cairo, double side, double from, double to) {
    double head = 0.11 * side * (to > from ? 1 : -1);
    cairo_set_line_width(cairo, 0.07 * side);
    cairo_move_to(cairo, side / 2, from);
    cairo_line_to(cairo, side / 2, to - head);
    cairo_stroke(cairo);
    cairo_move_to(cairo, side / 2, to);
    cairo_rel_line_to(cairo, -0.12 * side, -1.4 * head);
    cairo_rel_line_to(cairo, 0.24 * side, 0);
    cairo_close_path(cairo);
    cairo_fill(cairo);
}

void label_picture_draw(cairo_t *cairo, enum up_card_place place, double x_pt, double y_pt,
                        double side_pt) {
    static const double middle[] = {[UP_CARD_UNDECIDED] = 0.62,
                                    [UP_CARD_FLOATS] = 0.28,
                                    [UP_CARD_HOVERS] = 0.62,
                                    [UP_CARD_SINKS] = 0.86};
    cairo_save(cairo);
    cairo_translate(cairo, x_pt, y_pt);
    water(cairo, side_pt);
    item(cairo, side_pt, middle[place] * side_pt, place != UP_CARD_UNDECIDED);
    if (place == UP_CARD_FLOATS) {
        arrow(cairo, side_pt, 0.85 * side_pt, 0.45 * side_pt);
    } else if (place == UP_CARD_SINKS) {
        arrow(cairo, side_pt, 0.36 * side_pt, 0.74 * side_pt);
    } else if (place == UP_CARD_UNDECIDED) {
        arrow(cairo, side_pt, 0.52 * side_pt, 0.33 * side_pt);
        arrow(cairo, side_pt, 0.72 * side_pt, 0.91 * side_pt);
    }
    cairo_restore(cairo);
}
