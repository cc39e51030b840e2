/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "draw.h"
#include "embedded.h"
#include "report/report.h"
#include "text/text.h"

/* gnuplot takes the label of a tick that holds a % for a format, of whose text it draws 49 bytes at
   most, be it within a character. */
enum { LABEL_CHARACTERS = 40, FORMATTED_BYTES = 49 };

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

static bool has_water(const struct up_rows *rows, const char *item_id, const char *water) {
    for (size_t i = 0; i < rows->count; i++) {
        if (strcmp(rows->row[i].item_id, item_id) == 0 && strcmp(rows->row[i].water, water) == 0) {
            return true;
        }
    }
    return false;
}

/* Which of the template's series a row belongs to; 0 for none. */
static int series_of(const struct up_rows *rows, const struct up_row *row) {
    if (strcmp(row->water, "fresh") == 0) {
        return 1;
    }
    if (strcmp(row->water, "sea") == 0) {
        return 2;
    }
    bool stands_alone = !has_water(rows, row->item_id, "fresh");
    return strcmp(row->water, "tank") == 0 && stands_alone ? 3 : 0;
}

/* As the template knows the classes; an unknown word counts as undecided. */
static int number_of_class(const char *class) {
    static const char *const words[] = {"undecided", "positive", "neutral", "negative"};
    for (int i = 0; i < 4; i++) {
        if (strcmp(words[i], class) == 0) {
            return i;
        }
    }
    return 0;
}

static double filling_of(const struct up_row *row) {
    return row->filling[0] == '\0'                ? 0
           : row->filled.gas[0] == '\0'           ? -2
           : strcmp(row->filled.gas, "none") == 0 ? -1
           : isfinite(row->filled.pressure_bar)   ? row->filled.pressure_bar
                                                  : -2;
}

static bool write_data(FILE *stream, void *context) {
    const struct up_rows *rows = context;
    size_t item = 0;
    fputs(
        "# series: 1 fresh, 2 sea, 3 tank (items without a calculated water)\n"
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
        up_text_from_number(fmax(row->stuck_air_g, 0), number[4], sizeof number[4]);
        up_text_from_number(row->foam_depth_m, number[5], sizeof number[5]);
        if (series_of(rows, row) != 0) {
            fprintf(stream, "%zu\t%d\t%s\t%s\t%s\t%d\t%d\t%s\t%d\t%d\t%s\t%d\t%s\t%d\n", item,
                    series_of(rows, row), number[0], number[1], number[2],
                    number_of_class(row->class), row->unusual, number[3], (int)row->checked,
                    row->elsewhere, number[4], row->rejudged, number[5], at_most);
        }
    }
    return ferror(stream) == 0;
}

/* A bar that goes on below what is shown. */
static const double BELOW_AT_MOST_G = 20;

/* ---- script: our template behind the few lines that differ ---- */

/* Length of the longest beginning that is within both limits and ends with a character. */
static size_t prefix_length(const char *text, size_t characters, size_t bytes) {
    size_t length = 0, count = 0;
    for (size_t at = 0; at <= bytes; at++) {
        bool starts = ((unsigned char)text[at] & 0xC0) != 0x80; /* a character, or the end */
        length = starts ? at : length;
        if (text[at] == '\0' || (starts && count++ == characters)) {
            break;
        }
    }
    return length;
}

/* Drawn as it is, by doubling each %. */
static char *double_percents(char *text) {
    char *doubled = up_allocate(strlen(text) + 1, 2), *to = doubled;
    for (const char *from = text; *from != '\0'; from++) {
        *to++ = *from;
        if (*from == '%') {
            *to++ = '%';
        }
    }
    free(text);
    return doubled;
}

/* What distinguishes it from others of its name stays whole; the name is cut. */
static char *short_label(const struct up_row *row) {
    const char *dots = "...", *comma = row->distinction[0] != '\0' ? ", " : "";
    UP_FREED char *clean = up_text_for_terminal(row->name); /* a text of its own in the drawing */
    UP_FREED char *distinction = up_text_for_terminal(row->distinction);
    bool formatted = strchr(clean, '%') != NULL || strchr(distinction, '%') != NULL;
    size_t behind = strlen(comma) + strlen(distinction);
    size_t bytes = formatted ? FORMATTED_BYTES - behind : SIZE_MAX - 1;
    size_t characters = behind == 0 ? LABEL_CHARACTERS : LABEL_CHARACTERS - behind / 2;
    size_t length = prefix_length(clean, characters, bytes);
    bool cut = clean[length] != '\0';
    length = cut ? prefix_length(clean, characters, bytes - strlen(dots)) : length;
    char *label =
        up_text_format("%.*s%s%s%s", (int)length, clean, cut ? dots : "", comma, distinction);
    return double_percents(label);
}

/* What the axis must show: every bar, and zero. A neutral band that is wider is cut and marked, so
   that no tolerance makes all results look alike. */
static void write_range(FILE *stream, const struct up_rows *rows) {
    double low = -1, high = 1; /* fmin and fmax pass over NaN */
    char number[2][32];
    bool unusual = false, foam = false, marked = false;
    for (size_t i = 0; i < rows->count; i++) {
        const struct up_row *row = &rows->row[i];
        if (series_of(rows, row) != 0) {
            foam = foam || row->foam_depth_m > 0;
            marked = marked || row->checked != UP_CHECKED_INSIDE;
            low = fmin(low, row->buoyancy_g - row->expanded_u_g - fmax(row->stuck_air_g, 0));
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

/* " 20.0 C" where all results of a water hold for one temperature. */
static void put_temp(const struct up_rows *rows, const char *water, char *text, size_t size) {
    double temp_c = (double)NAN;
    bool one = true;
    for (size_t i = 0; i < rows->count; i++) {
        const struct up_row *row = &rows->row[i];
        if (strcmp(row->water, water) == 0) {
            one = one && (isnan(temp_c) || fabs(row->water_temp_c - temp_c) < 0.05);
            temp_c = row->water_temp_c;
        }
    }
    text[0] = '\0';
    if (isfinite(temp_c) && one) {
        snprintf(text, size, "%s at %.1f °C · ", water, temp_c);
    }
}

/* The date is that of the newest result, so that a picture drawn again is the same. */
static void write_subtitle(FILE *stream, const struct up_rows *rows) {
    char fresh[48], sea[48];
    const char *newest = "";
    put_temp(rows, "fresh", fresh, sizeof fresh);
    put_temp(rows, "sea", sea, sizeof sea);
    for (size_t i = 0; i < rows->count; i++) {
        newest = strcmp(rows->row[i].made_utc, newest) > 0 ? rows->row[i].made_utc : newest;
    }
    size_t items = count_items(rows);
    UP_FREED char *subtitle = up_text_format("%zu %s · %s%smeasured up to %.10s", items,
                                             items == 1 ? "item" : "items", fresh, sea, newest);
    UP_FREED char *escaped = up_text_for_gnuplot(subtitle);
    fprintf(stream, "subtitle = %s\n", escaped);
}

/* What the marks in the picture mean, where it has any. */
static void write_marks(FILE *stream, const struct up_rows *rows) {
    fputs("marks = \"", stream);
    for (enum up_checked checked = UP_CHECKED_NOT; checked <= UP_CHECKED_OUTSIDE; checked++) {
        bool any = false;
        for (size_t i = 0; i < rows->count; i++) {
            const struct up_row *row = &rows->row[i];
            any = any || (row->checked == checked && series_of(rows, row) != 0);
        }
        if (any) {
            fprintf(stream, "%s%s      ", checked == UP_CHECKED_OUTSIDE ? "body off: " : "",
                    up_checked_meaning(checked));
        }
    }
    bool elsewhere = false, again = false, at_most = false;
    for (size_t i = 0; i < rows->count; i++) {
        bool drawn = series_of(rows, &rows->row[i]) != 0;
        elsewhere = elsewhere || (rows->row[i].elsewhere && drawn);
        again = again || (rows->row[i].rejudged && drawn);
        at_most = at_most || (rows->row[i].at_most && drawn);
    }
    fputs(at_most ? UP_CLAIM_AT_MOST "      " : "", stream);
    fputs(again ? "* judged again since it was measured      " : "", stream);
    fputs(elsewhere ? UP_ELSEWHERE_MARK " " UP_ELSEWHERE_MEANING "      \"\n" : "\"\n", stream);
}

static bool write_script(FILE *stream, void *context) {
    const struct up_rows *rows = context;
    fprintf(stream,
            "# Net buoyancy of gear, by upthrust. Draws again with: gnuplot -d items.gp\n"
            "items = %zu\n",
            count_items(rows));
    size_t item = 0;
    int widest = 0;
    fputs("set encoding utf8\nset ytics noenhanced (", stream);
    for (size_t i = 0; i < rows->count; i++) {
        if (begins_item(rows, i)) {
            UP_FREED char *label = short_label(&rows->row[i]);
            UP_FREED char *escaped = up_text_for_gnuplot(label);
            fprintf(stream, "%s\\\n    %s %zu", item > 0 ? ", " : "", escaped, item + 1);
            item++;
            widest = up_text_columns(label) > widest ? up_text_columns(label) : widest;
        }
    }
    fprintf(stream, ")\nname_columns = %d\n", widest);
    write_range(stream, rows);
    write_subtitle(stream, rows);
    write_marks(stream, rows);
    fputs(embedded_items_gp, stream);
    return ferror(stream) == 0;
}

bool up_plot_write(const struct up_rows *rows, const char *directory, struct up_failure *failure) {
    struct up_rows copy = *rows;
    UP_FREED char *script = up_text_format("%s/items.gp", directory);
    UP_FREED char *data = up_text_format("%s/items.tsv", directory);
    bool good;
    if (rows->count == 0) {
        good = up_fail(failure, UP_STATUS_UNABLE,
                       "there is no result to draw yet: measure an item first");
    } else {
        good = up_text_write_file(data, write_data, &copy, failure) &&
               up_text_write_file(script, write_script, &copy, failure);
    }
    return good;
}

/* ---- drawing ---- */

bool up_plot_draw(const char *directory, struct up_failure *failure) {
    return draw_script(directory, "items.gp", failure);
}

static bool draw_numbered(const char *directory, const char *what, unsigned count,
                          struct up_failure *failure) {
    bool good = true;
    for (unsigned i = 1; good && i <= count; i++) {
        UP_FREED char *script = up_text_format("%s-%u.gp", what, i);
        good = draw_script(directory, script, failure);
    }
    return good;
}

bool up_plot_draw_calibrations(const char *directory, unsigned count, struct up_failure *failure) {
    return draw_numbered(directory, "calibration", count, failure);
}

bool up_plot_draw_references(const char *directory, unsigned count, struct up_failure *failure) {
    return draw_numbered(directory, "reference", count, failure);
}

bool up_plot_draw_run(const char *directory, const char *run_id, struct up_failure *failure) {
    UP_FREED char *script = up_text_format("run-%.8s.gp", run_id);
    return draw_script(directory, script, failure);
}
