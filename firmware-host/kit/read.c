/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A kit file (JSON, schema upthrust-kit-1) becomes a kit. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "embedded.h"
#include "kit/kit_file.h"
#include "kit/report.h"
#include "text/text.h"

enum { FILE_BYTES_MAX = 1 << 20 };
static const double LITRE = 1e-3, GRAM = 1e-3;
static const double MARK_REL = 0.05; /* lead, within this share of its mark: our choice */
static const double SOLID_REL = 0.02, METAL_REL = 0.005; /* densities, by alloy: likewise */
/* What has a mass but no volume is no lighter than polypropylene and no denser than stainless
   steel. */
static const double LIGHT_KG_M3 = 900, DENSE_KG_M3 = 8000;
/* Where nobody said whether valve, boot and plating are in a cylinder's mass: either way. */
static const double UNSTATED_M3 = 0.5e-3;

/* The sum and quotient of independent numbers, first order. */
static struct up_bounded sum(struct up_bounded a, struct up_bounded b) {
    return (struct up_bounded){a.value + b.value, hypot(a.u, b.u), false};
}

static struct up_bounded quotient(struct up_bounded a, struct up_bounded b) {
    double value = a.value / b.value;
    return (struct up_bounded){value, fabs(value) * hypot(a.u / a.value, b.u / b.value), false};
}

static struct up_bounded negated(struct up_bounded a) {
    return (struct up_bounded){-a.value, a.u, a.rectangular};
}

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
static bool read_by_data(const struct place *place, struct up_part *part) {
    struct up_bounded mass = bounded_at(place, "mass_kg", 1), volume;
    const char *material = text_at(place, "material", NULL);
    bool by_volume = has(place, "volume_l"), dense = has(place, "density_kg_m3");
    if (isnan(mass.value)) {
        return wrong_at(place, "mass_kg",
                        "give its mass in kg, or an item or model of the catalogue; "
                        "gear that is always worn may be left out: it then counts "
                        "as a part of the body");
    }
    part->buoyancy_kg = negated(mass);
    if (by_volume + dense + (material != NULL) != 1) {
        return wrong_at(place, "volume_l",
                        "give volume_l, density_kg_m3 or material, one of them; null where you do "
                        "not know it");
    }
    volume = by_volume ? bounded_at(place, "volume_l", LITRE)
             : dense   ? quotient(mass, bounded_at(place, "density_kg_m3", 1))
                       : quotient(mass, density_of(material));
    part->volume_m3 = isnan(volume.value)
                          ? up_between(mass.value / DENSE_KG_M3, mass.value / LIGHT_KG_M3)
                          : volume;
    return true;
}

static bool read_gear(struct kit_file *file, const struct place *place, struct up_part *part) {
    if (truth_at(place, "fins")) {
        file->fins = file->kit.parts;
    }
    return has(place, "item") || has(place, "model") ? read_catalogue_gear(file, place, part)
                                                     : read_by_data(place, part);
}

static bool read_lead(const struct place *place, struct up_part *part) {
    bool weighed = truth_at(place, "weighed");
    part->ditchable = truth_at(place, "ditchable");
    part->mass_kg = bounded_at(place, "mass_kg", 1);
    if (part->mass_kg.u == 0) { /* weighed: on a kitchen or luggage scale, our choice */
        part->mass_kg.u = weighed ? 10 * GRAM : part->mass_kg.value * MARK_REL / sqrt(3);
        part->mass_kg.rectangular = !weighed;
    }
    return true;
}

static struct up_bounded or_none(struct up_bounded number) {
    return isnan(number.value) ? (struct up_bounded){0, 0, false} : number;
}

/* The mass when empty is of the metal, and of valve and boot as far as they are in it. */
static bool read_outside(const struct place *place, struct up_bounded empty_kg,
                         struct up_bounded inside_m3, struct up_part *part) {
    const char *metal = text_at(place, "metal", NULL);
    struct up_bounded extras_kg = bounded_at(place, "extras_mass_kg", 1);
    struct up_bounded extras_m3 = bounded_at(place, "extras_volume_l", LITRE);
    struct up_bounded metal_kg = sum(empty_kg, negated(or_none(extras_kg)));
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
        return wrong_at(place, "extras_mass_kg", "must be less than the mass when empty");
    }
    if (isnan(extras_kg.value) && isnan(extras_m3.value)) {
        extras_m3 = up_between(-UNSTATED_M3, UNSTATED_M3);
    }
    part->volume_m3 =
        sum(sum(quotient(metal_kg, density_of(metal)), inside_m3), or_none(extras_m3));
    return true;
}

static bool read_cylinder(const struct place *place, struct up_part *part) {
    struct up_bounded empty_kg = bounded_at(place, "empty_mass_kg", 1);
    struct up_bounded inside_m3 = bounded_at(place, "water_volume_l", LITRE);
    part->water_volume_m3 = inside_m3.value;
    part->working_pressure_bar = number_at(place, "working_pressure_bar");
    part->gas.oxygen = number_at(place, "oxygen_percent") / 100;
    part->buoyancy_kg = negated(empty_kg);
    return read_outside(place, empty_kg, inside_m3, part);
}

/* What is not known of a suit's gas widens the answer: anywhere from nothing to twice a guess. */
static bool read_suit(const struct place *place, struct up_part *part) {
    static const double RUBBER_KG_M3 = 1230, GUESS_M3 = 5e-3;
    struct up_bounded mass = bounded_at(place, "mass_kg", 1);
    part->buoyancy_kg = negated(mass);
    part->volume_m3 = quotient(mass, (struct up_bounded){RUBBER_KG_M3, 0.05 * RUBBER_KG_M3, false});
    part->gas_m3 = bounded_at(place, "gas_l", LITRE);
    if (isnan(part->gas_m3.value)) {
        part->gas_m3 = up_between(0, 2 * GUESS_M3);
    }
    return true;
}

static bool read_jacket(const struct place *place, struct up_part *part) {
    part->lift_kg = number_at(place, "lift_kg");
    /* Emptied as well as can be: anywhere from nothing to that. */
    part->gas_m3 = up_between(0, number_at(place, "trapped_gas_l") * LITRE);
    return read_by_data(place, part);
}

/* ---- parts ---- */

static const struct kind {
    const char *name;
    enum up_part_kind kind;
    bool (*read)(const struct place *place, struct up_part *part);
} kinds[] = {{"gear", UP_PART_GEAR, NULL},
             {"lead", UP_PART_LEAD, read_lead},
             {"cylinder", UP_PART_CYLINDER, read_cylinder},
             {"suit", UP_PART_SUIT, read_suit},
             {"jacket", UP_PART_JACKET, read_jacket}};

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

static bool read_part(struct kit_file *file, const struct place *place) {
    struct up_part *part = &file->kit.part[file->kit.parts];
    const struct kind *kind = kinds;
    size_t other;
    while (strcmp(kind->name, text_at(place, "kind", "gear")) != 0) {
        kind++;
    }
    *part = (struct up_part){.kind = kind->kind};
    snprintf(part->name, sizeof part->name, "%s", text_at(place, "name", ""));
    part->place_m.value = number_at(place, "place_m");
    part->place_m.u = number_at(place, "u_place_m");
    if (part_named(file, part->name, &other)) {
        return wrong_at(place, "name", "another part has this name already");
    }
    if (!(kind->read != NULL ? kind->read(place, part) : read_gear(file, place, part)) ||
        !read_spare(file, place, part)) {
        return false;
    }
    file->kit.parts++;
    return true;
}

/* Ditchable lead stays where a hand can drop it. */
static bool read_move(struct kit_file *file, const struct place *place) {
    struct kit_move *move = &file->move[file->moves];
    const struct up_part *part = file->kit.part;
    size_t *const end[] = {&move->from, &move->to};
    static const char *const key[] = {"from", "to"};
    move->kg = number_at(place, "kg");
    for (int i = 0; i < 2; i++) {
        if (!part_named(file, text_at(place, key[i], ""), end[i]) ||
            part[*end[i]].kind != UP_PART_LEAD) {
            return wrong_at(place, key[i], "no lead of this name is among the parts");
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
                      bool (*read)(struct kit_file *file, const struct place *place)) {
    for (size_t i = 0; i < json_array_size(json_object_get(kit->json, key)); i++) {
        struct place place = element(kit, key, i);
        if (!read(file, &place)) {
            return false;
        }
    }
    return true;
}

static bool read_parts(struct kit_file *file, const struct place *kit) {
    struct place parts = inside(kit, "parts");
    file->accept = json_object_get(kit->json, "accept");
    return fits(&parts) && read_list(kit, file, "parts", read_part);
}

static bool read_all(struct kit_file *file, const struct place *kit) {
    if (!fits(kit)) {
        return false;
    }
    struct place diver = inside(kit, "diver"), dive = inside(kit, "dive");
    file->kit.body_kg = bounded_at(&diver, "mass_kg", 1);
    file->kit.u_gauge_bar = number_at(kit, "u_gauge_bar");
    return read_parts(file, kit) && read_list(kit, file, "moves", read_move) &&
           read_list(kit, file, "checks", read_check) && read_dive(file, &dive) &&
           add_fins_of_catalogue(file, kit->failure);
}

static bool name_file(const char *path, struct up_failure *failure) {
    char what[sizeof failure->text];
    snprintf(what, sizeof what, "%s", failure->text);
    return up_fail(failure, failure->status, "%.100s: %.400s", path, what);
}

json_t *up_kit_schema(void) {
    return json_loads(embedded_kit_schema_json, 0, NULL);
}

/* All of the document, or its parts alone. */
static bool read_json(const json_t *json, struct up_catalogue *catalogue,
                      bool (*read)(struct kit_file *file, const struct place *kit),
                      struct kit_file *file, struct up_failure *failure) {
    json_t *schema = up_kit_schema();
    struct place kit = {.json = json, .schema = schema, .root = schema, .failure = failure};
    memset(file, 0, sizeof *file);
    file->catalogue = catalogue;
    file->fins = SIZE_MAX;
    bool good = read(file, &kit);
    file->accept = NULL;
    json_decref(schema);
    if (good) {
        share_errors_of_results(file);
    } else {
        kit_release(file);
    }
    return good;
}

bool up_kit_parts_fit(json_t *parts, struct up_catalogue *catalogue, struct up_failure *failure) {
    struct kit_file *file = up_allocate(1, sizeof *file);
    json_t *json = json_pack("{s:O}", "parts", parts);
    bool good = read_json(json, catalogue, read_parts, file, failure);
    if (good) {
        kit_release(file);
    }
    json_decref(json);
    free(file);
    return good;
}

bool kit_parse(const char *path, const char *bytes, size_t length, struct up_catalogue *catalogue,
               struct kit_file *file, struct up_failure *failure) {
    json_error_t error;
    json_t *json = json_loadb(bytes, length, JSON_REJECT_DUPLICATES, &error);
    if (json == NULL) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "%.300s, line %d: %s", path, error.line,
                       error.text);
    }
    bool good = read_json(json, catalogue, read_all, file, failure);
    json_decref(json);
    return good || name_file(path, failure);
}

bool kit_read(const char *path, struct up_catalogue *catalogue, struct kit_file *file,
              struct up_failure *failure) {
    size_t length = 0;
    char *bytes = up_text_read_file(path, UP_LINKS_FOLLOWED, FILE_BYTES_MAX, &length, failure);
    bool good = bytes != NULL && kit_parse(path, bytes, length, catalogue, file, failure);
    free(bytes);
    return good;
}

void kit_release(struct kit_file *file) {
    for (size_t i = 0; i < file->gears; i++) {
        free(file->gear[i].result);
    }
    free(file->gear);
    free(file->covariance_kg2);
}
