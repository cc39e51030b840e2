/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The waters, weight checks and the dive of a kit file. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "kit/kit_file.h"
#include "upthrust/gravity.h"
#include "upthrust/waters.h"

static const double HPA = 100;

/* ---- waters ---- */

/* Its keys are those of `upthrust water`. */
static bool named_water(const struct place *place, struct up_water *water) {
    struct up_water_given given = up_water_nothing_given();
    const char *key, *name = text_at(place, "name", "water");
    json_t *value;
    bool known = up_water_by_name(name, water);
    double temp_c = number_at(place, "temp_c");
    json_object_foreach((json_t *)(uintptr_t)place->json, key, value) {
        size_t i = 0;
        while (up_water_key_at(i) != NULL && strcmp(up_water_key_at(i)->name, key) != 0) {
            i++;
        }
        const struct up_water_key *of = up_water_key_at(i);
        if (of == NULL && strcmp(key, "name") != 0 && strcmp(key, "temp_c") != 0) {
            return wrong_at(place, key, "this key is not known here");
        }
        if (of != NULL && !number_between(place, key, of->low, of->high,
                                          (double *)(void *)((char *)&given + of->offset))) {
            return false;
        }
    }
    if (!isnan(temp_c)) {
        water->temp_c = temp_c;
        water->u_temp_c = 1; /* a dive computer's, our choice */
    }
    if (!known && !up_water_is_given(&given)) {
        return wrong_at(place, "name",
                        "no water of this name is known; give its salinity_g_kg, or see "
                        "`upthrust water --list`");
    }
    if (!known) {
        water->model = up_water_model_given(&given);
        snprintf(water->name, sizeof water->name, "%s", name);
    }
    return up_water_from_given(&given, water, place->failure);
}

static bool water_of(const struct place *state, struct up_water *water) {
    struct place place = inside(state, "water");
    if (json_is_object(place.json)) {
        return named_water(&place, water);
    }
    return up_water_by_name(json_string_value(place.json), water) ||
           wrong_at(&place, "", "no water of this name is known; see `upthrust water --list`");
}

/* States in the same water share its error: waters are numbered by what they are. */
static unsigned number_water(struct kit_file *file, const struct up_water *water) {
    for (unsigned i = 0; i < file->waters; i++) {
        const struct up_water *other = &file->water[i];
        if (strcmp(other->name, water->name) == 0 && other->temp_c == water->temp_c &&
            other->salinity_g_kg == water->salinity_g_kg) {
            return i;
        }
    }
    file->water[file->waters] = *water;
    return file->waters++;
}

static bool set_water(struct kit_file *file, const struct place *place,
                      const struct up_water *named, double depth_m, struct up_kit_state *state) {
    struct up_water water = *named;
    struct up_water_density density;
    water.depth_m = depth_m;
    state->water = number_water(file, named);
    if (!up_water_density(&water, &density, place->failure)) {
        return false;
    }
    state->water_kg_m3 = density.density_kg_m3.value;
    state->u_water_kg_m3 = density.density_kg_m3.u;
    return true;
}

/* ---- states ---- */

/* Lead as it is marked. */
static struct up_kit_state new_state(void) {
    struct up_kit_state state = {.u_gas_temp_c = 2};
    for (size_t i = 0; i < UP_KIT_PARTS_MAX; i++) {
        state.lead_kg[i] = (double)NAN;
    }
    return state;
}

static bool read_lead_of(const struct kit_file *file, const struct place *place,
                         struct up_kit_state *state) {
    json_t *lead = json_object_get(place->json, "lead_kg"), *value;
    struct place here = inside(place, "lead_kg");
    const char *name;
    json_object_foreach(lead, name, value) {
        size_t part;
        if (!part_named(file, name, &part) || file->kit.part[part].kind != UP_PART_LEAD) {
            return wrong_at(&here, name, "no lead of this name is among the parts");
        }
        if (!number_between(&here, name, 0, 40, &state->lead_kg[part])) {
            return false;
        }
    }
    return true;
}

static bool read_without(const struct kit_file *file, const struct place *place,
                         struct up_kit_state *state) {
    json_t *without = json_object_get(place->json, "without"), *name;
    size_t i;
    json_array_foreach(without, i, name) {
        size_t part;
        if (!part_named(file, json_string_value(name), &part)) {
            return wrong_at(place, "without", "no part has the name number %zu of this list",
                            i + 1);
        }
        state->without[part] = true;
    }
    return true;
}

/* What a check and the dive have in common. */
static bool read_state(struct kit_file *file, const struct place *place,
                       const struct up_water *water, double depth_m, struct up_kit_state *state) {
    double altitude_m = number_at(place, "altitude_m"),
           air_hpa = number_at(place, "air_pressure_hpa");
    if (!isnan(altitude_m) && !isnan(air_hpa)) {
        return wrong_at(place, "altitude_m", "give it or air_pressure_hpa, not both");
    }
    state->gas_temp_c = number_at(place, "gas_temp_c");
    if (isnan(state->gas_temp_c)) {
        state->gas_temp_c = water->temp_c;
    }
    state->depth_m = depth_m;
    state->air_pressure_pa = isnan(air_hpa)
                                 ? up_standard_pressure_pa(isnan(altitude_m) ? 0 : altitude_m)
                                 : air_hpa * HPA;
    return read_lead_of(file, place, state) && read_without(file, place, state) &&
           set_water(file, place, water, depth_m, state);
}

bool read_check(struct kit_file *file, const struct place *place) {
    struct up_kit_check *check = &file->kit.check[file->kit.checks];
    struct up_kit_state *state = &check->state;
    struct up_water water;
    char otherwise[32];
    *state = new_state();
    snprintf(otherwise, sizeof otherwise, "check %zu", file->kit.checks + 1);
    if (!water_of(place, &water)) {
        return false;
    }
    snprintf(check->label, sizeof check->label, "%s", text_at(place, "label", otherwise));
    check->level = truth_at(place, "level");
    state->u_depth_m = number_at(place, "u_depth_m");
    state->pressure_bar = number_at(place, "pressure_bar");
    state->u_pressure_bar = number_at(place, "u_pressure_bar");
    state->jacket_gas_kg = number_at(place, "jacket_gas_kg");
    file->kit.checks++;
    return read_state(file, place, &water, number_at(place, "depth_m"), state);
}

bool read_dive(struct kit_file *file, const struct place *place) {
    struct kit_dive *dive = &file->dive;
    dive->state = new_state();
    if (!water_of(place, &dive->water)) {
        return false;
    }
    dive->deepest_m = number_at(place, "deepest_m");
    dive->stop_m = number_at(place, "stop_m");
    dive->start_bar = number_at(place, "start_bar");
    dive->reserve_bar = number_at(place, "reserve_bar");
    if (dive->stop_m > dive->deepest_m) {
        return wrong_at(place, "stop_m", "a stop at %g m lies below the bottom at %g m",
                        dive->stop_m, dive->deepest_m);
    }
    if (dive->reserve_bar >= dive->start_bar) {
        return wrong_at(place, "reserve_bar", "the reserve must be below start_bar (%g bar)",
                        dive->start_bar);
    }
    return read_state(file, place, &dive->water, dive->stop_m, &dive->state);
}
