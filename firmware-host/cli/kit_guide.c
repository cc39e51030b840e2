/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A kit file, asked for one question at a time: what may stand in it, and what it means, is
   what the schema of kit files says (kit/kit-schema.json). What is not known stays so, and widens
   the answer. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli.h"
#include "kit/fields.h"
#include "kit/report.h"
#include "text/json.h"
#include "text/text.h"
#include "upthrust/waters.h"

/* What is asked about each kind of part; names of keys, blanks between. */
static const struct group {
    const char *title, *kind, *keys;
    bool fins;
} groups[] = {
    {"Lead: each piece, and each place where lead could go", "lead",
     "mass_kg weighed ditchable place_m", false},
    {"Cylinder", "cylinder",
     "water_volume_l empty_mass_kg metal extras_mass_kg extras_volume_l outside_volume_l "
     "working_pressure_bar oxygen_percent place_m instead_of",
     false},
    {"Suit, and hood, gloves and boots", "suit", "mass_kg gas_l place_m instead_of", false},
    {"Jacket", "jacket", "mass_kg volume_l lift_kg place_m", false},
    {"Fins, both together", "gear", "item model count mass_kg volume_l place_m", true},
    {"Other gear: regulator, torch, ...; what you leave out counts as a part of the body", "gear",
     "item model count mass_kg volume_l place_m instead_of", false}};

/* False at the end of the input, or where the person stops. */
static bool ask(const char *question, char answer[ANSWER_SIZE]) {
    return ask_person(question, answer) && strcmp(answer, "q") != 0;
}

static bool is_number(const json_t *schema) {
    return json_object_get(schema, "minimum") != NULL;
}

static bool is_truth(const json_t *schema) {
    const char *type = json_string_value(json_object_get(schema, "type"));
    return type != NULL && strcmp(type, "boolean") == 0;
}

/* What may be answered, and what Enter alone means. */
static char *hint_of(const json_t *schema, bool must) {
    const json_t *items = json_object_get(schema, "items");
    const json_t *words = json_object_get(items != NULL ? items : schema, "enum");
    double usual = bound_of(schema, "default", (double)NAN);
    char all[160] = "", enter[40] = "";
    for (size_t i = 0; i < json_array_size(words); i++) {
        size_t length = strlen(all);
        snprintf(all + length, sizeof all - length, "%s; ",
                 json_string_value(json_array_get(words, i)));
    }
    if (!must && !isnan(usual)) {
        snprintf(enter, sizeof enter, "; Enter: %g", usual);
    } else if (!must) {
        snprintf(enter, sizeof enter, is_number(schema) ? "; Enter: not known" : "Enter: none");
    }
    return is_truth(schema)    ? up_text_format("yes or no")
           : is_number(schema) ? up_text_format("%g to %g%s", bound_of(schema, "minimum", 0),
                                                bound_of(schema, "maximum", 0), enter)
                               : up_text_format("%s%s", all, enter);
}

/* As the schema has it, so far as it can be; whether that fits is another question. */
static json_t *as_json(const json_t *schema, char *answer) {
    double number;
    char *comma = strchr(answer, ','), *rest = NULL;
    if (is_truth(schema) && strchr("yn", answer[0]) != NULL) {
        return json_boolean(answer[0] == 'y');
    }
    if (answer[0] == '\0') {
        return json_null();
    }
    if (json_object_get(schema, "items") != NULL) {
        json_t *list = json_array();
        for (char *word = strtok_r(answer, " ,;", &rest); word != NULL;
             word = strtok_r(NULL, " ,;", &rest)) {
            json_array_append_new(list, up_json_text(word));
        }
        return list;
    }
    if (comma != NULL && is_number(schema)) {
        *comma = '.';
    }
    return is_number(schema) && up_text_number(answer, strlen(answer), &number)
               ? json_real(number)
               : up_json_text(answer);
}

static bool ask_key(json_t *into, const json_t *root, const json_t *object, const char *key) {
    char answer[ANSWER_SIZE];
    struct up_failure failure;
    struct place place = {.root = root, .failure = &failure, .path = "  Not understood"};
    place.schema = schema_of_key(root, object, key);
    bool must = schema_requires(object, key), open;
    char *hint = hint_of(place.schema, must);
    char *question = up_text_format(
        "  %s (%s):", json_string_value(json_object_get(place.schema, "description")), hint);
    json_t *value = NULL;
    while ((open = ask(question, answer))) {
        json_decref(value);
        place.json = value = as_json(place.schema, answer);
        if (json_is_null(value) ? !must : fits(&place)) {
            break;
        }
        up_text_print(stderr, "%s\n", json_is_null(value) ? "  It must be known." : failure.text);
    }
    if (open && (!json_is_null(value) || is_number(place.schema))) {
        json_object_set(into, key, value);
    }
    json_decref(value);
    free(question);
    free(hint);
    return open;
}

/* Keys that an answer made needless: a metal makes the outside known, an item or a model all of it;
   without one there is no count of what was weighed, without a metal no valve is in it. */
static bool is_needless(const json_t *part, const char *name) {
    bool metal = json_object_get(part, "metal") != NULL,
         item = json_object_get(part, "item") != NULL,
         known = item || json_object_get(part, "model") != NULL;
    return strcmp(name, "outside_volume_l") == 0 ? metal
           : strncmp(name, "extras_", 7) == 0    ? !metal
           : strcmp(name, "model") == 0          ? item
           : strcmp(name, "count") == 0          ? !known
                                                 : known && strchr("mv", name[0]) != NULL;
}

static bool ask_keys(json_t *into, const json_t *root, const char *object, const char *names) {
    char name[32];
    const json_t *schema = json_object_get(json_object_get(root, "$defs"), object);
    for (const char *at = names; *at != '\0'; at += strcspn(at, " "), at += *at == ' ') {
        snprintf(name, sizeof name, "%.*s", (int)strcspn(at, " "), at);
        if (!is_needless(into, name) && !ask_key(into, root, schema, name)) {
            return false;
        }
    }
    return true;
}

/* A part that cannot be read is left out, unless a result of the catalogue is accepted as it is. */
static bool check_last(json_t *parts, const json_t *root, struct up_catalogue *catalogue) {
    size_t last = json_array_size(parts) - 1;
    json_t *part = json_array_get(parts, last);
    struct up_failure failure = {0};
    bool of_catalogue =
        json_object_get(part, "item") != NULL || json_object_get(part, "model") != NULL;
    while (!up_kit_parts_fit(parts, catalogue, &failure)) {
        const json_t *gear = json_object_get(json_object_get(root, "$defs"), "gear");
        up_text_print(stderr, "  %s\n", failure.text);
        json_object_del(part, "accept");
        if (of_catalogue && !ask_key(part, root, gear, "accept")) {
            return false;
        }
        if (json_object_get(part, "accept") == NULL) {
            fputs("  Left out: enter it again, or Enter alone to end the list.\n", stderr);
            json_array_remove(parts, last);
            return true;
        }
    }
    return true;
}

static bool ask_group(json_t *parts, const json_t *root, const struct group *group,
                      struct up_catalogue *catalogue) {
    char name[ANSWER_SIZE];
    fprintf(stderr, "\n%s.\n", group->title);
    while (ask("What do you call it? (Enter: no more of these):", name)) {
        size_t before = json_array_size(parts);
        if (name[0] == '\0') {
            return true;
        }
        json_t *part = json_pack("{s:o, s:s}", "name", up_json_text(name), "kind", group->kind);
        json_array_append_new(parts, part);
        if (group->fins) {
            json_object_set_new(part, "fins", json_true());
        }
        if (!ask_keys(part, root, group->kind, group->keys) ||
            !check_last(parts, root, catalogue)) {
            return false;
        }
        if (group->fins && json_array_size(parts) > before) {
            return true;
        }
    }
    return false;
}

static bool ask_water(json_t *into, const json_t *root) {
    const json_t *object = json_array_get(
        json_object_get(json_object_get(json_object_get(root, "$defs"), "water"), "oneOf"), 1);
    char name[ANSWER_SIZE];
    struct up_water water;
    do {
        if (!ask("  Which water? (fresh, sea, or a name of `upthrust water --list`):", name)) {
            return false;
        }
    } while (!up_water_by_name(name, &water));
    json_t *of = json_pack("{s:s}", "name", name);
    json_object_set_new(into, "water", of);
    return ask_key(of, root, object, "temp_c");
}

/* The lead that was worn in a check, piece by piece. */
static bool ask_lead(json_t *check, const json_t *root, const json_t *parts) {
    const json_t *lead = json_object_get(json_object_get(root, "$defs"), "lead");
    json_t *worn = json_object(), *part;
    size_t i;
    json_object_set_new(check, "lead_kg", worn);
    json_array_foreach(parts, i, part) {
        const char *name = json_string_value(json_object_get(part, "name"));
        if (strcmp(json_string_value(json_object_get(part, "kind")), "lead") == 0) {
            json_t *answer = json_object();
            up_text_print(stderr, "  In this check, of %s:\n", name);
            bool open = ask_key(answer, root, lead, "mass_kg");
            json_object_set(worn, name, json_object_get(answer, "mass_kg"));
            json_decref(answer);
            if (!open) {
                return false;
            }
        }
    }
    return true;
}

static bool ask_checks(json_t *checks, const json_t *root, const json_t *parts) {
    char label[ANSWER_SIZE];
    fputs("\nWeight checks, oldest first: the diver hung still with an empty jacket, once trapped "
          "air had\nleft, judged over several normal breaths; never with the breath held.\n",
          stderr);
    while (ask("What do you call this check? (Enter: no more):", label)) {
        if (label[0] == '\0') {
            return true;
        }
        json_t *check = json_pack("{s:o}", "label", up_json_text(label));
        json_array_append_new(checks, check);
        if (!ask_water(check, root) ||
            !ask_keys(check, root, "check", "depth_m pressure_bar altitude_m level") ||
            !ask_lead(check, root, parts)) {
            return false;
        }
    }
    return false;
}

static bool ask_all(json_t *kit, const json_t *root, struct up_catalogue *catalogue) {
    json_t *diver = json_object(), *parts = json_array(), *checks = json_array(),
           *dive = json_object();
    json_object_set_new(kit, "diver", diver);
    json_object_set_new(kit, "parts", parts);
    json_object_set_new(kit, "checks", checks);
    json_object_set_new(kit, "dive", dive);
    bool good = ask_key(diver, root, schema_of_key(root, root, "diver"), "mass_kg");
    for (size_t i = 0; good && i < sizeof groups / sizeof *groups; i++) {
        good = ask_group(parts, root, &groups[i], catalogue);
    }
    if (!good || !ask_checks(checks, root, parts)) {
        return false;
    }
    fputs("\nThe dive.\n", stderr);
    return ask_water(dive, root) &&
           ask_keys(dive, root, "dive", "deepest_m stop_m start_bar reserve_bar altitude_m");
}

static bool write_kit(FILE *stream, void *context) {
    return up_json_write(context, stream, JSON_INDENT(2) | JSON_REAL_PRECISION(12)) &&
           fputc('\n', stream) != EOF;
}

bool ask_kit(const char *file, struct up_catalogue *catalogue, struct up_failure *failure) {
    if (access(file, F_OK) == 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s already exists and is not changed: give another name", file);
    }
    json_t *kit = json_pack("{s:s}", "schema", "upthrust-kit-1");
    fputs("One question at a time; q stops and keeps what was answered.\n", stderr);
    json_t *root = up_kit_schema();
    bool whole = ask_all(kit, root, catalogue),
         good = up_text_write_file(file, write_kit, kit, failure);
    json_decref(root);
    json_decref(kit);
    if (good) {
        UP_FREED char *word = quoted(file);
        up_text_print(stdout,
                      whole ? "%s is written; nothing of it goes into the catalogue\n"
                            : "stopped; %s has what was answered: edit it to continue\n",
                      file);
        up_text_print(stdout, "Next: %s kit report %s\n", program_name(), word);
    }
    return good;
}
