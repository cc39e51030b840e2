/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sets what stands on a card, from the top down; in two columns where it is broad. */
#include <math.h>

#include "label/internal.h"
#include "text/text.h"

#define CAUTION_CHECK "A weight check in the water decides."
static const double LEAST_PT = 7, LEAST_MODULE_PT = 0.4 * LABEL_PT_PER_MM;
static const double MARGIN_PT = 1.5 * LABEL_PT_PER_MM;
/* Broader than that for its height, it is set in two columns. */
static const double BROAD = 1.25;
/* Above it the grams stay larger than what is small. */
static const double MOST_SHRUNK = 0.75;
/* Narrower, words beside the code would break letter by letter. */
static const double LEAST_WORDS_PT = 40;
/* What a line of a strip takes of its height: letters keep their size and touch no others. */
static const double CLOSE = 0.88;
enum { NAME_LINES = 3 };

struct pen {
    cairo_t *cairo;
    PangoContext *context;
    struct label_setting *setting;
    double x_pt, y_pt, width_pt;
};

struct letters {
    double pt; /* at a scale of one */
    bool bold;
    PangoAlignment align;
    int lines;  /* at most, the rest is cut and marked; 0: as many as it takes */
    bool whole; /* on one line: as small as it must be, and never broken */
    bool on_black;
};

/* ---- one text ---- */

/* Few sizes: to find the fonts for a new one takes longer than to set a label in it. */
static double in_steps(double pt) {
    static const double STEPS = 4;
    return floor(pt * STEPS) / STEPS;
}

static PangoLayout *lay_out(const struct pen *pen, const char *text, const struct letters *letters,
                            double pt) {
    PangoLayout *layout = pango_layout_new(pen->context);
    PangoFontDescription *font = pango_font_description_from_string("sans-serif");
    pango_font_description_set_weight(font,
                                      letters->bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_font_description_set_absolute_size(font, in_steps(pt) * PANGO_SCALE);
    pango_layout_set_font_description(layout, font);
    pango_font_description_free(font);
    if (!letters->whole || letters->align != PANGO_ALIGN_LEFT) {
        pango_layout_set_width(layout, (int)(pen->width_pt * PANGO_SCALE));
        pango_layout_set_wrap(layout, PANGO_WRAP_WORD_CHAR);
        pango_layout_set_alignment(layout, letters->align);
    }
    if (letters->lines > 0) {
        pango_layout_set_height(layout, -letters->lines);
        pango_layout_set_ellipsize(layout, PANGO_ELLIPSIZE_END);
    }
    if (pen->setting->strip) {
        pango_layout_set_line_spacing(layout, (float)CLOSE);
    }
    pango_layout_set_text(layout, text, -1);
    PangoAttrList *plain = pango_attr_list_new(); /* no hyphen that is none of the text's */
    pango_attr_list_insert(plain, pango_attr_insert_hyphens_new(FALSE));
    pango_layout_set_attributes(layout, plain);
    pango_attr_list_unref(plain);
    return layout;
}

static double last_line_pt(PangoLayout *layout) {
    PangoRectangle logical;
    int lines = pango_layout_get_line_count(layout);
    pango_layout_line_get_extents(pango_layout_get_line_readonly(layout, lines - 1), NULL,
                                  &logical);
    return (double)logical.height / PANGO_SCALE;
}

/* What must stay on one line gives up size for it, where all letters are small; below the least it
   has no room. */
static PangoLayout *lay_out_whole(struct pen *pen, const char *text,
                                  const struct letters *letters) {
    double pt = fmax(LEAST_PT, letters->pt * pen->setting->scale);
    PangoLayout *layout = lay_out(pen, text, letters, pt);
    int width;
    pango_layout_get_size(layout, &width, NULL);
    double over = (double)width / PANGO_SCALE / pen->width_pt;
    if (letters->whole && over > 1) {
        g_object_unref(layout);
        pen->setting->too_narrow =
            pen->setting->too_narrow || pt / over < LEAST_PT || pen->setting->scale > MOST_SHRUNK;
        layout = lay_out(pen, text, letters, fmax(LEAST_PT, 0.99 * pt / over));
    }
    return layout;
}

/* Returns its height and moves the pen below it. */
static double put(struct pen *pen, const char *text, const struct letters *letters) {
    int height;
    if (text[0] == '\0') {
        return 0;
    }
    PangoLayout *layout = lay_out_whole(pen, text, letters);
    pango_layout_get_size(layout, NULL, &height);
    double height_pt = (double)height / PANGO_SCALE;
    if (pen->setting->strip) { /* the lines within it are set so already */
        height_pt -= (1 - CLOSE) * last_line_pt(layout);
    }
    if (pango_layout_get_unknown_glyphs_count(layout) > 0) {
        pen->setting->lacks_a_glyph = true;
    }
    if (pen->setting->draws) {
        cairo_set_source_rgb(pen->cairo, letters->on_black, letters->on_black, letters->on_black);
        cairo_move_to(pen->cairo, pen->x_pt, pen->y_pt);
        pango_cairo_show_layout(pen->cairo, layout);
    }
    g_object_unref(layout);
    pen->y_pt += height_pt;
    return height_pt;
}

static void gap(struct pen *pen, double pt) {
    pen->y_pt += pt * fmax(pen->setting->scale, 0.5);
}

/* ---- its parts ---- */

static void put_banner(struct pen *pen, const struct up_card *card) {
    static const struct letters letters = {
        .pt = 9, .bold = true, .align = PANGO_ALIGN_CENTER, .on_black = true};
    struct pen measured = *pen;
    struct label_setting dry = *pen->setting;
    if (card->banner[0] == '\0') {
        return;
    }
    dry.draws = false;
    measured.setting = &dry;
    double height_pt = put(&measured, card->banner, &letters);
    if (pen->setting->draws) {
        cairo_set_source_rgb(pen->cairo, 0, 0, 0);
        cairo_rectangle(pen->cairo, pen->x_pt, pen->y_pt, pen->width_pt, height_pt);
        cairo_fill(pen->cairo);
    }
    put(pen, card->banner, &letters);
    gap(pen, 3);
}

static void put_head(struct pen *pen, const struct up_card *card) {
    static const struct letters name = {.pt = 15, .bold = true, .lines = NAME_LINES},
                                description = {.pt = 8.5, .lines = NAME_LINES};
    put_banner(pen, card);
    put(pen, card->name, &name);
    if (!pen->setting->leaves_out[UP_LABEL_DESCRIPTION]) {
        put(pen, card->description, &description);
    }
    gap(pen, 4);
}

static const struct letters title = {.pt = 9.5, .bold = true, .whole = true},
                            class = {.pt = 11, .bold = true, .whole = true},
                            net = {.pt = 17, .bold = true, .whole = true},
                            small = {.pt = 8, .whole = true};

/* Title, picture with the class beside it, grams: each a text of its own, so that no name and no
   script from right to left gets between a sign and its number. */
static void put_narrow(struct pen *pen, const struct up_card_water *water) {
    struct pen beside = *pen;
    put(pen, water->title, &title);
    double side_pt = fmin(34 * pen->setting->scale, 0.42 * pen->width_pt), top_pt = pen->y_pt;
    if (pen->setting->draws) {
        label_picture_draw(pen->cairo, water->place, pen->x_pt, top_pt + 1, side_pt);
    }
    beside.y_pt = top_pt;
    beside.x_pt += side_pt + 4;
    beside.width_pt -= side_pt + 4;
    put(&beside, water->class, &class);
    put(&beside, water->meaning, &small);
    pen->y_pt = fmax(beside.y_pt, top_pt + side_pt + 2);
    put(pen, water->net, &net);
    put(pen, water->interval, &small);
    put(pen, water->basis, &small);
}

/* The picture at the left, all words beside it. */
static void put_broad(struct pen *pen, const struct up_card_water *water) {
    double side_pt = 58 * pen->setting->scale, gutter_pt = 8 * pen->setting->scale;
    struct pen beside = *pen;
    beside.x_pt += side_pt + gutter_pt;
    beside.width_pt -= side_pt + gutter_pt;
    UP_FREED char *says = up_text_format("%s: %s", water->class, water->meaning);
    put(&beside, water->title, &title);
    put(&beside, says, &class);
    put(&beside, water->net, &net);
    put(&beside, water->interval, &small);
    put(&beside, water->basis, &small);
    if (pen->setting->draws) {
        label_picture_draw(pen->cairo, water->place, pen->x_pt, pen->y_pt + 2, side_pt);
    }
    pen->y_pt = fmax(beside.y_pt, pen->y_pt + side_pt + 2);
}

/* Without a picture: lines of letters. */
static void put_briefly(struct pen *pen, const struct up_card_water *water) {
    static const struct letters bold = {.pt = 9, .bold = true}, plain = {.pt = 8},
                                grams = {.pt = 9, .bold = true, .whole = true};
    UP_FREED char *head = up_text_format("%s: %s", water->title, water->class);
    UP_FREED char *rest = up_text_format("%s, %s", water->interval, water->basis);
    put(pen, head, &bold);
    put(pen, water->net, &grams);
    put(pen, rest, &plain);
}

/* Beside one another; false where that has no room for its lines. */
static bool put_beside(struct pen *pen, const struct up_card *card) {
    double gutter_pt = 3 * LABEL_PT_PER_MM, bottom_pt = pen->y_pt;
    for (int i = 0; i < card->waters; i++) {
        struct pen one = *pen;
        one.width_pt = (pen->width_pt - gutter_pt) / 2;
        one.x_pt += i * (one.width_pt + gutter_pt);
        put_narrow(&one, &card->water[i]);
        bottom_pt = fmax(bottom_pt, one.y_pt);
    }
    pen->y_pt = bottom_pt;
    return !pen->setting->too_narrow;
}

static void put_below(struct pen *pen, const struct up_card *card) {
    bool briefly = pen->setting->leaves_out[UP_LABEL_PICTURE];
    for (int i = 0; i < card->waters; i++) {
        (briefly ? put_briefly : put_broad)(pen, &card->water[i]);
        gap(pen, 4);
    }
}

static void put_waters(struct pen *pen, const struct up_card *card) {
    struct pen measured = *pen;
    struct label_setting dry = *pen->setting;
    dry.draws = false;
    dry.too_narrow = false;
    measured.setting = &dry;
    if (!dry.leaves_out[UP_LABEL_PICTURE] && put_beside(&measured, card)) {
        put_beside(pen, card);
        gap(pen, 6);
    } else {
        put_below(pen, card);
    }
}

static void put_cautions(struct pen *pen, const struct up_card *card) {
    static const struct letters plain = {.pt = 7.5}, bold = {.pt = 9, .bold = true};
    put(pen, card->scope, &plain);
    put(pen, card->marks, &plain);
    gap(pen, 3);
    put(pen, CAUTION_CHECK, &bold);
    gap(pen, 2);
}

/* The code at the right, what is small beside it. */
static void put_foot_at(struct pen *pen, const struct up_card *card) {
    static const struct letters fine_print = {.pt = 7};
    double module_pt = LEAST_MODULE_PT * fmin(fmax(pen->setting->scale, 1), 2);
    bool without = pen->setting->leaves_out[UP_LABEL_CODE];
    double side_pt = without ? 0 : pen->setting->code_modules * module_pt;
    struct pen beside = *pen;
    if (side_pt > 0 && pen->setting->draws) {
        label_code_draw(pen->cairo, pen->setting->code, pen->x_pt + pen->width_pt - side_pt,
                        pen->y_pt, module_pt);
    }
    beside.width_pt -= side_pt;
    if (beside.width_pt < LEAST_WORDS_PT) {
        pen->setting->too_narrow = true;
        return;
    }
    put(&beside, UP_CAUTION_USE, &fine_print);
    gap(&beside, 2);
    if (!pen->setting->leaves_out[UP_LABEL_ORIGIN]) {
        put(&beside, card->origin, &fine_print);
    }
    pen->y_pt = fmax(beside.y_pt, pen->y_pt + side_pt);
}

/* At the bottom, where there is more room than it takes. */
static void put_foot(struct pen *pen, const struct up_card *card) {
    struct pen measured = *pen;
    struct label_setting dry = *pen->setting;
    dry.draws = false;
    measured.setting = &dry;
    put_foot_at(&measured, card);
    if (pen->setting->draws) {
        pen->y_pt += fmax(0, pen->setting->height_pt - MARGIN_PT - measured.y_pt);
    }
    put_foot_at(pen, card);
}

/* ---- a strip ---- */

static const struct letters strip_words = {.pt = 7.5},
                            strip_head_letters = {.pt = 7.5, .whole = true},
                            strip_net = {.pt = 8, .bold = true, .whole = true};

static double width_of(const struct pen *pen, const char *text, const struct letters *letters) {
    int width;
    PangoLayout *layout =
        lay_out(pen, text, letters, fmax(LEAST_PT, letters->pt * pen->setting->scale));
    pango_layout_get_size(layout, &width, NULL);
    g_object_unref(layout);
    return (double)width / PANGO_SCALE;
}

static const double BETWEEN_PT = 5;

static char *strip_head(const struct up_card_water *water, bool brief) {
    return up_text_format("%s: %s", brief ? water->title_brief : water->title, water->class);
}

/* Whether a line has room for water, class and grams. */
static bool fits_a_line(const struct pen *pen, const struct up_card_water *water, bool brief) {
    UP_FREED char *head = strip_head(water, brief);
    return width_of(pen, head, &strip_head_letters) + BETWEEN_PT +
               width_of(pen, water->net, &strip_net) <=
           pen->width_pt;
}

/* Water and class, beside them the grams where a line has room for both, below them what they are.
 */
static void put_strip_water(struct pen *pen, const struct up_card_water *water, bool brief) {
    UP_FREED char *head = strip_head(water, brief);
    UP_FREED char *basis = up_text_format("%s, %s", water->interval, water->basis_brief);
    if (fits_a_line(pen, water, brief)) {
        struct pen right = *pen;
        right.width_pt = width_of(pen, water->net, &strip_net) + 1;
        right.x_pt += pen->width_pt + 1 - right.width_pt;
        put(&right, water->net, &strip_net);
        put(pen, head, &strip_head_letters);
        pen->y_pt = fmax(pen->y_pt, right.y_pt);
    } else {
        put(pen, head, &strip_words);
        put(pen, water->net, &strip_net);
    }
    put(pen, basis, &strip_words);
}

static void put_strip_waters(struct pen *pen, const struct up_card *card) {
    bool brief = false;
    for (int i = 0; i < card->waters; i++) {
        brief = brief || !fits_a_line(pen, &card->water[i], false);
    }
    for (int i = 0; i < card->waters; i++) {
        put_strip_water(pen, &card->water[i], brief);
    }
}

static void put_strip_name(struct pen *pen, const struct up_card *card) {
    const struct letters plain = {.pt = 9, .bold = true, .lines = 1},
                         on_black = {.pt = 9, .bold = true, .lines = 1, .on_black = true};
    struct pen measured = *pen;
    struct label_setting dry = *pen->setting;
    if (card->banner[0] == '\0') {
        put(pen, card->name, &plain);
        return;
    }
    UP_FREED char *name = up_text_format("SIMULATED: %s", card->name);
    dry.draws = false;
    measured.setting = &dry;
    put(&measured, name, &plain);
    if (pen->setting->draws) {
        cairo_set_source_rgb(pen->cairo, 0, 0, 0);
        cairo_rectangle(pen->cairo, pen->x_pt, pen->y_pt + 0.5, pen->width_pt,
                        measured.y_pt - pen->y_pt);
        cairo_fill(pen->cairo);
    }
    put(pen, name, &on_black);
}

/* The code in the corner, whose own margin is also the label's. */
static void put_strip_code(struct pen *pen, double *beside_pt) {
    double module_pt = LEAST_MODULE_PT * fmin(fmax(pen->setting->scale, 1), 2);
    double side_pt = pen->setting->code_modules * module_pt;
    double left_pt = pen->x_pt + pen->width_pt + MARGIN_PT - side_pt;
    *beside_pt = left_pt - pen->x_pt;
    if (pen->setting->draws) {
        label_code_draw(pen->cairo, pen->setting->code, left_pt,
                        fmax(pen->y_pt, pen->setting->height_pt - side_pt), module_pt);
    }
    pen->y_pt += side_pt - MARGIN_PT;
}

static double set_strip(struct pen *pen, const struct up_card *card) {
    put_strip_name(pen, card);
    put_strip_waters(pen, card);
    struct pen beside = *pen;
    if (!pen->setting->leaves_out[UP_LABEL_CODE]) {
        put_strip_code(pen, &beside.width_pt);
    }
    if (beside.width_pt < LEAST_WORDS_PT) {
        pen->setting->too_narrow = true;
        return pen->y_pt;
    }
    UP_FREED char *words = up_text_format("%s%s%s. " CAUTION_CHECK " " UP_CAUTION_USE, card->scope,
                                          card->brief[0] != '\0' ? "; " : "", card->brief);
    put(&beside, words, &strip_words);
    return fmax(pen->y_pt, beside.y_pt) + MARGIN_PT;
}

double label_set(cairo_t *cairo, const struct up_card *card, struct label_setting *setting) {
    struct pen left = {.cairo = cairo,
                       .context = pango_cairo_create_context(cairo),
                       .setting = setting,
                       .x_pt = MARGIN_PT,
                       .y_pt = MARGIN_PT,
                       .width_pt = setting->width_pt - 2 * MARGIN_PT};
    if (setting->strip) {
        double height_pt = set_strip(&left, card);
        g_object_unref(left.context);
        return height_pt;
    }
    struct pen right = left;
    bool broad =
        setting->width_pt > BROAD * setting->height_pt && !setting->leaves_out[UP_LABEL_PICTURE];
    if (broad) {
        double gutter_pt = 3 * LABEL_PT_PER_MM;
        left.width_pt = 0.62 * (left.width_pt - gutter_pt);
        right.x_pt += left.width_pt + gutter_pt;
        right.width_pt -= left.width_pt + gutter_pt;
    }
    struct pen *after = broad ? &right : &left;
    put_head(&left, card);
    put_waters(&left, card);
    put_cautions(after, card);
    put_foot(after, card);
    g_object_unref(left.context);
    return fmax(left.y_pt, after->y_pt) + MARGIN_PT;
}
