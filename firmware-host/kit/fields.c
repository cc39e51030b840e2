/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Members of a kit file, read with the way to them: a mistake is named as in
 * parts[2].water_volume_l, and a key that is not known is a mistake, since who mistypes one must
 * not be answered by a default.
 */
#include "kit/fields.h"

#include <math.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "text/text.h"

bool wrong_at(const struct place *place, const char *key, const char *format, ...) {
    char text[360];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    return up_fail(place->failure, UP_STATUS_WRONG_INPUT, "%s%s%s: %s", place->path,
                   place->path[0] != '\0' && key[0] != '\0' ? "." : "", key, text);
}

struct place inside(const struct place *place, const char *key, const json_t *json) {
    struct place here = {.json = json, .failure = place->failure};
    snprintf(here.path, sizeof here.path, "%.110s%s%s", place->path,
             place->path[0] != '\0' && key[0] != '[' ? "." : "", key);
    return here;
}

struct place element(const struct place *place, const char *key, size_t i) {
    char step[40];
    snprintf(step, sizeof step, "%s[%zu]", key, i);
    return inside(place, step, json_array_get(json_object_get(place->json, key), i));
}

bool is_word_of(const char *words, const char *word) {
    size_t length = strlen(word);
    for (const char *at = words; *at != '\0'; at += strcspn(at, " "), at += *at == ' ') {
        if (length > 0 && strcspn(at, " ") == length && strncmp(at, word, length) == 0) {
            return true;
        }
    }
    return false;
}

/* ---- one member ---- */

static const struct key *find(const struct key *keys, const char *name) {
    while (keys->name != NULL && strcmp(keys->name, name) != 0) {
        keys++;
    }
    return keys->name != NULL ? keys : NULL;
}

static bool is_known(const struct key *keys, const char *name) {
    const struct key *of = strncmp(name, "u_", 2) == 0 ? find(keys, name + 2) : NULL;
    return find(keys, name) != NULL || (of != NULL && of->u_rel >= 0);
}

static bool check_text(const struct place *place, const struct key *key, const json_t *json) {
    const char *value = json_string_value(json);
    if (value == NULL || value[0] == '\0' || (double)strlen(value) > key->high) {
        return wrong_at(place, key->name, "give a text of 1 to %.0f bytes", key->high);
    }
    return key->words == NULL || is_word_of(key->words, value) ||
           wrong_at(place, key->name, "give one of: %s (%s)", key->words, key->why);
}

static bool check_list(const struct place *place, const struct key *key, const json_t *json) {
    if (!json_is_array(json) || (double)json_array_size(json) > key->high) {
        return wrong_at(place, key->name, "this must be a list [...] of at most %.0f", key->high);
    }
    for (size_t i = 0; key->type == KEY_TEXTS && i < json_array_size(json); i++) {
        const char *word = json_string_value(json_array_get(json, i));
        if (word == NULL || (key->words != NULL && !is_word_of(key->words, word))) {
            return key->words == NULL
                       ? wrong_at(place, key->name, "give a list of texts")
                       : wrong_at(place, key->name, "give a list of: %s", key->words);
        }
    }
    return true;
}

static bool check_number(const struct place *place, const char *name, const json_t *json,
                         double low, double high) {
    double value = json_number_value(json);
    return (json_is_number(json) && value >= low && value <= high) ||
           wrong_at(place, name, "give a number from %g to %g", low, high);
}

static bool check_u(const struct place *place, const struct key *key) {
    char name[48];
    snprintf(name, sizeof name, "u_%s", key->name);
    const json_t *json = json_object_get(place->json, name);
    return key->u_rel < 0 || json == NULL || json_is_null(json) ||
           check_number(place, name, json, 0, key->high);
}

static bool check_member(const struct place *place, const struct key *key) {
    const json_t *json = json_object_get(place->json, key->name);
    bool number = key->type == KEY_NUMBER;
    if (json == NULL || (number && json_is_null(json))) {
        return key->otherwise != NEVER || wrong_at(place, key->name, "%s is missing: %s",
                                                   number ? "a number" : "this", key->why);
    }
    switch (key->type) {
    case KEY_NUMBER:
        return check_number(place, key->name, json, key->low, key->high) && check_u(place, key);
    case KEY_TEXT:
        return check_text(place, key, json);
    case KEY_TRUTH:
        return json_is_boolean(json) || wrong_at(place, key->name, "give true or false");
    case KEY_TEXTS:
    case KEY_LIST:
        return check_list(place, key, json);
    case KEY_OBJECT:
        return json_is_object(json) || wrong_at(place, key->name, "this must be an object {...}");
    case KEY_ANY:
        break;
    }
    return true;
}

bool read_keys(struct place *place, const struct key *keys) {
    static const char REFUSED[] = "decompression deco deco_stops stops gases rebreather drysuit";
    const char *name;
    json_t *value;
    place->keys = keys;
    if (!json_is_object(place->json)) {
        return wrong_at(place, "", "this must be an object {...}");
    }
    json_object_foreach((json_t *)(uintptr_t)place->json, name, value) {
        if (is_word_of(REFUSED, name)) {
            return wrong_at(
                place, name,
                "drysuits, rebreathers, several gases and decompression are beyond this "
                "program");
        }
        if (!is_known(keys, name)) {
            return wrong_at(place, name, "this key is not known here");
        }
    }
    for (; keys->name != NULL; keys++) {
        if (!check_member(place, keys)) {
            return false;
        }
    }
    return true;
}

bool has(const struct place *place, const char *key) {
    return json_object_get(place->json, key) != NULL;
}

double number_at(const struct place *place, const char *key) {
    const json_t *json = json_object_get(place->json, key);
    return json_is_number(json) ? json_number_value(json) : find(place->keys, key)->otherwise;
}

const char *text_at(const struct place *place, const char *key, const char *otherwise) {
    const char *text = json_string_value(json_object_get(place->json, key));
    return text != NULL ? text : otherwise;
}

bool truth_at(const struct place *place, const char *key) {
    return json_is_true(json_object_get(place->json, key));
}

struct up_bounded bounded_at(const struct place *place, const char *key, double scale) {
    char name[48];
    snprintf(name, sizeof name, "u_%s", key);
    const json_t *json = json_object_get(place->json, name);
    double value = number_at(place, key);
    double u = json_is_number(json) ? json_number_value(json)
                                    : fabs(value) * find(place->keys, key)->u_rel;
    return (struct up_bounded){value * scale, isnan(u) ? 0 : u * scale, false};
}

/* ---- schema ---- */

static json_t *words_schema(const char *words) {
    json_t *list = json_array();
    for (const char *at = words; *at != '\0'; at += strcspn(at, " "), at += *at == ' ') {
        json_array_append_new(list, json_stringn(at, strcspn(at, " ")));
    }
    return json_pack("{s:s, s:o}", "type", "string", "enum", list);
}

static json_t *key_schema(const struct key *key) {
    json_t *text =
        key->words != NULL ? words_schema(key->words) : json_pack("{s:s}", "type", "string");
    json_t *schema = NULL;
    switch (key->type) {
    case KEY_NUMBER:
        schema = json_pack("{s:o, s:f, s:f}", "type",
                           key->otherwise == NEVER ? json_string("number")
                                                   : json_pack("[s, s]", "number", "null"),
                           "minimum", key->low, "maximum", key->high);
        break;
    case KEY_TEXT:
        schema = json_incref(text);
        break;
    case KEY_TRUTH:
        schema = json_pack("{s:s}", "type", "boolean");
        break;
    case KEY_TEXTS:
        schema = json_pack("{s:s, s:O}", "type", "array", "items", text);
        break;
    case KEY_LIST:
        schema = json_pack("{s:s, s:f}", "type", "array", "maxItems", key->high);
        break;
    case KEY_OBJECT:
        schema = json_pack("{s:s}", "type", "object");
        break;
    case KEY_ANY:
        schema = json_object();
    }
    json_decref(text);
    json_object_set_new(schema, "description", json_string(key->why));
    return schema;
}

json_t *keys_schema(const struct key *keys) {
    json_t *properties = json_object(), *required = json_array();
    for (; keys->name != NULL; keys++) {
        json_object_set_new(properties, keys->name, key_schema(keys));
        if (keys->otherwise == NEVER) {
            json_array_append_new(required, json_string(keys->name));
        }
        if (keys->u_rel >= 0) {
            char name[48];
            snprintf(name, sizeof name, "u_%s", keys->name);
            json_object_set_new(properties, name,
                                json_pack("{s:[s, s], s:f, s:f, s:s}", "type", "number", "null",
                                          "minimum", 0.0, "maximum", keys->high, "description",
                                          "its standard uncertainty"));
        }
    }
    return json_pack("{s:s, s:b, s:o, s:o}", "type", "object", "additionalProperties", 0,
                     "required", required, "properties", properties);
}
