/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "picture.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "embedded.h"
#include "report/card.h"
#include "text/text.h"

/* ---- script and data ---- */

/* What up_text_isolated put around a name, U+2068 and U+2069, stays; alone they are replaced, as
   all else that is hidden. */
static void put_parts(FILE *stream, const char *text, size_t length) {
    static const char begin[] = "\u2068", end[] = "\u2069";
    UP_FREED char *part = up_text_format("%.*s", (int)length, text);
    char *from = strstr(part, begin), *to = from != NULL ? strstr(from, end) : NULL;
    if (to == NULL) {
        UP_FREED char *escaped = up_text_for_gnuplot(part);
        fprintf(stream, "%.*s", (int)strlen(escaped) - 2, escaped + 1); /* without its quotes */
        return;
    }
    const char *inside = from + strlen(begin), *behind = to + strlen(end);
    put_parts(stream, part, (size_t)(from - part));
    fputs(begin, stream);
    UP_FREED char *name = up_text_format("%.*s", (int)(to - inside), inside);
    UP_FREED char *escaped = up_text_for_gnuplot(name);
    fprintf(stream, "%.*s%s", (int)strlen(escaped) - 2, escaped + 1, end);
    put_parts(stream, behind, strlen(behind));
}

void put_text(FILE *stream, const char *text) {
    fputc('"', stream);
    put_parts(stream, text, strlen(text));
    fputc('"', stream);
}

void put_text_variable(FILE *stream, const char *variable, const char *text) {
    fprintf(stream, "%s = ", variable);
    put_text(stream, text);
    fputc('\n', stream);
}

void put_data_numbers(FILE *stream, int kind, const double *number, int count) {
    fprintf(stream, "%d", kind);
    for (int i = 0; i < count; i++) {
        char text[32];
        up_text_from_number(number[i], text, sizeof text);
        fprintf(stream, "\t%s", text);
    }
    fputc('\n', stream);
}

void put_data_row(FILE *stream, int kind, double a, double b, double c) {
    put_data_numbers(stream, kind, (const double[]){a, b, c}, 3);
}

char *in_units(const struct up_style *style, char *text) {
    char *shown = up_typeset(up_style_text(style, text));
    free(text);
    return shown;
}

/* Cut at a character's end. */
char *name_in_title(const char *name, size_t most_bytes) {
    UP_FREED char *clean = up_text_for_terminal(name);
    size_t length = strlen(clean);
    length = length > most_bytes ? most_bytes : length;
    while (length > 0 && ((unsigned char)clean[length] & 0xC0) == 0x80) {
        length--;
    }
    clean[length] = '\0';
    return up_text_isolated(clean);
}

/* gnuplot takes the label of a tick that holds a % for a format, of whose text it draws 49 bytes at
   most, be it within a character. */
enum { LABEL_CHARACTERS = 40, FORMATTED_BYTES = 49 };

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

char *double_percents(char *text) {
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
char *label_of_tick(const char *name, const char *distinct_by) {
    const char *dots = "...", *comma = distinct_by[0] != '\0' ? ", " : "";
    UP_FREED char *clean = up_text_for_terminal(name); /* a text of its own in the drawing */
    UP_FREED char *distinction = up_text_for_terminal(distinct_by);
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

/* Each line an element of its own: gnuplot centres the block of a label that has several. */
static void put_standing(FILE *stream, const char *standing) {
    size_t lines = 0;
    for (const char *at = standing; *at != '\0'; at++) {
        lines += *at == '\n';
    }
    fprintf(stream, "array standing[%zu]\n", lines > 0 ? lines : 1);
    fputs(lines > 0 ? "" : "standing[1] = \"\"\n", stream);
    for (size_t i = 1; i <= lines; i++) {
        size_t length = strcspn(standing, "\n");
        UP_FREED char *line = up_text_format("%.*s", (int)length, standing);
        UP_FREED char *variable = up_text_format("standing[%zu]", i);
        put_text_variable(stream, variable, line);
        standing += length + 1;
    }
}

/* Of each what one of its units holds. */
static void put_units(FILE *stream, const struct up_style *style) {
    double ft3_m3 = UP_M_PER_FT * UP_M_PER_FT * UP_M_PER_FT;
    fprintf(stream, "imperial = %d\nunit_g = %.12g\nunit_kg_m3 = %.12g\nm_per_ft = %g\n",
            style->imperial, style->imperial ? UP_G_PER_OZ : 1,
            style->imperial ? UP_KG_PER_LB / ft3_m3 : 1, UP_M_PER_FT);
}

struct writing {
    const struct picture *picture;
    const struct up_style *style;
};

static bool put_script(FILE *stream, void *context) {
    const struct writing *writing = context;
    const struct picture *picture = writing->picture;
    fprintf(stream, "# %s, by upthrust. Draws again with: gnuplot -d %s.gp\nset encoding utf8\n",
            picture->words.what, picture->name);
    put_text_variable(stream, "name", picture->name);
    put_text_variable(stream, "title_words", picture->words.title);
    fprintf(stream, "title_columns = %d\n", up_text_columns(picture->words.title) + 1);
    put_text_variable(stream, "note_words", picture->words.note);
    put_standing(stream, picture->words.standing);
    put_units(stream, writing->style);
    fputs(embedded_style_gp, stream);
    if (picture->script.put_variables != NULL) {
        picture->script.put_variables(stream, picture->script.context);
    }
    fputs(picture->script.template, stream);
    return ferror(stream) == 0;
}

bool picture_write(const struct picture *picture, const struct up_plots *to,
                   struct up_failure *failure) {
    struct writing writing = {picture, &to->style};
    UP_FREED char *script = up_text_format("%s/%s.gp", to->directory, picture->name);
    UP_FREED char *data = up_text_format("%s/%s.tsv", to->directory, picture->name);
    return up_text_write_file(data, picture->script.put_data, picture->script.context, failure) &&
           up_text_write_file(script, put_script, &writing, failure);
}

int series_of(const struct up_view *view, const struct up_rows *rows, const struct up_row *row) {
    for (int i = 0; i < 2; i++) {
        if (view->water[i] != NULL && strcmp(row->water, view->water[i]) == 0) {
            return i + 1;
        }
    }
    const struct up_row *at = row, *end = rows->row + rows->count;
    while (at > rows->row && strcmp(at[-1].item_id, row->item_id) == 0) {
        at--;
    }
    while (at < end && strcmp(at->item_id, row->item_id) == 0 &&
           strcmp(at->water, view->water[0]) != 0) {
        at++;
    }
    bool stands_alone = at == end || strcmp(at->item_id, row->item_id) != 0;
    return strcmp(row->water, "tank") == 0 && stands_alone ? 3 : 0;
}

int number_of_class(const char *class) {
    static const char *const words[] = {"undecided", "positive", "neutral", "negative"};
    for (int i = 0; i < 4; i++) {
        if (strcmp(words[i], class) == 0) {
            return i;
        }
    }
    return 0;
}

/* ---- what the results are ---- */

/* Columns of a line of the foot. */
enum { FOOT_COLUMNS = 120 };

struct foot {
    char *text;
    int columns; /* of its last line */
};

static void add(struct foot *foot, const char *mark, const char *words) {
    UP_FREED char *piece = up_text_format("%s%s%s", mark, mark[0] != '\0' ? " " : "", words);
    if (words[0] == '\0' || strstr(foot->text, piece) != NULL) {
        return;
    }
    int columns = up_text_columns(piece);
    bool breaks = foot->columns > 0 && foot->columns + columns + 3 > FOOT_COLUMNS;
    char *both = up_text_format("%s%s%s", foot->text,
                                breaks               ? "\n"
                                : foot->columns == 0 ? ""
                                                     : "   ",
                                piece);
    foot->columns = (breaks ? 0 : foot->columns + 3) + columns;
    free(foot->text);
    foot->text = both;
}

static void add_basis(struct foot *foot, const struct up_row *const *row, size_t count) {
    bool measured = false, calculated = false;
    for (size_t i = 0; i < count; i++) {
        measured = measured || row[i]->measured;
        calculated = calculated || !row[i]->measured;
    }
    add(foot, "",
        measured && calculated ? "tank: measured; other waters: calculated from it"
        : calculated           ? "calculated from what was measured in the tank"
                               : "measured in the tank");
}

static void add_whose(struct foot *foot, const struct up_row *const *row, size_t count) {
    char whose[UP_CLAIM_SIZE] = UP_CLAIM_WHOSE;
    bool one = true;
    for (size_t i = 1; i < count; i++) {
        one = one && strcmp(row[i]->item_id, row[0]->item_id) == 0;
    }
    if (one) {
        up_claim_whose(row[0]->pieces, whose);
    }
    add(foot, "", whose);
}

static void add_marks(struct foot *foot, const struct up_row *row, bool marked, bool one) {
    add(foot, marked && row->checked == UP_CHECKED_OUTSIDE ? "body off:" : "",
        up_checked_meaning(row->checked));
    add(foot, "", row->at_most ? UP_CLAIM_AT_MOST : "");
    add(foot, marked ? "*" : "", row->rejudged ? "judged again since it was measured" : "");
    add(foot, marked ? UP_ELSEWHERE_MARK : "", row->elsewhere ? UP_ELSEWHERE_MEANING : "");
    if (one) {
        add(foot, "", row->filling);
        add(foot, "", up_style_has_stuck(row->stuck_air_g) ? UP_CLAIM_STUCK : "");
    }
}

char *standing_of(const struct up_row *const *row, size_t count, bool marked) {
    struct foot foot = {up_text_format("%s", ""), 0};
    bool simulated = false, quick = false;
    for (size_t i = 0; i < count; i++) {
        simulated = simulated || row[i]->simulated;
        quick = quick || row[i]->quick;
    }
    add(&foot, "", simulated ? STANDING_SIMULATED : "");
    if (count > 0) {
        add_whose(&foot, row, count);
        add_basis(&foot, row, count);
    }
    add(&foot, "", quick ? "quick weighings among them: their intervals are wider" : "");
    for (size_t i = 0; i < count; i++) {
        add_marks(&foot, row[i], marked, !marked);
    }
    char *lines = up_text_format("%s%s", foot.text, foot.columns > 0 ? "\n" : "");
    free(foot.text);
    return lines;
}
