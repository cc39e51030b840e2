/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <unicode/uchar.h>

#include "text/text.h"

#define REPLACEMENT "\xEF\xBF\xBD" /* U+FFFD */

/* ---- UTF-8, strictly (RFC 3629): no overlong forms, surrogates or anything above U+10FFFF ---- */

static size_t sequence_length(unsigned char lead) {
    return lead < 0x80                   ? 1
           : lead >= 0xC2 && lead < 0xE0 ? 2
           : (lead & 0xF0) == 0xE0       ? 3
           : lead >= 0xF0 && lead < 0xF5 ? 4
                                         : 0;
}

/* Length of the character at text, 0 where there is none; its code point in *point. */
static size_t decode(const char *text, size_t length, uint32_t *point) {
    static const uint32_t smaller[] = {0, 0, 0x80, 0x800, 0x10000};
    unsigned char lead = (unsigned char)text[0];
    size_t count = sequence_length(lead);
    if (count == 0 || count > length) {
        return 0;
    }
    *point = count == 1 ? lead : lead & (0x7FU >> count);
    for (size_t i = 1; i < count; i++) {
        unsigned char next = (unsigned char)text[i];
        if ((next & 0xC0) != 0x80) {
            return 0;
        }
        *point = *point << 6 | (next & 0x3FU);
    }
    bool surrogate = *point >= 0xD800 && *point <= 0xDFFF;
    return *point < smaller[count] || surrogate || *point > 0x10FFFF ? 0 : count;
}

/* And what is no character: XML cannot hold it. */
static bool is_control(uint32_t point) {
    return point < 0x20 || (point >= 0x7F && point < 0xA0) || point == 0x2028 || point == 0x2029 ||
           (point & 0xFFFE) == 0xFFFE || (point >= 0xFDD0 && point <= 0xFDEF);
}

/* Characters without width or ink: with them one name can pass for another. Embeddings, overrides
   and isolates turn what follows besides. Unicode does not count a blank of Braille and the marks
   around annotations. */
static bool is_hidden(uint32_t point) {
    return point >= 0xAD &&
           (u_hasBinaryProperty((UChar32)point, UCHAR_DEFAULT_IGNORABLE_CODE_POINT) ||
            point == 0x2800 || (point >= 0xFFF9 && point <= 0xFFFB));
}

/* Joiners belong to words of some scripts, from Hebrew on, between two letters. */
static bool is_joiner(uint32_t point, uint32_t before, const char *after, size_t length) {
    uint32_t next = 0;
    return (point == 0x200C || point == 0x200D) && before >= 0x0590 && length > 0 &&
           decode(after, length, &next) > 0 && next >= 0x0590 && !is_hidden(next);
}

/* ---- output ---- */

struct output {
    char *text;
    size_t length;
};

static void put(struct output *output, const char *bytes, size_t length) {
    memcpy(output->text + output->length, bytes, length);
    output->length += length;
    output->text[output->length] = '\0';
}

/* Cleans `bytes`; before characters of `escaped` a backslash goes. */
static void put_clean(struct output *output, const char *bytes, size_t length,
                      const char *escaped) {
    uint32_t before = 0;
    for (size_t at = 0; at < length;) {
        uint32_t point = 0;
        size_t count = decode(bytes + at, length - at, &point), end = at + count;
        if (count == 0 || is_control(point) ||
            (is_hidden(point) && !is_joiner(point, before, bytes + end, length - end))) {
            put(output, REPLACEMENT, strlen(REPLACEMENT));
            at += count == 0 ? 1 : count;
            before = 0;
            continue;
        }
        before = point;
        if (count == 1 && strchr(escaped, bytes[at]) != NULL) {
            put(output, "\\", 1);
        }
        put(output, bytes + at, count);
        at += count;
    }
}

/* No byte becomes more than three; quotes, an apostrophe and the NUL come on top. */
static struct output begin(size_t length) {
    return (struct output){up_allocate(length + 4, 3), 0};
}

char *up_text_for_terminal(const char *text) {
    struct output output = begin(strlen(text));
    put_clean(&output, text, strlen(text), "");
    return output.text;
}

void up_text_print(FILE *stream, const char *format, ...) {
    bool ends = strchr(format, '\n') != NULL;
    va_list arguments, again;
    va_start(arguments, format);
    va_copy(again, arguments);
    int length = vsnprintf(NULL, 0, format, arguments);
    UP_FREED char *text = up_allocate((size_t)length + 1, 1);
    vsnprintf(text, (size_t)length + 1, format, again);
    va_end(arguments);
    va_end(again);
    text[length - ends] = '\0';
    UP_FREED char *safe = up_text_for_terminal(text);
    fputs(safe, stream);
    if (ends) {
        fputc('\n', stream);
    }
}

char *up_text_for_gnuplot(const char *text) {
    struct output output = begin(strlen(text));
    put(&output, "\"", 1);
    put_clean(&output, text, strlen(text), "\\\"`");
    put(&output, "\"", 1);
    return output.text;
}

char *up_text_clean(const char *bytes, size_t length) {
    struct output output = begin(length);
    put_clean(&output, bytes, length, "");
    return output.text;
}

bool up_text_is_clean(const char *text) {
    UP_FREED char *clean = up_text_clean(text, strlen(text));
    return strcmp(clean, text) == 0;
}

char *up_text_clean_lines(const char *text) {
    struct output output = begin(strlen(text));
    while (*text != '\0') {
        size_t length = strcspn(text, "\n");
        for (size_t from = 0; from <= length; from++) {
            size_t part = strcspn(text + from, "\t\n");
            put_clean(&output, text + from, part, "");
            from += part;
            put(&output, text[from] == '\t' ? "\t" : "", text[from] == '\t');
        }
        text += length;
        if (*text == '\n') {
            put(&output, "\n", 1);
            text++;
        }
    }
    return output.text;
}

/* = + - @ and their full-width forms. */
static bool begins_formula(const char *text) {
    static const char *const signs[] = {"=", "+", "-", "@", "\uFF1D", "\uFF0B", "\uFF0D", "\uFF20"};
    for (size_t i = 0; i < sizeof signs / sizeof signs[0]; i++) {
        if (strncmp(text, signs[i], strlen(signs[i])) == 0) {
            return true;
        }
    }
    return false;
}

static bool looks_like_formula(const char *text) {
    double number;
    return (begins_formula(text) || text[0] == '\t' || text[0] == '\r') &&
           !up_text_number(text, strlen(text), &number);
}

/* Where a spreadsheet splits at semicolons, one begins a cell. */
static bool begins_cell(const char *text, const char *at) {
    while (at > text && (at[-1] == ' ' || at[-1] == '"')) {
        at--;
    }
    return at > text && at[-1] == ';';
}

static void put_field(struct output *output, const char *clean, bool formula) {
    put(output, formula ? "\"'" : "\"", formula ? 2 : 1);
    for (const char *at = clean; *at != '\0'; at++) {
        if (begins_cell(clean, at) && begins_formula(at)) {
            put(output, "'", 1);
        }
        put(output, at, 1);
        if (*at == '"') {
            put(output, "\"", 1);
        }
    }
    put(output, "\"", 1);
}

/* As most are: nothing in it needs a look. */
static bool is_plain_field(const char *text) {
    static const char plain[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
                                ".:_-+ ";
    size_t first = strcspn(text, ".:_-+ ");
    return (first > 0 || text[0] == '\0') && text[strspn(text, plain)] == '\0';
}

char *up_text_for_csv(const char *text) {
    struct output output = begin(strlen(text));
    if (is_plain_field(text)) {
        put(&output, text, strlen(text));
        return output.text;
    }
    bool formula = looks_like_formula(text);
    char *clean = up_text_clean(text, strlen(text));
    if (strpbrk(clean, ",;\"") == NULL && clean[0] != ' ' && !formula) {
        free(output.text);
        return clean;
    }
    put_field(&output, clean, formula);
    free(clean);
    return output.text;
}
