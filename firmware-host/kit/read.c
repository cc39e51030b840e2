/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A kit file (JSON, schema upthrust-kit-1) becomes a kit. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "kit/kit_file.h"
#include "kit/report.h"
#include "text/text.h"

#define SCHEMA "upthrust-kit-1"

enum { FILE_BYTES_MAX = 1 << 20 };
static const double LITRE = 1e-3, GRAM = 1e-3;
static const double MARK_REL = 0.05; /* lead, within this share of its mark: our choice */
#define GIVEN_REL 0.01               /* standard, of what is given without u_...: likewise */
static const double SOLID_REL = 0.02, METAL_REL = 0.005; /* densities, by alloy: likewise */
/* What has a mass but no volume is no lighter than polypropylene and no denser than stainless
   steel. */
static const double LIGHT_KG_M3 = 900, DENSE_KG_M3 = 8000;

static struct up_bounded exactly(double value) {
    return (struct up_bounded){value, 0, false};
}

/* The sum and quotient of independent numbers, first order. */
static struct up_bounded plus(struct up_bounded a, struct up_bounded b) {
    return (struct up_bounded){a.value + b.value, hypot(a.u, b.u), false};
}

static struct up_bounded over(struct up_bounded a, struct up_bounded b) {
    double value = a.value / b.value;
    return (struct up_bounded){value, fabs(value) * hypot(a.u / a.value, b.u / b.value), false};
}

static struct up_bounded minus(struct up_bounded a) {
    return (struct up_bounded){-a.value, a.u, a.rectangular};
}

static struct up_bounded between(double low, double high) {
    return (struct up_bounded){(low + high) / 2, (high - low) / 2 / sqrt(3), true};
}

/* ---- the tables ---- */

#define KINDS     "gear lead cylinder suit jacket"
#define MATERIALS "steel stainless aluminium brass titanium lead rubber polypropylene nylon"

#define PART_KEYS                                                                                  \
    TEXT_KEY("name", UP_NAME_SIZE - 1, NEVER, NULL, "what you call it"),                           \
        TEXT_KEY(                                                                                  \
            "kind", 31, UNKNOWN, KINDS,                                                            \
            "drysuits and rebreathers are beyond this program; hood, gloves and boots count as "   \
            "suit"),                                                                               \
        NUMBER_KEY("place_m", -1.5, 1.5, UNKNOWN,                                                  \
                   "metres from the hips to its middle, negative towards the feet"),               \
        NUMBER_KEY("u_place_m", 0, 1, 0.03, "its standard uncertainty"),                           \
        TEXT_KEY("instead_of", UP_NAME_SIZE - 1, UNKNOWN, NULL,                                    \
                 "not worn: the name of the part whose place it could take")
#define DATA_KEYS                                                                                  \
    BOUNDED_KEY("volume_l", 1e-4, 100, UNKNOWN, GIVEN_REL, "outside volume in litres"),            \
        BOUNDED_KEY("density_kg_m3", 20, 22000, UNKNOWN, GIVEN_REL, "density of the whole"),       \
        TEXT_KEY("material", 31, UNKNOWN, MATERIALS,                                               \
                 "instead of a volume, where it is all of one")

static const struct key gear_keys[] = {
    PART_KEYS,
    TEXT_KEY("item", UP_NAME_SIZE - 1, UNKNOWN, NULL, "an item of the catalogue, by name or id"),
    TEXT_KEY("model", UP_NAME_SIZE - 1, UNKNOWN, NULL,
             "gear not at hand: the model whose samples the catalogue has"),
    TEXT_KEY("maker", UP_NAME_SIZE - 1, UNKNOWN, NULL, "of the model"),
    TEXT_KEY("size", UP_NAME_SIZE - 1, UNKNOWN, NULL, "of the model"),
    NUMBER_KEY("count", 1, 4, 1, "how many are worn of what was weighed: 2 where one fin was"),
    OTHER_KEY("accept", KEY_TEXTS, 8, UNKNOWN, KIT_ACCEPT,
              "results that count although they are so"),
    OTHER_KEY("fins", KEY_TRUTH, 0, UNKNOWN, NULL,
              "these are the fins: others are compared with them"),
    BOUNDED_KEY("mass_kg", 1e-4, 60, UNKNOWN, GIVEN_REL, "mass in air, kg"),
    DATA_KEYS,
    KEYS_END};

static const struct key lead_keys[] = {
    PART_KEYS,
    BOUNDED_KEY("mass_kg", 0, 40, NEVER, 0, "its mass in kg; 0 for a place where lead could go"),
    OTHER_KEY("weighed", KEY_TRUTH, 0, UNKNOWN, NULL, "on a scale, not by its mark"),
    OTHER_KEY("ditchable", KEY_TRUTH, 0, UNKNOWN, NULL, "it can be dropped by hand"), KEYS_END};

static const struct key cylinder_keys[] = {
    PART_KEYS,
    BOUNDED_KEY("water_volume_l", 0.1, 100, NEVER, 0.005, "water volume in litres, as stamped"),
    BOUNDED_KEY("empty_mass_kg", 0.2, 60, NEVER, 0.005,
                "mass when empty in kg, as stamped or weighed"),
    BOUNDED_KEY("outside_volume_l", 0.2, 150, UNKNOWN, 0.005,
                "outside volume as measured by dipping"),
    TEXT_KEY(
        "metal", 31, UNKNOWN, "steel aluminium",
        "the outside is calculated from it; a wound cylinder needs a measured outside_volume_l"),
    BOUNDED_KEY("extras_mass_kg", 0, 5, 0, GIVEN_REL, "valve and boot, as far as in empty_mass_kg"),
    BOUNDED_KEY("extras_volume_l", 0, 5, 0, 0.1, "volume of valve and boot; 0.5 l lift 0.5 kg"),
    NUMBER_KEY("working_pressure_bar", 50, 310, NEVER, "working pressure in bar, as stamped"),
    NUMBER_KEY("oxygen_percent", 20, 41, 100 * UP_AIR_OXYGEN, "of the gas, air or nitrox"),
    KEYS_END};

static const struct key suit_keys[] = {
    PART_KEYS, BOUNDED_KEY("mass_kg", 0.1, 20, NEVER, GIVEN_REL, "its dry mass in kg"),
    BOUNDED_KEY("gas_l", 0, 60, UNKNOWN, 0.2, "the gas in it at the surface, in litres"), KEYS_END};

static const struct key jacket_keys[] = {
    PART_KEYS,
    BOUNDED_KEY("mass_kg", 1e-4, 60, NEVER, GIVEN_REL, "its dry mass in kg"),
    DATA_KEYS,
    NUMBER_KEY("lift_kg", 0, 60, 0, "what it carries when full, as its maker says, in kg"),
    NUMBER_KEY("trapped_gas_l", 0, 5, 0.5, "the most that stays in it when emptied, in litres"),
    KEYS_END};

const struct key kit_diver_keys[] = {
    BOUNDED_KEY("mass_kg", 20, 250, NEVER, 0.01, "the diver on a scale, without gear, in kg"),
    KEYS_END};

const struct key kit_move_keys[] = {
    TEXT_KEY("from", UP_NAME_SIZE - 1, NEVER, NULL, "the lead that is moved"),
    TEXT_KEY("to", UP_NAME_SIZE - 1, NEVER, NULL, "the lead, or place for lead, that it is put to"),
    NUMBER_KEY("kg", 0.05, 40, NEVER, "how much of it"), KEYS_END};

const struct key kit_keys[] = {
    TEXT_KEY("schema", 31, NEVER, NULL, SCHEMA),
    OTHER_KEY("note", KEY_ANY, 0, UNKNOWN, NULL, "for you"),
    OTHER_KEY("diver", KEY_OBJECT, 0, NEVER, NULL, "the diver"),
    NUMBER_KEY("u_gauge_bar", 0, 50, 3, "how far off the gauge may be, standard uncertainty"),
    OTHER_KEY("accept", KEY_TEXTS, 8, UNKNOWN, KIT_ACCEPT, "as with a part, for all of the kit"),
    OTHER_KEY("parts", KEY_LIST, UP_KIT_PARTS_MAX, NEVER, NULL, "all that the diver wears"),
    OTHER_KEY("moves", KEY_LIST, KIT_MOVES_MAX, UNKNOWN, NULL, "moves of lead to compare"),
    OTHER_KEY("checks", KEY_LIST, UP_KIT_CHECKS_MAX, NEVER, NULL, "weight checks, oldest first"),
    OTHER_KEY("dive", KEY_OBJECT, 0, NEVER, NULL, "the dive asked about"),
    KEYS_END};

/* ---- gear ---- */

/* Of a database of materials (NIST, as read from Geant4's table); steel from memory. */
static struct up_bounded density_of(const char *material) {
    static const struct {
        const char *name;
        double kg_m3;
    } known[] = {{"steel", 7850},  {"stainless", 8000},    {"aluminium", 2699},
                 {"brass", 8520},  {"titanium", 4540},     {"lead", 11350},
                 {"rubber", 1230}, {"polypropylene", 900}, {"nylon", 1140}};
    size_t i = 0;
    while (strcmp(known[i].name, material) != 0) {
        i++;
    }
    bool metal = known[i].kg_m3 > 2000;
    return (struct up_bounded){known[i].kg_m3, known[i].kg_m3 * (metal ? METAL_REL : SOLID_REL),
                               false};
}

/* From a mass and a volume, a density or a material. */
static bool read_by_data(struct kit_file *file, const struct place *place, struct up_part *part) {
    struct up_bounded mass = bounded_at(place, "mass_kg", 1), volume;
    const char *material = text_at(place, "material", NULL);
    bool by_volume = has(place, "volume_l"), dense = has(place, "density_kg_m3");
    (void)file;
    if (isnan(mass.value)) {
        return wrong_at(place, "mass_kg",
                        "give its mass in kg, or an item or model of the catalogue; "
                        "gear that is always worn may be left out: it then counts "
                        "as a part of the body");
    }
    part->buoyancy_kg = minus(mass);
    if (by_volume + dense + (material != NULL) != 1) {
        return wrong_at(place, "volume_l",
                        "give volume_l, density_kg_m3 or material, one of them; null where you do "
                        "not know it");
    }
    volume = by_volume ? bounded_at(place, "volume_l", LITRE)
             : dense   ? over(mass, bounded_at(place, "density_kg_m3", 1))
                       : over(mass, density_of(material));
    part->volume_m3 =
        isnan(volume.value) ? between(mass.value / DENSE_KG_M3, mass.value / LIGHT_KG_M3) : volume;
    return true;
}

static bool read_gear(struct kit_file *file, const struct place *place, struct up_part *part) {
    size_t here = file->kit.parts;
    file->count[here] = number_at(place, "count");
    if (truth_at(place, "fins")) {
        file->fins = here;
    }
    return has(place, "item") || has(place, "model") ? read_catalogue_gear(file, place, part)
                                                     : read_by_data(file, place, part);
}

static bool read_lead(struct kit_file *file, const struct place *place, struct up_part *part) {
    bool weighed = truth_at(place, "weighed");
    (void)file;
    part->ditchable = truth_at(place, "ditchable");
    part->mass_kg = bounded_at(place, "mass_kg", 1);
    if (part->mass_kg.u == 0) { /* weighed: on a kitchen or luggage scale, our choice */
        part->mass_kg.u = weighed ? 10 * GRAM : part->mass_kg.value * MARK_REL / sqrt(3);
        part->mass_kg.rectangular = !weighed;
    }
    return true;
}

/* The mass when empty is of the metal, and of valve and boot as far as they are in it. */
static bool read_outside(const struct place *place, struct up_bounded empty_kg,
                         struct up_bounded inside_m3, struct up_part *part) {
    const char *metal = text_at(place, "metal", NULL);
    struct up_bounded metal_kg = plus(empty_kg, minus(bounded_at(place, "extras_mass_kg", 1)));
    part->volume_m3 = bounded_at(place, "outside_volume_l", LITRE);
    if (!isnan(part->volume_m3.value)) {
        return true;
    }
    if (metal == NULL) {
        return wrong_at(place, "outside_volume_l",
                        "give it, as measured by dipping; or metal: steel or aluminium, from which "
                        "it is then calculated. A wound cylinder needs a measured one");
    }
    if (!(metal_kg.value > 0)) {
        return wrong_at(place, "extras_mass_kg", "is no less than the mass when empty");
    }
    part->volume_m3 = plus(plus(over(metal_kg, density_of(metal)), inside_m3),
                           bounded_at(place, "extras_volume_l", LITRE));
    return true;
}

static bool read_cylinder(struct kit_file *file, const struct place *place, struct up_part *part) {
    struct up_bounded empty_kg = bounded_at(place, "empty_mass_kg", 1);
    struct up_bounded inside_m3 = bounded_at(place, "water_volume_l", LITRE);
    (void)file;
    part->water_volume_m3 = inside_m3.value;
    part->working_pressure_bar = number_at(place, "working_pressure_bar");
    part->gas.oxygen = number_at(place, "oxygen_percent") / 100;
    part->buoyancy_kg = minus(empty_kg);
    return read_outside(place, empty_kg, inside_m3, part);
}

/* What is not known of a suit's gas widens the answer: anywhere from nothing to twice a guess. */
static bool read_suit(struct kit_file *file, const struct place *place, struct up_part *part) {
    static const double RUBBER_KG_M3 = 1230, GUESS_M3 = 5e-3;
    struct up_bounded mass = bounded_at(place, "mass_kg", 1);
    (void)file;
    part->buoyancy_kg = minus(mass);
    part->volume_m3 = over(mass, (struct up_bounded){RUBBER_KG_M3, 0.05 * RUBBER_KG_M3, false});
    part->gas_m3 = bounded_at(place, "gas_l", LITRE);
    if (isnan(part->gas_m3.value)) {
        part->gas_m3 = between(0, 2 * GUESS_M3);
    }
    return true;
}

static bool read_jacket(struct kit_file *file, const struct place *place, struct up_part *part) {
    part->lift_kg = number_at(place, "lift_kg");
    /* Emptied as well as can be: anywhere from nothing to that. */
    part->gas_m3 = between(0, number_at(place, "trapped_gas_l") * LITRE);
    return read_by_data(file, place, part);
}

/* ---- parts ---- */

const struct kit_kind kit_kinds[] = {{"gear", UP_PART_GEAR, gear_keys, read_gear},
                                     {"lead", UP_PART_LEAD, lead_keys, read_lead},
                                     {"cylinder", UP_PART_CYLINDER, cylinder_keys, read_cylinder},
                                     {"suit", UP_PART_SUIT, suit_keys, read_suit},
                                     {"jacket", UP_PART_JACKET, jacket_keys, read_jacket},
                                     {NULL, UP_PART_GEAR, NULL, NULL}};

bool part_named(const struct kit_file *file, const char *name, size_t *part) {
    for (*part = 0; *part < file->kit.parts; ++*part) {
        if (strcmp(file->kit.part[*part].name, name) == 0) {
            return true;
        }
    }
    return false;
}

static bool read_spare(const struct kit_file *file, const struct place *place,
                       struct up_part *part) {
    const char *instead = text_at(place, "instead_of", NULL);
    if (instead == NULL) {
        return true;
    }
    part->spare = true;
    if (!part_named(file, instead, &part->instead_of) || file->kit.part[part->instead_of].spare) {
        return wrong_at(place, "instead_of", "no part of this name is worn and comes before it");
    }
    return file->fins != file->kit.parts ||
           wrong_at(place, "fins", "mark the fins that are worn, not a spare");
}

static bool read_part(struct kit_file *file, struct place *place) {
    struct up_part *part = &file->kit.part[file->kit.parts];
    const struct kit_kind *kind = kit_kinds;
    const char *wanted = text_at(place, "kind", "gear");
    size_t other;
    *part = (struct up_part){.gas_m3 = exactly(0), .mass_kg = exactly(0)};
    while (kind->name != NULL && strcmp(kind->name, wanted) != 0) {
        kind++;
    }
    if (kind->name == NULL) {
        return wrong_at(place, "kind",
                        "give one of: %s; drysuits and rebreathers are beyond this program", KINDS);
    }
    part->kind = kind->kind;
    if (!read_keys(place, kind->keys)) {
        return false;
    }
    snprintf(part->name, sizeof part->name, "%s", text_at(place, "name", ""));
    part->place_m =
        (struct up_bounded){number_at(place, "place_m"), number_at(place, "u_place_m"), false};
    if (part_named(file, part->name, &other)) {
        return wrong_at(place, "name", "another part has this name already");
    }
    if (!kind->read(file, place, part) || !read_spare(file, place, part)) {
        return false;
    }
    file->kit.parts++;
    return true;
}

/* Ditchable lead stays where a hand can drop it. */
static bool read_move(struct kit_file *file, struct place *place) {
    struct kit_move *move = &file->move[file->moves];
    const struct up_part *part = file->kit.part;
    size_t *const end[] = {&move->from, &move->to};
    static const char *const key[] = {"from", "to"};
    if (!read_keys(place, kit_move_keys)) {
        return false;
    }
    move->kg = number_at(place, "kg");
    for (int i = 0; i < 2; i++) {
        if (!part_named(file, text_at(place, key[i], ""), end[i]) ||
            part[*end[i]].kind != UP_PART_LEAD) {
            return wrong_at(place, key[i], "no lead of this name is among the parts");
        }
        if (isnan(part[*end[i]].place_m.value)) {
            return wrong_at(place, key[i], "where this lead sits is not known: give its place_m");
        }
    }
    if (part[move->from].ditchable && !part[move->to].ditchable) {
        return wrong_at(place, "to",
                        "ditchable lead is not moved to a fixed place: a diver must be "
                        "able to drop it; move fixed lead, or to a ditchable place");
    }
    if (move->kg > part[move->from].mass_kg.value) {
        return wrong_at(place, "kg", "only %g kg are there", part[move->from].mass_kg.value);
    }
    file->moves++;
    return true;
}

static bool read_list(const struct place *kit, struct kit_file *file, const char *key,
                      bool (*read)(struct kit_file *file, struct place *place)) {
    for (size_t i = 0; i < json_array_size(json_object_get(kit->json, key)); i++) {
        struct place place = element(kit, key, i);
        if (!read(file, &place)) {
            return false;
        }
    }
    return true;
}

static bool read_all(struct kit_file *file, struct place *kit) {
    if (!read_keys(kit, kit_keys)) {
        return false;
    }
    if (strcmp(text_at(kit, "schema", ""), SCHEMA) != 0) {
        return wrong_at(kit, "schema", "this must be \"%s\"", SCHEMA);
    }
    struct place diver = inside(kit, "diver", json_object_get(kit->json, "diver"));
    if (!read_keys(&diver, kit_diver_keys)) {
        return false;
    }
    file->accept = json_object_get(kit->json, "accept");
    file->kit.body_kg = bounded_at(&diver, "mass_kg", 1);
    file->kit.u_gauge_bar = number_at(kit, "u_gauge_bar");
    return read_list(kit, file, "parts", read_part) && read_list(kit, file, "moves", read_move) &&
           read_list(kit, file, "checks", read_check) && read_dive(file, kit) &&
           add_fins_of_catalogue(file, kit->failure);
}

static bool name_file(const char *path, struct up_failure *failure) {
    char what[sizeof failure->text];
    snprintf(what, sizeof what, "%s", failure->text);
    return up_fail(failure, failure->status, "%.100s: %.400s", path, what);
}

bool kit_read(const char *path, struct up_catalogue *catalogue, struct kit_file *file,
              struct up_failure *failure) {
    json_error_t error;
    size_t length = 0;
    memset(file, 0, sizeof *file);
    file->catalogue = catalogue;
    file->fins = SIZE_MAX;
    char *bytes = up_text_read_file(path, UP_LINKS_FOLLOWED, FILE_BYTES_MAX, &length, failure);
    if (bytes == NULL) {
        return false;
    }
    json_t *json = json_loadb(bytes, length, JSON_REJECT_DUPLICATES, &error);
    free(bytes);
    if (json == NULL) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "%.300s, line %d: %s", path, error.line,
                       error.text);
    }
    struct place kit = {.json = json, .failure = failure};
    bool good = read_all(file, &kit);
    file->accept = NULL;
    json_decref(json);
    if (good) {
        share_errors_of_results(file);
        return true;
    }
    kit_release(file);
    return name_file(path, failure);
}

void kit_release(struct kit_file *file) {
    for (size_t i = 0; i < file->gears; i++) {
        free(file->gear[i].result);
    }
    free(file->gear);
    free(file->covariance_kg2);
}

/* ---- the schema of all this ---- */

json_t *up_kit_schema(void) {
    json_t *schema = keys_schema(kit_keys), *kinds = json_array();
    json_t *of = json_object_get(schema, "properties");
    for (const struct kit_kind *kind = kit_kinds; kind->name != NULL; kind++) {
        json_t *part = keys_schema(kind->keys);
        json_t *name = json_pack("{s:s}", "const", kind->name);
        json_object_set_new(json_object_get(part, "properties"), "kind", name);
        if (kind->kind != UP_PART_GEAR) {
            json_array_append_new(json_object_get(part, "required"), json_string("kind"));
        }
        json_array_append_new(kinds, part);
    }
    json_object_set_new(of, "schema", json_pack("{s:s}", "const", SCHEMA));
    json_object_set_new(of, "diver", keys_schema(kit_diver_keys));
    json_object_set_new(of, "dive", keys_schema(kit_dive_keys));
    json_object_set_new(json_object_get(of, "parts"), "items", json_pack("{s:o}", "oneOf", kinds));
    json_object_set_new(json_object_get(of, "checks"), "items", keys_schema(kit_check_keys));
    json_object_set_new(json_object_get(of, "moves"), "items", keys_schema(kit_move_keys));
    json_object_set_new(schema, "$schema",
                        json_string("https://json-schema.org/draft/2020-12/schema"));
    json_object_set_new(schema, "title", json_string("A kit file of upthrust"));
    return schema;
}
