/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A plan as the run's journal holds it, so that the run can be repeated from there alone. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/json.h"
#include "text/text.h"

static double number_of(const json_t *json, const char *name, double otherwise) {
    const json_t *value = json_object_get(json, name);
    return json_is_number(value) ? json_number_value(value) : otherwise;
}

/* No session plans more; a journal that was changed could ask for all memory. 0: as many as it
 * takes.
 */
enum { DRAWS_MAX = 1000000 };

/* ---- reference bodies ---- */

static json_t *reference_to_json(const struct up_reference_plan *plan) {
    const struct up_reference *body = &plan->reference;
    const struct up_chart *chart = &plan->chart;
    return json_pack("{s:s, s:s, s:f, s:f, s:f, s:f, s:f, s:f, s:i, s:b, s:o, s:o, s:o, s:o, s:o}",
                     "id", body->id, "name", body->name, "mass_kg", body->mass_kg.value,
                     "u_mass_kg", body->mass_kg.u, "volume_m3", body->volume_m3.value,
                     "u_volume_m3", body->volume_m3.u, "expansion_per_k", body->expansion_per_k,
                     "u_expansion_per_k", body->u_expansion_per_k, "points", (int)chart->count,
                     "has_limits", chart->has_limits, "centre_kg", up_json_number(chart->centre),
                     "sd_kg", up_json_number(chart->sd), "low_kg", up_json_number(chart->low),
                     "high_kg", up_json_number(chart->high), "typical_u_kg",
                     up_json_number(chart->typical_u));
}

static void copy_text(const json_t *json, const char *name, char *to, size_t size) {
    const char *text = json_string_value(json_object_get(json, name));
    if (text != NULL && strlen(text) < size) {
        memcpy(to, text, strlen(text) + 1);
    }
}

static void reference_from_json(const json_t *json, struct up_reference_plan *plan) {
    struct up_reference *body = &plan->reference;
    double none = (double)NAN;
    copy_text(json, "id", body->id, sizeof body->id);
    copy_text(json, "name", body->name, sizeof body->name);
    body->mass_kg = up_known(number_of(json, "mass_kg", none), number_of(json, "u_mass_kg", none));
    body->volume_m3 =
        up_known(number_of(json, "volume_m3", none), number_of(json, "u_volume_m3", none));
    body->expansion_per_k = number_of(json, "expansion_per_k", 0);
    body->u_expansion_per_k = number_of(json, "u_expansion_per_k", 0);
    plan->chart = (struct up_chart){.count = (size_t)number_of(json, "points", 0),
                                    .has_limits = json_is_true(json_object_get(json, "has_limits")),
                                    .centre = number_of(json, "centre_kg", none),
                                    .sd = number_of(json, "sd_kg", none),
                                    .low = number_of(json, "low_kg", none),
                                    .high = number_of(json, "high_kg", none),
                                    .typical_u = number_of(json, "typical_u_kg", none)};
}

/* ---- what goes beyond item, calibration and waters ---- */

static void rest_to_json(const struct up_measure_plan *plan, json_t *json) {
    json_t *looks = json_array(), *references = json_array();
    for (unsigned i = 0; i < plan->looks; i++) {
        json_array_append_new(looks, json_integer(plan->look[i]));
    }
    for (unsigned i = 0; i < plan->references; i++) {
        json_array_append_new(references, reference_to_json(&plan->reference[i]));
    }
    json_object_set_new(json, "looks", looks);
    json_object_set_new(json, "references", references);
    json_object_set_new(json, "kind_sd_kg", json_real(plan->kind_repeatability_kg.u));
    json_object_set_new(json, "kind_sd_dof", json_real(plan->kind_repeatability_kg.dof));
    json_object_set_new(json, "kind_shake_share", json_real(plan->kind_shake_share));
    if (plan->opening.known) {
        json_object_set_new(json, "opening",
                            json_pack("{s:f, s:f, s:f, s:o, s:o}", "age_s", plan->opening.age_s,
                                      "load", plan->opening.load, "u_load", plan->opening.u_load,
                                      "temp_c", up_json_number(plan->opening.temp_c), "temp_age_s",
                                      up_json_number(plan->opening.temp_age_s)));
    }
    json_object_set_new(
        json, "temp_oldest_s",
        up_json_number(plan->temp_oldest_s > 0 ? plan->temp_oldest_s : UP_TEMPERATURE_OLDEST_S));
    json_object_set_new(json, "second_depth_m", json_real(plan->second_depth_m));
    json_object_set_new(json, "draws", json_integer(plan->draws));
    json_object_set_new(json, "seed", json_integer((json_int_t)plan->seed));
    json_object_set_new(json, "two_point_m", json_real(plan->two_point_m));
}

static void rest_from_json(const json_t *json, struct up_measure_plan *plan) {
    size_t i;
    const json_t *entry;
    json_array_foreach(json_object_get(json, "looks"), i, entry) {
        if (plan->looks < UP_LOOKS_MAX) {
            plan->look[plan->looks++] = (unsigned)json_integer_value(entry);
        }
    }
    json_array_foreach(json_object_get(json, "references"), i, entry) {
        if (plan->references < UP_REFERENCES_MAX) {
            reference_from_json(entry, &plan->reference[plan->references++]);
        }
    }
    plan->kind_repeatability_kg.u = number_of(json, "kind_sd_kg", 0);
    plan->kind_repeatability_kg.dof = number_of(json, "kind_sd_dof", 0);
    plan->kind_shake_share = number_of(json, "kind_shake_share", 0);
    const json_t *opening = json_object_get(json, "opening");
    plan->opening = (struct up_opening){.known = opening != NULL,
                                        .age_s = number_of(opening, "age_s", 0),
                                        .load = number_of(opening, "load", 0),
                                        .u_load = number_of(opening, "u_load", 0),
                                        .temp_c = number_of(opening, "temp_c", (double)NAN),
                                        .temp_age_s = number_of(opening, "temp_age_s", 0)};
    /* A run of before it was kept asked once only. */
    plan->temp_oldest_s = number_of(json, "temp_oldest_s", (double)INFINITY);
    plan->second_depth_m = number_of(json, "second_depth_m", 0);
    json_int_t draws = json_integer_value(json_object_get(json, "draws"));
    plan->draws = draws > 0 && draws <= DRAWS_MAX ? (unsigned)draws : 0;
    plan->seed = (unsigned long)json_integer_value(json_object_get(json, "seed"));
    plan->two_point_m = number_of(json, "two_point_m", 0);
}

/* ---- the whole ---- */

static bool damaged(const char *what, struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the run's journal lacks %s: it was made by an older version, or was changed",
                   what);
}

bool rig_to_json(const struct up_rig *rig, json_t *plan, struct up_failure *failure) {
    bool is_device = rig->port_kind == UP_PORT_PTY || rig->port_kind == UP_PORT_SERIAL;
    char *text = up_rig_read_text(rig->path, failure);
    if (text == NULL) {
        return false;
    }
    char *clean = up_text_clean_lines(text);
    json_object_update_new(
        plan, json_pack("{s:s, s:s, s:b, s:b, s:s, s:f}", "event", "plan", "rig", clean,
                        "talked_unasked", is_device && rig->line.poll[0] == '\0', "typed",
                        rig->port_kind == UP_PORT_TYPED, "mass_class",
                        up_mass_class_name(rig->mass_class), "air_temp_c", rig->air.temp_c.value));
    free(text);
    free(clean);
    return true;
}

static bool rig_from_json(const json_t *plan, struct up_rig *rig, struct up_failure *failure) {
    const char *text = json_string_value(json_object_get(plan, "rig"));
    const char *mass_class = json_string_value(json_object_get(plan, "mass_class"));
    double air_temp_c = up_record_number(plan, "air_temp_c");
    if (text == NULL || !isfinite(air_temp_c)) {
        return damaged(plan == NULL ? "its plan" : "its rig file", failure);
    }
    if (!up_rig_parse("of the run", text, rig, failure)) {
        return false;
    }
    rig->air.temp_c.value = air_temp_c;
    if (mass_class != NULL) {
        up_mass_class_from_name(mass_class, &rig->mass_class);
    }
    return !json_is_true(json_object_get(plan, "typed")) || up_rig_type_readings(rig, failure);
}

static unsigned read_waters(const json_t *plan, struct up_water water[UP_WATERS_MAX]) {
    unsigned count = 0;
    size_t i;
    const json_t *entry;
    json_array_foreach(json_object_get(plan, "waters"), i, entry) {
        const char *name = json_string_value(json_object_get(entry, "name"));
        if (count == UP_WATERS_MAX || name == NULL) {
            break;
        }
        water[count] = (struct up_water){
            .model = json_is_true(json_object_get(entry, "sea"))    ? UP_WATER_SEA
                     : json_is_true(json_object_get(entry, "pool")) ? UP_WATER_POOL
                                                                    : UP_WATER_FRESH,
            .salinity_range = json_is_true(json_object_get(entry, "range")),
            .temp_c = up_record_number(entry, "temp_c"),
            .u_temp_c = up_record_number(entry, "u_temp_c"),
            .salinity_g_kg = up_record_number(entry, "salinity_g_kg"),
            .u_salinity_g_kg = up_record_number(entry, "u_salinity_g_kg"),
            .depth_m = up_record_number(entry, "depth_m")};
        snprintf(water[count].name, sizeof water[count].name, "%s", name);
        count++;
    }
    return count;
}

bool measure_plan_from_json(const json_t *plan, struct stored_run *run,
                            struct up_failure *failure) {
    struct up_measure_plan *measure = &run->measure;
    if (!rig_from_json(plan, &run->rig, failure)) {
        return false;
    }
    if (!up_item_from_json(json_object_get(plan, "item"), &measure->item) ||
        !up_calibration_from_json(json_object_get(plan, "calibration"), &run->calibration)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "run %s holds no item and calibration: only a run of measure can be "
                       "measured again",
                       run->left.id);
    }
    measure->rig = &run->rig;
    measure->calibration = &run->calibration;
    measure->trials = (unsigned)json_integer_value(json_object_get(plan, "trials"));
    measure->water = run->water;
    measure->waters = read_waters(plan, run->water);
    measure->confidence = up_record_number(plan, "confidence");
    measure->coverage = up_record_number(plan, "coverage");
    rest_from_json(plan, measure);
    memcpy(measure->run_id, run->left.id, sizeof measure->run_id);
    return true;
}

bool calibrate_plan_from_json(const json_t *plan, struct stored_run *run,
                              struct up_failure *failure) {
    struct up_calibrate_plan *calibrate = &run->calibrate;
    const json_t *masses = json_object_get(plan, "masses_kg"), *mass;
    size_t i;
    if (!rig_from_json(plan, &run->rig, failure)) {
        return false;
    }
    if (!json_is_array(masses)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "run %s holds no masses: only a run of calibrate can be repeated so",
                       run->left.id);
    }
    calibrate->rig = &run->rig;
    json_array_foreach(masses, i, mass) {
        if (calibrate->masses < UP_CALIBRATION_POINTS_MAX) {
            calibrate->mass_kg[calibrate->masses++] = json_number_value(mass);
        }
    }
    calibrate->staircase = json_is_true(json_object_get(plan, "staircase"));
    return true;
}

json_t *calibrate_plan_to_json(const struct up_calibrate_plan *plan) {
    json_t *masses = json_array();
    for (unsigned i = 0; i < plan->masses; i++) {
        json_array_append_new(masses, json_real(plan->mass_kg[i]));
    }
    return json_pack("{s:o, s:b}", "masses_kg", masses, "staircase", plan->staircase);
}

json_t *measure_plan_to_json(const struct up_measure_plan *plan) {
    json_t *waters = json_array();
    for (unsigned i = 0; i < plan->waters; i++) {
        const struct up_water *water = &plan->water[i];
        json_array_append_new(
            waters,
            json_pack("{s:s, s:b, s:b, s:b, s:f, s:f, s:f, s:f, s:f}", "name", water->name, "sea",
                      water->model == UP_WATER_SEA, "pool", water->model == UP_WATER_POOL, "range",
                      water->salinity_range, "temp_c", water->temp_c, "u_temp_c", water->u_temp_c,
                      "salinity_g_kg", water->salinity_g_kg, "u_salinity_g_kg",
                      water->u_salinity_g_kg, "depth_m", water->depth_m));
    }
    json_t *json = json_pack("{s:o, s:o, s:i, s:f, s:f, s:o}", "item", up_item_to_json(&plan->item),
                             "calibration", up_calibration_to_json(plan->calibration), "trials",
                             (int)plan->trials, "confidence", plan->confidence, "coverage",
                             plan->coverage, "waters", waters);
    rest_to_json(plan, json);
    return json;
}
