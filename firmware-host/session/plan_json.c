/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A plan of measuring as the run's journal keeps it, so that the run can be repeated from there
   alone: what goes beyond item, calibration and waters. */
#include <math.h>
#include <string.h>

#include "../cli/cli.h"
#include "upthrust/procedure.h"

static double number_of(const json_t *json, const char *name, double otherwise) {
    const json_t *value = json_object_get(json, name);
    return json_is_number(value) ? json_number_value(value) : otherwise;
}

static json_t *number_or_null(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

/* ---- reference bodies ---- */

static json_t *reference_to_json(const struct up_reference_plan *plan) {
    const struct up_reference *body = &plan->reference;
    const struct up_chart *chart = &plan->chart;
    return json_pack("{s:s, s:s, s:f, s:f, s:f, s:f, s:f, s:f, s:i, s:b, s:o, s:o, s:o, s:o, s:o}",
                     "id", body->id, "name", body->name, "mass_kg", body->mass_kg.value,
                     "u_mass_kg", body->mass_kg.u, "volume_m3", body->volume_m3.value,
                     "u_volume_m3", body->volume_m3.u, "expansion_per_k", body->expansion_per_k,
                     "u_expansion_per_k", body->u_expansion_per_k, "points", (int)chart->count,
                     "has_limits", chart->has_limits, "centre_kg", number_or_null(chart->centre),
                     "sd_kg", number_or_null(chart->sd), "low_kg", number_or_null(chart->low),
                     "high_kg", number_or_null(chart->high), "typical_u_kg",
                     number_or_null(chart->typical_u));
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

/* ---- the whole ---- */

void plan_more_to_json(const struct up_measure_plan *plan, json_t *json) {
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
                            json_pack("{s:f, s:f, s:f, s:o}", "age_s", plan->opening.age_s, "load",
                                      plan->opening.load, "u_load", plan->opening.u_load, "temp_c",
                                      number_or_null(plan->opening.temp_c)));
    }
    json_object_set_new(json, "second_depth_m", json_real(plan->second_depth_m));
    json_object_set_new(json, "draws", json_integer(plan->draws));
    json_object_set_new(json, "seed", json_integer((json_int_t)plan->seed));
    json_object_set_new(json, "two_point_m", json_real(plan->two_point_m));
}

void plan_more_from_json(const json_t *json, struct up_measure_plan *plan) {
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
                                        .temp_c = number_of(opening, "temp_c", (double)NAN)};
    plan->second_depth_m = number_of(json, "second_depth_m", 0);
    plan->draws = (unsigned)json_integer_value(json_object_get(json, "draws"));
    plan->seed = (unsigned long)json_integer_value(json_object_get(json, "seed"));
    plan->two_point_m = number_of(json, "two_point_m", 0);
}
