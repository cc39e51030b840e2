/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Members of a kit file, read with the way to them: a mistake is named as in
 * parts[2].water_volume_l, and an unknown key is a mistake, so that a mistyped one is not silently
 * replaced by a default. Of JSON Schema it knows what kit-schema.json uses.
 */
#include "kit/fields.h"

#include <math.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

bool wrong_at(const struct place *place, const char *key, const char *format, ...) {
    char text[360];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    return up_fail(place->failure, UP_STATUS_WRONG_INPUT, "%s%s%s: %s", place->path,
                   place->path[0] != '\0' && key[0] != '\0' ? "." : "", key, text);
}

/* ---- the schema ---- */

static const char *word_of(const json_t *object, const char *key) {
    const char *word = json_string_value(json_object_get(object, key));
    return word != NULL ? word : "";
}

double bound_of(const json_t *schema, const char *key, double otherwise) {
    const json_t *value = json_object_get(schema, key);
    return json_is_number(value) ? json_number_value(value) : otherwise;
}

const json_t *schema_meant(const json_t *root, const json_t *schema) {
    static const char DEFINED[] = "#/$defs/";
    const char *ref = word_of(schema, "$ref");
    return strncmp(ref, DEFINED, sizeof DEFINED - 1) == 0
               ? json_object_get(json_object_get(root, "$defs"), ref + sizeof DEFINED - 1)
               : schema;
}

const json_t *schema_of_key(const json_t *root, const json_t *object, const char *key) {
    return schema_meant(root, json_object_get(json_object_get(object, "properties"), key));
}

bool lists(const json_t *list, const char *word) {
    for (size_t i = 0; i < json_array_size(list); i++) {
        if (strcmp(json_string_value(json_array_get(list, i)), word) == 0) {
            return true;
        }
    }
    return false;
}

bool schema_requires(const json_t *object, const char *key) {
    return lists(json_object_get(object, "required"), key);
}

/* "number" or one of several types. */
static bool has_type(const json_t *schema, const char *type) {
    return strcmp(word_of(schema, "type"), type) == 0 ||
           lists(json_object_get(schema, "type"), type);
}

/* One of several schemas: that of the part's kind, else that of the value's type. */
static const json_t *branch_for(const json_t *root, const json_t *schema, const json_t *json) {
    const json_t *branches = json_object_get(schema, "oneOf"), *branch = schema;
    const char *kind = word_of(json, "kind");
    for (size_t i = 0; i < json_array_size(branches); i++) {
        branch = schema_meant(root, json_array_get(branches, i));
        const char *is = word_of(schema_of_key(root, branch, "kind"), "const");
        if (is[0] != '\0' ? strcmp(is, json_object_get(json, "kind") != NULL ? kind : "gear") == 0
                          : has_type(branch, json_is_string(json) ? "string" : "object")) {
            return branch;
        }
        branch = NULL;
    }
    return branch;
}

static struct place step_to(const struct place *place, const char *step, const json_t *json,
                            const json_t *schema) {
    struct place here = {.json = json, .root = place->root, .failure = place->failure};
    here.schema = branch_for(place->root, schema_meant(place->root, schema), json);
    snprintf(here.path, sizeof here.path, "%.110s%s%s", place->path,
             place->path[0] != '\0' && step[0] != '[' ? "." : "", step);
    return here;
}

struct place inside(const struct place *place, const char *key) {
    return step_to(place, key, json_object_get(place->json, key),
                   schema_of_key(place->root, place->schema, key));
}

struct place element(const struct place *place, const char *key, size_t i) {
    char step[40];
    const json_t *list = schema_of_key(place->root, place->schema, key);
    snprintf(step, sizeof step, "%.20s[%zu]", key, i);
    return step_to(place, step, json_array_get(json_object_get(place->json, key), i),
                   json_object_get(list, "items"));
}

/* ---- whether it fits ---- */

static bool fits_text(const struct place *place) {
    const char *text = json_string_value(place->json);
    const json_t *words = json_object_get(place->schema, "enum");
    double most = bound_of(place->schema, "maxLength", 63);
    char all[160] = "";
    if (text == NULL || text[0] == '\0' || (double)strlen(text) > most) {
        return wrong_at(place, "", "give a text of 1 to %.0f bytes", most);
    }
    for (size_t i = 0; i < json_array_size(words); i++) {
        size_t length = strlen(all);
        snprintf(all + length, sizeof all - length, " %s",
                 json_string_value(json_array_get(words, i)));
    }
    const char *why = word_of(place->schema, "description");
    return words == NULL || lists(words, text) ||
           wrong_at(place, "", "give one of:%s%s%s", all, why[0] != '\0' ? "; " : "", why);
}

static bool fits_list(const struct place *place) {
    double most = bound_of(place->schema, "maxItems", 0);
    if (!json_is_array(place->json) || (double)json_array_size(place->json) > most) {
        return wrong_at(place, "", "this must be a list [...] of at most %.0f", most);
    }
    for (size_t i = 0; i < json_array_size(place->json); i++) {
        char step[24];
        snprintf(step, sizeof step, "[%zu]", i);
        struct place here = step_to(place, step, json_array_get(place->json, i),
                                    json_object_get(place->schema, "items"));
        if (!fits(&here)) {
            return false;
        }
    }
    return true;
}

static bool knows(const struct place *place, const char *key) {
    static const char *const refused[] = {"decompression", "deco",       "deco_stops", "stops",
                                          "gases",         "rebreather", "drysuit"};
    const json_t *others = json_object_get(place->schema, "additionalProperties");
    for (size_t i = 0; i < sizeof refused / sizeof *refused; i++) {
        if (strcmp(key, refused[i]) == 0) {
            return wrong_at(place, key,
                            "drysuits, rebreathers, several gases and decompression are "
                            "beyond this program");
        }
    }
    return !json_is_false(others) || schema_of_key(place->root, place->schema, key) != NULL ||
           wrong_at(place, key, "this key is not known here");
}

static bool fits_object(const struct place *place) {
    const char *key;
    json_t *value;
    size_t i;
    if (!json_is_object(place->json)) {
        return wrong_at(place, "", "this must be an object {...}");
    }
    json_object_foreach((json_t *)(uintptr_t)place->json, key, value) {
        if (!knows(place, key)) {
            return false;
        }
    }
    json_array_foreach(json_object_get(place->schema, "required"), i, value) {
        key = json_string_value(value);
        if (json_object_get(place->json, key) == NULL) {
            return wrong_at(place, key, "this is missing: %s",
                            word_of(schema_of_key(place->root, place->schema, key), "description"));
        }
    }
    json_object_foreach((json_t *)(uintptr_t)place->json, key, value) {
        struct place here = inside(place, key);
        if (schema_of_key(place->root, place->schema, key) != NULL && !fits(&here)) {
            return false;
        }
    }
    return true;
}

bool number_between(const struct place *place, const char *key, double low, double high,
                    double *value) {
    const json_t *json = json_object_get(place->json, key);
    *value = json_is_number(json) ? json_number_value(json) : (double)NAN;
    return json == NULL || json_is_null(json) || (*value >= low && *value <= high) ||
           wrong_at(place, key, "give a number from %g to %g", low, high);
}

static bool fits_number(const struct place *place) {
    double value = json_number_value(place->json), low = bound_of(place->schema, "minimum", 0),
           high = bound_of(place->schema, "maximum", 0);
    return (json_is_number(place->json) && value >= low && value <= high) ||
           wrong_at(place, "", "give a number from %g to %g", low, high);
}

bool fits(const struct place *place) {
    const json_t *schema = place->schema;
    if (schema == NULL) {
        return wrong_at(place, "",
                        "give gear, lead, cylinder, suit or jacket as its kind; hood, "
                        "gloves and boots count as suit; drysuits and rebreathers are "
                        "beyond this program");
    }
    if (json_is_null(place->json) && has_type(schema, "null")) {
        return true;
    }
    return has_type(schema, "number")   ? fits_number(place)
           : has_type(schema, "string") ? fits_text(place)
           : has_type(schema, "array")  ? fits_list(place)
           : has_type(schema, "object") ? fits_object(place)
           : has_type(schema, "boolean")
               ? json_is_boolean(place->json) || wrong_at(place, "", "give true or false")
               : true;
}

/* ---- members ---- */

bool has(const struct place *place, const char *key) {
    return json_object_get(place->json, key) != NULL;
}

double number_at(const struct place *place, const char *key) {
    const json_t *json = json_object_get(place->json, key);
    return json_is_number(json)
               ? json_number_value(json)
               : bound_of(schema_of_key(place->root, place->schema, key), "default", (double)NAN);
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
    const json_t *u = json_object_get(place->json, name);
    double value = number_at(place, key);
    double share = bound_of(schema_of_key(place->root, place->schema, key), "x-u_share", 0);
    double u_value = json_is_number(u) ? json_number_value(u) : fabs(value) * share;
    return (struct up_bounded){value * scale, isnan(u_value) ? 0 : u_value * scale, false};
}
