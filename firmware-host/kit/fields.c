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

bool wrong_at(const struct place *place, const char *key, const char *format, ...) {
    char text[300];
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

bool only_keys(const struct place *place, const char *const *known) {
    const char *key;
    json_t *value;
    if (!json_is_object(place->json)) {
        return wrong_at(place, "", "this must be an object {...}");
    }
    json_object_foreach((json_t *)(uintptr_t)place->json, key, value) {
        size_t i = 0;
        while (known[i] != NULL && strcmp(known[i], key) != 0) {
            i++;
        }
        if (known[i] == NULL) {
            return wrong_at(place, key, "this key is not known here");
        }
    }
    return true;
}

/* A number between two bounds; where it is missing or null, `otherwise` (NEVER: it must be there).
 */
bool number(const struct place *place, const char *key, double low, double high, double otherwise,
            double *value) {
    const json_t *json = json_object_get(place->json, key);
    *value = otherwise;
    if (json == NULL || json_is_null(json)) {
        return otherwise != NEVER || wrong_at(place, key, "a number is missing");
    }
    *value = json_number_value(json);
    return (json_is_number(json) && *value >= low && *value <= high) ||
           wrong_at(place, key, "give a number from %g to %g", low, high);
}

bool text(const struct place *place, const char *key, const char *otherwise, char *to,
          size_t size) {
    const json_t *json = json_object_get(place->json, key);
    const char *value = json == NULL ? otherwise : json_string_value(json);
    if (value == NULL || (json != NULL && value[0] == '\0') || strlen(value) >= size) {
        return wrong_at(place, key, "give a text of 1 to %zu bytes", size - 1);
    }
    snprintf(to, size, "%s", value);
    return true;
}

bool truth(const struct place *place, const char *key, bool otherwise, bool *value) {
    const json_t *json = json_object_get(place->json, key);
    *value = json == NULL ? otherwise : json_is_true(json);
    return json == NULL || json_is_boolean(json) || wrong_at(place, key, "give true or false");
}

/* "KEY": the estimate; "u_KEY": its standard uncertainty, else a share of it. */
bool bounded(const struct place *place, const char *key, double low, double high, double otherwise,
             double u_rel, double scale, struct up_bounded *number_of) {
    char u_key[48];
    double value, u;
    snprintf(u_key, sizeof u_key, "u_%s", key);
    if (!number(place, key, low, high, otherwise, &value) ||
        !number(place, u_key, 0, high, fabs(value) * u_rel, &u)) {
        return false;
    }
    *number_of = (struct up_bounded){value * scale, isnan(u) ? 0 : u * scale, false};
    return true;
}
