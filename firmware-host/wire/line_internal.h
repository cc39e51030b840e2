/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files that read one line share. */
#ifndef UPTHRUST_WIRE_LINE_INTERNAL_H
#define UPTHRUST_WIRE_LINE_INTERNAL_H

#include "upthrust/wire.h"

/* A part of a line; no NUL behind it. */
struct slice {
    const char *at;
    size_t length;
};

static inline bool is_blank(char byte) {
    return byte == ' ' || byte == '\t';
}

static inline bool is_digit(char byte) {
    return byte >= '0' && byte <= '9';
}

/* Bytes that are no text count as letters: next to digits they make garbage, as letters do. */
static inline bool is_letter(char byte) {
    return (byte >= 'a' && byte <= 'z') || (byte >= 'A' && byte <= 'Z') || byte == '_' ||
           (unsigned char)byte > '~' || ((unsigned char)byte < ' ' && byte != '\t');
}

static inline struct slice trim(struct slice slice) {
    while (slice.length > 0 && is_blank(slice.at[0])) {
        slice.at++;
        slice.length--;
    }
    while (slice.length > 0 && is_blank(slice.at[slice.length - 1])) {
        slice.length--;
    }
    return slice;
}

/* The number that begins a slice: a sign, which blanks may part from its digits, digits, a decimal
   mark, an exponent. False where none begins there. */
struct number {
    double value;
    int whole_digits; /* before the decimal mark */
    size_t length;    /* of its text */
};
bool scan_number(struct slice slice, bool decimal_comma, struct number *number);

/* Where the n-th number of a line begins, from 1; false where there are fewer. Digits that belong
   to a word (T1, raw_2) are none. */
bool find_number(struct slice line, bool decimal_comma, int n, struct slice *rest);

/* The unit that follows a number: letters, blanks before them, a point behind. *factor is
   kilograms in one; NaN for letters that are no unit of mass or force we know. *length takes in
   the blanks; 0 where no letters follow. */
void take_unit(struct slice slice, double *factor, size_t *length, bool *joined);

/* True where the checksum stands and is right; it is then taken off the line. */
bool take_checksum(const struct up_line_rule *rule, struct slice *line);

/* What a device says of its reading. Words that were found are blanked out of `text`. */
enum status {
    STATUS_NONE,
    STATUS_STABLE,
    STATUS_UNSTABLE,
    STATUS_OVER,
    STATUS_UNDER,
    STATUS_IGNORE
};
bool has_status_words(const struct up_line_rule *rule);
enum status take_status(const struct up_line_rule *rule, char *text, size_t length);
enum status status_of_field(const struct up_line_rule *rule, struct slice field);

#endif
