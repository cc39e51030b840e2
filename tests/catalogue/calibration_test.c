/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support.h"

#include <math.h>

static void add(struct up_catalogue *catalogue, struct up_calibration *calibration) {
    struct up_failure failure = {0};
    if (!up_calibration_add(catalogue, calibration, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static struct up_calibration latest(struct up_catalogue *catalogue, const char *bench) {
    struct up_failure failure = {0};
    struct up_calibration calibration;
    if (!up_calibration_latest(catalogue, bench, &calibration, &failure)) {
        fail_msg("%s", failure.text);
    }
    return calibration;
}

static void it_comes_back_whole(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_calibration one = plain_calibration("tank \"one\"", 1e5 / 3);
    add(catalogue, &one);
    struct up_calibration back = latest(catalogue, "tank \"one\"");
    assert_int_equal(strlen(one.id), 36);
    assert_int_equal(strlen(one.made_utc), 24);
    assert_string_equal(back.id, one.id);
    assert_string_equal(back.made_utc, one.made_utc);
    json_t *a = up_calibration_to_json(&one), *b = up_calibration_to_json(&back);
    assert_true(json_equal(a, b));
    assert_true(back.slope_counts_per_kg == 1e5 / 3 && back.points == 2);
    json_decref(a);
    json_decref(b);
    up_catalogue_close(catalogue);
}

/* Slopes of 99900, 100000 and 100100: a standard deviation of 1e-3. Scatters of 3e-3 (2 degrees of
   freedom) and 1e-3 (6) pool to sqrt((2 * 9 + 6) / 8) e-3. Another rig's count for nothing. */
static void the_past_of_a_bench_is_pooled(void **state) {
    static const double slope[] = {99900, 100000, 100100, 50000};
    static const double sd[] = {3e-3, 1e-3, 0, 1}, dof[] = {2, 6, 0, 9};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_calibration_history past;
    struct up_failure failure = {0};
    char sha256[UP_SHA256_SIZE];
    (void)state;
    for (int i = 0; i < 4; i++) {
        struct up_calibration one = plain_calibration("a", slope[i]);
        memcpy(sha256, one.rig_sha256, sizeof sha256);
        one.rig_sha256[0] = i == 3 ? 'x' : one.rig_sha256[0];
        one.own_scatter_rel = sd[i];
        one.own_scatter_dof = dof[i];
        add(catalogue, &one);
        assert_true(up_calibration_past(catalogue, "a", sha256, &past, &failure));
        assert_true((past.slope_dof > 0) == (i >= 2)); /* of fewer than three nothing is stated */
    }
    assert_true(past.scatter_dof == 8 && past.slope_dof == 2);
    assert_true(fabs(past.scatter_rel - sqrt(24.0 / 8) * 1e-3) < 1e-12);
    assert_true(fabs(past.slope_rel - 1e-3) < 1e-12);
    assert_true(up_calibration_past(catalogue, "b", sha256, &past, &failure));
    assert_true(past.scatter_dof == 0 && past.slope_dof == 0);
    up_catalogue_close(catalogue);
}

static void what_was_looked_for_comes_back(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_calibration one = plain_calibration("a", 1e5);
    one.unloading_slope_counts_per_kg = 1.001e5;
    one.u_unloading_slope_counts_per_kg = 13;
    one.quadratic_counts_per_kg2 = -0.5;
    one.division_counts = 10;
    one.quadratic_f = 20;
    one.quadratic_f_limit = 10;
    one.hysteresis_kg = (double)NAN;
    one.temp_c = 18.5;
    one.preloaded = 1;
    one.stairs = 3;
    one.stair[0] = (struct up_stair){1, false, 1e5, 3, 0.25, (double)NAN};
    one.stair[2] = (struct up_stair){1, true, 1.1e5, 3, -0.25, -0.5};
    snprintf(one.mass_class, sizeof one.mass_class, "F2");
    add(catalogue, &one);
    struct up_calibration back = latest(catalogue, "a");
    json_t *a = up_calibration_to_json(&one), *b = up_calibration_to_json(&back);
    assert_true(json_equal(a, b));
    json_decref(a);
    json_decref(b);
    assert_true(isnan(back.hysteresis_kg) && isnan(back.stair[0].hysteresis_g));
    assert_true(back.stair[2].falling && !back.stair[0].falling);
    assert_true(back.stair[2].hysteresis_g == -0.5 && back.temp_c == 18.5);
    assert_string_equal(back.mass_class, "F2");
    up_catalogue_close(catalogue);
}

/* Before there was a staircase, a bend, a temperature. */
static void an_old_body_still_loads(void **state) {
    static const char *const later[] = {"unloading_slope_counts_kg",
                                        "u_unloading_slope_counts_kg",
                                        "quadratic_counts_kg2",
                                        "division_counts",
                                        "quadratic_f",
                                        "quadratic_f_limit",
                                        "hysteresis_kg",
                                        "temp_c",
                                        "preloaded",
                                        "staircase",
                                        "mass_class"};
    (void)state;
    struct up_calibration one = plain_calibration("a", 1e5), back;
    json_t *content = up_calibration_to_json(&one);
    for (size_t i = 0; i < sizeof later / sizeof later[0]; i++) {
        assert_int_equal(json_object_del(content, later[i]), 0);
    }
    assert_true(up_calibration_from_json(content, &back));
    assert_true(back.slope_counts_per_kg == 1e5 && back.points == 2 && back.stairs == 0);
    assert_true(isnan(back.hysteresis_kg) && isnan(back.temp_c) && isnan(back.preloaded));
    assert_true(isnan(back.unloading_slope_counts_per_kg) && back.quadratic_counts_per_kg2 == 0);
    assert_string_equal(back.mass_class, "");
    json_decref(content);
}

static void infinite_dof_stays_infinite(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_calibration one = plain_calibration("b", 1e5);
    one.dof = (double)INFINITY;
    add(catalogue, &one);
    struct up_calibration back = latest(catalogue, "b");
    assert_true(isinf(back.dof) && back.dof > 0);
    up_catalogue_close(catalogue);
}

static void the_newest_of_its_own_bench_counts(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_calibration none;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_calibration one = plain_calibration("a", 1e5), two = plain_calibration("b", 2e5),
                          three = plain_calibration("a", 3e5);
    assert_false(up_calibration_latest(catalogue, "a", &none, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "`upthrust calibrate`");
    add(catalogue, &one);
    add(catalogue, &two);
    assert_string_equal(latest(catalogue, "a").id, one.id);
    add(catalogue, &three);
    assert_string_equal(latest(catalogue, "a").id, three.id);
    assert_string_equal(latest(catalogue, "b").id, two.id);
    assert_false(up_calibration_latest(catalogue, "A", &none, &failure));
    up_catalogue_close(catalogue);
}

static void a_lost_clock_does_not_bring_back_an_old_one(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_calibration one = plain_calibration("a", 1e5), two = plain_calibration("a", 2e5),
                          three = plain_calibration("a", 3e5);
    add(catalogue, &one);
    catalogue_clock_step_s = -50L * 365 * 86400;
    add(catalogue, &two);
    assert_true(strcmp(two.made_utc, one.made_utc) < 0);
    assert_string_equal(latest(catalogue, "a").id, two.id);
    catalogue_clock_step_s = -60L * 365 * 86400;
    add(catalogue, &three);
    assert_string_equal(latest(catalogue, "a").id, three.id);
    up_catalogue_close(catalogue);
}

static void assert_calibration_refused(struct up_catalogue *catalogue,
                                       struct up_calibration calibration) {
    struct up_failure failure = {0};
    assert_false(up_calibration_add(catalogue, &calibration, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "cannot be stored");
    assert_string_equal(calibration.id, "");
}

static void what_could_not_be_read_back_is_refused(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_calibration_refused(catalogue, plain_calibration("a", (double)NAN));
    assert_calibration_refused(catalogue, plain_calibration("a", (double)INFINITY));
    assert_calibration_refused(catalogue, plain_calibration("", 1e5));
    assert_calibration_refused(catalogue, plain_calibration("\xFF", 1e5));
    struct up_calibration calibration = plain_calibration("a", 1e5);
    calibration.dof = (double)NAN;
    assert_calibration_refused(catalogue, calibration);
    calibration = plain_calibration("a", 1e5);
    calibration.point[1].residual_g = (double)NAN;
    assert_calibration_refused(catalogue, calibration);
    calibration = plain_calibration("a", 1e5);
    calibration.points = UP_CALIBRATION_POINTS_MAX + 1;
    assert_calibration_refused(catalogue, calibration);
    assert_int_equal(count_kind(catalogue, "calibration"), 0);
    calibration.points = UP_CALIBRATION_POINTS_MAX;
    add(catalogue, &calibration);
    assert_int_equal(latest(catalogue, "a").points, UP_CALIBRATION_POINTS_MAX);
    up_catalogue_close(catalogue);
}

static void a_stored_one_that_is_broken_is_told(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_calibration none;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *content = json_pack("{s:s}", "slope_counts_kg", "steep");
    assert_true(up_catalogue_add(catalogue, "calibration", NULL, "a", content, NULL, NULL, NULL));
    json_decref(content);
    assert_false(up_calibration_latest(catalogue, "a", &none, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "calibrate again");
    struct up_calibration good = plain_calibration("a", 1e5);
    add(catalogue, &good);
    assert_string_equal(latest(catalogue, "a").id, good.id);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(it_comes_back_whole),
        TEST(the_past_of_a_bench_is_pooled),
        TEST(what_was_looked_for_comes_back),
        TEST(an_old_body_still_loads),
        TEST(infinite_dof_stays_infinite),
        TEST(the_newest_of_its_own_bench_counts),
        TEST(a_lost_clock_does_not_bring_back_an_old_one),
        TEST(what_could_not_be_read_back_is_refused),
        TEST(a_stored_one_that_is_broken_is_told),
    };
    return cmocka_run_group_tests_name("catalogue: calibrations", tests, NULL, NULL);
}
