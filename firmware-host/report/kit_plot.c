/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The page for a diver and the picture on it: a gnuplot script with its data. */
#include <stdlib.h>
#include <string.h>

#include "embedded.h"
#include "picture.h"
#include "text/text.h"

enum { DEPTHS = 3, LINES_MAX = 62, COLUMNS_MAX = 104, WATER_BYTES = 40 };

struct page {
    const struct up_kit_page *kit;
    const json_t *picture; /* rows of the kit's report: by depth, then by pressure */
    bool imperial;
};

static double number_of(const json_t *row, const char *key) {
    return json_number_value(json_object_get(row, key));
}

static bool put_data(FILE *stream, void *context) {
    const struct page *page = context;
    size_t i, points = json_array_size(page->picture) / DEPTHS;
    json_t *row;
    fputs("# kind: 1 to 3 the band at the surface, the stop, the deepest point; 4 to 6 its middle\n"
          "# kind\tpressure_bar\tlow_kg or value_kg\thigh_kg\n",
          stream);
    for (int band = 1; band >= 0; band--) { /* rows of a kind together: a gap ends a line */
        json_array_foreach(page->picture, i, row) {
            const json_t *lift = json_object_get(row, "lift");
            int depth = (int)(i / points);
            put_data_row(stream, depth + (band ? 1 : 1 + DEPTHS), number_of(row, "pressure_bar"),
                         number_of(lift, band ? "low_kg" : "value_kg"),
                         band ? number_of(lift, "high_kg") : 0);
        }
    }
    return ferror(stream) == 0;
}

static void put_depths(FILE *stream, const struct page *page) {
    size_t points = json_array_size(page->picture) / DEPTHS;
    fputs("array depth_words[3] = [", stream);
    for (size_t i = 0; i < DEPTHS; i++) {
        const json_t *row = json_array_get(page->picture, i * points);
        double depth_m = number_of(row, "depth_m");
        fprintf(stream, "%s\"%s, %.0f %s\"", i > 0 ? ", " : "",
                json_string_value(json_object_get(row, "where")),
                page->imperial ? depth_m / UP_M_PER_FT : depth_m, page->imperial ? "ft" : "m");
    }
    fputs("]\n", stream);
}

/* What of a line fits into so many columns, up to a blank where there is one. */
static size_t fitting_length(const char *line, size_t length, int columns) {
    UP_FREED char *part = up_text_format("%.*s", (int)length, line);
    size_t blank = 0;
    if (up_text_columns(part) <= columns) {
        return length;
    }
    while (length > 1 && up_text_columns(part) > columns) {
        do {
            length--;
        } while (length > 1 && ((unsigned char)part[length] & 0xC0) == 0x80);
        part[length] = '\0';
    }
    for (size_t i = strspn(part, " "); i < length; i++) {
        blank = part[i] == ' ' ? i : blank;
    }
    return blank > 0 ? blank : length;
}

/* Each line escaped, as one element of an array; one too long for the page goes on below. */
static void put_words(FILE *stream, const char *text) {
    static const char more[] = "... more: `upthrust kit report`";
    unsigned lines = 0;
    bool continued = false;
    for (const char *at = text; *at != '\0' && lines < LINES_MAX;) {
        const char *lead = continued ? "    " : "";
        size_t whole = strcspn(at, "\n");
        size_t length = fitting_length(at, whole, COLUMNS_MAX - (int)strlen(lead));
        UP_FREED char *line = up_text_format("%s%.*s", lead, (int)length, at);
        at += length + (length < whole ? at[length] == ' ' : at[length] == '\n');
        continued = length < whole;
        fprintf(stream, "%s\\\n    ", lines > 0 ? ", " : "array words[62] = [");
        put_text(stream, lines + 1 == LINES_MAX && *at != '\0' ? more : line);
        lines++;
    }
    fprintf(stream, "]\nlines = %u\n", lines);
}

static void put_variables(FILE *stream, const void *context) {
    const struct page *page = context;
    fprintf(stream, "full = %g\nlift_unit = \"%s\"\nunit_kg = %.9g\n",
            number_of(json_array_get(page->picture, 0), "pressure_bar"),
            page->imperial ? "lb" : "kg", page->imperial ? UP_KG_PER_LB : 1);
    put_depths(stream, page);
    put_words(stream, page->kit->text);
}

bool up_plot_kit(const struct up_kit_page *page, const struct up_plots *to,
                 const struct up_look *look, struct up_failure *failure) {
    struct page drawn = {page, json_object_get(page->report, "picture"), to->style.imperial};
    const char *water =
        json_string_value(json_object_get(json_object_get(page->report, "water"), "name"));
    UP_FREED char *clean = name_in_title(water != NULL ? water : "", WATER_BYTES);
    UP_FREED char *note =
        up_text_format("water: %s   jacket empty, lead as entered   bands: 95 %% intervals", clean);
    const struct picture picture = {
        .name = "kit",
        .words = {"A diver's kit", "Net lift through the dive", note, page->standing},
        .script = {embedded_kit_gp, put_data, put_variables, &drawn}};
    return picture_write(&picture, to, failure) &&
           up_plot_draw(to->directory, "kit", look, failure);
}
