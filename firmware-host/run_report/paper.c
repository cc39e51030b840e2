/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "run_report/paper.h"

#include <math.h>

#include "text/text.h"

static const double MARGIN_PT = 18 * PAPER_PT_PER_MM, FOOT_PT = 12 * PAPER_PT_PER_MM;
static const double WIDTH_PT = PAPER_A4_WIDTH_PT - 2 * 18 * PAPER_PT_PER_MM;
static const double TERM_PT = 38 * PAPER_PT_PER_MM, GUTTER_PT = 7;
static const double TEXT_PT = 9, CELL_PT = 8, SMALL_PT = 7.5;
static const double GREY = 0.35; /* of lines; never of text */

enum weight { PLAIN, BOLD };

/* ---- one text ---- */

static PangoLayout *lay_out(struct paper *paper, const char *text, double width_pt, double pt,
                            enum weight weight) {
    PangoLayout *layout = pango_layout_new(paper->context);
    PangoFontDescription *font = pango_font_description_from_string("sans-serif");
    UP_FREED char *clean = up_text_for_terminal(text);
    pango_font_description_set_weight(font,
                                      weight == BOLD ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_font_description_set_absolute_size(font, pt * PANGO_SCALE);
    pango_layout_set_font_description(layout, font);
    pango_font_description_free(font);
    pango_layout_set_width(layout, (int)(width_pt * PANGO_SCALE));
    pango_layout_set_wrap(layout, PANGO_WRAP_WORD_CHAR);
    pango_layout_set_text(layout, clean, -1);
    PangoAttrList *plain = pango_attr_list_new(); /* no hyphen that is none of the text's */
    pango_attr_list_insert(plain, pango_attr_insert_hyphens_new(FALSE));
    pango_layout_set_attributes(layout, plain);
    pango_attr_list_unref(plain);
    paper->lacks_a_glyph =
        paper->lacks_a_glyph || pango_layout_get_unknown_glyphs_count(layout) > 0;
    return layout;
}

static double height_of(PangoLayout *layout) {
    int height;
    pango_layout_get_size(layout, NULL, &height);
    return (double)height / PANGO_SCALE;
}

static void show(struct paper *paper, PangoLayout *layout, double x_pt, double grey) {
    if (paper->draws) {
        cairo_set_source_rgb(paper->cairo, grey, grey, grey);
        cairo_move_to(paper->cairo, x_pt, paper->y_pt);
        pango_cairo_show_layout(paper->cairo, layout);
    }
}

static void line_across(struct paper *paper, double from_pt, double y_pt, double grey) {
    if (paper->draws) {
        cairo_set_source_rgb(paper->cairo, grey, grey, grey);
        cairo_set_line_width(paper->cairo, 0.5);
        cairo_move_to(paper->cairo, from_pt, y_pt);
        cairo_line_to(paper->cairo, MARGIN_PT + WIDTH_PT, y_pt);
        cairo_stroke(paper->cairo);
    }
}

/* ---- pages ---- */

static void put_foot(struct paper *paper) {
    UP_FREED char *text = up_text_format("%s, page %u of %u. It may be copied whole, not in part.",
                                         paper->title, paper->page, paper->pages);
    PangoLayout *layout = lay_out(paper, text, WIDTH_PT, SMALL_PT, PLAIN);
    paper->y_pt = PAPER_A4_HEIGHT_PT - FOOT_PT;
    line_across(paper, MARGIN_PT, paper->y_pt - 3, GREY);
    show(paper, layout, MARGIN_PT, 0);
    g_object_unref(layout);
}

void paper_begin(struct paper *paper) {
    paper->page = 1;
    paper->y_pt = MARGIN_PT;
}

void paper_end(struct paper *paper) {
    put_foot(paper);
}

/* Begins the next page where so much has no room; true where it did. */
static bool make_room(struct paper *paper, double height_pt) {
    bool full =
        paper->y_pt + height_pt > PAPER_A4_HEIGHT_PT - FOOT_PT - 8 && paper->y_pt > MARGIN_PT;
    if (full) {
        put_foot(paper);
        if (paper->draws) {
            cairo_show_page(paper->cairo);
        }
        paper->page++;
        paper->y_pt = MARGIN_PT;
    }
    return full;
}

/* ---- its parts ---- */

static void put(struct paper *paper, const char *text, double pt, enum weight weight,
                double with_pt) {
    PangoLayout *layout = lay_out(paper, text, WIDTH_PT, pt, weight);
    double height_pt = height_of(layout);
    make_room(paper, height_pt + with_pt);
    show(paper, layout, MARGIN_PT, 0);
    g_object_unref(layout);
    paper->y_pt += height_pt;
}

void paper_title(struct paper *paper, const char *text) {
    static const double TITLE_PT = 16;
    put(paper, text, TITLE_PT, BOLD, 0);
    paper->y_pt += 6;
}

void paper_heading(struct paper *paper, const char *text) {
    static const double HEADING_PT = 11, LINES_BELOW_PT = 60;
    paper->y_pt += 9;
    put(paper, text, HEADING_PT, BOLD, LINES_BELOW_PT);
    paper->y_pt += 3;
}

void paper_line(struct paper *paper, const char *text) {
    put(paper, text, TEXT_PT, PLAIN, 0);
}

void paper_text(struct paper *paper, const char *text) {
    paper_line(paper, text);
    paper->y_pt += 3;
}

static void put_in_frame(struct paper *paper, const char *text, enum weight weight, bool black) {
    static const double INSIDE_PT = 5;
    PangoLayout *layout = lay_out(paper, text, WIDTH_PT - 2 * INSIDE_PT, TEXT_PT, weight);
    double height_pt = height_of(layout) + 2 * INSIDE_PT;
    make_room(paper, height_pt);
    if (paper->draws) {
        cairo_set_source_rgb(paper->cairo, 0, 0, 0);
        cairo_set_line_width(paper->cairo, 1);
        cairo_rectangle(paper->cairo, MARGIN_PT, paper->y_pt, WIDTH_PT, height_pt);
        (black ? cairo_fill : cairo_stroke)(paper->cairo);
    }
    paper->y_pt += INSIDE_PT;
    show(paper, layout, MARGIN_PT + INSIDE_PT, black ? 1 : 0);
    g_object_unref(layout);
    paper->y_pt += height_pt - INSIDE_PT + 6;
}

void paper_banner(struct paper *paper, const char *text) {
    put_in_frame(paper, text, BOLD, true);
}

void paper_boxed(struct paper *paper, const char *text) {
    put_in_frame(paper, text, PLAIN, false);
}

/* ---- terms ---- */

static void put_term(struct paper *paper, const char *term, PangoLayout *text) {
    PangoLayout *layout = lay_out(paper, term, TERM_PT - GUTTER_PT, TEXT_PT, BOLD);
    double height_pt = fmax(height_of(layout), text != NULL ? height_of(text) : 0);
    make_room(paper, height_pt);
    show(paper, layout, MARGIN_PT, 0);
    if (text != NULL) {
        show(paper, text, MARGIN_PT + TERM_PT, 0);
    }
    g_object_unref(layout);
    paper->y_pt += height_pt + 2;
}

void paper_pair(struct paper *paper, const char *term, const char *text) {
    if (text[0] != '\0') {
        PangoLayout *layout = lay_out(paper, text, WIDTH_PT - TERM_PT, TEXT_PT, PLAIN);
        put_term(paper, term, layout);
        g_object_unref(layout);
    }
}

void paper_blank(struct paper *paper, const char *term) {
    paper->y_pt += 4;
    put_term(paper, term, NULL);
    line_across(paper, MARGIN_PT + TERM_PT, paper->y_pt - 2, GREY);
    paper->y_pt += 2;
}

/* ---- tables ---- */

static void put_cells(struct paper_table *table, const char *const *cell, enum weight weight,
                      bool head) {
    struct paper *paper = table->paper;
    PangoLayout *layout[PAPER_COLUMNS_MAX];
    double height_pt = 0, x_pt = MARGIN_PT;
    for (int i = 0; i < table->columns; i++) {
        const struct paper_column *column = &table->column[i];
        layout[i] = lay_out(paper, cell[i], column->share * WIDTH_PT - GUTTER_PT, CELL_PT, weight);
        pango_layout_set_alignment(layout[i],
                                   column->number ? PANGO_ALIGN_RIGHT : PANGO_ALIGN_LEFT);
        height_pt = fmax(height_pt, height_of(layout[i]));
    }
    if (make_room(paper, height_pt + (head ? 3 * height_pt : 0)) && !head) {
        paper_table(table);
    }
    for (int i = 0; i < table->columns; i++) {
        show(paper, layout[i], x_pt, 0);
        x_pt += table->column[i].share * WIDTH_PT;
        g_object_unref(layout[i]);
    }
    paper->y_pt += height_pt + 2;
}

void paper_table(struct paper_table *table) {
    const char *cell[PAPER_COLUMNS_MAX];
    for (int i = 0; i < table->columns; i++) {
        cell[i] = table->column[i].head;
    }
    put_cells(table, cell, BOLD, true);
    line_across(table->paper, MARGIN_PT, table->paper->y_pt - 1, GREY);
    table->paper->y_pt += 1;
}

void paper_row(struct paper_table *table, const char *const *cell) {
    put_cells(table, cell, PLAIN, false);
}
