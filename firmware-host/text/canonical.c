/* SPDX-License-Identifier: GPL-3.0-or-later */
/* JSON that has one form only: RFC 8785, JSON Canonicalization Scheme. */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "text/json.h"
#include "text/text.h"

/* Beyond it a double, as which others read numbers, is not each whole one. */
static const double WHOLE_MOST = 9007199254740992; /* 2^53 */

/* Of Number::toString (ECMAScript): where it begins to write an exponent. */
enum { WHOLE_DIGITS_MOST = 21, ZEROS_MOST = 6 };

struct output {
    char *text;
    size_t length, size;
};

static void put(struct output *output, const char *bytes, size_t count) {
    if (output->length + count >= output->size) {
        output->size = 2 * (output->length + count) + 64;
        output->text = up_reallocate(output->text, output->size, 1);
    }
    memcpy(output->text + output->length, bytes, count);
    output->length += count;
    output->text[output->length] = '\0';
}

static void put_text(struct output *output, const char *text) {
    put(output, text, strlen(text));
}

static void put_zeros(struct output *output, int count) {
    for (int i = 0; i < count; i++) {
        put(output, "0", 1);
    }
}

/* ---- numbers ---- */

/* 0.DIGITS times ten to the `point`, without zeros at either end. */
struct decimal {
    char digits[32];
    int count, point;
};

static struct decimal decimal_of(const char *text) {
    struct decimal decimal = {.count = 0};
    bool behind = false;
    const char *at = text;
    for (; *at != '\0' && *at != 'e'; at++) {
        behind = behind || *at == '.';
        if (*at != '.' && (decimal.count > 0 || *at != '0')) {
            decimal.digits[decimal.count++] = *at;
            decimal.point += !behind;
        } else if (*at == '0' && behind) {
            decimal.point--;
        }
    }
    decimal.point += *at == 'e' ? (int)strtol(at + 1, NULL, 10) : 0;
    while (decimal.count > 1 && decimal.digits[decimal.count - 1] == '0') {
        decimal.count--;
    }
    return decimal;
}

/* Number::toString, steps 5 to 12. */
static void put_decimal(struct output *output, const struct decimal *decimal) {
    int count = decimal->count, point = decimal->point;
    bool plain = point > -ZEROS_MOST && point <= WHOLE_DIGITS_MOST;
    int whole = !plain ? 1 : point < 0 ? 0 : point < count ? point : count;
    put(output, decimal->digits, (size_t)whole);
    if (plain) {
        put_zeros(output, whole == 0 ? 1 : point - whole);
    }
    if (whole < count) {
        put(output, ".", 1);
        put_zeros(output, plain ? -point : 0);
        put(output, decimal->digits + whole, (size_t)(count - whole));
    }
    if (!plain) {
        char exponent[16];
        snprintf(exponent, sizeof exponent, "e%+d", point - 1);
        put_text(output, exponent);
    }
}

/* Never NaN or infinite: jansson holds neither. */
static void put_real(struct output *output, double value) {
    char text[32];
    up_text_from_number(fabs(value), text, sizeof text);
    const struct decimal decimal = decimal_of(text);
    put(output, "-", value < 0);
    if (decimal.count == 0) {
        put(output, "0", 1);
    } else {
        put_decimal(output, &decimal);
    }
}

static bool is_exact(json_int_t value) {
    return value >= -(json_int_t)WHOLE_MOST && value <= (json_int_t)WHOLE_MOST;
}

static bool put_integer(struct output *output, json_int_t value) {
    char text[24];
    snprintf(text, sizeof text, "%" JSON_INTEGER_FORMAT, value);
    put_text(output, text);
    return is_exact(value);
}

/* ---- strings ---- */

static void put_string(struct output *output, const char *text, size_t length) {
    static const char names[] = "\b\t\n\f\r\"\\", letters[] = "btnfr\"\\";
    size_t from = 0;
    put(output, "\"", 1);
    for (size_t i = 0; i < length; i++) {
        const char *name = memchr(names, text[i], sizeof names - 1);
        char escape[8];
        if (name == NULL && (unsigned char)text[i] >= ' ') {
            continue;
        }
        if (name != NULL) {
            snprintf(escape, sizeof escape, "\\%c", letters[name - names]);
        } else {
            snprintf(escape, sizeof escape, "\\u%04x", (unsigned)text[i]);
        }
        put(output, text + from, i - from);
        put_text(output, escape);
        from = i + 1;
    }
    put(output, text + from, length - from);
    put(output, "\"", 1);
}

/* By UTF-16 code units. UTF-8 sorts as they do, but for what UTF-16 writes as a pair of surrogates:
   it stands before U+E000 to U+FFFF. */
static int compare_keys(const void *a, const void *b) {
    const unsigned char *one = *(unsigned char *const *)a, *other = *(unsigned char *const *)b;
    while (*one == *other && *one != '\0') {
        one++;
        other++;
    }
    return *one >= 0xEE && *other >= 0xEE && (*one >= 0xF0) != (*other >= 0xF0) ? *other - *one
                                                                                : *one - *other;
}

/* ---- all of it ---- */

static bool put_value(struct output *output, const json_t *json);

static bool put_array(struct output *output, const json_t *json) {
    bool good = true;
    put(output, "[", 1);
    for (size_t i = 0; good && i < json_array_size(json); i++) {
        put(output, ",", i > 0);
        good = put_value(output, json_array_get(json, i));
    }
    put(output, "]", 1);
    return good;
}

static bool put_object(struct output *output, const json_t *json) {
    bool good = true;
    size_t count = 0;
    UP_FREED const char **keys = up_allocate(json_object_size(json), sizeof *keys);
    json_t *object = (json_t *)(uintptr_t)json;
    for (void *at = json_object_iter(object); at != NULL; at = json_object_iter_next(object, at)) {
        keys[count++] = json_object_iter_key(at);
    }
    qsort(keys, count, sizeof *keys, compare_keys);
    put(output, "{", 1);
    for (size_t i = 0; good && i < count; i++) {
        put(output, ",", i > 0);
        put_string(output, keys[i], strlen(keys[i]));
        put(output, ":", 1);
        good = put_value(output, json_object_get(json, keys[i]));
    }
    put(output, "}", 1);
    return good;
}

static bool put_value(struct output *output, const json_t *json) {
    switch (json_typeof(json)) {
    case JSON_OBJECT:
        return put_object(output, json);
    case JSON_ARRAY:
        return put_array(output, json);
    case JSON_STRING:
        put_string(output, json_string_value(json), json_string_length(json));
        return true;
    case JSON_INTEGER:
        return put_integer(output, json_integer_value(json));
    case JSON_REAL:
        put_real(output, json_real_value(json));
        return true;
    case JSON_TRUE:
    case JSON_FALSE:
    case JSON_NULL:
    default:
        put_text(output, json_is_null(json) ? "null" : json_is_true(json) ? "true" : "false");
        return true;
    }
}

char *up_json_canonical(const json_t *json) {
    struct output output = {NULL, 0, 0};
    if (!put_value(&output, json)) {
        free(output.text);
        return NULL;
    }
    return output.text;
}

/* ---- reading ---- */

/* A new reference: whole numbers as integers, within what a double holds exactly. */
static json_t *with_integers(json_t *json) {
    double value = json_real_value(json);
    const char *key;
    json_t *member;
    size_t i;
    if (json_is_real(json) && value == trunc(value) && fabs(value) <= WHOLE_MOST) {
        return json_integer((json_int_t)value);
    }
    if (json_is_object(json)) {
        json_object_foreach(json, key, member) {
            json_object_set_new_nocheck(json, key, with_integers(member));
        }
    }
    json_array_foreach(json, i, member) {
        json_array_set_new(json, i, with_integers(member));
    }
    return json_incref(json);
}

bool up_json_is_exact(json_t *json) {
    const char *key;
    json_t *member;
    size_t i;
    bool exact = !json_is_integer(json) || is_exact(json_integer_value(json));
    if (json_is_object(json)) {
        json_object_foreach(json, key, member) {
            exact = exact && up_json_is_exact(member);
        }
    }
    json_array_foreach(json, i, member) {
        exact = exact && up_json_is_exact(member);
    }
    return exact;
}

json_t *up_json_read(const char *text) {
    /* As reals: one of 1e17 is written as a whole number that jansson's integers may not hold. */
    json_auto_t *read =
        json_loads(text, JSON_DECODE_ANY | JSON_DECODE_INT_AS_REAL | JSON_REJECT_DUPLICATES, NULL);
    return read != NULL ? with_integers(read) : NULL;
}

bool up_json_is_canonical(const char *text, json_t **json) {
    *json = up_json_read(text);
    UP_FREED char *canonical = *json != NULL ? up_json_canonical(*json) : NULL;
    return canonical != NULL && strcmp(canonical, text) == 0;
}
