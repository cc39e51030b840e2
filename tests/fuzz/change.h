/* SPDX-License-Identifier: GPL-3.0-or-later */
/* JSON changed as JSON, for the fuzz targets: random bytes are soon no JSON any more. */
#ifndef CHANGE_H
#define CHANGE_H

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

size_t LLVMFuzzerMutate(uint8_t *data, size_t size, size_t max_size);
size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t max_size, unsigned seed);

static unsigned chance_state;

static inline unsigned chance_below(unsigned most) {
    chance_state = chance_state * 1664525U + 1013904223U;
    return most > 0 ? (chance_state >> 8) % most : 0;
}

static inline json_t *odd_text(void) {
    static const char *const texts[] = {
        "",
        "=1+1",
        "\"quoted\", \\ `id`",
        "\xE2\x80\xAEgpj",
        "\x1b[2J\r\n",
        "measured",
        "%n%s",
        "9999-12-31T23:59:59.999Z",
        "00000001-0000-4000-8000-000000000000",
        "positive",
        "wide \xE6\xB0\xB4\xE4\xB8\xAD\xE6\xB0\xB4, and longer than its column is wide"};
    return json_string(texts[chance_below(sizeof texts / sizeof texts[0])]);
}

static inline json_t *odd_number(const json_t *old) {
    static const double numbers[] = {0,      -1,       1e308, -1e308,           1e-320, 1e15,
                                     0.0495, 999999.5, -0.0,  9007199254740991, 1e5,    50};
    double number = json_is_number(old) ? json_number_value(old) : 1;
    switch (chance_below(6)) {
    case 0:
        return json_real(-number);
    case 1:
        return json_real(numbers[chance_below(sizeof numbers / sizeof numbers[0])]);
    case 2:
        return json_integer((json_int_t)chance_below(10));
    case 3:
        return json_real(number * (chance_below(2) ? 10 : 0.1));
    default:
        return json_is_integer(old) ? json_integer(json_integer_value(old) + 1)
                                    : json_real(number * (0.9 + 0.01 * chance_below(20)));
    }
}

/* Mostly of the same type: anything else is soon refused. */
static inline json_t *odd_value(const json_t *old) {
    switch (chance_below(20)) {
    case 0:
        return json_null();
    case 1:
        return chance_below(2) ? json_array() : json_object();
    case 2:
        return json_is_string(old) ? odd_number(NULL) : odd_text();
    default:
        return json_is_string(old)    ? odd_text()
               : json_is_boolean(old) ? json_boolean(!json_is_true(old))
               : json_is_number(old)  ? odd_number(old)
                                      : json_deep_copy(old);
    }
}

static inline unsigned count_below(const json_t *json) {
    const char *key;
    json_t *value;
    size_t i;
    unsigned count = 0;
    json_object_foreach((json_t *)(uintptr_t)json, key, value) {
        count += 1 + count_below(value);
    }
    json_array_foreach(json, i, value) {
        count += 1 + count_below(value);
    }
    return count;
}

static inline void change_member(json_t *object, const char *key, json_t *value) {
    static const char *const identity = " schema id subject sha256 made_utc replaces ";
    char name[64];
    snprintf(name, sizeof name, " %s ", key);
    if (strstr(identity, name) != NULL && chance_below(20) > 0) {
        return; /* without them all else goes unread */
    }
    snprintf(name, sizeof name, "%s", key);
    switch (chance_below(20)) {
    case 0:
        json_object_del(object, name);
        break;
    case 1:
        json_object_set_new(object, name[0] != '\0' ? name + 1 : "x", json_deep_copy(value));
        break;
    default:
        json_object_set_new(object, name, odd_value(value));
    }
}

static inline void change_place(json_t *array, size_t at, json_t *value) {
    switch (chance_below(4)) {
    case 0:
        json_array_remove(array, at);
        break;
    case 1:
        json_array_append_new(array, json_deep_copy(value));
        break;
    case 2:
        json_array_insert_new(array, 0, json_deep_copy(value));
        break;
    default:
        json_array_set_new(array, at, odd_value(value));
    }
}

/* Changes the so-manieth value below; true once it is done. */
static inline bool change_below(json_t *json, unsigned *left) {
    const char *key;
    json_t *value;
    void *next;
    json_object_foreach_safe(json, next, key, value) {
        if (--*left == 0) {
            change_member(json, key, value);
            return true;
        }
        if (change_below(value, left)) {
            return true;
        }
    }
    for (size_t i = 0; i < json_array_size(json); i++) {
        value = json_array_get(json, i);
        if (--*left == 0) {
            change_place(json, i, value);
            return true;
        }
        if (change_below(value, left)) {
            return true;
        }
    }
    return false;
}

/* One to three changes of JSON text; NULL where it is none. The caller's. */
static inline char *changed_json(const char *bytes, size_t length) {
    json_t *json = json_loadb(bytes, length, 0, NULL);
    char *text = NULL;
    if (json != NULL) {
        for (unsigned changes = 1 + chance_below(3); changes > 0; changes--) {
            unsigned left = 1 + chance_below(count_below(json));
            change_below(json, &left);
        }
        text = json_dumps(json, JSON_COMPACT);
        json_decref(json);
    }
    return text;
}

#endif
