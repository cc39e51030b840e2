/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "draw.h"
#include "embedded.h"
#include "picture.h"
#include "report/card.h"
#include "text/text.h"

enum { WATER_BYTES = 40 };

static bool begins_item(const struct up_rows *rows, size_t i) {
    return i == 0 || strcmp(rows->row[i].item_id, rows->row[i - 1].item_id) != 0;
}

static size_t count_items(const struct up_rows *rows) {
    size_t items = 0;
    for (size_t i = 0; i < rows->count; i++) {
        items += begins_item(rows, i);
    }
    return items;
}

/* ---- data: numbers and words of ours only; the names stand in the script, escaped ---- */

struct drawing {
    struct up_rows rows; /* of one page; lent */
    const struct up_view *view;
    const struct up_style *style;
    size_t items; /* on all pages */
    unsigned page, pages;
};

/* What the lower end allows for; a group's may be on this side of its middle. */
static double below_g(const struct drawing *drawing, const struct up_row *row) {
    return drawing->view->grouped ? row->stuck_air_g : fmax(row->stuck_air_g, 0);
}

static double filling_of(const struct up_row *row) {
    return row->filling[0] == '\0'                ? 0
           : row->filled.gas[0] == '\0'           ? -2
           : strcmp(row->filled.gas, "none") == 0 ? -1
           : isfinite(row->filled.pressure_bar)   ? row->filled.pressure_bar
                                                  : -2;
}

static bool put_data(FILE *stream, void *context) {
    const struct drawing *drawing = context;
    const struct up_rows *rows = &drawing->rows;
    size_t item = 0;
    fputs(
        "# series: 1 and 2 the waters that the script names, 3 tank (items without the first)\n"
        "# class: 0 undecided, 1 positive, 2 neutral, 3 negative\n"
        "# unusual: 1 where the tolerance is not the usual one of the kind\n"
        "# filling_bar: of gas in it as weighed; -1: emptied, -2: not recorded, 0: nothing to say\n"
        "# body: 0 inside its limits, 1 unchecked by one, 2 outside\n"
        "# elsewhere: 1 where it came by import or merge\n"
        "# stuck_air_g: how much lower than its interval it may be\n"
        "# rejudged: 1 where a later decision is shown\n"
        "# foam_depth_m: of foam, at which depth it was measured; 0: nothing to say\n"
        "# at_most: 1 where buoyancy_g is the most that it may be, and nothing else is known\n"
        "# item\tseries\tbuoyancy_g\texpanded_u_g\ttolerance_g\tclass\tunusual\tfilling_bar\tbody\t"
        "elsewhere\tstuck_air_g\trejudged\tfoam_depth_m\tat_most\n",
        stream);
    for (size_t i = 0; i < rows->count; i++) {
        const struct up_row *row = &rows->row[i];
        char number[6][32];
        item += begins_item(rows, i);
        bool at_most = row->at_most;
        up_text_from_number(at_most ? row->at_most_g : row->buoyancy_g, number[0],
                            sizeof number[0]);
        up_text_from_number(at_most ? 0 : row->expanded_u_g, number[1], sizeof number[1]);
        up_text_from_number(row->tolerance_g, number[2], sizeof number[2]);
        up_text_from_number(filling_of(row), number[3], sizeof number[3]);
        up_text_from_number(below_g(drawing, row), number[4], sizeof number[4]);
        up_text_from_number(row->foam_depth_m, number[5], sizeof number[5]);
        if (series_of(drawing->view, rows, row) != 0) {
            fprintf(stream, "%zu\t%d\t%s\t%s\t%s\t%d\t%d\t%s\t%d\t%d\t%s\t%d\t%s\t%d\n", item,
                    series_of(drawing->view, rows, row), number[0], number[1], number[2],
                    number_of_class(row->class), row->unusual, number[3], (int)row->checked,
                    row->elsewhere, number[4], row->rejudged, number[5], at_most);
        }
    }
    return ferror(stream) == 0;
}

/* A bar that goes on below what is shown. */
static const double BELOW_AT_MOST_G = 20;

/* ---- script ---- */

/* What the axis must show: every bar, and zero. A neutral band that is wider is cut and marked, so
   that no tolerance makes all results look alike. */
static void put_range(FILE *stream, const struct drawing *drawing) {
    double low = -1, high = 1; /* fmin and fmax pass over NaN */
    char number[2][32];
    bool unusual = false, foam = false, marked = false;
    for (size_t i = 0; i < drawing->rows.count; i++) {
        const struct up_row *row = &drawing->rows.row[i];
        if (series_of(drawing->view, &drawing->rows, row) != 0) {
            foam = foam || row->foam_depth_m > 0;
            marked = marked || row->checked != UP_CHECKED_INSIDE;
            low = fmin(low, row->buoyancy_g - row->expanded_u_g - below_g(drawing, row));
            high = fmax(high, row->buoyancy_g + row->expanded_u_g);
            low = fmin(low, row->at_most ? row->at_most_g - BELOW_AT_MOST_G : low);
            high = fmax(high, row->at_most ? row->at_most_g : high);
            unusual = unusual || row->unusual || row->filling[0] != '\0';
        }
    }
    up_text_from_number(low, number[0], sizeof number[0]);
    up_text_from_number(high, number[1], sizeof number[1]);
    fprintf(stream, "low = %s\nhigh = %s\nunusual = %d\nfoam = %d\nmarked = %d\n", number[0],
            number[1], unusual, foam, marked);
}

/* "sea at 15.0 °C · " where all results of a water hold for one temperature. */
static char *words_of_temp(const struct drawing *drawing, const char *water) {
    const struct up_rows *rows = &drawing->rows;
    char shown[UP_SHOWN_SIZE];
    double temp_c = (double)NAN;
    bool one = true;
    for (size_t i = 0; i < rows->count && water != NULL; i++) {
        const struct up_row *row = &rows->row[i];
        if (strcmp(row->water, water) == 0) {
            one = one && (isnan(temp_c) || fabs(row->water_temp_c - temp_c) < 0.05);
            temp_c = row->water_temp_c;
        }
    }
    UP_FREED char *name = name_in_title(water != NULL ? water : "", WATER_BYTES);
    up_style_temp(drawing->style, temp_c, shown);
    UP_FREED char *typeset = up_typeset(up_text_format("%s", shown));
    return isfinite(temp_c) && one ? up_text_format("%s at %s · ", name, typeset)
                                   : up_text_format("%s", "");
}

/* The date is that of the newest result, so that a picture drawn again is the same. */
static char *note_of(const struct drawing *drawing) {
    const struct up_rows *rows = &drawing->rows;
    const char *newest = "", *are = drawing->view->rows_are;
    UP_FREED char *first = words_of_temp(drawing, drawing->view->water[0]);
    UP_FREED char *second = words_of_temp(drawing, drawing->view->water[1]);
    for (size_t i = 0; i < rows->count; i++) {
        newest = strcmp(rows->row[i].made_utc, newest) > 0 ? rows->row[i].made_utc : newest;
    }
    UP_FREED char *page = drawing->pages > 1
                              ? up_text_format(" · page %u of %u", drawing->page, drawing->pages)
                              : up_text_format("%s", "");
    return up_text_format("%zu %.*s%s · %s%smeasured up to %.10s", drawing->items,
                          (int)strlen(are) - (drawing->items == 1), are, page, first, second,
                          newest);
}

/* What is drawn of the page is of these. */
static char *standing_of_page(const struct drawing *drawing) {
    UP_FREED const struct up_row **drawn = up_allocate(drawing->rows.count + 1, sizeof *drawn);
    size_t count = 0;
    for (size_t i = 0; i < drawing->rows.count; i++) {
        if (series_of(drawing->view, &drawing->rows, &drawing->rows.row[i]) != 0) {
            drawn[count++] = &drawing->rows.row[i];
        }
    }
    return standing_of(drawn, count, true);
}

static void put_names(FILE *stream, const struct up_rows *rows) {
    size_t item = 0;
    int widest = 0;
    fputs("set ytics noenhanced (", stream);
    for (size_t i = 0; i < rows->count; i++) {
        if (begins_item(rows, i)) {
            UP_FREED char *label = label_of_tick(rows->row[i].name, rows->row[i].distinction);
            UP_FREED char *escaped = up_text_for_gnuplot(label);
            fprintf(stream, "%s\\\n    %s %zu", item > 0 ? ", " : "", escaped, item + 1);
            item++;
            widest = up_text_columns(label) > widest ? up_text_columns(label) : widest;
        }
    }
    fprintf(stream, ")\nname_columns = %d\nitems = %zu\n", widest, item);
}

static void put_variables(FILE *stream, const void *context) {
    const struct drawing *drawing = context;
    const char *const *water = drawing->view->water;
    put_names(stream, &drawing->rows);
    put_range(stream, drawing);
    fprintf(stream, "grouped = %d\narray water_word[3]\nwater_word[3] = \"tank\"\n",
            drawing->view->grouped);
    for (int i = 0; i < 2; i++) {
        UP_FREED char *name = name_in_title(water[i] != NULL ? water[i] : "", WATER_BYTES / 4);
        put_text_variable(stream, i == 0 ? "water_word[1]" : "water_word[2]", name);
        if (i == 1) {
            put_text_variable(stream, "open_marks", name);
        }
    }
}

/* ---- pages ---- */

static char *name_of_page(unsigned page) {
    return page == 1 ? up_text_format("items") : up_text_format("items-%u", page);
}

static bool write_page(struct drawing *drawing, const struct up_plots *to,
                       struct up_failure *failure) {
    UP_FREED char *name = name_of_page(drawing->page);
    UP_FREED char *note = note_of(drawing);
    UP_FREED char *standing = standing_of_page(drawing);
    const struct picture picture = {
        .name = name,
        .words = {"Net buoyancy of gear", "Net buoyancy of dive gear", note, standing},
        .script = {embedded_items_gp, put_data, put_variables, drawing}};
    return picture_write(&picture, to, failure);
}

/* Else pages of a longer list would go on saying what was true once. */
static void remove_pages(const char *directory, unsigned from) {
    static const char *const endings[] = {"gp", "tsv", "svg", "png", "pdf"};
    bool found = true;
    for (unsigned page = from; found; page++) {
        UP_FREED char *name = name_of_page(page);
        found = false;
        for (size_t i = 0; i < sizeof endings / sizeof endings[0]; i++) {
            UP_FREED char *path = up_text_format("%s/%s.%s", directory, name, endings[i]);
            found = unlink(path) == 0 || found;
        }
    }
}

bool up_plot_write(const struct up_rows *rows, const struct up_view *view,
                   const struct up_plots *to, unsigned *pages, struct up_failure *failure) {
    static const struct up_view usual = {{"fresh", "sea"}, "items", false};
    struct drawing drawing = {
        .view = view != NULL ? view : &usual, .style = &to->style, .items = count_items(rows)};
    bool good = true;
    drawing.pages = *pages = (unsigned)((drawing.items + UP_PLOT_ROWS - 1) / UP_PLOT_ROWS);
    if (rows->count == 0) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "there is no result to draw yet: measure an item first");
    }
    size_t from = 0;
    for (drawing.page = 1; good && drawing.page <= drawing.pages; drawing.page++) {
        size_t end = from, items = 0;
        while (end < rows->count && (items += begins_item(rows, end)) <= UP_PLOT_ROWS) {
            end++;
        }
        drawing.rows = (struct up_rows){.row = rows->row + from, .count = end - from};
        good = write_page(&drawing, to, failure);
        from = end;
    }
    if (good) {
        remove_pages(to->directory, *pages + 1);
    }
    return good;
}

bool up_plot_draw(const char *directory, const char *name, const struct up_look *look,
                  struct up_failure *failure) {
    UP_FREED char *script = up_text_format("%s.gp", name);
    return draw_script(directory, script, look, failure);
}
