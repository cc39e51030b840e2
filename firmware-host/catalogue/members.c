/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "members.h"

#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

/* Far beyond anything that hangs in a tank, yet small enough to keep sums and plots finite: choices
   of ours. */
static const struct {
    const char *name;
    double least, most;
} units[UNITS] = {
    [UNIT_ONE] = {"", -1e15, 1e15},
    [UNIT_SHARE] = {"", -1e6, 1e6},
    [UNIT_PROBABILITY] = {"", -1e-9, 1 + 1e-9}, /* rounding of a sum */
    [UNIT_DOF] = {"", 0, 1e50},
    [UNIT_COUNTS] = {" counts", -1e15, 1e15},
    [UNIT_COUNTS_PER_KG] = {" counts/kg", -1e15, 1e15},
    [UNIT_COUNTS_PER_KG2] = {" counts/kg2", -1e15, 1e15},
    [UNIT_COUNTS_S] = {" counts/s", -1e15, 1e15},
    [UNIT_G] = {" g", -1e7, 1e7},
    [UNIT_KG] = {" kg", -1e4, 1e4},
    [UNIT_G_MIN] = {" g/min", -1e7, 1e7},
    [UNIT_G_KG] = {" g/kg", 0, 1e3},
    [UNIT_KG_M3] = {" kg/m3", 0, 1e5},
    [UNIT_KG_M3_K] = {" kg/m3/K", -1e5, 1e5},
    [UNIT_KG_M3_M] = {" kg/m3/m", -1e5, 1e5},
    [UNIT_M] = {" m", -1e5, 1e5},
    [UNIT_M2] = {" m2", 0, 1e5},
    [UNIT_M3] = {" m3", -1e2, 1e2},
    [UNIT_L] = {" l", -1e5, 1e5},
    [UNIT_NM] = {" N m", -1e6, 1e6},
    [UNIT_C] = {" C", -273.15, 1e3},
    [UNIT_PER_K] = {" 1/K", -1, 1},
    [UNIT_PA] = {" Pa", 0, 1e9},
    [UNIT_BAR] = {" bar", 0, 1e4},
    [UNIT_S] = {" s", -1e13, 1e13}, /* a device's clock may count from anywhere */
};

enum { TEXT_BYTES_MAX = 1000 };

/* As good as infinite, and written so: larger whole numbers are not read alike by all programs. */
static const double DOF_MOST = 1e15;
#define WHOLE_MOST ((1LL << 53) - 1)

bool catalogue_is_column(const struct catalogue_member *member) {
    return (member->flags & JSON_ONLY) == 0 && member->type < MEMBER_LIST;
}

bool catalogue_is_in_csv(const struct catalogue_member *member) {
    return catalogue_is_column(member) && member->type != MEMBER_LINES;
}

/* ---- to JSON ---- */

static uint64_t integer_at(const void *at, size_t size) {
    uint32_t small = 0;
    uint64_t large = 0;
    memcpy(size == sizeof small ? (void *)&small : (void *)&large, at, size);
    return size == sizeof small ? small : large;
}

static double double_at(const void *at) {
    double value;
    memcpy(&value, at, sizeof value);
    return value;
}

static json_t *array_to_json(const struct catalogue_member *member, const void *from) {
    const struct catalogue_nested *nested = member->nested;
    uint64_t count = integer_at((const char *)from + nested->count_at, sizeof(unsigned));
    json_t *list = json_array();
    for (size_t i = 0; i < count && i < nested->most; i++) {
        const char *element = (const char *)from + member->offset + i * nested->stride;
        json_array_append_new(list, members_to_json(nested->members, element));
    }
    return list;
}

/* A file in another encoding is kept with its odd bytes replaced. */
static json_t *text_to_json(const struct catalogue_member *member, const char *text) {
    if (text == NULL) {
        return NULL;
    }
    json_t *json = member->type == MEMBER_LINES ? json_string(text) : NULL;
    return json != NULL ? json : up_json_text(text);
}

static json_t *value_to_json(const struct catalogue_member *member, const void *from) {
    const char *at = (const char *)from + member->offset;
    switch (member->form) {
    case IN_DOUBLE:
        return up_json_number(double_at(at));
    case IN_DOF:
        return double_at(at) < DOF_MOST ? up_json_number(double_at(at)) : json_null();
    case IN_THOUSANDTHS:
        return up_json_number(double_at(at) * 1e3);
    case IN_ABOVE_ZERO:
        return double_at(at) > 0 ? up_json_number(double_at(at)) : json_null();
    case IN_INTEGER:
        return json_integer((json_int_t)integer_at(at, member->size));
    case IN_BOOL:
        return json_boolean(*(const bool *)at);
    case IN_TEXT:
        return up_json_text(at);
    case IN_TEXT_OR_NULL:
        return at[0] != '\0' ? up_json_text(at) : json_null();
    case IN_POINTER:
        return text_to_json(member, *(const char *const *)(const void *)at);
    case IN_ARRAY:
        return array_to_json(member, from);
    case IN_OWN:
        return member->write != NULL ? member->write(from) : NULL;
    case IN_NO_STRUCT:
        break;
    }
    return NULL;
}

void members_add_to_json(const struct catalogue_member *members, const void *from, json_t *json) {
    for (const struct catalogue_member *member = members; member->key != NULL; member++) {
        json_t *value = value_to_json(member, from);
        if (value != NULL) {
            json_object_set_new(json, member->key, value);
        }
    }
}

json_t *members_to_json(const struct catalogue_member *members, const void *from) {
    json_t *json = json_object();
    members_add_to_json(members, from, json);
    return json;
}

/* ---- checks ---- */

static bool refuse(struct member_fault *fault, const char *text) {
    snprintf(fault->text, sizeof fault->text, "%s", text);
    return false;
}

static bool check_text(const struct catalogue_member *member, const json_t *value,
                       struct member_fault *fault) {
    bool bounded = member->form == IN_TEXT || member->form == IN_TEXT_OR_NULL;
    size_t most = bounded ? member->size - 1 : TEXT_BYTES_MAX;
    const char *text = json_string_value(value);
    if (text == NULL) {
        return refuse(fault, "is missing or not a text");
    }
    if (member->type == MEMBER_LINES) {
        return true;
    }
    if (json_string_length(value) > most) {
        snprintf(fault->text, sizeof fault->text, "is longer than %zu bytes", most);
        return false;
    }
    UP_FREED char *clean = up_text_clean(text, strlen(text));
    bool same = strcmp(clean, text) == 0;
    return same || refuse(fault, "contains control characters");
}

static bool check_word(const struct catalogue_member *member, const json_t *value,
                       struct member_fault *fault) {
    size_t length = (size_t)snprintf(fault->text, sizeof fault->text, "is not one of");
    for (const char *const *word = member->words; word != NULL && *word != NULL; word++) {
        if (strcmp(*word, json_string_value(value)) == 0) {
            return true;
        }
        if (length < sizeof fault->text) {
            length += (size_t)snprintf(fault->text + length, sizeof fault->text - length, "%s %s",
                                       word > member->words ? "," : "", *word);
        }
    }
    return member->words == NULL;
}

static bool check_bounds(enum member_unit unit, unsigned flags, const json_t *value,
                         struct member_fault *fault) {
    const char *name = units[unit].name;
    double number = json_number_value(value), least = units[unit].least, most = units[unit].most;
    if ((flags & ABOVE_ZERO) != 0) {
        snprintf(fault->text, sizeof fault->text,
                 "is %.3g%s; it must be above 0 and at most %.3g%s", number, name, most, name);
        return number > 0 && number <= most;
    }
    least = (flags & NOT_NEGATIVE) != 0 ? 0 : least;
    snprintf(fault->text, sizeof fault->text, "is %.3g%s; it must lie within %.3g to %.3g%s",
             number, name, least, most, name);
    return number >= least && number <= most;
}

static bool check_number(const struct catalogue_member *member, const json_t *value,
                         struct member_fault *fault) {
    if (json_is_null(value) && (member->flags & NEEDED) == 0) {
        return true;
    }
    return json_is_number(value) ? check_bounds(member->unit, member->flags, value, fault)
                                 : refuse(fault, "is missing or not a number");
}

static long long most_of(const struct catalogue_member *member) {
    return member->most > 0 ? member->most : WHOLE_MOST;
}

static bool check_integer(const struct catalogue_member *member, const json_t *value,
                          struct member_fault *fault) {
    long long most = most_of(member);
    long long least = (member->flags & ABOVE_ZERO) != 0 ? 1 : 0;
    long long number = json_integer_value(value);
    if (!json_is_integer(value)) {
        return refuse(fault, "is missing or not a whole number");
    }
    snprintf(fault->text, sizeof fault->text, "is %lld; it must lie within %lld to %lld", number,
             least, most);
    return number >= least && number <= most;
}

/* Puts the place of a nested fault before it. */
static void prefix(struct member_fault *fault, const char *key, size_t index, bool in_list) {
    struct member_fault inner = *fault;
    int length = in_list ? snprintf(fault->place, sizeof fault->place, "%.40s[%zu]", key, index)
                         : snprintf(fault->place, sizeof fault->place, "%.40s", key);
    if (inner.place[0] != '\0') {
        snprintf(fault->place + length, sizeof fault->place - (size_t)length, ".%.*s",
                 (int)(sizeof fault->place) - length - 2, inner.place);
    }
}

static bool check_element(const struct catalogue_nested *nested, const json_t *value,
                          struct member_fault *fault) {
    fault->place[0] = '\0';
    if (nested->members != NULL) {
        return json_is_object(value) ? members_check(nested->members, value, fault)
                                     : refuse(fault, "is not a JSON object");
    }
    return json_is_null(value) ||
           (json_is_number(value) ? check_bounds(nested->unit, 0, value, fault)
                                  : refuse(fault, "is not a number"));
}

static bool check_list(const struct catalogue_member *member, const json_t *value,
                       struct member_fault *fault) {
    const struct catalogue_nested *nested = member->nested;
    if (!json_is_array(value)) {
        return refuse(fault, "is missing or not a list");
    }
    if (nested->most > 0 && json_array_size(value) > nested->most) {
        snprintf(fault->text, sizeof fault->text, "has more than %zu elements", nested->most);
        return false;
    }
    for (size_t i = 0; i < json_array_size(value); i++) {
        if (!check_element(nested, json_array_get(value, i), fault)) {
            prefix(fault, member->key, i, true);
            return false;
        }
    }
    return true;
}

static bool check_value(const struct catalogue_member *member, const json_t *value,
                        struct member_fault *fault) {
    if ((member->flags & LATER) != 0 && (value == NULL || json_is_null(value))) {
        return true;
    }
    switch (member->type) {
    case MEMBER_TEXT:
    case MEMBER_LINES:
        return check_text(member, value, fault) && check_word(member, value, fault);
    case MEMBER_NUMBER:
        return check_number(member, value, fault);
    case MEMBER_INTEGER:
        return check_integer(member, value, fault);
    case MEMBER_TRUTH:
        return json_is_boolean(value) || refuse(fault, "is missing or neither true nor false");
    case MEMBER_LIST:
        return check_list(member, value, fault);
    case MEMBER_OBJECT:
        if (!check_element(member->nested, value, fault)) {
            prefix(fault, member->key, 0, false);
            return false;
        }
        return true;
    }
    return true;
}

static bool check_all(const struct catalogue_member *members, const json_t *content,
                      bool columns_only, struct member_fault *fault) {
    for (const struct catalogue_member *member = members; member->key != NULL; member++) {
        bool beside = ((member->flags & OF_RECORD) != 0 && member->form != IN_TEXT) ||
                      (columns_only && !catalogue_is_column(member));
        fault->place[0] = '\0';
        if (!beside && !check_value(member, json_object_get(content, member->key), fault)) {
            if (fault->place[0] == '\0') {
                prefix(fault, member->key, 0, false);
            }
            return false;
        }
    }
    return true;
}

bool members_check(const struct catalogue_member *members, const json_t *content,
                   struct member_fault *fault) {
    return check_all(members, content, false, fault);
}

bool members_check_columns(const struct catalogue_member *members, const json_t *content,
                           struct member_fault *fault) {
    return check_all(members, content, true, fault);
}

/* ---- from JSON ---- */

static void set_double(const struct catalogue_member *member, const json_t *value, void *at) {
    double number = json_is_number(value)           ? json_number_value(value)
                    : member->form == IN_DOF        ? (double)INFINITY
                    : member->form == IN_ABOVE_ZERO ? 0
                                                    : (double)NAN;
    number = member->form == IN_THOUSANDTHS ? number * 1e-3 : number;
    memcpy(at, &number, sizeof number);
}

static void set_integer(const json_t *value, long long most, size_t size, void *at) {
    json_int_t number = json_integer_value(value);
    bool fits = number > 0 && number <= most && (size > sizeof(uint32_t) || number <= INT32_MAX);
    uint32_t small = fits ? (uint32_t)number : 0;
    uint64_t large = fits ? (uint64_t)number : 0;
    memcpy(at, size == sizeof small ? (const void *)&small : (const void *)&large, size);
}

/* As much of it as there is room for; clean text is cut between characters. */
static void set_text(const json_t *value, size_t size, char *at) {
    const char *text = json_is_string(value) ? json_string_value(value) : "";
    size_t length = strlen(text);
    if (length >= size) {
        for (length = size - 1; length > 0 && ((unsigned char)text[length] & 0xC0) == 0x80;
             length--) {
        }
    }
    memcpy(at, text, length);
    at[length] = '\0';
}

static bool set_array(const struct catalogue_member *member, const json_t *value, void *to) {
    const struct catalogue_nested *nested = member->nested;
    size_t count = json_array_size(value);
    bool good = count <= nested->most;
    unsigned stored = (unsigned)(good ? count : nested->most);
    for (size_t i = 0; i < stored; i++) {
        char *element = (char *)to + member->offset + i * nested->stride;
        good = members_from_json(nested->members, json_array_get(value, i), element) && good;
    }
    memcpy((char *)to + nested->count_at, &stored, sizeof stored);
    return good;
}

static bool set_value(const struct catalogue_member *member, const json_t *value, void *to) {
    char *at = (char *)to + member->offset;
    switch (member->form) {
    case IN_DOUBLE:
    case IN_THOUSANDTHS:
    case IN_DOF:
    case IN_ABOVE_ZERO:
        set_double(member, value, at);
        break;
    case IN_INTEGER:
        set_integer(value, most_of(member), member->size, at);
        break;
    case IN_BOOL:
        *(bool *)at = json_is_true(value);
        break;
    case IN_TEXT:
    case IN_TEXT_OR_NULL:
        set_text(value, member->size, at);
        break;
    case IN_ARRAY:
        return set_array(member, value, to);
    case IN_OWN:
        return member->read == NULL || member->read(value, to);
    case IN_NO_STRUCT:
    case IN_POINTER:
        break;
    }
    return true;
}

bool members_from_json(const struct catalogue_member *members, const json_t *content, void *to) {
    struct member_fault fault;
    bool good = true;
    for (const struct catalogue_member *member = members; member->key != NULL; member++) {
        const json_t *value = json_object_get(content, member->key);
        bool in_struct = member->form != IN_NO_STRUCT && member->form != IN_POINTER;
        good = set_value(member, value, to) && good;
        good = good && (!in_struct || check_value(member, value, &fault));
    }
    return good;
}

bool members_are_known(const struct catalogue_member *members, const void *from) {
    for (const struct catalogue_member *member = members; member->key != NULL; member++) {
        if ((member->flags & NEEDED) != 0 &&
            isnan(double_at((const char *)from + member->offset))) {
            return false;
        }
    }
    return true;
}
