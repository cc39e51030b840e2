/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers read and written the same whatever the locale. */
#define _GNU_SOURCE /* strtod_l */
#include <float.h>
#include <locale.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "upthrust/text.h"

enum { NUMBER_MAX = 40 };

static locale_t plain(void) {
    static locale_t locale;
    if (locale == (locale_t)0) {
        locale = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    }
    return locale;
}

static size_t digits(const char *text, size_t at, size_t length) {
    size_t start = at;
    while (at < length && text[at] >= '0' && text[at] <= '9') {
        at++;
    }
    return at - start;
}

static size_t sign(const char *text, size_t at, size_t length) {
    return at < length && (text[at] == '+' || text[at] == '-');
}

/* [+-] digits [. digits] [e [+-] digits], a digit at least before or behind the point. */
static bool is_number(const char *text, size_t length) {
    size_t at = sign(text, 0, length);
    size_t whole = digits(text, at, length);
    size_t part = 0;
    at += whole;
    if (at < length && text[at] == '.') {
        part = digits(text, at + 1, length);
        at += 1 + part;
    }
    if (whole + part == 0) {
        return false;
    }
    if (at < length && (text[at] == 'e' || text[at] == 'E')) {
        at++;
        at += sign(text, at, length);
        size_t exponent = digits(text, at, length);
        if (exponent == 0) {
            return false;
        }
        at += exponent;
    }
    return at == length;
}

/* What most wires carry: up to 15 digits and a power of ten of up to 22. Both are exact doubles, so
   that one multiplication or division rounds as strtod does, where doubles are not kept wider. */
struct decimal {
    uint64_t digits;
    int count, power; /* digits seen; value = digits * 10^power */
    size_t at;
};

static inline void read_digits(const char *text, size_t length, bool behind_point,
                               struct decimal *decimal) {
    const char *at = text + decimal->at, *end = text + length;
    uint64_t sum = decimal->digits;
    for (unsigned digit; at < end && (digit = (unsigned)(*at - '0')) <= 9; at++) {
        sum = sum * 10 + digit;
    }
    int count = (int)(at - text) - (int)decimal->at;
    decimal->digits = sum;
    decimal->count += count;
    decimal->power -= behind_point ? count : 0;
    decimal->at = (size_t)(at - text);
}

/* e [+-] digit [digit] at the end. */
static bool read_exponent(const char *text, size_t length, struct decimal *decimal) {
    size_t at = decimal->at + 1;
    bool down = at < length && text[at] == '-';
    int exponent = 0;
    at += sign(text, at, length);
    if (at == length || length - at > 2 || digits(text, at, length) != length - at) {
        return false;
    }
    for (; at < length; at++) {
        exponent = exponent * 10 + (text[at] - '0');
    }
    decimal->at = at;
    decimal->power += down ? -exponent : exponent;
    return true;
}

/* False where it is no number or not a short one. */
static bool read_short(const char *text, size_t length, double *value) {
    static const double ten[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                 1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
    struct decimal decimal = {.at = sign(text, 0, length)};
    if (length > 19) { /* so that the digits cannot overflow */
        return false;
    }
    read_digits(text, length, false, &decimal);
    if (decimal.at < length && text[decimal.at] == '.') {
        decimal.at++;
        read_digits(text, length, true, &decimal);
    }
    if (decimal.at < length && (text[decimal.at] | 0x20) == 'e' &&
        !read_exponent(text, length, &decimal)) {
        return false;
    }
    if (decimal.at != length || decimal.count == 0 || decimal.count > 15 || decimal.power > 22 ||
        decimal.power < -22 || FLT_EVAL_METHOD != 0) {
        return false;
    }
    double number = (double)decimal.digits;
    if (decimal.power != 0) {
        number = decimal.power < 0 ? number / ten[-decimal.power] : number * ten[decimal.power];
    }
    *value = text[0] == '-' ? -number : number;
    return true;
}

bool up_text_number(const char *text, size_t length, double *value) {
    char copy[NUMBER_MAX + 1];
    double number;
    if (length == 0 || length > NUMBER_MAX) {
        return false;
    }
    if (read_short(text, length, value)) {
        return true;
    }
    if (!is_number(text, length)) {
        return false;
    }
    memcpy(copy, text, length);
    copy[length] = '\0';
    number = strtod_l(copy, NULL, plain());
    if (!isfinite(number)) {
        return false;
    }
    *value = number;
    return true;
}

void up_text_from_number(double value, char *buffer, size_t size) {
    if (isnan(value) || isinf(value)) {
        snprintf(buffer, size, "%s", isnan(value) ? "" : value > 0 ? "INF" : "-INF");
        return;
    }
    locale_t before = uselocale(plain());
    /* 15 digits always come back, except from below DBL_MIN, which holds fewer. */
    for (int precision = fabs(value) < DBL_MIN ? 1 : 15; precision <= 17; precision++) {
        snprintf(buffer, size, "%.*g", precision, value);
        if (strtod_l(buffer, NULL, plain()) == value) {
            break;
        }
    }
    uselocale(before);
}
