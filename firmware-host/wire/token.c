/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers, units and status words in a line of text. */
#include <string.h>

#include "line_internal.h"
#include "text/text.h"

#define POUND_KG 0.45359237 /* exact: international yard and pound agreement of 1959 */

enum { NUMBER_MAX = 40 };

/* ---- numbers ---- */

static size_t count_digits(struct slice slice, size_t from) {
    size_t at = from;
    while (at < slice.length && is_digit(slice.at[at])) {
        at++;
    }
    return at - from;
}

/* The exponent counts only where digits follow it: "5 e" is five of something. */
static size_t exponent_length(struct slice slice, size_t at) {
    size_t sign = 0, digits;
    if (at >= slice.length || (slice.at[at] != 'e' && slice.at[at] != 'E')) {
        return 0;
    }
    sign = at + 1 < slice.length && (slice.at[at + 1] == '-' || slice.at[at + 1] == '+');
    digits = count_digits(slice, at + 1 + sign);
    return digits > 0 ? 1 + sign + digits : 0;
}

/* Copies a sign, takes the blanks behind it; returns how much of the slice that was. */
static size_t copy_sign(struct slice slice, char *copy, size_t *size) {
    size_t at = 0;
    if (slice.length > 0 && (slice.at[0] == '-' || slice.at[0] == '+')) {
        copy[(*size)++] = slice.at[0];
        at = 1;
        while (at < slice.length && is_blank(slice.at[at])) {
            at++;
        }
    }
    return at;
}

/* "7.12/3": scales set the digit apart that they were not verified for (from memory). */
static bool has_slash_digit(struct slice slice, size_t at) {
    return at < slice.length && slice.at[at] == '/' && count_digits(slice, at + 1) == 1 &&
           (at + 2 == slice.length || is_blank(slice.at[at + 2]));
}

bool scan_number(struct slice slice, bool decimal_comma, struct number *number) {
    char copy[NUMBER_MAX + 1], point = decimal_comma ? ',' : '.';
    size_t size = 0;
    if (scan_plain(slice, point, number)) {
        return true;
    }
    size_t from = copy_sign(slice, copy, &size);
    size_t whole = count_digits(slice, from), part = 0, mark = 0, exponent;
    if (from + whole < slice.length && slice.at[from + whole] == point) {
        part = count_digits(slice, from + whole + 1);
        mark = part > 0 || whole > 0;
    }
    size_t last = part > 0 && has_slash_digit(slice, from + whole + mark + part) ? 2 : 0;
    exponent = exponent_length(slice, from + whole + mark + part);
    if (whole + part == 0 || size + whole + mark + part + exponent + last > NUMBER_MAX) {
        return false;
    }
    memcpy(copy + size, slice.at + from, whole + mark + part + exponent + last);
    if (mark > 0) {
        copy[size + whole] = '.';
    }
    number->whole_digits = (int)whole;
    number->length = from + whole + mark + part + exponent + last;
    size += whole + mark + part + exponent;
    if (last > 0) {
        copy[size] = copy[size + 1];
        size++;
    }
    return up_text_number(copy, size, &number->value);
}

static bool begins_number(struct slice line, size_t at, bool decimal_comma) {
    char point = decimal_comma ? ',' : '.';
    char byte = line.at[at];
    char before = at > 0 ? line.at[at - 1] : ' ';
    if (is_letter(before) || is_digit(before) || before == '.') {
        return false;
    }
    if (byte == '-' || byte == '+') {
        do {
            at++;
        } while (at < line.length && is_blank(line.at[at]));
    }
    if (at < line.length && line.at[at] == point) {
        at++;
    }
    return at < line.length && is_digit(line.at[at]);
}

bool find_number(struct slice line, bool decimal_comma, int n, struct slice *rest) {
    for (size_t at = 0; at < line.length; at++) {
        struct number number;
        if (!begins_number(line, at, decimal_comma)) {
            continue;
        }
        *rest = (struct slice){line.at + at, line.length - at};
        if (--n == 0) {
            return true;
        }
        size_t stamp = stamp_length(*rest);
        if (stamp > 0) {
            at += stamp - 1;
        } else if (scan_number(*rest, decimal_comma, &number)) {
            at += number.length - 1;
        }
    }
    return false;
}

/* ---- dates and times of day ---- */

enum { STAMP_MAX = 40 };

static void copy_stamp(struct slice slice, char copy[STAMP_MAX + 1]) {
    size_t length = slice.length < STAMP_MAX ? slice.length : STAMP_MAX;
    memcpy(copy, slice.at, length);
    copy[length] = '\0';
}

static size_t time_length(const char *text) {
    int length = 0, part = 0;
    (void)sscanf(text, "%*2[0-9]:%*2[0-9]:%*2[0-9]%n", &length);
    (void)sscanf(text + length, "%*1[.,]%*15[0-9]%n", &part);
    return length > 0 ? (size_t)(length + part) : 0;
}

size_t stamp_length(struct slice slice) {
    char copy[STAMP_MAX + 1];
    size_t digits = count_digits(slice, 0);
    int date = 0;
    if (digits == 0 || digits > 4 || digits == slice.length ||
        strchr("-./:", slice.at[digits]) == NULL) {
        return 0; /* the usual number */
    }
    copy_stamp(slice, copy);
    (void)sscanf(copy, "%*4[0-9]-%*2[0-9]-%*2[0-9]%n", &date);
    (void)sscanf(copy, "%*4[0-9]/%*2[0-9]/%*4[0-9]%n", &date);
    (void)sscanf(copy, "%*2[0-9].%*2[0-9].%*4[0-9]%n", &date);
    if (date > 0 && copy[date] != 'T') {
        return (size_t)date;
    }
    size_t from = date > 0 ? (size_t)date + 1 : 0, time = time_length(copy + from);
    return time > 0 ? from + time : (size_t)date;
}

bool scan_time_of_day(struct slice slice, double *time_s) {
    char copy[STAMP_MAX + 1], half[2] = "";
    const char *colon = memchr(slice.at, ':', slice.length);
    unsigned hours, minutes;
    double seconds = 0;
    int used = 0, part = 0;
    size_t before = colon != NULL ? (size_t)(colon - slice.at) : 0;
    size_t digits = before > 0 && is_digit(colon[-1]) ? 1 : 0;
    digits += digits > 0 && before > 1 && is_digit(colon[-2]);
    if (digits == 0) {
        return false;
    }
    copy_stamp((struct slice){colon - digits, slice.length - before + digits}, copy);
    for (char *comma = strchr(copy, ','); comma != NULL; comma = strchr(comma, ',')) {
        *comma = '.';
    }
    if (sscanf(copy, "%2u:%2u%n", &hours, &minutes, &used) < 2) {
        return false;
    }
    (void)sscanf(copy + used, ":%12lf%n", &seconds, &part);
    if (sscanf(copy + used + part, " %1[APap]%*1[Mm]", half) == 1) {
        hours = hours % 12 + ((half[0] | 32) == 'p' ? 12 : 0);
    }
    *time_s = 3600 * hours + 60 * minutes + seconds;
    return hours < 24 && minutes < 60 && seconds >= 0 && seconds < 61;
}

/* ---- units ---- */

double up_load_factor(enum up_load_unit unit) {
    switch (unit) {
    case UP_LOAD_G:
        return 1e-3;
    case UP_LOAD_LB:
        return POUND_KG;
    case UP_LOAD_N:
        return 1 / UP_STANDARD_GRAVITY_M_S2;
    case UP_LOAD_COUNTS:
    case UP_LOAD_KG:
    case UP_LOAD_PRINTED:
        break;
    }
    return 1;
}

struct unit {
    const char *name;
    double kg;
};

/* As devices print them; G and N after the unit mean gross and net on many, so that a G alone is
   no gram. */
static const struct unit units[] = {
    {"g", 1e-3},      {"gr", 1e-3},      {"gram", 1e-3},        {"grams", 1e-3},  {"kg", 1},
    {"KG", 1},        {"Kg", 1},         {"mg", 1e-6},          {"lb", POUND_KG}, {"lbs", POUND_KG},
    {"LB", POUND_KG}, {"LBS", POUND_KG}, {"oz", POUND_KG / 16}, {"t", 1000},
};

static double unit_kg(const char *name, size_t length) {
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
        if (strlen(units[i].name) == length && memcmp(units[i].name, name, length) == 0) {
            return units[i].kg;
        }
    }
    if (length == 1 && name[0] == 'N') {
        return up_load_factor(UP_LOAD_N);
    }
    return length == 2 && memcmp(name, "kN", 2) == 0 ? 1000 * up_load_factor(UP_LOAD_N)
                                                     : (double)NAN;
}

void take_unit(struct slice slice, double *factor, size_t *length, bool *joined) {
    size_t from = 0, stop;
    while (from < slice.length && is_blank(slice.at[from])) {
        from++;
    }
    stop = from;
    while (stop < slice.length && is_letter(slice.at[stop])) {
        stop++;
    }
    *joined = from == 0;
    *length = stop > from ? stop : 0;
    *factor = stop > from ? unit_kg(slice.at + from, stop - from) : (double)NAN;
    if (!isnan(*factor) && stop < slice.length && slice.at[stop] == '.') {
        ++*length;
    }
}

/* ---- status words ---- */

struct status_list {
    const struct up_words *words;
    enum status status;
};

/* The graver word wins where a line has several. */
enum { LISTS = 5 };
static void lists_of(const struct up_line_rule *rule, struct status_list list[LISTS]) {
    list[0] = (struct status_list){&rule->ignore, STATUS_IGNORE};
    list[1] = (struct status_list){&rule->over, STATUS_OVER};
    list[2] = (struct status_list){&rule->under, STATUS_UNDER};
    list[3] = (struct status_list){&rule->unstable, STATUS_UNSTABLE};
    list[4] = (struct status_list){&rule->stable, STATUS_STABLE};
}

/* A word stands alone: letters do not go on into other letters, and a sign does not belong to
   digits. */
static bool stands_alone(const char *text, size_t length, size_t at, size_t size) {
    char first = text[at], last = text[at + size - 1];
    char before = at > 0 ? text[at - 1] : ' ';
    char after = at + size < length ? text[at + size] : ' ';
    if (is_letter(first) && is_letter(before)) {
        return false;
    }
    if (is_digit(first) && (is_digit(before) || before == '.' || before == '-')) {
        return false;
    }
    if (is_letter(last) && is_letter(after)) {
        return false;
    }
    return !((is_digit(last) || last == '+' || last == '-') && (is_digit(after) || after == '.'));
}

/* Blanks every place where the word stands; true where there was one. */
static bool blank_word(char *text, size_t length, const char *word) {
    size_t size = strlen(word);
    bool found = false;
    for (size_t at = 0; at + size <= length; at++) {
        if (memcmp(text + at, word, size) == 0 && stands_alone(text, length, at, size)) {
            memset(text + at, ' ', size);
            found = true;
        }
    }
    return found;
}

static enum status default_status(const struct up_line_rule *rule, enum status status) {
    bool due = rule->stable.count > 0 && status == STATUS_NONE;
    return due ? STATUS_UNSTABLE : status;
}

enum status take_status(const struct up_line_rule *rule, char *text, size_t length) {
    struct status_list list[LISTS];
    enum status status = STATUS_NONE;
    lists_of(rule, list);
    for (int i = 0; i < LISTS; i++) {
        for (int j = 0; j < list[i].words->count; j++) {
            if (blank_word(text, length, list[i].words->text[j]) && status == STATUS_NONE) {
                status = list[i].status;
            }
        }
    }
    return default_status(rule, status);
}

enum status status_of_field(const struct up_line_rule *rule, struct slice field) {
    struct status_list list[LISTS];
    lists_of(rule, list);
    for (int i = 0; i < LISTS; i++) {
        for (int j = 0; j < list[i].words->count; j++) {
            const char *word = list[i].words->text[j];
            if (strlen(word) == field.length && memcmp(word, field.at, field.length) == 0) {
                return list[i].status;
            }
        }
    }
    return default_status(rule, STATUS_NONE);
}
