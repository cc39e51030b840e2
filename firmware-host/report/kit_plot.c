/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The page for a diver and the picture on it: a gnuplot script with its data. */
#include <stdlib.h>
#include <string.h>

#include "draw.h"
#include "embedded.h"
#include "picture.h"
#include "text/text.h"

enum { DEPTHS = 3, LINES_MAX = 62 };

struct page {
    const json_t *picture; /* rows of the kit's report: by depth, then by pressure */
    const char *text;
    bool imperial;
};

static double number_of(const json_t *row, const char *key) {
    return json_number_value(json_object_get(row, key));
}

static bool write_data(FILE *stream, void *context) {
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

static void write_depths(FILE *stream, const json_t *picture, bool imperial) {
    size_t points = json_array_size(picture) / DEPTHS;
    fputs("array depth_words[3] = [", stream);
    for (size_t i = 0; i < DEPTHS; i++) {
        const json_t *row = json_array_get(picture, i * points);
        double depth_m = number_of(row, "depth_m");
        fprintf(stream, "%s\"%s, %.0f %s\"", i > 0 ? ", " : "",
                json_string_value(json_object_get(row, "where")),
                imperial ? depth_m / UP_M_PER_FT : depth_m, imperial ? "ft" : "m");
    }
    fputs("]\n", stream);
}

/* Each line escaped, as one element of an array. */
static void write_words(FILE *stream, const char *text) {
    unsigned lines = 0;
    for (const char *at = text; *at != '\0' && lines < LINES_MAX;) {
        size_t length = strcspn(at, "\n");
        char *line = up_text_format("%.*s", (int)length, at);
        char *escaped = up_text_for_gnuplot(line);
        fprintf(stream, "%s\\\n    %s", lines++ > 0 ? ", " : "array words[62] = [", escaped);
        free(escaped);
        free(line);
        at += length + (at[length] == '\n');
    }
    fprintf(stream, "]\nlines = %u\n", lines);
}

static bool write_script(FILE *stream, void *context) {
    const struct page *page = context;
    fprintf(stream,
            "# A diver's kit, by upthrust. Draws again with: gnuplot -d kit.gp\n"
            "set encoding utf8\nfull = %g\nlift_unit = \"%s\"\nunit_kg = %.9g\n",
            number_of(json_array_get(page->picture, 0), "pressure_bar"),
            page->imperial ? "lb" : "kg", page->imperial ? UP_KG_PER_LB : 1);
    write_depths(stream, page->picture, page->imperial);
    write_words(stream, page->text);
    fputs(embedded_kit_gp, stream);
    return ferror(stream) == 0;
}

bool up_plot_kit(const json_t *report, const char *text, const struct up_style *style,
                 const char *directory, struct up_failure *failure) {
    struct page page = {json_object_get(report, "picture"), text, style->imperial};
    char *script = up_text_format("%s/kit.gp", directory);
    char *data = up_text_format("%s/kit.tsv", directory);
    bool good = up_text_write_file(data, write_data, &page, failure) &&
                up_text_write_file(script, write_script, &page, failure) &&
                draw_script(directory, "kit.gp", NULL, failure);
    free(script);
    free(data);
    return good;
}
