/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which results a reference body verifies. */
#include "support.h"

#include <math.h>

#include "catalogue/verification.h"
#include "upthrust/water.h"

static const long DAY_S = 86400;
static const double FRESH_KG_M3 = 998.3, TEMP_C = 20;

static struct up_catalogue *catalogue;
static char calibration_id[UP_ID_SIZE]; /* the latest */

static int open_one(void **state) {
    int failed = enter(state);
    catalogue = open_as("c", UP_CATALOGUE_CREATE);
    return failed;
}

static int close_one(void **state) {
    up_catalogue_close(catalogue);
    return leave(state);
}

static void calibrate(const char *bench) {
    struct up_failure failure = {0};
    struct up_calibration calibration = {.slope_counts_per_kg = 1e5,
                                         .u_slope_counts_per_kg = 12,
                                         .dof = 9,
                                         .air_density_kg_m3 = 1.2,
                                         .read_after_s = 10,
                                         .window_s = 5,
                                         .span_kg = 5,
                                         .points = 2,
                                         .point = {{1, 1e5, 3, 0, 0}, {5, 5e5, 3, 0, 0}}};
    snprintf(calibration.bench, sizeof calibration.bench, "%s", bench);
    snprintf(calibration.rig_sha256, sizeof calibration.rig_sha256, "%064d", 7);
    if (!up_calibration_add(catalogue, &calibration, &failure)) {
        fail_msg("%s", failure.text);
    }
    memcpy(calibration_id, calibration.id, sizeof calibration_id);
}

static char body = 'a';

static struct up_reference_check body_in(double water_kg_m3, bool outside) {
    struct up_reference_check check = {.water_kg_m3 = water_kg_m3,
                                       .water_temp_c = TEMP_C,
                                       .deviation_kg = up_known(0, 1e-4),
                                       .u_water_kg = 1e-4,
                                       .outside = outside,
                                       .confirmed = outside};
    snprintf(check.id, sizeof check.id, "00000000-0000-4000-8000-00000000000%c", body);
    snprintf(check.name, sizeof check.name, "Steel");
    return check;
}

static void weigh_body_in_run(const char *bench, const char *run_id, double water_kg_m3,
                              bool outside) {
    struct up_failure failure = {0};
    struct up_reference_check check = body_in(water_kg_m3, outside);
    if (!up_check_add(catalogue, &check, run_id, bench, NULL, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static void weigh_body(const char *bench, bool outside) {
    char run_id[UP_ID_SIZE];
    up_new_id(run_id);
    weigh_body_in_run(bench, run_id, FRESH_KG_M3, outside);
}

static struct up_result result_in(double tank_kg_m3) {
    struct up_result result = plain_result("00000000-0000-4000-8000-00000000000f", "tank");
    memcpy(result.calibration_id, calibration_id, sizeof calibration_id);
    result.weighing.tank_temp_c = TEMP_C;
    result.weighing.term[UP_INPUT_WATER_DENSITY].value = tank_kg_m3;
    result.has_model = true;
    return result;
}

static void store(const char *bench, const struct up_result *result) {
    struct up_failure failure = {0};
    if (!up_results_add(catalogue, result, 1, bench, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static void weigh_item(const char *bench) {
    struct up_result result = result_in(FRESH_KG_M3);
    store(bench, &result);
}

static bool find_last(const struct up_record *record, void *context) {
    memcpy(context, record->subject, sizeof record->subject);
    return true;
}

/* Of the latest result. */
static void assert_word(const char *wanted) {
    struct up_failure failure = {0};
    char id[UP_ID_SIZE] = "";
    json_t *words = up_verifications(catalogue, &failure);
    assert_non_null(words);
    assert_true(up_catalogue_each(catalogue, "result", find_last, id, &failure));
    assert_int_equal(json_object_size(words), count_kind(catalogue, "result"));
    assert_string_equal(json_string_value(json_object_get(words, id)), wanted);
    json_decref(words);
}

static enum up_verification now(double salinity_g_kg) {
    const struct up_water tank = {
        .name = "tank", .salinity_g_kg = salinity_g_kg, .temp_c = (double)NAN};
    enum up_verification verification = UP_VERIFICATION_OUTSIDE;
    assert_true(up_verification_now(catalogue, "one", calibration_id, &tank, &verification, NULL));
    return verification;
}

static void without_a_body_nothing_is_checked(void **state) {
    (void)state;
    calibrate("one");
    assert_int_equal(now(0), UP_VERIFICATION_NO_BODY);
    weigh_item("one");
    assert_word("unchecked");
    weigh_body("one", false);
    assert_word("unchecked"); /* what it shows later is no word on what was before */
    assert_int_equal(now(0), UP_VERIFICATION_INSIDE);
    weigh_item("one");
    assert_word("inside");
}

static void a_body_outside_speaks_until_one_is_weighed_again(void **state) {
    (void)state;
    calibrate("one");
    weigh_body("one", true);
    weigh_item("one");
    assert_word("outside");
    catalogue_clock_step_s = 30 * DAY_S;
    assert_int_equal(now(0), UP_VERIFICATION_OUTSIDE);
    weigh_item("one");
    assert_word("outside");
    weigh_body("one", false);
    weigh_item("one");
    assert_word("inside");
}

static void a_body_speaks_for_a_week(void **state) {
    (void)state;
    calibrate("one");
    weigh_body("one", false);
    catalogue_clock_step_s = 7 * DAY_S - 60;
    assert_int_equal(now(0), UP_VERIFICATION_INSIDE);
    weigh_item("one");
    assert_word("inside");
    catalogue_clock_step_s = 7 * DAY_S + 60;
    assert_int_equal(now(0), UP_VERIFICATION_OLD);
    weigh_item("one");
    assert_word("unchecked");
}

static void a_calibration_begins_anew(void **state) {
    (void)state;
    calibrate("one");
    weigh_body("one", false);
    calibrate("one");
    assert_int_equal(now(0), UP_VERIFICATION_NO_BODY);
    weigh_item("one");
    assert_word("unchecked");
}

/* Where the clock ran back, the bench's own count is the order. */
static void the_clock_may_run_back(void **state) {
    (void)state;
    calibrate("one");
    catalogue_clock_step_s = -DAY_S;
    weigh_body("one", false);
    catalogue_clock_step_s = -2 * DAY_S;
    weigh_item("one");
    assert_word("inside");
    calibrate("one");
    catalogue_clock_step_s = -3 * DAY_S;
    weigh_item("one");
    assert_word("unchecked");
}

static void another_bench_says_nothing(void **state) {
    (void)state;
    calibrate("two");
    weigh_body("two", false);
    calibrate("one");
    weigh_body("two", false);
    assert_int_equal(now(0), UP_VERIFICATION_NO_BODY);
    weigh_item("one");
    assert_word("unchecked");
}

/* 0.7 kg/m3: tap water of another town is no other water, a pool's salt is. */
static void another_water_has_not_been_checked(void **state) {
    (void)state;
    calibrate("one");
    weigh_body("one", false);
    struct up_result other = result_in(FRESH_KG_M3 + 0.6);
    store("one", &other);
    assert_word("inside");
    other = result_in(FRESH_KG_M3 + 0.8);
    store("one", &other);
    assert_word("unchecked");
    other = result_in(FRESH_KG_M3 - 0.8);
    store("one", &other);
    assert_word("unchecked");
    assert_int_equal(now(0.3), UP_VERIFICATION_INSIDE);
    assert_int_equal(now(2), UP_VERIFICATION_OTHER_WATER);
}

/* Warm water is lighter, and the same water. */
static void the_same_water_may_be_warmer(void **state) {
    (void)state;
    calibrate("one");
    weigh_body("one", false);
    struct up_result warm = result_in(0);
    warm.weighing.tank_temp_c = 30;
    warm.weighing.term[UP_INPUT_WATER_DENSITY].value =
        up_water_fresh_kg_m3(30, 0) + FRESH_KG_M3 - up_water_fresh_kg_m3(TEMP_C, 0);
    store("one", &warm);
    assert_word("inside");
}

/* Two bodies of one session: one outside is enough. */
static void one_of_two_bodies_outside_is_outside(void **state) {
    (void)state;
    char run_id[UP_ID_SIZE];
    calibrate("one");
    up_new_id(run_id);
    weigh_body_in_run("one", run_id, FRESH_KG_M3, true);
    body = 'b';
    catalogue_clock_step_s = 60;
    weigh_body_in_run("one", run_id, FRESH_KG_M3, false);
    body = 'a';
    weigh_item("one");
    assert_word("outside");
}

/* The first time bubbles may have hung at it. */
static void a_body_that_is_weighed_again_speaks_by_its_last_weighing(void **state) {
    (void)state;
    char run_id[UP_ID_SIZE];
    calibrate("one");
    up_new_id(run_id);
    weigh_body_in_run("one", run_id, FRESH_KG_M3, true);
    catalogue_clock_step_s = 60; /* within one millisecond they have no order */
    weigh_body_in_run("one", run_id, FRESH_KG_M3, false);
    weigh_item("one");
    assert_word("inside");
}

/* What is answered later takes the place of the open one: one weighing, one check. */
static void an_open_check_is_outside_until_it_is_answered(void **state) {
    (void)state;
    char run_id[UP_ID_SIZE], open_id[UP_ID_SIZE] = "";
    struct up_reference_check check = body_in(FRESH_KG_M3, true);
    calibrate("one");
    up_new_id(run_id);
    check.confirmed = false;
    assert_true(up_check_add(catalogue, &check, run_id, "one", open_id, NULL));
    weigh_item("one");
    assert_word("outside");
    check.confirmed = true;
    assert_true(up_check_add(catalogue, &check, run_id, "one", open_id, NULL));
    assert_int_equal(count_kind(catalogue, "reference_check"), 1);
    assert_string_equal(open_id, "");
    assert_true(up_check_add(catalogue, &check, run_id, "one", open_id, NULL)); /* another */
    assert_int_equal(count_kind(catalogue, "reference_check"), 2);
}

static void a_sessions_own_bodies_always_count(void **state) {
    (void)state;
    calibrate("one");
    weigh_body("one", false);
    struct up_result own = result_in(FRESH_KG_M3 + 25);
    own.check[own.checks++] = body_in(FRESH_KG_M3 + 25, false);
    store("one", &own);
    assert_word("inside");
    own.check[own.checks++] = body_in(FRESH_KG_M3 + 25, true);
    up_new_id(own.run_id);
    store("one", &own);
    assert_word("outside");
}

/* Another water that is asked for later does not make its session a later one. */
static void what_is_calculated_later_is_as_its_session(void **state) {
    (void)state;
    calibrate("one");
    weigh_body("one", false);
    struct up_result result = result_in(FRESH_KG_M3);
    store("one", &result);
    weigh_body("one", true);
    snprintf(result.water.name, sizeof result.water.name, "quarry");
    store("one", &result);
    assert_word("inside");
    weigh_item("one");
    assert_word("outside");
}

/* Of before the model was kept: with which calibration is not known. */
static void an_old_result_is_not_checked(void **state) {
    (void)state;
    calibrate("one");
    weigh_body("one", false);
    struct up_result old = plain_result("00000000-0000-4000-8000-00000000000f", "tank");
    store("one", &old);
    assert_word("unchecked");
}

/* Nor can one of elsewhere that says it was of the same run take away that a body was outside. */
static void a_check_of_elsewhere_splits_no_session(void **state) {
    char run_id[UP_ID_SIZE];
    (void)state;
    up_new_id(run_id);
    calibrate("one");
    weigh_body_in_run("one", run_id, FRESH_KG_M3, true);
    body = 'b';
    catalogue_clock_step_s = 60;
    weigh_body_in_run("one", run_id, FRESH_KG_M3, false);
    sql(catalogue->database, "DELETE FROM local_mark WHERE record_id = (SELECT id FROM record WHERE"
                             " kind = 'reference_check' ORDER BY rowid DESC LIMIT 1)");
    body = 'c';
    catalogue_clock_step_s = 120;
    weigh_body_in_run("one", run_id, FRESH_KG_M3, false);
    body = 'a';
    weigh_item("one");
    assert_word("outside");
}

#define STANDING(test) cmocka_unit_test_setup_teardown(test, open_one, close_one)

/* As if it had come by import: its mark is gone. */
static void make_foreign(const char *kind) {
    char *text = up_text_format("DELETE FROM local_mark WHERE record_id IN"
                                " (SELECT id FROM record WHERE kind = '%s')",
                                kind);
    sql(catalogue->database, text);
    free(text);
}

static void only_bodies_of_here_speak_for_results_of_here(void **state) {
    (void)state;
    calibrate("one");
    weigh_body("one", false);
    weigh_item("one");
    assert_word("inside");
    make_foreign("reference_check");
    assert_word("unchecked");
    make_foreign("result"); /* both of elsewhere */
    assert_word("inside");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        STANDING(only_bodies_of_here_speak_for_results_of_here),
        STANDING(a_check_of_elsewhere_splits_no_session),
        STANDING(without_a_body_nothing_is_checked),
        STANDING(a_body_that_is_weighed_again_speaks_by_its_last_weighing),
        STANDING(an_open_check_is_outside_until_it_is_answered),
        STANDING(a_body_outside_speaks_until_one_is_weighed_again),
        STANDING(a_body_speaks_for_a_week),
        STANDING(a_calibration_begins_anew),
        STANDING(the_clock_may_run_back),
        STANDING(another_bench_says_nothing),
        STANDING(another_water_has_not_been_checked),
        STANDING(the_same_water_may_be_warmer),
        STANDING(one_of_two_bodies_outside_is_outside),
        STANDING(a_sessions_own_bodies_always_count),
        STANDING(what_is_calculated_later_is_as_its_session),
        STANDING(an_old_result_is_not_checked),
    };
    return cmocka_run_group_tests_name("standing", tests, NULL, NULL);
}
