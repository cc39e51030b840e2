/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A kit file, asked for one question at a time: what may stand in it is known from the tables that
   read it (kit/read.c). What is not known stays so, and widens the answer. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli.h"
#include "kit/kit_file.h"
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

static json_t *understand(const struct key *key, char *answer) {
    double number;
    char *comma = strchr(answer, ',');
    if (key->type == KEY_TRUTH) {
        bool yes = strcmp(answer, "yes") == 0 || strcmp(answer, "y") == 0;
        return yes || answer[0] == '\0' || answer[0] == 'n' ? json_boolean(yes) : NULL;
    }
    if (key->type != KEY_NUMBER) {
        return key->words == NULL || is_word_of(key->words, answer) ? up_json_text(answer) : NULL;
    }
    if (comma != NULL) {
        *comma = '.';
    }
    return up_text_number(answer, strlen(answer), &number) && number >= key->low &&
                   number <= key->high
               ? json_real(number)
               : NULL;
}

static char *hint_for(const struct key *key) {
    char enter[40] = "";
    if (key->otherwise != NEVER) {
        snprintf(enter, sizeof enter,
                 key->type == KEY_NUMBER && !isnan(key->otherwise) ? "; Enter: %g"
                                                                   : "; Enter: not known",
                 key->otherwise);
    }
    return key->type == KEY_NUMBER  ? up_text_format("(%g to %g%s)", key->low, key->high, enter)
           : key->type == KEY_TRUTH ? up_text_format("(yes or no)")
           : key->words != NULL     ? up_text_format("(%s%s)", key->words, enter)
                                    : up_text_format("(Enter: none)");
}

static bool ask_key(json_t *into, const struct key *keys, const char *name) {
    char answer[ANSWER_SIZE];
    while (strcmp(keys->name, name) != 0) {
        keys++;
    }
    char *hint = hint_for(keys), *question = up_text_format("  %s %s:", keys->why, hint);
    json_t *value = NULL;
    bool open = true;
    while (value == NULL && (open = ask(question, answer))) {
        bool empty = answer[0] == '\0' && keys->type != KEY_TRUTH && keys->otherwise != NEVER;
        value = empty ? json_null() : understand(keys, answer);
        if (value == NULL) {
            up_text_print(stderr, "  Not understood: give %s\n", hint);
        }
    }
    free(question);
    free(hint);
    if (open && (!json_is_null(value) || keys->type == KEY_NUMBER)) {
        json_object_set(into, name, value);
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

static bool ask_keys(json_t *into, const struct key *keys, const char *names) {
    char name[32];
    for (const char *at = names; *at != '\0'; at += strcspn(at, " "), at += *at == ' ') {
        snprintf(name, sizeof name, "%.*s", (int)strcspn(at, " "), at);
        if (!is_needless(into, name) && !ask_key(into, keys, name)) {
            return false;
        }
    }
    return true;
}

static bool ask_group(json_t *parts, const struct group *group) {
    const struct kit_kind *kind = kit_kinds;
    char name[ANSWER_SIZE];
    while (strcmp(kind->name, group->kind) != 0) {
        kind++;
    }
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
        if (!ask_keys(part, kind->keys, group->keys)) {
            return false;
        }
        if (kind->kind == UP_PART_GEAR && json_object_get(part, "item") == NULL &&
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

static bool ask_water(json_t *into) {
    static const struct key temp =
        NUMBER_KEY("temp_c", 0, 40, UNKNOWN, "its temperature, degrees C");
    char name[ANSWER_SIZE];
    struct up_water water;
    do {
        if (!ask("  Which water? (fresh, sea, or a name of `upthrust water --list`):", name)) {
            return false;
        }
    } while (!up_water_by_name(name, &water));
    json_t *of = json_pack("{s:s}", "name", name);
    json_object_set_new(into, "water", of);
    return ask_key(of, &temp, "temp_c");
}

static bool ask_lead(json_t *check, const json_t *parts) {
    static const struct key kg = NUMBER_KEY("kg", 0, 40, UNKNOWN, "of it in this check, kg");
    json_t *lead = json_object(), *part;
    size_t i;
    json_object_set_new(check, "lead_kg", lead);
    json_array_foreach(parts, i, part) {
        const char *name = json_string_value(json_object_get(part, "name"));
        if (strcmp(json_string_value(json_object_get(part, "kind")), "lead") == 0) {
            json_t *answer = json_object();
            up_text_print(stderr, "  %s:\n", name);
            bool open = ask_key(answer, &kg, "kg");
            json_object_set(lead, name, json_object_get(answer, "kg"));
            json_decref(answer);
            if (!open) {
                return false;
            }
        }
    }
    return true;
}

static bool ask_checks(json_t *checks, const json_t *parts) {
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
        if (!ask_water(check) || !ask_keys(check, kit_check_keys, "depth_m pressure_bar level") ||
            !ask_lead(check, parts)) {
            return false;
        }
    }
    return false;
}

static bool ask_all(json_t *kit) {
    json_t *diver = json_object(), *parts = json_array(), *checks = json_array(),
           *dive = json_object();
    json_object_set_new(kit, "diver", diver);
    json_object_set_new(kit, "parts", parts);
    json_object_set_new(kit, "checks", checks);
    json_object_set_new(kit, "dive", dive);
    bool good = ask_keys(diver, kit_diver_keys, "mass_kg");
    for (size_t i = 0; good && i < sizeof groups / sizeof *groups; i++) {
        good = ask_group(parts, &groups[i]);
    }
    if (!good || !ask_checks(checks, parts)) {
        return false;
    }
    fputs("\nThe dive.\n", stderr);
    return ask_water(dive) &&
           ask_keys(dive, kit_dive_keys, "deepest_m stop_m start_bar reserve_bar altitude_m");
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
    bool whole = ask_all(kit), good = up_text_write_file(file, write_kit, kit, failure);
    json_decref(kit);
    if (good) {
        up_text_print(stdout,
                      whole ? "%s is written; nothing of it goes into the catalogue\n"
                            : "stopped; %s has what was answered: edit it to continue\n",
                      file);
        up_text_print(stdout, "Next: upthrust kit report %s\n", file);
    }
    return good;
}
