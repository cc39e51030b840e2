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
     "water_volume_l empty_mass_kg metal outside_volume_l working_pressure_bar oxygen_percent "
     "place_m",
     false},
    {"Suit, and hood, gloves and boots", "suit", "mass_kg gas_l place_m", false},
    {"Jacket", "jacket", "mass_kg volume_l lift_kg place_m", false},
    {"Fins, both together", "gear", "item mass_kg volume_l place_m", true},
    {"Other gear: regulator, torch, ...; what you leave out counts as a part of the body", "gear",
     "item mass_kg volume_l place_m", false}};

/* False at the end of the input, or where the person stops. */
static bool ask(const char *question, char answer[ANSWER_SIZE]) {
    return ask_person(question, answer) && strcmp(answer, "q") != 0;
}

/* What the schema says of one member. */
struct asked {
    const json_t *schema;
    bool number, truth, must;
    double low, high;
    char hint[200];
};

static double number_of(const json_t *schema, const char *key) {
    const json_t *value = json_object_get(schema, key);
    return json_is_number(value) ? json_number_value(value) : (double)NAN;
}

static struct asked look_up(const json_t *root, const json_t *object, const char *key) {
    struct asked asked = {.schema = schema_of_key(root, object, key)};
    const json_t *words = json_object_get(asked.schema, "enum");
    double usual = number_of(asked.schema, "default");
    const char *type = json_string_value(json_object_get(asked.schema, "type"));
    char enter[40] = "";
    asked.low = number_of(asked.schema, "minimum");
    asked.high = number_of(asked.schema, "maximum");
    asked.number = !isnan(asked.low);
    asked.truth = type != NULL && strcmp(type, "boolean") == 0;
    asked.must = schema_requires(object, key);
    if (!asked.must) {
        snprintf(enter, sizeof enter, isnan(usual) ? "Enter: not known" : "Enter: %g", usual);
    }
    if (asked.number) {
        snprintf(asked.hint, sizeof asked.hint, "%g to %g%s%s", asked.low, asked.high,
                 asked.must ? "" : "; ", enter);
    } else if (asked.truth) {
        snprintf(asked.hint, sizeof asked.hint, "yes or no");
    } else {
        for (size_t i = 0; i < json_array_size(words); i++) {
            size_t length = strlen(asked.hint);
            snprintf(asked.hint + length, sizeof asked.hint - length, "%s, ",
                     json_string_value(json_array_get(words, i)));
        }
        strncat(asked.hint, enter, sizeof asked.hint - strlen(asked.hint) - 1);
    }
    return asked;
}

/* NULL where it is not understood. */
static json_t *understand(const struct asked *asked, char *answer) {
    const json_t *words = json_object_get(asked->schema, "enum");
    double number;
    char *comma = strchr(answer, ',');
    if (asked->truth) {
        return answer[0] == 'y' || answer[0] == 'n' || answer[0] == '\0'
                   ? json_boolean(answer[0] == 'y')
                   : NULL;
    }
    if (answer[0] == '\0') {
        return asked->must ? NULL : json_null();
    }
    if (!asked->number) {
        bool known = words == NULL;
        for (size_t i = 0; i < json_array_size(words); i++) {
            known = known || strcmp(json_string_value(json_array_get(words, i)), answer) == 0;
        }
        return known ? up_json_text(answer) : NULL;
    }
    if (comma != NULL) {
        *comma = '.';
    }
    return up_text_number(answer, strlen(answer), &number) && number >= asked->low &&
                   number <= asked->high
               ? json_real(number)
               : NULL;
}

static bool ask_key(json_t *into, const json_t *root, const json_t *object, const char *key) {
    char answer[ANSWER_SIZE];
    struct asked asked = look_up(root, object, key);
    char *question = up_text_format(
        "  %s (%s):", json_string_value(json_object_get(asked.schema, "description")), asked.hint);
    json_t *value = NULL;
    bool open = true;
    while (value == NULL && (open = ask(question, answer))) {
        value = understand(&asked, answer);
        if (value == NULL) {
            up_text_print(stderr, "  Not understood: give %s\n", asked.hint);
        }
    }
    free(question);
    if (open && (!json_is_null(value) || asked.number)) {
        json_object_set(into, key, value);
    }
    json_decref(value);
    return open;
}

/* Keys that an answer made needless: a metal makes the outside known, an item all of it. */
static bool is_needless(const json_t *part, const char *name) {
    bool has_item = json_object_get(part, "item") != NULL;
    return (strcmp(name, "outside_volume_l") == 0 && json_object_get(part, "metal") != NULL) ||
           (has_item && (strcmp(name, "mass_kg") == 0 || strcmp(name, "volume_l") == 0));
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

static bool ask_group(json_t *parts, const json_t *root, const struct group *group) {
    char name[ANSWER_SIZE];
    fprintf(stderr, "\n%s.\n", group->title);
    while (ask("What do you call it? (Enter: no more of these):", name)) {
        if (name[0] == '\0') {
            return true;
        }
        json_t *part = json_pack("{s:o, s:s}", "name", up_json_text(name), "kind", group->kind);
        if (group->fins) {
            json_object_set_new(part, "fins", json_true());
        }
        json_array_append_new(parts, part);
        if (!ask_keys(part, root, group->kind, group->keys)) {
            return false;
        }
        if (strcmp(group->kind, "gear") == 0 && json_object_get(part, "item") == NULL &&
            json_is_null(json_object_get(part, "mass_kg"))) {
            fputs("  Left out: it counts as a part of the body, if it is always worn.\n", stderr);
            json_array_remove(parts, json_array_size(parts) - 1);
        }
        if (group->fins) {
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
            !ask_keys(check, root, "check", "depth_m pressure_bar level") ||
            !ask_lead(check, root, parts)) {
            return false;
        }
    }
    return false;
}

static bool ask_all(json_t *kit, const json_t *root) {
    json_t *diver = json_object(), *parts = json_array(), *checks = json_array(),
           *dive = json_object();
    json_object_set_new(kit, "diver", diver);
    json_object_set_new(kit, "parts", parts);
    json_object_set_new(kit, "checks", checks);
    json_object_set_new(kit, "dive", dive);
    bool good = ask_key(diver, root, schema_of_key(root, root, "diver"), "mass_kg");
    for (size_t i = 0; good && i < sizeof groups / sizeof *groups; i++) {
        good = ask_group(parts, root, &groups[i]);
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

bool ask_kit(const char *file, struct up_failure *failure) {
    if (access(file, F_OK) == 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s already exists and is not changed: give another name", file);
    }
    json_t *kit = json_pack("{s:s}", "schema", "upthrust-kit-1");
    fputs("One question at a time; q stops and keeps what was answered.\n", stderr);
    json_t *root = up_kit_schema();
    bool whole = ask_all(kit, root), good = up_text_write_file(file, write_kit, kit, failure);
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
