/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files that read one line share. */
#pragma once

#include <float.h>

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

static inline struct slice trim_quotes(struct slice slice) {
    while (slice.length > 0 && slice.at[0] == '"') {
        slice.at++;
        slice.length--;
    }
    while (slice.length > 0 && slice.at[slice.length - 1] == '"') {
        slice.length--;
    }
    return trim(slice);
}

/* A number in a text. */
struct number {
    double value;
    int whole_digits; /* before the decimal mark */
    size_t length;    /* of its text */
};

/* The number that begins a slice: a sign, which blanks may part from its digits, digits, a decimal
   mark, an exponent. False where none begins there. */
bool scan_number(struct slice slice, bool decimal_comma, struct number *number);

/* Takes the digits at hand into *sum, which may run over where they are too many for it. */
static inline const char *take_digits(const char *at, const char *end, uint64_t *sum) {
    for (unsigned digit; at < end && (digit = (unsigned)*at - '0') <= 9; at++) {
        *sum = *sum * 10 + digit;
    }
    return at;
}

/* What most wires carry, in one pass: a sign, up to 15 digits, a point among them and nothing that
   could belong to the number behind. Both the digits as a whole number and the power of ten are
   exact, so that their quotient is the nearest double, as strtod's would be. False: another way
   must be tried. */
static inline bool scan_plain(struct slice slice, char point, struct number *number) {
    static const double power[] = {1,   1e1, 1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                   1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15};
    static const double sign[] = {1, -1};
    const char *end = slice.at + slice.length;
    bool minus = slice.length > 0 && slice.at[0] == '-';
    const char *first = slice.at + (minus || (slice.length > 0 && slice.at[0] == '+'));
    uint64_t sum = 0;
    const char *at = take_digits(first, end, &sum);
    size_t whole = (size_t)(at - first), part = 0;
    if (at < end && *at == point) {
        const char *mark = at;
        at = take_digits(mark + 1, end, &sum);
        part = (size_t)(at - mark) - 1;
    }
    if (FLT_EVAL_METHOD != 0 || whole + part == 0 || whole + part > 15 ||
        (at < end && !is_blank(*at))) {
        return false;
    }
    number->value = sign[minus] * (double)(int64_t)sum;
    number->value = part > 0 ? number->value / power[part] : number->value;
    number->whole_digits = (int)whole;
    number->length = (size_t)(at - slice.at);
    return true;
}

/* How long the date or the time of day (HH:MM:SS) is that begins a slice; 0 where none does. */
size_t stamp_length(struct slice slice);
/* Seconds since midnight by the first HH:MM[:SS[.fraction]] of a slice; false without one. */
bool scan_time_of_day(struct slice slice, double *time_s);

/* Where the n-th number of a line begins, from 1; false where there are fewer. A date or a time of
   day counts as one; digits that belong to a word (T1, raw_2) are none. */
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
static inline bool has_status_words(const struct up_line_rule *rule) {
    return rule->ignore.count + rule->over.count + rule->under.count + rule->unstable.count +
               rule->stable.count >
           0;
}

enum status take_status(const struct up_line_rule *rule, char *text, size_t length);
enum status status_of_field(const struct up_line_rule *rule, struct slice field);
