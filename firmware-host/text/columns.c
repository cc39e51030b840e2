/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How many columns of a terminal a text takes, and what runs from right to left in it. */
#include <locale.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <wchar.h>

#include "text/text.h"

#define FIRST_STRONG_ISOLATE "\xE2\x81\xA8" /* U+2068 */
#define POP_ISOLATE          "\xE2\x81\xA9" /* U+2069 */

/* ---- characters of clean text ---- */

static size_t bytes_of(const char *at) {
    size_t count = 1;
    while (((unsigned char)at[count] & 0xC0) == 0x80) {
        count++;
    }
    return count;
}

static wchar_t point_of(const char *at, size_t bytes) {
    unsigned char lead = (unsigned char)at[0];
    unsigned long point = bytes == 1 ? lead : lead & (0x7FUL >> bytes);
    for (size_t i = 1; i < bytes; i++) {
        point = point << 6 | ((unsigned char)at[i] & 0x3F);
    }
    return (wchar_t)point;
}

/* wcwidth asks the locale of the thread; the text is UTF-8 whatever the reader's locale is. Made
   once: loading it takes longer than all the rest. */
static locale_t utf8_locale(void) {
    static _Atomic(locale_t) kept;
    locale_t made = atomic_load(&kept), none = (locale_t)0;
    if (made == none) {
        made = newlocale(LC_CTYPE_MASK, "C.UTF-8", none);
        if (made != none && !atomic_compare_exchange_strong(&kept, &none, made)) {
            freelocale(made); /* another thread was first */
            made = none;
        }
    }
    return made;
}

static locale_t use_utf8(locale_t *utf8) {
    *utf8 = utf8_locale();
    return *utf8 != (locale_t)0 ? uselocale(*utf8) : (locale_t)0;
}

static void restore_locale(locale_t utf8, locale_t before) {
    if (utf8 != (locale_t)0) {
        uselocale(before);
    }
}

/* Without such a locale, and for what it does not know, a character is a column. */
static int columns_of(wchar_t point, locale_t utf8) {
    int columns = utf8 != (locale_t)0 ? wcwidth(point) : 1;
    return columns < 0 ? 1 : columns;
}

/* Bytes of the longest beginning within `most` columns; marks go with the letter they stand on. */
static size_t fitting(const char *text, int most, int *columns) {
    locale_t utf8, before = use_utf8(&utf8);
    size_t length = 0;
    *columns = 0;
    while (text[length] != '\0') {
        size_t bytes = bytes_of(text + length);
        int more = columns_of(point_of(text + length, bytes), utf8);
        if (*columns + more > most) {
            break;
        }
        *columns += more;
        length += bytes;
    }
    restore_locale(utf8, before);
    return length;
}

int up_text_columns(const char *text) {
    int columns;
    fitting(text, 1 << 20, &columns);
    return columns;
}

/* ---- right to left ---- */

/* The blocks of Unicode that are set aside for scripts from right to left. */
static bool is_right_to_left(wchar_t point) {
    static const struct {
        long first, last;
    } blocks[] = {{0x0590, 0x08FF}, {0x200F, 0x200F},   {0xFB1D, 0xFDFF},
                  {0xFE70, 0xFEFE}, {0x10800, 0x10FFF}, {0x1E800, 0x1EFFF}};
    for (size_t i = 0; i < sizeof blocks / sizeof blocks[0]; i++) {
        if ((long)point >= blocks[i].first && (long)point <= blocks[i].last) {
            return true;
        }
    }
    return false;
}

bool up_text_has_right_to_left(const char *text) {
    for (size_t at = 0; text[at] != '\0'; at += bytes_of(text + at)) {
        if (is_right_to_left(point_of(text + at, bytes_of(text + at)))) {
            return true;
        }
    }
    return false;
}

/* ---- output ---- */

char *up_text_isolated(const char *text) {
    char *clean = up_text_for_terminal(text);
    if (!up_text_has_right_to_left(clean)) {
        return clean;
    }
    char *isolated = up_text_format("%s%s%s", FIRST_STRONG_ISOLATE, clean, POP_ISOLATE);
    free(clean);
    return isolated;
}

void up_text_put(FILE *stream, const char *text, int columns, bool isolate) {
    static const char dots[] = "...";
    const int dots_columns = (int)sizeof dots - 1;
    UP_FREED char *clean = up_text_for_terminal(text);
    int used, limit = columns > 0 ? columns : 1 << 20;
    size_t length = fitting(clean, limit, &used);
    bool cut = clean[length] != '\0';
    bool wrapped = isolate && up_text_has_right_to_left(clean);
    if (cut && columns > dots_columns) {
        length = fitting(clean, columns - dots_columns, &used);
    }
    fprintf(stream, "%s%.*s%s", wrapped ? FIRST_STRONG_ISOLATE : "", (int)length, clean,
            wrapped ? POP_ISOLATE : "");
    if (cut && columns > dots_columns) {
        fputs(dots, stream);
        used += dots_columns;
    }
    fprintf(stream, "%*s", used < columns ? columns - used : 0, "");
}

/* Nothing allocates after the first letter: without memory a line is whole or missing. */
void up_text_lines(FILE *stream, const char *lead, const char *text, int columns) {
    int indent = (int)strlen(lead), column = indent, blanks = 0;
    UP_FREED char *clean = up_text_for_terminal(text);
    fputs(lead, stream);
    for (char *word = clean; *word != '\0';) {
        char *end = word + strcspn(word, " ");
        int next_blanks = (int)strspn(end, " ");
        *end = next_blanks > 0 ? '\0' : *end;
        int wide = up_text_columns(word);
        bool breaks = columns > 0 && column > indent && column + blanks + wide > columns;
        column = (breaks ? indent : column + blanks) + wide;
        fprintf(stream, "%s%*s%s", breaks ? "\n" : "", breaks ? indent : blanks, "", word);
        blanks = next_blanks;
        word = end + blanks;
    }
    fputc('\n', stream);
}

void up_text_paragraph(FILE *stream, const char *lead, const char *text) {
    enum { COLUMNS = 78 };
    up_text_lines(stream, lead, text, COLUMNS);
}
