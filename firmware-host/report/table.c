/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "upthrust/report.h"
#include "upthrust/text.h"

enum { NAME_WIDTH = 34 };

/* Columns are counted in characters: a UTF-8 continuation byte takes none. */
static void print_padded(FILE *stream, const char *text, int width) {
    int used = 0;
    for (const char *at = text; *at != '\0'; at++) {
        if (((unsigned char)*at & 0xC0) != 0x80 && ++used > width) {
            break;
        }
        fputc(*at, stream);
    }
    fprintf(stream, "%*s", used < width ? width - used : 0, "");
}

void up_rows_print(const struct up_rows *rows, FILE *stream) {
    const char *last_id = "";
    print_padded(stream, "item", NAME_WIDTH);
    fprintf(stream, " %-8s %6s %9s %8s  %-9s  %s\n", "water", "deg C", "net g", "+- g", "class",
            "basis");
    for (size_t i = 0; i < rows->count; i++) {
        const struct up_row *row = &rows->row[i];
        char *name = up_text_for_terminal(strcmp(row->item_id, last_id) == 0 ? "" : row->name);
        char *water = up_text_for_terminal(row->water), *class = up_text_for_terminal(row->class);
        print_padded(stream, name, NAME_WIDTH);
        fputc(' ', stream);
        print_padded(stream, water, 8);
        fprintf(stream, " %6.1f %+9.1f %8.1f  ", row->water_temp_c, row->buoyancy_g,
                row->expanded_u_g);
        print_padded(stream, class, 9);
        fprintf(stream, "  %s\n", row->measured ? "measured" : "calculated");
        last_id = row->item_id;
        free(name);
        free(water);
        free(class);
    }
}

static const char *meaning(enum up_class class) {
    switch (class) {
    case UP_CLASS_POSITIVE:
        return "floats";
    case UP_CLASS_NEGATIVE:
        return "sinks";
    case UP_CLASS_NEUTRAL:
        return "hangs";
    case UP_CLASS_UNDECIDED:
        break;
    }
    return "the interval reaches over a class line";
}

void up_result_print(const struct up_result *result, FILE *stream) {
    const struct up_answer *answer = &result->answer;
    char *water = up_text_for_terminal(result->water.name);
    fprintf(stream, "  %-10s %5.1f C %9.3f kg/m3  net %+8.1f g +- %.1f g (%.0f %%)  %s: %s\n",
            water, result->water.temp_c, result->water_density_kg_m3.value,
            answer->buoyancy_kg.value * 1e3, answer->expanded_u_kg * 1e3,
            result->question.coverage * 100, up_class_name(answer->class), meaning(answer->class));
    fprintf(stream,
            "  %-10s %s; probabilities: positive %.3f, neutral %.3f, negative %.3f; neutral is "
            "within %.0f g\n",
            "", result->measured ? "measured" : "calculated from the weighings",
            answer->probability_positive, answer->probability_neutral, answer->probability_negative,
            result->question.tolerance_kg * 1e3);
    free(water);
}
