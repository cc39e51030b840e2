/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Labels as a file: how large the letters of each may be, which sheet it stands on. */
#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "label/internal.h"
#include "report/glyphs.h"
#include "text/text.h"

/* ---- sizes ---- */

static const double SHORT_LEAST_MM = 15, LONG_LEAST_MM = 25, SHORT_MOST_MM = 210,
                    LONG_MOST_MM = 297;

bool up_label_size(const char *text, struct up_label_wish *wish) {
    double width_mm, height_mm;
    int read = 0;
    bool good = strspn(text, "0123456789.xm") == strlen(text) &&
                strchr(text, 'x') == strrchr(text, 'x') &&
                sscanf(text, "%6lfx%6lfmm%n", &width_mm, &height_mm, &read) == 2 && read > 0 &&
                text[read] == '\0';
    if (good) {
        double low_mm = fmin(width_mm, height_mm), high_mm = fmax(width_mm, height_mm);
        good = low_mm >= SHORT_LEAST_MM && high_mm >= LONG_LEAST_MM && low_mm <= SHORT_MOST_MM &&
               high_mm <= LONG_MOST_MM;
        wish->width_mm = width_mm;
        wish->height_mm = height_mm;
    }
    return good;
}

/* ---- fitting ---- */

static const double LEAST_SCALE = 0.4; /* no letter is above 7 points there */

static bool fits(cairo_t *cairo, const struct up_card *card, struct label_setting *setting,
                 double scale) {
    setting->scale = scale;
    setting->too_narrow = false;
    return label_set(cairo, card, setting) <= setting->height_pt && !setting->too_narrow;
}

/* The largest letters for which all that is set has room. */
static bool fit_letters(cairo_t *cairo, const struct up_card *card, struct label_setting *setting) {
    static const double MOST = 6, STEP = 0.02;
    double low = LEAST_SCALE, high = MOST;
    if (!fits(cairo, card, setting, low)) {
        return false;
    }
    while (high - low > STEP) {
        double middle = (low + high) / 2;
        *(fits(cairo, card, setting, middle) ? &low : &high) = middle;
    }
    return fits(cairo, card, setting, low);
}

bool label_fit(cairo_t *cairo, const struct up_card *card, struct label_setting *setting) {
    bool good = fit_letters(cairo, card, setting);
    for (int part = 0; !good && part < UP_LABEL_PARTS; part++) {
        setting->leaves_out[part] = true;
        good = fit_letters(cairo, card, setting);
    }
    setting->strip = !good;
    for (int without = 0; !good && without < 2; without++) {
        setting->leaves_out[UP_LABEL_CODE] = without == 1;
        good = fit_letters(cairo, card, setting);
    }
    return good;
}

/* As wide as its grams on one line need, then as high as the rest does; false: never. */
static bool find_room(cairo_t *cairo, const struct up_card *card, struct label_setting *setting) {
    setting->scale = LEAST_SCALE;
    do {
        setting->too_narrow = false;
        setting->height_pt =
            ceil(label_set(cairo, card, setting) / LABEL_PT_PER_MM) * LABEL_PT_PER_MM;
        setting->width_pt += setting->too_narrow ? LABEL_PT_PER_MM : 0;
    } while (setting->too_narrow && setting->width_pt < LONG_MOST_MM * LABEL_PT_PER_MM);
    return !setting->too_narrow;
}

static bool refuse_size(const struct up_label_wish *wish, cairo_t *cairo,
                        const struct up_card *card, struct label_setting *setting,
                        struct up_failure *failure) {
    UP_FREED char *takes =
        find_room(cairo, card, setting)
            ? up_text_format("it takes %gx%.0fmm", setting->width_pt / LABEL_PT_PER_MM,
                             setting->height_pt / LABEL_PT_PER_MM)
            : up_text_format("no size has");
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "a label of %gx%gmm has no room for what must stand on that of %s: %s",
                   wish->width_mm, wish->height_mm, card->name, takes);
}

/* ---- the file ---- */

struct work {
    const struct up_rows *rows;
    const struct up_items *items;
    const struct up_label_wish *wish;
    struct up_labels_drawn *drawn;
    struct up_failure *failure;
    cairo_surface_t *surface;
    cairo_t *cairo;
    double page_width_pt, page_height_pt;
    unsigned across, down; /* labels on a page */
};

static cairo_status_t write_bytes(void *stream, const unsigned char *bytes, unsigned length) {
    return fwrite(bytes, 1, length, stream) == length ? CAIRO_STATUS_SUCCESS
                                                      : CAIRO_STATUS_WRITE_ERROR;
}

/* A light line to cut along, and where this label begins on its page. */
static void begin_label(struct work *work, unsigned number) {
    double width_pt = work->wish->width_mm * LABEL_PT_PER_MM,
           height_pt = work->wish->height_mm * LABEL_PT_PER_MM;
    unsigned place = number % (work->across * work->down);
    if (place == 0 && number > 0) {
        cairo_show_page(work->cairo);
    }
    cairo_save(work->cairo);
    if (work->wish->on_sheets) {
        cairo_translate(
            work->cairo,
            (work->page_width_pt - work->across * width_pt) / 2 + place % work->across * width_pt,
            (work->page_height_pt - work->down * height_pt) / 2 + place / work->across * height_pt);
        cairo_set_source_rgb(work->cairo, 0.6, 0.6, 0.6);
        cairo_set_line_width(work->cairo, 0.3);
        cairo_rectangle(work->cairo, 0, 0, width_pt, height_pt);
        cairo_stroke(work->cairo);
    }
    work->drawn->pages += place == 0;
}

static void count_drawn(struct up_labels_drawn *drawn, const struct label_setting *setting) {
    drawn->labels++;
    drawn->without_glyph += setting->lacks_a_glyph;
    for (int part = 0; part < UP_LABEL_PARTS; part++) {
        drawn->left_out[part] += setting->leaves_out[part];
    }
}

static bool draw_one(struct work *work, const struct up_card *card, const char *code) {
    struct label_setting setting = {.code = code,
                                    .code_modules = label_code_modules(code),
                                    .width_pt = work->wish->width_mm * LABEL_PT_PER_MM,
                                    .height_pt = work->wish->height_mm * LABEL_PT_PER_MM};
    if (!label_fit(work->cairo, card, &setting)) {
        return refuse_size(work->wish, work->cairo, card, &setting, work->failure);
    }
    begin_label(work, work->drawn->labels);
    setting.draws = true;
    label_set(work->cairo, card, &setting);
    cairo_restore(work->cairo);
    count_drawn(work->drawn, &setting);
    return true;
}

static void show_progress(const struct work *work, unsigned long done) {
    UP_FREED char *doing = up_text_format("labels set, of %zu", work->items->count);
    if (work->wish->watch != NULL) {
        work->wish->watch(doing, done);
    }
}

static bool draw_all(struct work *work) {
    bool good = true;
    for (size_t i = 0; good && i < work->items->count; i++) {
        show_progress(work, i + 1);
        const struct up_item *item = &work->items->item[i];
        struct up_card card;
        size_t count;
        const struct up_row *row = up_rows_of(work->rows, item->id, &count);
        up_card_fill(&card, item, row, count, work->wish->water, &work->wish->style);
        UP_FREED char *code = up_text_format("%s%s", work->wish->link_base, item->id);
        if (card.waters == 0) {
            work->drawn->not_measured++;
        } else {
            good = draw_one(work, &card, code);
        }
        up_card_release(&card);
    }
    show_progress(work, 0);
    if (good && work->drawn->labels == 0) {
        good = up_fail(work->failure, UP_STATUS_UNABLE,
                       "there is no result to put on a label yet: measure an item first");
    }
    return good;
}

/* Printers cannot print to the edge of a sheet. */
static const double A4_WIDTH_MM = 210, A4_HEIGHT_MM = 297, EDGE_MM = 5;

static bool choose_page(struct work *work) {
    const struct up_label_wish *wish = work->wish;
    work->across = work->down = 1;
    work->page_width_pt = wish->width_mm * LABEL_PT_PER_MM;
    work->page_height_pt = wish->height_mm * LABEL_PT_PER_MM;
    if (!wish->on_sheets) {
        return true;
    }
    work->across = (unsigned)((A4_WIDTH_MM - 2 * EDGE_MM) / wish->width_mm);
    work->down = (unsigned)((A4_HEIGHT_MM - 2 * EDGE_MM) / wish->height_mm);
    work->page_width_pt = A4_WIDTH_MM * LABEL_PT_PER_MM;
    work->page_height_pt = A4_HEIGHT_MM * LABEL_PT_PER_MM;
    return (work->across > 0 && work->down > 0) ||
           up_fail(work->failure, UP_STATUS_WRONG_INPUT,
                   "no label of %gx%gmm fits a sheet of A4 with a margin of %g mm: leave out "
                   "--sheet, or give a smaller --size",
                   wish->width_mm, wish->height_mm, EDGE_MM);
}

/* The date of the newest result, so that the same catalogue gives the same bytes. */
static void describe_pdf(struct work *work) {
    const char *newest = "";
    for (size_t i = 0; i < work->rows->count; i++) {
        const char *made = work->rows->row[i].made_utc;
        newest = strcmp(made, newest) > 0 ? made : newest;
    }
    UP_FREED char *date = up_text_format("%.19sZ", newest);
    cairo_pdf_surface_set_metadata(work->surface, CAIRO_PDF_METADATA_TITLE, "Net buoyancy of gear");
    cairo_pdf_surface_set_metadata(work->surface, CAIRO_PDF_METADATA_CREATE_DATE, date);
}

static bool draw_file(struct work *work, bool pdf, FILE *stream) {
    work->surface = pdf ? cairo_pdf_surface_create_for_stream(
                              write_bytes, stream, work->page_width_pt, work->page_height_pt)
                        : cairo_svg_surface_create_for_stream(
                              write_bytes, stream, work->page_width_pt, work->page_height_pt);
    if (pdf) {
        describe_pdf(work);
    } else {
        cairo_svg_surface_set_document_unit(work->surface, CAIRO_SVG_UNIT_PT);
    }
    work->cairo = cairo_create(work->surface);
    bool good = draw_all(work);
    cairo_destroy(work->cairo);
    cairo_surface_finish(work->surface);
    cairo_status_t status = cairo_surface_status(work->surface);
    cairo_surface_destroy(work->surface);
    return good && (status == CAIRO_STATUS_SUCCESS ||
                    up_fail(work->failure, UP_STATUS_UNABLE, "the labels cannot be drawn: %s",
                            cairo_status_to_string(status)));
}

struct bytes {
    const char *text;
    size_t size;
};

static bool write_out(FILE *stream, void *context) {
    const struct bytes *bytes = context;
    return fwrite(bytes->text, 1, bytes->size, stream) == bytes->size;
}

static bool ends_with(const char *text, const char *end) {
    size_t length = strlen(text), tail = strlen(end);
    return length > tail && strcmp(text + length - tail, end) == 0;
}

bool up_labels_draw(const struct up_rows *rows, const struct up_items *items,
                    const struct up_label_wish *wish, const char *file,
                    struct up_labels_drawn *drawn, struct up_failure *failure) {
    struct work work = {
        .rows = rows, .items = items, .wish = wish, .drawn = drawn, .failure = failure};
    bool pdf = ends_with(file, ".pdf");
    UP_FREED char *text = NULL;
    size_t size = 0;
    *drawn = (struct up_labels_drawn){0};
    if (!pdf && !ends_with(file, ".svg")) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s: labels are drawn as a file whose name ends with .pdf or .svg", file);
    }
    if (!pdf && (items->count != 1 || wish->on_sheets)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s: an .svg holds one label: choose one item, or a .pdf for more", file);
    }
    if (!choose_page(&work) || !glyphs_of_any_font(file, failure)) {
        return false;
    }
    FILE *stream = open_memstream(&text, &size);
    bool good = stream != NULL && draw_file(&work, pdf, stream);
    if (stream == NULL || fclose(stream) != 0) {
        up_out_of_memory();
    }
    struct bytes bytes = {text, size};
    return good && up_text_write_file(file, write_out, &bytes, failure);
}
