/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "internal.h"

/* "sensitivity" is in kg per unit of the input. */
static json_t *budget_to_json(const struct up_term term[UP_INPUT_COUNT]) {
    json_t *list = json_array();
    for (int i = 0; i < UP_INPUT_COUNT; i++) {
        enum up_input input = (enum up_input)i;
        char evaluation[2] = {term[i].evaluation != '\0' ? term[i].evaluation : 'B', '\0'};
        if (term[i].u > 0) {
            json_array_append_new(
                list, json_pack("{s:s, s:s, s:o, s:o, s:o, s:s, s:s, s:o, s:o}", "name",
                                up_input_name(input), "unit", up_input_unit(input), "value",
                                number_or_null(term[i].value), "u", number_or_null(term[i].u),
                                "dof", number_or_null(term[i].dof), "distribution",
                                up_distribution_name(term[i].distribution), "evaluation",
                                evaluation, "sensitivity", number_or_null(term[i].sensitivity),
                                "share_of_variance", number_or_null(term[i].share)));
        }
    }
    return list;
}

static void set_number(json_t *json, const char *key, double value) {
    json_object_set_new(json, key, number_or_null(value));
}

static void set_water(json_t *json, const struct up_result *result) {
    json_object_set_new(json, "water", clean_string(result->water.name));
    json_object_set_new(json, "basis", json_string(result->measured ? "measured" : "calculated"));
    set_number(json, "water_density_kg_m3", result->water_density_kg_m3.value);
    set_number(json, "u_water_density_kg_m3", result->water_density_kg_m3.u);
    set_number(json, "water_temp_c", result->water.temp_c);
    set_number(json, "salinity_g_kg", result->water.salinity_g_kg);
    set_number(json, "depth_m", result->water.depth_m);
    set_number(json, "immersion_depth_m", result->immersion_depth_m);
    set_number(json, "air_pressure_pa", result->air_pressure_pa);
    set_number(json, "soak_s", result->soak_s);
}

static void set_answer(json_t *json, const struct up_result *result) {
    const struct up_answer *answer = &result->answer;
    set_number(json, "buoyancy_g", answer->buoyancy_kg.value * 1e3);
    set_number(json, "u_buoyancy_g", answer->buoyancy_kg.u * 1e3);
    set_number(json, "dof", answer->buoyancy_kg.dof);
    set_number(json, "expanded_u_g", answer->expanded_u_kg * 1e3);
    set_number(json, "coverage", result->question.coverage);
    set_number(json, "tolerance_g", result->question.tolerance_kg * 1e3);
    set_number(json, "confidence", result->question.confidence);
    set_number(json, "probability_positive", answer->probability_positive);
    set_number(json, "probability_neutral", answer->probability_neutral);
    set_number(json, "probability_negative", answer->probability_negative);
    json_object_set_new(json, "class", json_string(up_class_name(answer->class)));
    set_number(json, "volume_m3", answer->volume_m3);
    set_number(json, "mass_kg", answer->mass_kg);
}

json_t *up_result_to_json(const struct up_result *result) {
    json_t *json = json_pack("{s:s, s:s, s:b, s:I, s:o}", "item_id", result->item_id, "run_id",
                             result->run_id, "compressible", result->compressible, "trials",
                             (json_int_t)result->trials, "method", clean_string(result->method));
    set_water(json, result);
    set_answer(json, result);
    json_object_set_new(json, "budget", budget_to_json(result->weighing.term));
    return json;
}

/* A record of its own: who asks another question later adds another decision and keeps this one. */
static json_t *decision_of(const json_t *result, const char *result_id) {
    static const char *const members[] = {"item_id",
                                          "run_id",
                                          "water",
                                          "tolerance_g",
                                          "confidence",
                                          "coverage",
                                          "probability_positive",
                                          "probability_neutral",
                                          "probability_negative",
                                          "class"};
    json_t *json = json_pack("{s:s}", "result_id", result_id);
    for (size_t i = 0; i < sizeof members / sizeof members[0]; i++) {
        json_object_set(json, members[i], json_object_get(result, members[i]));
    }
    json_object_set(json, "rule", json_object_get(result, "method"));
    return json;
}

static bool add_one(struct up_catalogue *catalogue, const struct up_result *result,
                    const char *bench, struct up_failure *failure) {
    char id[UP_ID_SIZE] = "";
    json_t *body = up_result_to_json(result), *decision = NULL;
    bool good = up_catalogue_add(catalogue, "result", NULL, bench, body, NULL, id, failure);
    if (good) {
        decision = decision_of(body, id);
        good = up_catalogue_add(catalogue, "decision", NULL, bench, decision, NULL, NULL, failure);
    }
    json_decref(decision);
    json_decref(body);
    return good;
}

bool up_results_add(struct up_catalogue *catalogue, const struct up_result *result, size_t results,
                    const char *bench, struct up_failure *failure) {
    bool good = catalogue_begin(catalogue, failure);
    if (!good) {
        return false;
    }
    for (size_t i = 0; i < results && good; i++) {
        good = add_one(catalogue, &result[i], bench, failure);
    }
    return catalogue_end(catalogue, good, failure);
}
