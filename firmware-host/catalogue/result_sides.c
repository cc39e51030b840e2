/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a result's record holds beside its number: trials left out, water taken up, the session's
   reference bodies, two points, a second depth. */
#include <math.h>

#include "internal.h"

static void set_number(json_t *json, const char *key, double value) {
    json_object_set_new(json, key, number_or_null(value));
}

static json_t *left_out_to_json(const struct up_result *result) {
    json_t *list = json_array();
    for (int i = 0; i < 64; i++) {
        if ((result->left_out >> i & 1) != 0) {
            json_array_append_new(list, json_integer(i + 1));
        }
    }
    return list;
}

static json_t *checks_to_json(const struct up_result *result) {
    json_t *list = json_array();
    for (unsigned i = 0; i < result->checks; i++) {
        const struct up_reference_check *check = &result->check[i];
        json_t *json = json_pack("{s:s, s:o, s:b, s:b}", "reference_id", check->id, "name",
                                 clean_string(check->name), "outside", check->outside, "confirmed",
                                 check->confirmed);
        set_number(json, "deviation_g", check->deviation_kg.value * 1e3);
        set_number(json, "u_deviation_g", check->deviation_kg.u * 1e3);
        json_array_append_new(list, json);
    }
    return list;
}

static json_t *moment_to_json(const struct up_moment *moment) {
    json_t *json = json_object();
    set_number(json, "distance_m", moment->distance_m);
    set_number(json, "hook_end_g", moment->hook_kg.value * 1e3);
    set_number(json, "u_hook_end_g", moment->hook_kg.u * 1e3);
    set_number(json, "far_end_g", moment->far_kg.value * 1e3);
    set_number(json, "u_far_end_g", moment->far_kg.u * 1e3);
    set_number(json, "moment_nm", moment->moment_nm.value);
    set_number(json, "u_moment_nm", moment->moment_nm.u);
    return json;
}

/* Diving depths, in the tank's water and at its temperature; those that the gas law reaches. */
static json_t *foretold_to_json(const struct up_gas *gas) {
    static const double depths_m[] = {5, 10, 15, 20, 30};
    json_t *list = json_array();
    for (size_t i = 0; i < sizeof depths_m / sizeof depths_m[0]; i++) {
        struct up_gas_place place = {depths_m[i], gas->session.air_pressure_pa.value, gas->temp_c};
        struct up_gas_prediction told;
        if (up_gas_buoyancy_at(gas, &place, &told, NULL)) {
            json_t *json = json_object();
            set_number(json, "depth_m", depths_m[i]);
            set_number(json, "buoyancy_g", told.buoyancy_kg.value * 1e3);
            set_number(json, "u_buoyancy_g", told.buoyancy_kg.u * 1e3);
            json_array_append_new(list, json);
        }
    }
    return list;
}

static json_t *second_depth_to_json(const struct up_result *result) {
    const struct up_gas *gas = &result->gas;
    json_t *json = json_object();
    set_number(json, "depth_m", result->second_depth_m);
    set_number(json, "buoyancy_g", result->second_buoyancy_kg.value * 1e3);
    set_number(json, "u_buoyancy_g", result->second_buoyancy_kg.u * 1e3);
    if (result->has_gas) {
        set_number(json, "gas_l", gas->volume_m3.value * 1e3);
        set_number(json, "u_gas_l", gas->volume_m3.u * 1e3);
        set_number(json, "pressure_pa", gas->pressure_pa);
        set_number(json, "deep_pressure_pa", gas->deep_pressure_pa);
        set_number(json, "temp_c", gas->temp_c);
        set_number(json, "valid_from_pa", gas->pressure_low_pa);
        set_number(json, "valid_to_pa", gas->pressure_high_pa);
        set_number(json, "valid_from_c", gas->temp_low_c);
        set_number(json, "valid_to_c", gas->temp_high_c);
        json_object_set_new(json, "foretold", foretold_to_json(gas));
    }
    return json;
}

void set_sides(json_t *json, const struct up_result *result) {
    json_object_set_new(json, "left_out", left_out_to_json(result));
    json_object_set_new(json, "takes_up_water", json_boolean(result->takes_up_water));
    json_object_set_new(json, "stated_at_last_soak", json_boolean(result->at_last_soak));
    set_number(json, "uptake_g_min", result->uptake_g_min);
    set_number(json, "u_uptake_g_min", result->u_uptake_g_min);
    json_object_set_new(json, "checks", checks_to_json(result));
    if (result->moment.distance_m > 0) {
        json_object_set_new(json, "two_points", moment_to_json(&result->moment));
    }
    if (result->second_depth_m > 0) {
        json_object_set_new(json, "second_depth", second_depth_to_json(result));
    }
}

/* ---- back ---- */

static void take_checks(const json_t *list, struct up_result *result) {
    const json_t *one;
    size_t i;
    json_array_foreach(list, i, one) {
        if (result->checks == UP_REFERENCES_MAX) {
            return;
        }
        struct up_reference_check *check = &result->check[result->checks++];
        take_text(one, "reference_id", check->id, sizeof check->id);
        take_text(one, "name", check->name, sizeof check->name);
        check->outside = json_is_true(json_object_get(one, "outside"));
        check->confirmed = json_is_true(json_object_get(one, "confirmed"));
        check->deviation_kg.value = up_record_number(one, "deviation_g") * 1e-3;
        check->deviation_kg.u = up_record_number(one, "u_deviation_g") * 1e-3;
    }
}

/* What a weighing has in common in all waters; two points and a second depth are the tank's. */
void take_sides(const json_t *body, struct up_result *result) {
    const json_t *number;
    size_t i;
    json_array_foreach(json_object_get(body, "left_out"), i, number) {
        json_int_t trial = json_integer_value(number);
        if (trial >= 1 && trial <= 64) {
            result->left_out |= (uint64_t)1 << (trial - 1);
        }
    }
    result->takes_up_water = json_is_true(json_object_get(body, "takes_up_water"));
    result->at_last_soak = json_is_true(json_object_get(body, "stated_at_last_soak"));
    result->uptake_g_min = up_record_number(body, "uptake_g_min");
    result->u_uptake_g_min = up_record_number(body, "u_uptake_g_min");
    take_checks(json_object_get(body, "checks"), result);
}
