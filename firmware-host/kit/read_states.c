/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The waters, weight checks and the dive of a kit file. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "kit/fields.h"
#include "kit/kit_file.h"
#include "upthrust/waters.h"

static const double HPA = 100, STANDARD_HPA = 1013.25;

/* ---- waters ---- */

static bool water_number(const struct place *place, const char *key, double low, double high,
                         double *value) {
    return number(place, key, low, high, (double)NAN, value);
}

static bool named_water(const struct place *place, struct up_water *water) {
    struct up_water_told told = up_water_nothing_told();
    char name[sizeof water->name];
    if (!text(place, "name", NULL, name, sizeof name)) {
        return false;
    }
    bool known = up_water_by_name(name, water);
    double temp_c;
    if (!water_number(place, "temp_c", 0, 40, &temp_c)) {
        return false;
    }
    for (size_t i = 0; up_water_key_at(i) != NULL; i++) {
        const struct up_water_key *key = up_water_key_at(i);
        double *value = (double *)(void *)((char *)&told + key->offset);
        if (!water_number(place, key->name, key->low, key->high, value)) {
            return false;
        }
    }
    if (!isnan(temp_c)) {
        water->temp_c = temp_c;
        water->u_temp_c = 1; /* a dive computer's, a choice of ours */
    }
    if (!known && !up_water_is_told(&told)) {
        return wrong_at(place, "name",
                        "no water of this name is known; give its salinity_g_kg, or see "
                        "`upthrust water --list`");
    }
    if (!known) {
        water->model = up_water_model_told(&told);
    }
    return up_water_from_told(&told, water, place->failure);
}

static bool water_of(const struct place *place, const char *key, struct up_water *water) {
    json_t *json = json_object_get(place->json, key);
    struct place here = inside(place, key, json);
    if (json_is_string(json)) {
        if (!up_water_by_name(json_string_value(json), water)) {
            return wrong_at(&here, "",
                            "no water of this name is known; see `upthrust water --list`");
        }
        return true;
    }
    if (!json_is_object(json)) {
        return wrong_at(place, key, "give a water's name, or an object with name and temp_c");
    }
    return named_water(&here, water);
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

bool set_water(struct kit_file *file, const struct place *place, const struct up_water *named,
               double depth_m, struct up_kit_state *state) {
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

struct up_kit_state kit_state(void) {
    struct up_kit_state state = {.u_depth_m = 0.3, .u_pressure_bar = 2, .u_gas_temp_c = 2};
    for (size_t i = 0; i < UP_KIT_PARTS_MAX; i++) {
        state.lead_kg[i] = (double)NAN;
    }
    return state;
}

static bool part_named(const struct kit_file *file, const char *name, size_t *part) {
    for (*part = 0; *part < file->kit.parts; ++*part) {
        if (strcmp(file->kit.part[*part].name, name) == 0) {
            return true;
        }
    }
    return false;
}

static bool read_lead(const struct kit_file *file, const struct place *place,
                      struct up_kit_state *state) {
    json_t *lead = json_object_get(place->json, "lead_kg"), *value;
    struct place here = inside(place, "lead_kg", lead);
    const char *name;
    if (lead != NULL && !json_is_object(lead)) {
        return wrong_at(&here, "", "give the name of each piece of lead with its kg");
    }
    json_object_foreach(lead, name, value) {
        size_t part;
        if (!part_named(file, name, &part) || file->kit.part[part].kind != UP_PART_LEAD) {
            return wrong_at(&here, name, "no lead of this name is among the parts");
        }
        if (!number(&here, name, 0, 40, NEVER, &state->lead_kg[part])) {
            return false;
        }
    }
    return true;
}

static bool read_without(const struct kit_file *file, const struct place *place,
                         struct up_kit_state *state) {
    json_t *without = json_object_get(place->json, "without"), *name;
    size_t i;
    if (without != NULL && !json_is_array(without)) {
        return wrong_at(place, "without", "give a list [...] of names of parts");
    }
    json_array_foreach(without, i, name) {
        size_t part;
        if (!json_is_string(name) || !part_named(file, json_string_value(name), &part)) {
            return wrong_at(place, "without", "no part has the name number %zu of this list",
                            i + 1);
        }
        state->without[part] = true;
    }
    return true;
}

bool read_check(struct kit_file *file, const struct place *place) {
    static const char *const known[] = {
        "label",   "water",     "depth_m",        "pressure_bar",
        "lead_kg", "without",   "gas_temp_c",     "air_pressure_hpa",
        "when",    "u_depth_m", "u_pressure_bar", "jacket_gas_kg",
        NULL};
    struct up_kit_check *check = &file->kit.check[file->kit.checks];
    struct up_kit_state *state = &check->state;
    struct up_water water;
    char otherwise[32];
    double air_hpa;
    *state = kit_state();
    snprintf(otherwise, sizeof otherwise, "check %zu", file->kit.checks + 1);
    if (!only_keys(place, known) || !water_of(place, "water", &water) ||
        !text(place, "label", otherwise, check->label, sizeof check->label) ||
        !number(place, "depth_m", 0, 60, NEVER, &state->depth_m) ||
        !number(place, "u_depth_m", 0, 5, state->u_depth_m, &state->u_depth_m) ||
        !number(place, "pressure_bar", 0, 350, NEVER, &state->pressure_bar) ||
        !number(place, "u_pressure_bar", 0, 50, state->u_pressure_bar, &state->u_pressure_bar) ||
        !number(place, "gas_temp_c", 0, 50, water.temp_c, &state->gas_temp_c) ||
        !number(place, "jacket_gas_kg", 0, 60, 0, &state->jacket_gas_kg) ||
        !number(place, "air_pressure_hpa", 600, 1100, STANDARD_HPA, &air_hpa) ||
        !read_lead(file, place, state) || !read_without(file, place, state)) {
        return false;
    }
    state->air_pressure_pa = air_hpa * HPA;
    file->kit.checks++;
    return set_water(file, place, &water, state->depth_m, state);
}

bool read_dive(struct kit_file *file, const struct place *kit) {
    static const char *const known[] = {
        "water",       "deepest_m",  "stop_m",           "start_bar",
        "reserve_bar", "gas_temp_c", "air_pressure_hpa", NULL};
    struct place place = inside(kit, "dive", json_object_get(kit->json, "dive"));
    struct kit_dive *dive = &file->dive;
    struct up_kit_state *state = &dive->state;
    double air_hpa;
    *state = kit_state();
    if (!only_keys(&place, known) || !water_of(&place, "water", &dive->water) ||
        !number(&place, "deepest_m", 1, 60, NEVER, &dive->deepest_m) ||
        !number(&place, "stop_m", 1, 20, 5, &dive->stop_m) ||
        !number(&place, "start_bar", 10, 350, NEVER, &dive->start_bar) ||
        !number(&place, "reserve_bar", 5, 200, NEVER, &dive->reserve_bar) ||
        !number(&place, "gas_temp_c", 0, 50, dive->water.temp_c, &state->gas_temp_c) ||
        !number(&place, "air_pressure_hpa", 600, 1100, STANDARD_HPA, &air_hpa)) {
        return false;
    }
    if (dive->stop_m > dive->deepest_m) {
        return wrong_at(&place, "stop_m", "a stop at %g m lies below the bottom at %g m",
                        dive->stop_m, dive->deepest_m);
    }
    if (dive->reserve_bar >= dive->start_bar) {
        return wrong_at(&place, "reserve_bar", "the reserve must be below start_bar (%g bar)",
                        dive->start_bar);
    }
    state->air_pressure_pa = air_hpa * HPA;
    return set_water(file, &place, &dive->water, dive->stop_m, state);
}
