/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A plan as the run's journal holds it, so that the run can be repeated from there alone. */
#include <string.h>

#include "catalogue/members.h"
#include "internal.h"
#include "text/text.h"

/* No session plans more; a manipulated journal could ask for all memory. */
enum { DRAWS_MAX = 1000000 };

#define MEMBERS_OF struct up_water
static const struct catalogue_member water_members[] = {
    TEXT("name", name, 0, ""),
    TRUTH("range", salinity_range, 0, ""),
    NUMBER("temp_c", temp_c, UNIT_C, NEEDED, ""),
    NUMBER("u_temp_c", u_temp_c, UNIT_C, NEEDED, ""),
    NUMBER("salinity_g_kg", salinity_g_kg, UNIT_G_KG, NEEDED, ""),
    NUMBER("u_salinity_g_kg", u_salinity_g_kg, UNIT_G_KG, NEEDED, ""),
    NUMBER("depth_m", depth_m, UNIT_M, NEEDED, ""),
    END};
#undef MEMBERS_OF

#define MEMBERS_OF struct up_chart
static const struct catalogue_member chart_members[] = {
    INTEGER("points", count, 0, 0, ""),
    TRUTH("has_limits", has_limits, 0, ""),
    NUMBER("centre_kg", centre, UNIT_KG, 0, ""),
    NUMBER("sd_kg", sd, UNIT_KG, 0, ""),
    NUMBER("low_kg", low, UNIT_KG, 0, ""),
    NUMBER("high_kg", high, UNIT_KG, 0, ""),
    NUMBER("typical_u_kg", typical_u, UNIT_KG, 0, ""),
    END};
#undef MEMBERS_OF

#define MEMBERS_OF struct up_opening
static const struct catalogue_member opening_members[] = {
    NUMBER("age_s", age_s, UNIT_S, NEEDED, ""),
    NUMBER("load", load, UNIT_COUNTS, NEEDED, ""),
    NUMBER("u_load", u_load, UNIT_COUNTS, NEEDED, ""),
    NUMBER("temp_c", temp_c, UNIT_C, 0, ""),
    NUMBER_AS(IN_ABOVE_ZERO, "temp_age_s", temp_age_s, UNIT_S, LATER, ""),
    NUMBER("ballast_kg", ballast_kg, UNIT_KG, LATER, ""),
    NUMBER_AS(IN_ABOVE_ZERO, "early", early, UNIT_COUNTS, LATER, ""),
    END};
#undef MEMBERS_OF

#define MEMBERS_OF struct up_measure_plan
static const struct catalogue_member plan_members[] = {
    INTEGER("trials", trials, UP_TRIALS_MAX, 0, ""),
    NUMBER("confidence", confidence, UNIT_PROBABILITY, NEEDED, ""),
    NUMBER("coverage", coverage, UNIT_PROBABILITY, NEEDED, ""),
    NUMBER_AS(IN_ABOVE_ZERO, "kind_sd_kg", kind_repeatability_kg.u, UNIT_KG, LATER, ""),
    NUMBER_AS(IN_ABOVE_ZERO, "kind_sd_dof", kind_repeatability_kg.dof, UNIT_DOF, LATER, ""),
    NUMBER_AS(IN_ABOVE_ZERO, "kind_shake_share", kind_shake_share, UNIT_SHARE, LATER, ""),
    NUMBER_AS(IN_ABOVE_ZERO, "kind_stuck_share", kind_stuck_share, UNIT_SHARE, LATER, ""),
    NUMBER_AS(IN_ABOVE_ZERO, "kind_stuck_kg", kind_stuck_kg, UNIT_KG, LATER, ""),
    NUMBER("temp_oldest_s", temp_oldest_s, UNIT_S, LATER, ""),
    NUMBER_AS(IN_ABOVE_ZERO, "second_depth_m", second_depth_m, UNIT_M, LATER, ""),
    NUMBER_AS(IN_ABOVE_ZERO, "two_point_m", two_point_m, UNIT_M, LATER, ""),
    TRUTH("bare_hook", bare_hook, LATER, ""),
    TRUTH("steady_shakes", steady_shakes, LATER, ""),
    TEXT("filled_with", filling.gas, LATER, ""),
    NUMBER("filling_bar", filling.pressure_bar, UNIT_BAR, LATER | NOT_NEGATIVE, ""),
    INTEGER("draws", draws, DRAWS_MAX, LATER, ""),
    INTEGER("seed", seed, 0, LATER, ""),
    END};
#undef MEMBERS_OF

/* ---- waters and reference bodies ---- */

static json_t *water_to_json(const struct up_water *water) {
    json_t *json = members_to_json(water_members, water);
    json_object_set_new(json, "sea", json_boolean(water->model == UP_WATER_SEA));
    json_object_set_new(json, "pool", json_boolean(water->model == UP_WATER_POOL));
    return json;
}

static bool water_from_json(const json_t *json, struct up_water *water) {
    water->model = json_is_true(json_object_get(json, "sea"))    ? UP_WATER_SEA
                   : json_is_true(json_object_get(json, "pool")) ? UP_WATER_POOL
                                                                 : UP_WATER_FRESH;
    return members_from_json(water_members, json, water);
}

static json_t *reference_to_json(const struct up_reference_plan *plan) {
    json_t *json = up_reference_to_json(&plan->reference);
    json_object_set_new(json, "id", json_string(plan->reference.id));
    members_add_to_json(chart_members, &plan->chart, json);
    return json;
}

static bool reference_from_json(const json_t *json, struct up_reference_plan *plan) {
    const char *id = json_string_value(json_object_get(json, "id"));
    bool good = up_reference_from_json(json, &plan->reference) &&
                members_from_json(chart_members, json, &plan->chart);
    snprintf(plan->reference.id, sizeof plan->reference.id, "%s", id != NULL ? id : "");
    return good;
}

/* ---- the rig ---- */

static bool damaged(const char *what, struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the run's journal lacks %s: it was made by an older version, or was changed",
                   what);
}

bool rig_to_json(const struct up_rig *rig, json_t *plan, struct up_failure *failure) {
    bool is_device = rig->port_kind == UP_PORT_PTY || rig->port_kind == UP_PORT_SERIAL;
    UP_FREED char *text = up_rig_read_text(rig->path, failure);
    if (text == NULL) {
        return false;
    }
    UP_FREED char *clean = up_text_clean_lines(text);
    json_object_update_new(
        plan, json_pack("{s:s, s:s, s:b, s:b, s:s, s:f}", "event", "plan", "rig", clean,
                        "talked_unasked", is_device && rig->line.poll[0] == '\0', "typed",
                        rig->port_kind == UP_PORT_TYPED, "mass_class",
                        up_mass_class_name(rig->mass_class), "air_temp_c", rig->air.temp_c.value));
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

/* ---- the whole ---- */

static bool lists_from_json(const json_t *json, struct stored_run *run) {
    struct up_measure_plan *plan = &run->measure;
    const json_t *entry;
    size_t i;
    bool good = true;
    json_array_foreach(json_object_get(json, "waters"), i, entry) {
        good = good && plan->waters < UP_WATERS_MAX &&
               water_from_json(entry, &run->water[plan->waters++]);
    }
    json_array_foreach(json_object_get(json, "looks"), i, entry) {
        good = good && plan->analyses < UP_ANALYSES_MAX;
        if (good) {
            plan->analysis_at[plan->analyses++] = (unsigned)json_integer_value(entry);
        }
    }
    json_array_foreach(json_object_get(json, "references"), i, entry) {
        good = good && plan->references < UP_REFERENCES_MAX &&
               reference_from_json(entry, &plan->reference[plan->references++]);
    }
    return good;
}

static bool rest_from_json(const json_t *json, struct stored_run *run) {
    struct up_measure_plan *plan = &run->measure;
    const json_t *opening = json_object_get(json, "opening");
    bool good = members_from_json(plan_members, json, plan) && lists_from_json(json, run);
    if (isnan(plan->temp_oldest_s)) { /* a run of before it was recorded asked once only */
        plan->temp_oldest_s = (double)INFINITY;
    }
    plan->opening.known = opening != NULL;
    const json_t *quick = json_object_get(json, "quick");
    const json_t *shortens = json_object_get(json, "shortens");
    good = good && (quick == NULL || quick_plan_from_json(quick, &plan->quick));
    if (good && shortens != NULL) {
        good = quick_plan_from_json(shortens, &plan->quick);
        plan->quick.on = false;
        plan->quick.shortens = true;
    }
    return good && (opening == NULL || members_from_json(opening_members, opening, &plan->opening));
}

bool measure_plan_from_json(const json_t *json, struct stored_run *run,
                            struct up_failure *failure) {
    struct up_measure_plan *plan = &run->measure;
    if (!rig_from_json(json, &run->rig, failure)) {
        return false;
    }
    if (!up_item_from_json(json_object_get(json, "item"), &plan->item) ||
        !up_calibration_from_json(json_object_get(json, "calibration"), &run->calibration)) {
        return up_fail(
            failure, UP_STATUS_WRONG_INPUT,
            "run %s has no item and calibration: only a run of measure can be measured again",
            run->files.id);
    }
    plan->rig = &run->rig;
    plan->calibration = &run->calibration;
    plan->water = run->water;
    memcpy(plan->run_id, run->files.id, sizeof plan->run_id);
    return rest_from_json(json, run) || damaged("a plan that makes sense", failure);
}

json_t *measure_plan_to_json(const struct up_measure_plan *plan) {
    struct up_measure_plan whole = *plan;
    json_t *waters = json_array(), *analyses = json_array(), *references = json_array();
    for (unsigned i = 0; i < plan->waters; i++) {
        json_array_append_new(waters, water_to_json(&plan->water[i]));
    }
    for (unsigned i = 0; i < plan->analyses; i++) {
        json_array_append_new(analyses, json_integer(plan->analysis_at[i]));
    }
    for (unsigned i = 0; i < plan->references; i++) {
        json_array_append_new(references, reference_to_json(&plan->reference[i]));
    }
    if (whole.temp_oldest_s <= 0) {
        whole.temp_oldest_s = UP_TEMPERATURE_OLDEST_S;
    }
    json_t *json = members_to_json(plan_members, &whole);
    json_object_update_new(json, json_pack("{s:o, s:o, s:o, s:o, s:o}", "item",
                                           up_item_to_json(&plan->item), "calibration",
                                           up_calibration_to_json(plan->calibration), "waters",
                                           waters, "looks", analyses, "references", references));
    if (plan->opening.known) {
        json_object_set_new(json, "opening", members_to_json(opening_members, &plan->opening));
    }
    if (plan->quick.on || plan->quick.shortens) {
        json_object_set_new(json, plan->quick.on ? "quick" : "shortens",
                            quick_plan_to_json(&plan->quick));
    }
    return json;
}

#define MEMBERS_OF struct up_calibration_history
static const struct catalogue_member history_members[] = {
    NUMBER("earlier_scatter_rel", scatter_rel, UNIT_SHARE, NEEDED, ""),
    NUMBER("earlier_scatter_dof", scatter_dof, UNIT_DOF, NEEDED, ""),
    NUMBER("earlier_slope_rel", slope_rel, UNIT_SHARE, NEEDED, ""),
    NUMBER("earlier_slope_dof", slope_dof, UNIT_DOF, NEEDED, ""), END};
#undef MEMBERS_OF

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
                       "run %s has no masses: only a run of calibrate can be repeated this way",
                       run->files.id);
    }
    calibrate->rig = &run->rig;
    json_array_foreach(masses, i, mass) {
        if (calibrate->masses < UP_CALIBRATION_POINTS_MAX) {
            calibrate->mass_kg[calibrate->masses++] = json_number_value(mass);
        }
    }
    if (!members_from_json(history_members, plan, &calibrate->history)) {
        calibrate->history = (struct up_calibration_history){0}; /* of before it was looked at */
    }
    calibrate->staircase = json_is_true(json_object_get(plan, "staircase"));
    snprintf(calibrate->adopts, sizeof calibrate->adopts, "%s", up_record_text(plan, "adopts"));
    return true;
}

json_t *calibrate_plan_to_json(const struct up_calibrate_plan *plan) {
    json_t *masses = json_array();
    for (unsigned i = 0; i < plan->masses; i++) {
        json_array_append_new(masses, json_real(plan->mass_kg[i]));
    }
    json_t *json = json_pack("{s:o, s:b}", "masses_kg", masses, "staircase", plan->staircase);
    members_add_to_json(history_members, &plan->history, json);
    if (plan->adopts[0] != '\0') {
        json_object_set_new(json, "adopts", json_string(plan->adopts));
    }
    return json;
}
