/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A plan goes into the journal and comes back as it was. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "embedded.h"
#include "session/internal.h"
#include "virtual_bench.h"

static const double masses_kg[] = {0.5, 1, 2};
static struct virtual_bench bench;
static struct up_measure_plan plan;
static struct stored_run run;

static struct up_water water[] = {
    {.name = "fresh", .model = UP_WATER_FRESH, .temp_c = 20, .u_temp_c = 0.1, .depth_m = 1},
    {.name = "Lido",
     .model = UP_WATER_POOL,
     .temp_c = 25,
     .salinity_g_kg = 4,
     .u_salinity_g_kg = 0.5,
     .depth_m = 2},
    {.name = "red-sea", .model = UP_WATER_SEA, .salinity_range = true, .temp_c = 26}};

static int begin(void **state) {
    struct up_failure failure = {0};
    (void)state;
    virtual_bench_begin(&bench, 3);
    if (!virtual_bench_calibrate(&bench, masses_kg, 3, 2, &failure)) {
        return 1;
    }
    memset(&run, 0, sizeof run);
    plan = (struct up_measure_plan){
        .rig = &bench.rig,
        .calibration = &bench.calibration,
        .item = virtual_bench_item(virtual_bench_gear("Lead block")),
        .trials = 8,
        .analysis_at = {4, 6, 8},
        .analyses = 3,
        .kind_repeatability_kg = {.u = 3e-4, .dof = 12},
        .kind_shake_share = 0.4,
        .kind_stuck_share = 0.2,
        .kind_stuck_kg = 0.003,
        .filling = {"EAN32", 210},
        .reference = {{.reference = {.id = "an-id",
                                     .name = "Brass",
                                     .mass_kg = {1, 1e-5, (double)INFINITY},
                                     .volume_m3 = {1.2e-4, 1e-8, (double)INFINITY},
                                     .expansion_per_k = 5.7e-5},
                       .chart = {.count = 9,
                                 .has_limits = true,
                                 .centre = 1e-4,
                                 .sd = 2e-4,
                                 .low = -5e-4,
                                 .high = 7e-4,
                                 .typical_u = 2e-4}}},
        .references = 1,
        .bare_hook = true,
        .steady_shakes = true,
        .opening = {.known = true,
                    .age_s = 40,
                    .load = -500,
                    .u_load = 3,
                    .temp_c = 19.5,
                    .temp_age_s = 200,
                    .ballast_kg = 1.82},
        .temp_oldest_s = 300,
        .second_depth_m = 4,
        .two_point_m = 0.5,
        .water = water,
        .waters = 3,
        .confidence = 0.95,
        .coverage = 0.95,
        .draws = 2000,
        .seed = 77};
    return 0;
}

static int end(void **state) {
    (void)state;
    virtual_bench_end(&bench);
    return 0;
}

static json_t *to_json(void) {
    json_t *json = measure_plan_to_json(&plan);
    json_object_update_new(json, json_pack("{s:s, s:s, s:f}", "rig", embedded_simulated_ini,
                                           "mass_class", "M1", "air_temp_c", 20.0));
    return json;
}

static bool read_back(json_t *json, struct up_failure *failure) {
    memset(&run, 0, sizeof run);
    bool good = measure_plan_from_json(json, &run, failure);
    json_decref(json);
    return good;
}

/* What is written from the plan that was read is the same again, and so is each number of it. */
static void all_of_a_plan_comes_back(void **state) {
    struct up_failure failure = {0};
    (void)state;
    if (!read_back(to_json(), &failure)) {
        fail_msg("%s", failure.text);
    }
    json_t *once = measure_plan_to_json(&plan), *again = measure_plan_to_json(&run.measure);
    assert_true(json_equal(once, again));
    json_decref(once);
    json_decref(again);
    const struct up_measure_plan *back = &run.measure;
    assert_int_equal(back->trials, 8);
    assert_int_equal(back->analyses, 3);
    assert_int_equal(back->analysis_at[1], 6);
    assert_true(back->kind_repeatability_kg.u == 3e-4 && back->kind_repeatability_kg.dof == 12);
    assert_true(back->kind_shake_share == 0.4);
    assert_true(back->kind_stuck_share == 0.2 && back->kind_stuck_kg == 0.003);
    assert_true(back->opening.known && back->opening.load == -500);
    assert_true(back->opening.ballast_kg == 1.82);
    assert_true(back->opening.temp_age_s == 200 && back->temp_oldest_s == 300);
    assert_true(back->second_depth_m == 4 && back->two_point_m == 0.5);
    assert_true(back->confidence == 0.95 && back->coverage == 0.95);
    assert_true(back->bare_hook && back->steady_shakes);
    assert_string_equal(back->filling.gas, "EAN32");
    assert_true(back->filling.pressure_bar == 210);
    assert_int_equal(back->draws, 2000);
    assert_int_equal(back->seed, 77);
    assert_int_equal(back->waters, 3);
    assert_int_equal(back->water[1].model, UP_WATER_POOL);
    assert_true(back->water[2].salinity_range && back->water[2].model == UP_WATER_SEA);
    assert_string_equal(back->reference[0].reference.id, "an-id");
    assert_int_equal(back->reference[0].chart.count, 9);
    assert_true(back->reference[0].chart.high == 7e-4);
}

/* The keys are released: other programs, and journals of earlier versions, have them. */
static void the_keys_stay(void **state) {
    static const char *const keys[] = {
        "item",           "calibration",  "trials",      "confidence",  "coverage",
        "waters",         "looks",        "references",  "kind_sd_kg",  "opening",
        "draws",          "seed",         "kind_sd_dof", "two_point_m", "kind_shake_share",
        "second_depth_m", "filled_with",  "filling_bar", "bare_hook",   "kind_stuck_share",
        "kind_stuck_kg",  "steady_shakes"};
    (void)state;
    json_t *json = to_json();
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        if (json_object_get(json, keys[i]) == NULL) {
            fail_msg("%s is missing", keys[i]);
        }
    }
    const json_t *first = json_array_get(json_object_get(json, "waters"), 1);
    assert_true(json_is_true(json_object_get(first, "pool")));
    json_decref(json);
}

/* What a journal of an earlier version lacks is taken as not planned. */
static void an_older_plan_is_read(void **state) {
    static const char *const later[] = {"looks",          "references",    "kind_sd_kg",
                                        "opening",        "kind_sd_dof",   "kind_shake_share",
                                        "draws",          "seed",          "two_point_m",
                                        "second_depth_m", "temp_oldest_s", "filled_with",
                                        "filling_bar",    "bare_hook",     "kind_stuck_share",
                                        "kind_stuck_kg",  "steady_shakes"};
    struct up_failure failure = {0};
    (void)state;
    json_t *json = to_json();
    for (size_t i = 0; i < sizeof later / sizeof later[0]; i++) {
        json_object_del(json, later[i]);
    }
    if (!read_back(json, &failure)) {
        fail_msg("%s", failure.text);
    }
    const struct up_measure_plan *back = &run.measure;
    assert_false(back->bare_hook || back->steady_shakes); /* its journal answers no such question */
    assert_true(back->kind_repeatability_kg.u == 0 && back->kind_shake_share == 0 &&
                back->kind_stuck_share == 0 && back->kind_stuck_kg == 0);
    assert_true(back->two_point_m == 0 && back->second_depth_m == 0 && !back->opening.known);
    assert_true(isinf(back->temp_oldest_s));
    assert_string_equal(back->filling.gas, "");
    assert_int_equal(back->draws, 0);
}

static void fill_quick(void) {
    struct up_quick_plan *quick = &plan.quick;
    *quick = (struct up_quick_plan){
        .on = true, .asks_aside = true, .mass_kg = 0.9, .u_mass_kg = 1.0 / 3, .lot = 4123456789};
    for (int step = 0; step < UP_QUICK_STEPS; step++) {
        quick->watch[step] = (struct up_early_watch){(unsigned)(7 + step), 0x80000001u};
        quick->envelope[step] = (struct up_early_envelope){
            .basis = (enum up_early_basis)step, .traces = 120, .items = 31};
        for (int i = 0; i < UP_EARLY_VALUES; i++) {
            quick->envelope[step].a_kg[i] = 1e-3 / (3 + i);
            quick->envelope[step].b[i] = 0.01 / (7 + i);
            quick->envelope[step].mean[i] = -1.0 / (11 + i + step);
            quick->envelope[step].bound[i] = 2.0 + 1.0 / (13 + i);
        }
    }
    plan.opening.early = 512.0 / 3;
}

/* To the last digit: a replay must end each reading where the run did. */
static void all_of_a_quick_plan_comes_back(void **state) {
    struct up_failure failure = {0};
    (void)state;
    fill_quick();
    json_t *json = to_json();
    char *text = json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(17)); /* as the journal does */
    json_decref(json);
    json = json_loads(text, 0, NULL);
    free(text);
    if (!read_back(json, &failure)) {
        fail_msg("%s", failure.text);
    }
    const struct up_quick_plan *back = &run.measure.quick, *was = &plan.quick;
    assert_true(back->on && back->asks_aside && back->lot == was->lot);
    assert_true(back->mass_kg == was->mass_kg && back->u_mass_kg == was->u_mass_kg);
    assert_true(run.measure.opening.early == plan.opening.early);
    for (int step = 0; step < UP_QUICK_STEPS; step++) {
        const struct up_early_envelope *a = &back->envelope[step], *b = &was->envelope[step];
        assert_int_equal(a->basis, b->basis);
        assert_true(a->traces == b->traces && a->items == b->items);
        assert_memory_equal(a->a_kg, b->a_kg, sizeof a->a_kg);
        assert_memory_equal(a->b, b->b, sizeof a->b);
        assert_memory_equal(a->mean, b->mean, sizeof a->mean);
        assert_memory_equal(a->bound, b->bound, sizeof a->bound);
        assert_int_equal(back->watch[step].seen, was->watch[step].seen);
        assert_int_equal(back->watch[step].against, was->watch[step].against);
    }
    plan.quick.on = false;
    assert_true(read_back(to_json(), &failure));
    assert_false(run.measure.quick.on || run.measure.quick.shortens);
    plan.quick.shortens = true; /* a full weighing that may end minor readings */
    assert_true(read_back(to_json(), &failure));
    assert_true(run.measure.quick.shortens && !run.measure.quick.on);
    assert_memory_equal(run.measure.quick.envelope[1].bound, plan.quick.envelope[1].bound,
                        sizeof plan.quick.envelope[1].bound);
    assert_true(run.measure.quick.lot == plan.quick.lot && run.measure.quick.watch[2].seen == 9);
    plan.quick.shortens = false;
}

/* A journal may have been changed. */
/* Two of the latest six lay outside: step by step what was learned is rejected, and watched anew.
 */
static void a_rejected_envelope_is_watched_anew(void **state) {
    (void)state;
    struct up_quick_plan quick = {.watch = {{9, 1}, {9, 1}, {9, 1}}};
    const struct up_early_watch seen[UP_QUICK_STEPS] = {
        [UP_QUICK_IMMERSED] = {6, 3}, [UP_QUICK_SHAKEN] = {6, 2}, [UP_QUICK_LIFTED] = {3, 0}};
    quick_plan_watch(&quick, seen);
    assert_true(quick.watch[UP_QUICK_IMMERSED].seen == 0);
    assert_true(quick.watch[UP_QUICK_IMMERSED].against == 0);
    assert_true(quick.watch[UP_QUICK_SHAKEN].seen == 6 &&
                quick.watch[UP_QUICK_SHAKEN].against == 2);
    assert_int_equal(quick.watch[UP_QUICK_LIFTED].seen, 3);
    quick_plan_watch(&quick, NULL); /* another session */
    for (int step = 0; step < UP_QUICK_STEPS; step++) {
        assert_true(quick.watch[step].seen == 0 && quick.watch[step].against == 0);
    }
}

static void a_quick_plan_that_cannot_be_is_refused(void **state) {
    static const char *const spoilt[] = {
        "{\"lot\": \"1\"}",
        "{\"mass_kg\": null}",
        "{\"immersed\": null}",
        "{\"shaken\": {\"basis\": \"all\"}}",
        "{\"lifted\": {\"a_kg\": [1, 2]}}",
        "{\"lifted\": {\"bound\": [1, 2, 3, 4, 5, 6, 7, 8, \"9\"]}}",
        "{\"shaken\": {\"seen\": 21}}",
        "{\"shaken\": {\"seen\": -1}}",
        "{\"shaken\": {\"against\": 0.5}}"};
    (void)state;
    fill_quick();
    for (size_t i = 0; i < sizeof spoilt / sizeof spoilt[0]; i++) {
        struct up_failure failure = {0};
        json_t *json = to_json(), *change = json_loads(spoilt[i], 0, NULL);
        json_object_update_recursive(json_object_get(json, "quick"), change);
        json_decref(change);
        if (read_back(json, &failure)) {
            fail_msg("read: %s", spoilt[i]);
        }
        assert_non_null(strstr(failure.text, "a plan that makes sense"));
    }
}

static void a_plan_without_bounds_is_refused(void **state) {
    static const struct {
        const char *key;
        double value;
    } wild[] = {{"draws", 1000001}, {"draws", -1},          {"trials", 1e9},
                {"confidence", 7},  {"two_point_m", 1e300}, {"kind_sd_kg", -1e9}};
    (void)state;
    for (size_t i = 0; i < sizeof wild / sizeof wild[0]; i++) {
        struct up_failure failure = {0};
        json_t *json = to_json();
        bool whole = wild[i].value == floor(wild[i].value) && fabs(wild[i].value) < 1e10;
        json_object_set_new(json, wild[i].key,
                            whole ? json_integer((json_int_t)wild[i].value)
                                  : json_real(wild[i].value));
        assert_false(read_back(json, &failure));
        assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
    }
    json_t *json = to_json(), *waters = json_object_get(json, "waters");
    for (int i = 0; i < 20; i++) {
        json_array_append_new(waters, json_deep_copy(json_array_get(waters, 0)));
    }
    assert_false(read_back(json, NULL));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(all_of_a_plan_comes_back, begin, end),
        cmocka_unit_test_setup_teardown(the_keys_stay, begin, end),
        cmocka_unit_test_setup_teardown(an_older_plan_is_read, begin, end),
        cmocka_unit_test_setup_teardown(all_of_a_quick_plan_comes_back, begin, end),
        cmocka_unit_test_setup_teardown(a_quick_plan_that_cannot_be_is_refused, begin, end),
        cmocka_unit_test(a_rejected_envelope_is_watched_anew),
        cmocka_unit_test_setup_teardown(a_plan_without_bounds_is_refused, begin, end),
    };
    return cmocka_run_group_tests_name("a plan in the journal", tests, NULL, NULL);
}
