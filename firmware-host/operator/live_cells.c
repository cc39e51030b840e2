/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Text on a canvas of cells. */
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#include "live_cells.h"
#include "text/text.h"

#define BLOCK "\xE2\x96\x88" /* U+2588 */
#define SHADE "\xE2\x96\x91" /* U+2591 */

/* A letter of clean text with the marks that stand on it. */
struct letter {
    char text[UP_CELL_BYTES];
    size_t bytes; /* of the text it was taken from */
    int columns;
};

static size_t character_bytes(const char *at) {
    size_t count = 1;
    while (((unsigned char)at[count] & 0xC0) == 0x80) {
        count++;
    }
    return count;
}

/* Columns of one character; the library's own count is asked only where it can matter. */
static int point_columns(const char *at, size_t bytes) {
    char text[8] = "";
    if (bytes == 1 || bytes >= sizeof text) {
        return 1;
    }
    memcpy(text, at, bytes);
    return up_text_columns(text);
}

static bool is_mark(const char *at) {
    return ((unsigned char)*at & 0x80) != 0 && point_columns(at, character_bytes(at)) == 0;
}

static struct letter next_letter(const char *at, bool utf8) {
    size_t bytes = character_bytes(at);
    struct letter letter = {.bytes = bytes, .columns = point_columns(at, bytes)};
    bool plain = bytes == 1;
    if (letter.columns == 0) { /* a mark that stands on nothing */
        letter.columns = 1;
        letter.text[0] = ' ';
    } else if (plain || (utf8 && bytes < sizeof letter.text)) {
        memcpy(letter.text, at, bytes);
    } else {
        letter.columns = 1;
        letter.text[0] = '?';
    }
    while (at[letter.bytes] != '\0' && is_mark(at + letter.bytes)) {
        size_t more = character_bytes(at + letter.bytes), length = strlen(letter.text);
        if (utf8 && length + more < sizeof letter.text) {
            memcpy(letter.text + length, at + letter.bytes, more);
        }
        letter.bytes += more;
    }
    return letter;
}

static struct up_cell *cell_at(struct up_canvas *canvas, int row, int column) {
    bool inside = row >= 0 && row < canvas->rows && column >= 0 && column < canvas->columns;
    return inside ? &canvas->cell[(size_t)row * (size_t)canvas->columns + (size_t)column] : NULL;
}

/* A wide letter that would be cut at the edge is left out. */
static void set_cell(struct up_canvas *canvas, int row, int column, enum up_live_style style,
                     const struct letter *letter) {
    struct up_cell *cell = cell_at(canvas, row, column);
    if (cell == NULL || cell_at(canvas, row, column + letter->columns - 1) == NULL) {
        return;
    }
    memcpy(cell->text, letter->text, sizeof cell->text);
    cell->style = style;
    if (letter->columns == 2) {
        cell[1] = (struct up_cell){.style = style};
    }
}

/* ---- right to left ---- */

/* A mark behind what a cell holds already; a wide letter holds it in the first of its two. */
static void append_mark(struct up_canvas *canvas, int row, int column, const char *mark) {
    struct up_cell *cell = cell_at(canvas, row, column);
    if (cell != NULL && cell->text[0] == '\0' && column > 0) {
        cell--;
    }
    if (cell != NULL && strlen(cell->text) + strlen(mark) < sizeof cell->text) {
        strcat(cell->text, mark);
    }
}

/* A terminal that turns text from right to left must not turn the numbers beside it: what runs so
   stands between U+2068, behind the cell before it, and U+2069, behind its last letter. */
struct isolating {
    int last; /* column of the last letter from right to left; -1: none is open */
};

static void close_isolate(struct isolating *isolating, struct up_canvas *canvas, int row) {
    if (isolating->last >= 0) {
        append_mark(canvas, row, isolating->last, "\xE2\x81\xA9");
    }
    isolating->last = -1;
}

static void isolate(struct isolating *isolating, struct up_canvas *canvas, struct place at,
                    const struct letter *letter) {
    unsigned char first = (unsigned char)letter->text[0];
    bool neutral = first < 0x80 && !isalnum(first);
    if (up_text_has_right_to_left(letter->text)) {
        if (isolating->last < 0) {
            append_mark(canvas, at.row, at.column - 1, "\xE2\x81\xA8");
        }
        isolating->last = at.column;
    } else if (!neutral) {
        close_isolate(isolating, canvas, at.row);
    }
}

static int put_letters(struct up_canvas *canvas, struct place place, enum up_live_style style,
                       const char *text, size_t length) {
    int used = 0;
    struct isolating isolating = {-1};
    for (size_t at = 0; at < length;) {
        struct letter letter = next_letter(text + at, canvas->utf8);
        if (used + letter.columns > place.width) {
            break;
        }
        struct place here = {.row = place.row, .column = place.column + used};
        set_cell(canvas, here.row, here.column, style, &letter);
        isolate(&isolating, canvas, here, &letter);
        used += letter.columns;
        at += letter.bytes;
    }
    close_isolate(&isolating, canvas, place.row);
    return used;
}

/* Columns of clean text as next_letter sees them. */
static int columns_of(const char *text, size_t length, bool utf8) {
    int columns = 0;
    for (size_t at = 0; at < length;) {
        struct letter letter = next_letter(text + at, utf8);
        columns += letter.columns;
        at += letter.bytes;
    }
    return columns;
}

static int put_clean(struct up_canvas *canvas, struct place place, enum up_live_style style,
                     const char *clean) {
    static const char dots[] = "...";
    const int dots_columns = (int)sizeof dots - 1;
    struct place front = place;
    int used;
    if (columns_of(clean, strlen(clean), canvas->utf8) <= place.width ||
        place.width <= dots_columns) {
        return put_letters(canvas, place, style, clean, strlen(clean));
    }
    front.width -= dots_columns;
    used = put_letters(canvas, front, style, clean, strlen(clean));
    place.column += used;
    return used + put_letters(canvas, place, style, dots, sizeof dots - 1);
}

int live_put(struct up_canvas *canvas, struct place place, enum up_live_style style,
             const char *text) {
    UP_FREED char *clean = up_text_for_terminal(text);
    return put_clean(canvas, place, style, clean);
}

int live_format(struct up_canvas *canvas, struct place place, enum up_live_style style,
                const char *format, ...) {
    char text[1024];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    return live_put(canvas, place, style, text);
}

/* Bytes of the longest beginning that ends before a blank and fits; of a word without one, as much
   as fits, one letter at least. */
static size_t line_length(const char *text, int width, bool utf8) {
    size_t at = 0, last_blank = 0;
    int columns = 0;
    while (text[at] != '\0') {
        struct letter letter = next_letter(text + at, utf8);
        if (text[at] == ' ') {
            last_blank = at;
        }
        if (columns + letter.columns > width) {
            return last_blank > 0 ? last_blank : at > 0 ? at : letter.bytes;
        }
        columns += letter.columns;
        at += letter.bytes;
    }
    return at;
}

int live_wrap(struct up_canvas *canvas, struct place place, int rows, enum up_live_style style,
              const char *text) {
    char *clean = up_text_for_terminal(text);
    const char *rest = clean;
    int used = 0;
    while (*rest != '\0' && used < rows) {
        size_t length = line_length(rest, place.width, canvas->utf8);
        if (used == rows - 1) {
            put_clean(canvas, place, style, rest);
        } else {
            put_letters(canvas, place, style, rest, length);
        }
        rest += length;
        rest += strspn(rest, " ");
        place.row++;
        used++;
    }
    free(clean);
    return used;
}

void live_bar(struct up_canvas *canvas, struct place place, enum up_live_style style,
              double share) {
    int inside = place.width - 2;
    int full = isfinite(share) ? (int)lround(fmin(fmax(share, 0), 1) * inside) : 0;
    struct letter block = {.columns = 1}, rest = {.columns = 1}, edge = {"[", 1, 1};
    strcpy(block.text, canvas->utf8 ? BLOCK : "#");
    strcpy(rest.text, canvas->utf8 ? SHADE : "-");
    set_cell(canvas, place.row, place.column, UP_LIVE_PLAIN, &edge);
    for (int i = 0; i < inside; i++) {
        set_cell(canvas, place.row, place.column + 1 + i, i < full ? style : UP_LIVE_PLAIN,
                 i < full ? &block : &rest);
    }
    edge.text[0] = ']';
    set_cell(canvas, place.row, place.column + 1 + inside, UP_LIVE_PLAIN, &edge);
}

/* ---- large letters ---- */

struct glyph {
    char letter;
    const char *row[LARGE_ROWS];
};

/* Drawn for this program. Five rows of cells, which are twice as high as they are wide. */
static const struct glyph glyphs[] = {
    {'A', {" ## ", "#  #", "####", "#  #", "#  #"}},
    {'B', {"### ", "#  #", "### ", "#  #", "### "}},
    {'C', {" ###", "#   ", "#   ", "#   ", " ###"}},
    {'D', {"### ", "#  #", "#  #", "#  #", "### "}},
    {'E', {"####", "#   ", "### ", "#   ", "####"}},
    {'F', {"####", "#   ", "### ", "#   ", "#   "}},
    {'G', {" ### ", "#    ", "#  ##", "#   #", " ### "}},
    {'H', {"#  #", "#  #", "####", "#  #", "#  #"}},
    {'I', {"###", " # ", " # ", " # ", "###"}},
    {'J', {"  ##", "   #", "   #", "#  #", " ## "}},
    {'K', {"#  #", "# # ", "##  ", "# # ", "#  #"}},
    {'L', {"#   ", "#   ", "#   ", "#   ", "####"}},
    {'M', {"#   #", "## ##", "# # #", "#   #", "#   #"}},
    {'N', {"#   #", "##  #", "# # #", "#  ##", "#   #"}},
    {'O', {" ## ", "#  #", "#  #", "#  #", " ## "}},
    {'P', {"### ", "#  #", "### ", "#   ", "#   "}},
    {'Q', {" ##  ", "#  # ", "#  # ", "# ## ", " ## #"}},
    {'R', {"### ", "#  #", "### ", "# # ", "#  #"}},
    {'S', {" ###", "#   ", " ## ", "   #", "### "}},
    {'T', {"#####", "  #  ", "  #  ", "  #  ", "  #  "}},
    {'U', {"#  #", "#  #", "#  #", "#  #", " ## "}},
    {'V', {"#   #", "#   #", " # # ", " # # ", "  #  "}},
    {'W', {"#   #", "#   #", "# # #", "## ##", "#   #"}},
    {'X', {"#   #", " # # ", "  #  ", " # # ", "#   #"}},
    {'Y', {"#   #", " # # ", "  #  ", "  #  ", "  #  "}},
    {'Z', {"####", "  # ", " #  ", "#   ", "####"}},
    {'0', {"####", "#  #", "#  #", "#  #", "####"}},
    {'1', {" # ", "## ", " # ", " # ", "###"}},
    {'2', {"####", "   #", "####", "#   ", "####"}},
    {'3', {"####", "   #", " ###", "   #", "####"}},
    {'4', {"#  #", "#  #", "####", "   #", "   #"}},
    {'5', {"####", "#   ", "####", "   #", "####"}},
    {'6', {"####", "#   ", "####", "#  #", "####"}},
    {'7', {"####", "   #", "  # ", " #  ", " #  "}},
    {'8', {"####", "#  #", "####", "#  #", "####"}},
    {'9', {"####", "#  #", "####", "   #", "####"}},
    {'+', {"   ", " # ", "###", " # ", "   "}},
    {'-', {"   ", "   ", "###", "   ", "   "}},
    {'.', {" ", " ", " ", " ", "#"}},
    {',', {"  ", "  ", "  ", " #", "# "}},
    {':', {" ", "#", " ", "#", " "}},
    {';', {"  ", " #", "  ", " #", "# "}},
    {'!', {"#", "#", "#", " ", "#"}},
    {'?', {"### ", "   #", " ## ", "    ", " #  "}},
    {'/', {"    ", "   #", "  # ", " #  ", "#   "}},
    {'%', {"#  #", "  # ", " #  ", "#  #", "    "}},
    {'=', {"   ", "###", "   ", "###", "   "}},
    {'(', {" #", "# ", "# ", "# ", " #"}},
    {')', {"# ", " #", " #", " #", "# "}},
    {'\'', {"#", "#", " ", " ", " "}},
    {' ', {"  ", "  ", "  ", "  ", "  "}},
};

/* What has no letter of its own: a bullet, so that it is seen that something stands there. */
static const struct glyph no_glyph = {0, {"    ", " ## ", " ## ", " ## ", "    "}};

static const struct glyph *glyph_of(char letter) {
    char upper = (char)(letter >= 'a' && letter <= 'z' ? letter - 'a' + 'A' : letter);
    for (size_t i = 0; i < sizeof glyphs / sizeof glyphs[0]; i++) {
        if (glyphs[i].letter == upper) {
            return &glyphs[i];
        }
    }
    return &no_glyph;
}

static int large_width(const char *text, size_t length, int scale) {
    int cells = 0;
    for (size_t at = 0; at < length; at += character_bytes(text + at)) {
        cells += (int)strlen(glyph_of(text[at])->row[0]) + 1;
    }
    return cells > 0 ? (cells - 1) * scale : 0;
}

int live_large_width(const char *text, int scale) {
    return large_width(text, strlen(text), scale);
}

static void put_glyph(struct up_canvas *canvas, struct place place, int scale,
                      enum up_live_style style, const struct glyph *glyph) {
    struct letter block = {.columns = 1};
    int width = (int)strlen(glyph->row[0]);
    strcpy(block.text, canvas->utf8 ? BLOCK : "#");
    for (int y = 0; y < LARGE_ROWS * scale; y++) {
        for (int x = 0; x < width * scale; x++) {
            if (glyph->row[y / scale][x / scale] == '#') {
                set_cell(canvas, place.row + y, place.column + x, style, &block);
            }
        }
    }
}

static void put_large(struct up_canvas *canvas, struct place place, int scale,
                      enum up_live_style style, const char *text, size_t length) {
    int end = place.column + place.width;
    for (size_t at = 0; at < length; at += character_bytes(text + at)) {
        const struct glyph *glyph = glyph_of(text[at]);
        int width = (int)strlen(glyph->row[0]) * scale;
        if (place.column + width > end) {
            return;
        }
        put_glyph(canvas, place, scale, style, glyph);
        place.column += width + scale;
    }
}

void live_large(struct up_canvas *canvas, struct place place, int scale, enum up_live_style style,
                const char *text) {
    put_large(canvas, place, scale, style, text, strlen(text));
}

/* Bytes of the line that ends before a blank and fits; 0 where not even one word does. */
static size_t large_line(const char *text, int width, int scale) {
    size_t fits = 0;
    for (size_t at = 0; text[at] != '\0';) {
        at += strcspn(text + at, " ");
        if (large_width(text, at, scale) > width) {
            break;
        }
        fits = at;
        at += strspn(text + at, " ");
    }
    return fits;
}

/* How many lines at that scale; more than `most` where it does not fit. */
static int large_lines(const char *text, int width, int scale, int most) {
    int lines = 0;
    while (*text != '\0' && lines <= most) {
        size_t length = large_line(text, width, scale);
        if (length == 0) {
            return most + 1;
        }
        text += length;
        text += strspn(text, " ");
        lines++;
    }
    return lines;
}

void live_large_wrap(struct up_canvas *canvas, struct place place, int rows,
                     enum up_live_style style, const char *text) {
    int scale = rows / LARGE_ROWS, most;
    char *clean = up_text_for_terminal(text);
    const char *rest = clean;
    while (scale > 1 &&
           large_lines(clean, place.width, scale, (rows + scale) / (scale * (LARGE_ROWS + 1))) >
               (rows + scale) / (scale * (LARGE_ROWS + 1))) {
        scale--;
    }
    most = scale > 0 ? (rows + scale) / (scale * (LARGE_ROWS + 1)) : 0;
    for (int line = 0; line < most && *rest != '\0'; line++) {
        size_t length = large_line(rest, place.width, scale);
        length = length > 0 ? length : strcspn(rest, " "); /* one long word is cut */
        put_large(canvas, place, scale, style, rest, length);
        rest += length;
        rest += strspn(rest, " ");
        place.row += scale * (LARGE_ROWS + 1);
    }
    free(clean);
}
