/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A kit file (JSON, schema upthrust-kit-1) becomes a kit. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "kit/kit_file.h"
#include "text/text.h"

#define SCHEMA "upthrust-kit-1"

enum { FILE_BYTES_MAX = 1 << 20 };
static const double LITRE = 1e-3, GRAM = 1e-3;
static const double MARK_REL = 0.05;   /* lead, within so much of its mark: a choice of ours */
static const double GIVEN_REL = 0.01;  /* standard, of what is given without u_...: likewise */
static const double METAL_REL = 0.005; /* a metal's density, by alloy: likewise */
static const double STEEL_KG_M3 = 7850, ALUMINIUM_KG_M3 = 2700; /* from memory, as handbooks have */
static const double PLACE_U_M = 0.03;

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

/* ---- gear ---- */

/* From a mass and a volume, or a density. */
static bool read_by_data(const struct place *place, struct up_part *part) {
    struct up_bounded mass = {0}, density = {0};
    bool dense = json_object_get(place->json, "density_kg_m3") != NULL;
    if (!bounded(place, "mass_kg", 1e-4, 60, NEVER, GIVEN_REL, 1, &mass)) {
        return false;
    }
    if (dense == (json_object_get(place->json, "volume_l") != NULL)) {
        return wrong_at(place, "volume_l",
                        "give volume_l or density_kg_m3, one of the two: without it the lift of "
                        "the water is not known");
    }
    part->buoyancy_kg = minus(mass);
    if (!dense) {
        return bounded(place, "volume_l", 1e-4, 100, NEVER, GIVEN_REL, LITRE, &part->volume_m3);
    }
    if (!bounded(place, "density_kg_m3", 20, 22000, NEVER, GIVEN_REL, 1, &density)) {
        return false;
    }
    part->volume_m3 = over(mass, density);
    return true;
}

static bool read_gear(struct kit_file *file, const struct place *place, struct up_part *part) {
    static const char *const known[] = {"name",       "kind",          "item",
                                        "mass_kg",    "u_mass_kg",     "volume_l",
                                        "u_volume_l", "density_kg_m3", "u_density_kg_m3",
                                        "place_m",    "u_place_m",     "accept",
                                        NULL};
    return only_keys(place, known) &&
           (json_object_get(place->json, "item") != NULL ? read_catalogue_item(file, place, part)
                                                         : read_by_data(place, part));
}

static bool read_lead_part(const struct place *place, struct up_part *part) {
    static const char *const known[] = {"name",      "kind",    "mass_kg",   "u_mass_kg", "weighed",
                                        "ditchable", "place_m", "u_place_m", NULL};
    bool weighed;
    if (!only_keys(place, known) || !truth(place, "weighed", false, &weighed) ||
        !truth(place, "ditchable", false, &part->ditchable) ||
        !bounded(place, "mass_kg", 0, 40, NEVER, weighed ? 0 : MARK_REL / sqrt(3), 1,
                 &part->mass_kg)) {
        return false;
    }
    part->mass_kg.rectangular = !weighed;
    if (weighed && part->mass_kg.u == 0) {
        part->mass_kg.u = 10 * GRAM; /* a kitchen or luggage scale: a choice of ours */
    }
    return true;
}

static bool read_metal(const struct place *place, struct up_bounded *density) {
    char metal[32];
    if (!text(place, "metal", "", metal, sizeof metal)) {
        return false;
    }
    bool steel = strcmp(metal, "steel") == 0, aluminium = strcmp(metal, "aluminium") == 0;
    if (!steel && !aluminium) {
        return wrong_at(place, "outside_volume_l",
                        "give it, as measured by dipping; or metal: steel or aluminium, from which "
                        "it is then calculated. A wound cylinder needs a measured one");
    }
    double kg_m3 = steel ? STEEL_KG_M3 : ALUMINIUM_KG_M3;
    *density = (struct up_bounded){kg_m3, kg_m3 * METAL_REL, false};
    return true;
}

/* The mass when empty is of the metal, and of valve and boot as far as they are in it. */
static bool read_outside(const struct place *place, struct up_bounded empty_kg,
                         struct up_bounded inside_m3, struct up_part *part) {
    struct up_bounded density = {0}, extras_kg = {0}, extras_m3 = {0};
    if (json_object_get(place->json, "outside_volume_l") != NULL) {
        return bounded(place, "outside_volume_l", 0.2, 150, NEVER, 0.005, LITRE, &part->volume_m3);
    }
    if (!read_metal(place, &density) ||
        !bounded(place, "extras_mass_kg", 0, 5, 0, GIVEN_REL, 1, &extras_kg) ||
        !bounded(place, "extras_volume_l", 0, 5, 0, 0.1, LITRE, &extras_m3)) {
        return false;
    }
    struct up_bounded metal_kg = plus(empty_kg, minus(extras_kg));
    if (!(metal_kg.value > 0)) {
        return wrong_at(place, "extras_mass_kg", "is no less than the mass when empty");
    }
    part->volume_m3 = plus(plus(over(metal_kg, density), inside_m3), extras_m3);
    return true;
}

static bool read_cylinder(const struct place *place, struct up_part *part) {
    static const char *const known[] = {"name",
                                        "kind",
                                        "water_volume_l",
                                        "empty_mass_kg",
                                        "u_empty_mass_kg",
                                        "outside_volume_l",
                                        "u_outside_volume_l",
                                        "metal",
                                        "extras_mass_kg",
                                        "u_extras_mass_kg",
                                        "extras_volume_l",
                                        "u_extras_volume_l",
                                        "working_pressure_bar",
                                        "oxygen_percent",
                                        "place_m",
                                        "u_place_m",
                                        NULL};
    struct up_bounded empty_kg = {0}, inside_m3 = {0};
    double oxygen_percent;
    if (!only_keys(place, known) ||
        !bounded(place, "water_volume_l", 0.1, 100, NEVER, 0.005, LITRE, &inside_m3) ||
        !bounded(place, "empty_mass_kg", 0.2, 60, NEVER, 0.005, 1, &empty_kg) ||
        !number(place, "working_pressure_bar", 50, 310, NEVER, &part->working_pressure_bar) ||
        !number(place, "oxygen_percent", 20, 41, 100 * UP_AIR_OXYGEN, &oxygen_percent)) {
        return false;
    }
    part->water_volume_m3 = inside_m3.value;
    part->gas.oxygen = oxygen_percent / 100;
    part->buoyancy_kg = minus(empty_kg);
    return read_outside(place, empty_kg, inside_m3, part);
}

/* What is not known of a suit's gas widens the answer: anywhere from nothing to twice a guess. */
static bool read_suit(const struct place *place, struct up_part *part) {
    static const char *const known[] = {
        "name",    "kind",      "mass_kg",    "u_mass_kg",     "gas_l",
        "u_gas_l", "volume_l",  "u_volume_l", "density_kg_m3", "u_density_kg_m3",
        "place_m", "u_place_m", NULL};
    static const double RUBBER_KG_M3 = 1230, GUESS_M3 = 5e-3;
    struct up_bounded mass = {0};
    if (!only_keys(place, known) ||
        !bounded(place, "mass_kg", 0.1, 20, NEVER, GIVEN_REL, 1, &mass) ||
        !bounded(place, "gas_l", 0, 60, (double)NAN, 0.2, LITRE, &part->gas_m3)) {
        return false;
    }
    part->buoyancy_kg = minus(mass);
    part->volume_m3 = over(mass, (struct up_bounded){RUBBER_KG_M3, 0.05 * RUBBER_KG_M3, false});
    if (isnan(part->gas_m3.value)) {
        part->gas_m3 = (struct up_bounded){GUESS_M3, GUESS_M3 / sqrt(3), true};
    }
    return true;
}

static bool read_jacket(const struct place *place, struct up_part *part) {
    static const char *const known[] = {
        "name",     "kind",          "mass_kg",       "u_mass_kg",
        "volume_l", "u_volume_l",    "density_kg_m3", "u_density_kg_m3",
        "lift_kg",  "trapped_gas_l", "place_m",       "u_place_m",
        NULL};
    double most_l;
    if (!only_keys(place, known) || !read_by_data(place, part) ||
        !number(place, "lift_kg", 0, 60, 0, &part->lift_kg) ||
        !number(place, "trapped_gas_l", 0, 5, 0.5, &most_l)) {
        return false;
    }
    /* Emptied as well as can be: anywhere from nothing to that. */
    part->gas_m3 = (struct up_bounded){most_l / 2 * LITRE, most_l / 2 * LITRE / sqrt(3), true};
    return true;
}

/* ---- parts ---- */

static bool read_kind(struct kit_file *file, const struct place *place, struct up_part *part) {
    char kind[32];
    if (!text(place, "kind", "gear", kind, sizeof kind)) {
        return false;
    }
    if (strcmp(kind, "gear") == 0) {
        part->kind = UP_PART_GEAR;
        return read_gear(file, place, part);
    }
    if (strcmp(kind, "lead") == 0) {
        part->kind = UP_PART_LEAD;
        return read_lead_part(place, part);
    }
    if (strcmp(kind, "cylinder") == 0) {
        part->kind = UP_PART_CYLINDER;
        return read_cylinder(place, part);
    }
    if (strcmp(kind, "suit") == 0) {
        part->kind = UP_PART_SUIT;
        return read_suit(place, part);
    }
    if (strcmp(kind, "jacket") == 0) {
        part->kind = UP_PART_JACKET;
        return read_jacket(place, part);
    }
    return wrong_at(place, "kind",
                    "say gear, lead, cylinder, suit or jacket; drysuits and rebreathers are "
                    "beyond this program");
}

static bool read_part(struct kit_file *file, const struct place *place) {
    struct up_part *part = &file->kit.part[file->kit.parts];
    *part = (struct up_part){.gas_m3 = exactly(0), .mass_kg = exactly(0)};
    if (!text(place, "name", NULL, part->name, sizeof part->name) ||
        !number(place, "place_m", -1.5, 1.5, (double)NAN, &part->place_m.value) ||
        !number(place, "u_place_m", 0, 1, PLACE_U_M, &part->place_m.u) ||
        !read_kind(file, place, part)) {
        return false;
    }
    for (size_t i = 0; i < file->kit.parts; i++) {
        if (strcmp(file->kit.part[i].name, part->name) == 0) {
            return wrong_at(place, "name", "another part has this name already");
        }
    }
    file->kit.parts++;
    return true;
}

static bool read_list(const struct place *kit, struct kit_file *file, const char *key, size_t most,
                      bool (*read)(struct kit_file *file, const struct place *place)) {
    const json_t *list = json_object_get(kit->json, key);
    if (!json_is_array(list) || json_array_size(list) > most) {
        return wrong_at(kit, key, "this must be a list [...] of at most %zu", most);
    }
    for (size_t i = 0; i < json_array_size(list); i++) {
        struct place place = element(kit, key, i);
        if (!read(file, &place)) {
            return false;
        }
    }
    return true;
}

static bool read_diver(struct kit_file *file, const struct place *kit) {
    static const char *const known[] = {"mass_kg", "u_mass_kg", NULL};
    struct place place = inside(kit, "diver", json_object_get(kit->json, "diver"));
    return only_keys(&place, known) &&
           bounded(&place, "mass_kg", 20, 250, NEVER, 0.01, 1, &file->kit.body_kg);
}

static bool read_all(struct kit_file *file, const struct place *kit) {
    static const char *const known[] = {"schema", "diver", "parts",       "checks",
                                        "dive",   "note",  "u_gauge_bar", NULL};
    char schema[32];
    if (!only_keys(kit, known) || !text(kit, "schema", NULL, schema, sizeof schema)) {
        return false;
    }
    if (strcmp(schema, SCHEMA) != 0) {
        return wrong_at(kit, "schema", "this must be \"%s\"", SCHEMA);
    }
    return number(kit, "u_gauge_bar", 0, 50, 3, &file->kit.u_gauge_bar) && read_diver(file, kit) &&
           read_list(kit, file, "parts", UP_KIT_PARTS_MAX, read_part) &&
           read_list(kit, file, "checks", UP_KIT_CHECKS_MAX, read_check) && read_dive(file, kit);
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
    json_decref(json);
    if (good) {
        share_errors_of_results(file);
        return true;
    }
    kit_release(file);
    return name_file(path, failure);
}

void kit_release(struct kit_file *file) {
    for (size_t i = 0; i < UP_KIT_PARTS_MAX; i++) {
        free(file->source[i].result);
    }
    free(file->covariance_kg2);
}
