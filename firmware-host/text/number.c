/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers read and written the same whatever the locale. */
#define _GNU_SOURCE /* strtod_l */
#include <float.h>
#include <locale.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "text/text.h"

enum { NUMBER_MAX = 40 };

static locale_t c_locale(void) {
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

bool up_text_number(const char *text, size_t length, double *value) {
    char copy[NUMBER_MAX + 1];
    double number;
    if (length == 0 || length > NUMBER_MAX) {
        return false;
    }
    if (!is_number(text, length)) {
        return false;
    }
    memcpy(copy, text, length);
    copy[length] = '\0';
    number = strtod_l(copy, NULL, c_locale());
    if (!isfinite(number)) {
        return false;
    }
    *value = number;
    return true;
}

/* Of 16 digits those of the next number away from zero, which may be as short: below a power of two
   the doubles stand closer, so that the nearest such number may be another one's. */
static bool step_away(double value, char *buffer, size_t size) {
    int exponent;
    if (fabs(frexp(value, &exponent)) != 0.5) {
        return false;
    }
    snprintf(buffer, size, "%#.16g", value);
    char *last = buffer + strcspn(buffer, "e") - 1;
    *last = (char)(*last + (*last >= '0' && *last < '9'));
    return strtod_l(buffer, NULL, c_locale()) == value;
}

void up_text_from_number(double value, char *buffer, size_t size) {
    if (isnan(value) || isinf(value)) {
        snprintf(buffer, size, "%s", isnan(value) ? "" : value > 0 ? "INF" : "-INF");
        return;
    }
    locale_t before = uselocale(c_locale());
    /* 15 digits always come back, except from below DBL_MIN, which holds fewer. */
    for (int precision = fabs(value) < DBL_MIN ? 1 : 15; precision <= 17; precision++) {
        snprintf(buffer, size, "%.*g", precision, value);
        if (strtod_l(buffer, NULL, c_locale()) == value ||
            (precision == 16 && step_away(value, buffer, size))) {
            break;
        }
    }
    uselocale(before);
}

double up_text_round_up(double value, double parts) {
    /* Where it is such a part already, as near as a double holds it, it stays. */
    double whole = ceil(value * parts - 1e-6);
    return whole / parts + 0.0;
}

const char *up_text_plural(unsigned long long count) {
    return count == 1 ? "" : "s";
}
