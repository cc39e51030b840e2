/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "embedded.h"
#include "tank.h"
#include "upthrust/rig.h"
#include "upthrust/water.h"
#include "upthrust/wire.h"

static void same_seed_same_lines(void **state) {
    struct tank_declared declared = tank_declared_default();
    struct tank_cell cell = tank_cell_default();
    struct tank *a = tank_create(&declared, &cell, 4), *b = tank_create(&declared, &cell, 4);
    struct tank *other = tank_create(&declared, &cell, 5);
    char x[96], y[96], z[96];
    bool differs = false;
    (void)state;
    for (int i = 0; i < 200; i++) {
        tank_sample(a, x, sizeof x);
        tank_sample(b, y, sizeof y);
        tank_sample(other, z, sizeof z);
        assert_string_equal(x, y);
        differs = differs || strcmp(x, z) != 0;
    }
    assert_true(differs);
    tank_destroy(a);
    tank_destroy(b);
    tank_destroy(other);
}

static void lines_have_three_fields_and_a_rising_time(void **state) {
    struct tank_declared declared = tank_declared_default();
    struct tank_cell cell = tank_cell_default();
    struct tank *tank = tank_create(&declared, &cell, 4);
    char line[96];
    long before_ms = -1;
    (void)state;
    for (int i = 0; i < 500; i++) {
        long time_ms = 0, counts = 0;
        double temp_c = 0;
        size_t length = tank_sample(tank, line, sizeof line);
        assert_int_equal(length, strlen(line));
        assert_int_equal(sscanf(line, "%ld,%ld,%lf", &time_ms, &counts, &temp_c), 3);
        assert_string_equal(line + length - 2, "\r\n");
        assert_true(time_ms > before_ms);
        assert_true(fabs(temp_c - tank_thermometer_c(tank)) < 0.006);
        before_ms = time_ms;
    }
    tank_destroy(tank);
}

static void assert_rate(double rate_hz) {
    struct tank_declared declared = tank_declared_default();
    struct tank_cell cell = tank_cell_default();
    cell.rate_hz = rate_hz;
    cell.jitter_s = fmin(cell.jitter_s, 0.1 / rate_hz); /* as the program has it */
    struct tank *tank = tank_create(&declared, &cell, 2);
    char line[96];
    int samples = 0;
    while (tank_time_s(tank) < 100) {
        tank_sample(tank, line, sizeof line);
        samples++;
    }
    assert_true(fabs(samples / 100.0 - rate_hz) <= 0.005 * rate_hz); /* jitter: 0.1 % of it */
    tank_destroy(tank);
}

static void a_second_of_device_time_has_rate_hz_samples(void **state) {
    (void)state;
    assert_rate(10);
    assert_rate(80);
}

/* A tank whose cell moves with the load alone. */
static struct tank *still_tank(void) {
    struct tank_declared declared = tank_declared_default();
    struct tank_cell cell = tank_cell_default();
    declared.hang_sd_kg = declared.meniscus_halfwidth_kg = declared.swing_most_rad = 0;
    cell.white_counts = cell.correlated_counts = cell.drift_counts_min = 0;
    cell.walk_counts_sqrt_s = cell.creep_rel_low = cell.creep_rel_high = cell.hysteresis_rel = 0;
    cell.sway_kg = cell.slosh_kg = cell.bit_slip_chance = cell.jitter_s = 0;
    return tank_create(&declared, &cell, 1);
}

static long level_at(struct tank *tank, double time_s) {
    char line[96];
    long counts = 0;
    do {
        tank_sample(tank, line, sizeof line);
    } while (tank_time_s(tank) < time_s - 1e-6);
    assert_int_equal(sscanf(line, "%*[0-9],%ld,", &counts), 1);
    return counts;
}

static void an_act_waits_for_its_time(void **state) {
    struct tank *tank = still_tank();
    long empty = level_at(tank, 1);
    (void)state;
    assert_true(tank_act(tank, "hang-mass", NULL, 1, 5));
    for (int i = 1; i <= 39; i++) {
        assert_int_equal(level_at(tank, 1 + 0.1 * i), empty);
    }
    assert_true(level_at(tank, 6) > empty + 500000);
    /* A time that has passed means now. */
    assert_true(tank_act(tank, "empty-in-air", NULL, 0, 2));
    assert_true(labs(level_at(tank, 7) - empty) <= 1);
    tank_destroy(tank);
}

static void assert_refused(struct tank *tank, struct tank *twin, const char *act, const char *item,
                           double mass_kg) {
    char line[96], other[96];
    if (tank_act(tank, act, item, mass_kg, tank_time_s(tank))) {
        fail_msg("%s of %s was not refused", act, item != NULL ? item : "nothing");
    }
    for (int i = 0; i < 20; i++) {
        tank_sample(tank, line, sizeof line);
        tank_sample(twin, other, sizeof other);
        assert_string_equal(line, other);
    }
}

static void assert_both(struct tank *tank, struct tank *twin, const char *act, const char *item) {
    assert_true(tank_act(tank, act, item, 0, 0));
    assert_true(tank_act(twin, act, item, 0, 0));
}

/* A twin that is asked for nothing impossible gives the same lines. */
static void what_cannot_be_done_is_refused_and_changes_nothing(void **state) {
    struct tank_declared declared = tank_declared_default();
    struct tank_cell cell = tank_cell_default();
    struct tank *tank = tank_create(&declared, &cell, 1), *twin = tank_create(&declared, &cell, 1);
    (void)state;
    assert_refused(tank, twin, "juggle", "Heron fin", 1);
    assert_refused(tank, twin, "", "Heron fin", 1);
    assert_refused(tank, twin, "immerse", "No such fin", 0);
    assert_refused(tank, twin, "immerse", NULL, 0);
    assert_refused(tank, twin, "hang-in-air", "heron fin", 0);
    assert_refused(tank, twin, "shake", NULL, 0);
    assert_refused(tank, twin, "shake", "Heron fin", 0);
    assert_refused(tank, twin, "hang-mass", NULL, (double)NAN);
    assert_refused(tank, twin, "hang-mass", NULL, (double)INFINITY);
    assert_refused(tank, twin, "hang-mass", NULL, 0);
    assert_refused(tank, twin, "hang-mass", NULL, -1);
    assert_both(tank, twin, "hang-in-air", "Heron fin");
    assert_refused(tank, twin, "shake", "Heron fin", 0);
    assert_both(tank, twin, "immerse", "Heron fin");
    assert_both(tank, twin, "shake", "Heron fin");
    assert_refused(tank, twin, "shake", "No such fin", 0);
    assert_both(tank, twin, "lift-out", "Heron fin");
    assert_refused(tank, twin, "shake", "Heron fin", 0);
    assert_true(isnan(tank_truth_in_tank_g(tank, "No such fin")));
    assert_true(tank_truth_in_tank_g(tank, "Heron fin") < -300);
    tank_destroy(tank);
    tank_destroy(twin);
}

/* Each shake leaves the item heavier, or as heavy where no air is left: never lighter. */
static void air_never_comes_back(void **state) {
    struct tank *tank = still_tank();
    double until_s = 5;
    long before;
    (void)state;
    assert_true(tank_act(tank, "add-ballast", NULL, 0, 0));
    assert_true(tank_act(tank, "immerse", "Dabchick boot", 0, 0));
    before = level_at(tank, until_s);
    for (int i = 0; i < 15; i++) {
        long after;
        assert_true(tank_act(tank, "shake", "Dabchick boot", 0, 0));
        after = level_at(tank, until_s += 10);
        assert_true(after >= before - 1); /* a count of rounding */
        before = after;
    }
    tank_destroy(tank);
}

static void assert_same(const char *name, double told, double drawn) {
    if (!(fabs(told - drawn) <= 1e-12 * fmax(1, fabs(drawn)))) {
        fail_msg("%s: the rig file says %.12g, the tank %.12g", name, told, drawn);
    }
}

static void the_rig_file_tells_what_is_drawn(void **state) {
    struct tank_declared declared = tank_declared_default();
    struct tank_cell cell = tank_cell_default();
    struct up_rig rig;
    struct up_failure failure = {0};
    (void)state;
    if (!up_rig_parse("simulated.ini", embedded_simulated_ini, &rig, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_same("u_thermometer_k", rig.u_thermometer_k, declared.u_thermometer_k);
    assert_same("solids_max_g_kg", rig.solids_max_g_kg, declared.solids_max_g_kg);
    assert_same("temp_halfwidth_k", rig.item_temp_halfwidth_k, declared.item_temp_halfwidth_k);
    assert_same("tolerance_rel", rig.mass_tolerance_rel, declared.mass_tolerance_rel);
    assert_same("shake_share", rig.shake_share, declared.shake_share_low);
    assert_same("line_diameter_mm", rig.cord_diameter_m, declared.cord_diameter_m);
    assert_same("meniscus_g", rig.meniscus_kg, declared.meniscus_halfwidth_kg);
    assert_same("area_m2", rig.tank_area_m2, declared.tank_area_m2);
    assert_same("depth_m", rig.depth_m, declared.depth_m);
    assert_same("air temp_c", rig.air.temp_c.value, declared.air_temp_c);
    assert_same("air u_temp_k", rig.air.temp_c.u, declared.u_air_temp_k);
    assert_same("pressure_pa", rig.air.pressure_pa.value, declared.air_pressure_pa);
    assert_same("u_pressure_pa", rig.air.pressure_pa.u, declared.u_air_pressure_pa);
    assert_same("humidity", rig.air.humidity.value, declared.air_humidity);
    assert_same("u_humidity", rig.air.humidity.u, declared.u_air_humidity);
    assert_same("capacity_kg", rig.capacity_kg, cell.capacity_kg);
    assert_same("rate_hz", rig.line.rate_hz, cell.rate_hz);
    assert_same("division_counts", rig.division_counts, 1); /* lines hold whole counts */
    assert_int_equal(rig.line.word_bits, 24);
    assert_int_equal(rig.water, UP_WATER_FRESH);
    assert_true(rig.line.load_unit == UP_LOAD_COUNTS && rig.line.time_unit_s == 1e-3);
}

static void the_rig_file_reads_the_tanks_lines(void **state) {
    struct tank *tank = still_tank();
    struct up_rig rig;
    struct up_failure failure = {0};
    char line[96];
    (void)state;
    assert_true(up_rig_parse("simulated.ini", embedded_simulated_ini, &rig, &failure));
    for (int i = 0; i < 50; i++) {
        struct up_sample sample;
        size_t length = tank_sample(tank, line, sizeof line) - 2;
        assert_int_equal(up_line_read(&rig.line, line, length, &sample), UP_LINE_FITS);
        assert_true(fabs(sample.time_s - tank_time_s(tank)) < 6e-4);
        assert_true(sample.temp_c == tank_thermometer_c(tank));
        assert_true(sample.load[0] == 80000);
    }
    tank_destroy(tank);
}

static void no_two_items_share_a_name(void **state) {
    size_t count;
    const struct tank_item *gear = tank_gear(&count);
    (void)state;
    for (size_t i = 0; i < count; i++) {
        assert_true(gear[i].name[0] != '\0' && memchr(gear[i].name, '\0', sizeof gear[i].name));
        assert_true(gear[i].pieces == 1 || gear[i].pieces == 2);
        for (size_t j = 0; j < i; j++) {
            assert_string_not_equal(gear[i].name, gear[j].name);
        }
    }
}

/* In fresh water of 20 C: neutral is within 50 g a piece. */
static void the_grebe_fin_alone_lies_on_a_class_line(void **state) {
    struct up_water water = {.model = UP_WATER_FRESH, .temp_c = 20};
    struct up_water_density density;
    size_t count;
    const struct tank_item *gear = tank_gear(&count);
    (void)state;
    assert_true(up_water_density(&water, &density, NULL));
    for (size_t i = 0; i < count; i++) {
        double g = 1e3 * (density.density_kg_m3.value * gear[i].volume_m3 - gear[i].mass_kg);
        double margin_g = fabs(fabs(g) - 50 * gear[i].pieces);
        bool grebe = strcmp(gear[i].name, "Grebe fin") == 0;
        if (grebe ? margin_g > 1 : margin_g < 5) {
            fail_msg("%s: %.2f g, %.2f g from its class line", gear[i].name, g, margin_g);
        }
    }
}

/* ---- acts among each other, on a cell that shows the load and nothing else ---- */

static struct tank *exact_tank(void) {
    struct tank_declared declared = tank_declared_default();
    struct tank_cell cell = tank_cell_default();
    cell.white_counts = cell.correlated_counts = cell.drift_counts_min = 0;
    cell.walk_counts_sqrt_s = cell.curvature_rel = cell.bit_slip_chance = 0;
    cell.creep_rel_low = cell.creep_rel_high = cell.hysteresis_rel = 0;
    cell.sway_kg = cell.slosh_kg = 0;
    return tank_create(&declared, &cell, 3);
}

static long counts_at(struct tank *tank, double time_s) {
    char line[96];
    long counts = 0;
    while (tank_time_s(tank) < time_s) {
        tank_sample(tank, line, sizeof line);
        assert_int_equal(sscanf(line, "%*[0-9],%ld,", &counts), 1);
    }
    return counts;
}

static void acts_are_done_in_the_order_of_time(void **state) {
    struct tank *told = exact_tank(), *sorted = exact_tank();
    (void)state;
    assert_true(tank_act(told, "hang-mass", NULL, 2, 20));
    assert_true(tank_act(told, "hang-mass", NULL, 1, 10));
    assert_true(tank_act(sorted, "hang-mass", NULL, 1, 10));
    assert_true(tank_act(sorted, "hang-mass", NULL, 2, 20));
    assert_false(tank_act(told, "hang-mass", NULL, 3, (double)NAN));
    for (double time_s = 5; time_s < 30; time_s += 5) {
        assert_int_equal(counts_at(told, time_s), counts_at(sorted, time_s));
    }
    tank_destroy(told);
    tank_destroy(sorted);
}

static void a_shake_is_of_what_hangs_there(void **state) {
    struct tank *tank = exact_tank();
    (void)state;
    assert_true(tank_act(tank, "immerse", "Heron fin", 0, 1));
    assert_true(tank_act(tank, "add-ballast", NULL, 0, 2));
    assert_true(tank_act(tank, "shake", "Heron fin", 0, 3));
    assert_false(tank_act(tank, "shake", "Lead block", 0, 3));
    assert_false(tank_act(tank, "shake", NULL, 0, 0.5)); /* before it is in the water */
    assert_true(tank_act(tank, "lift-out", NULL, 0, 40));
    assert_false(tank_act(tank, "shake", NULL, 0, 41));
    tank_destroy(tank);
}

static void an_act_ends_a_shake(void **state) {
    struct tank *tank = exact_tank();
    (void)state;
    assert_true(tank_act(tank, "add-ballast", NULL, 0, 0));
    long tare = counts_at(tank, 5);
    assert_true(tank_act(tank, "immerse", "Lead block", 0, 5));
    counts_at(tank, 10);
    assert_true(tank_act(tank, "shake", NULL, 0, 10));
    assert_true(labs(counts_at(tank, 11) - tare) < 30); /* off the hook: meniscus, 20 mg */
    assert_true(tank_act(tank, "hang-mass", NULL, 3, 12));
    assert_true(counts_at(tank, 14) - tare > 1700000);
    assert_true(tank_act(tank, "add-ballast", NULL, 0, 14)); /* what hangs stays hanging */
    assert_true(counts_at(tank, 16) - tare > 1700000);
    tank_destroy(tank);
}

static void a_line_cannot_push(void **state) {
    struct tank *tank = exact_tank();
    (void)state;
    long empty = counts_at(tank, 2);
    assert_true(tank_act(tank, "immerse", "Plover fins, pair", 0, 2));
    assert_true(counts_at(tank, 10) >= empty);
    tank_destroy(tank);
}

static void asking_for_the_truth_changes_nothing(void **state) {
    struct tank *asked = exact_tank(), *other = exact_tank();
    (void)state;
    double sea_g = tank_truth_in_water_g(asked, "Heron fin", "sea", 1026, 0.6, 15);
    tank_truth_in_water_g(asked, "Heron fin", "lake", 999, 0.6, 15);
    assert_true(tank_act(asked, "hang-mass", NULL, 1, 1));
    assert_true(tank_act(other, "hang-mass", NULL, 1, 1));
    assert_int_equal(counts_at(asked, 5), counts_at(other, 5));
    assert_true(tank_truth_in_water_g(asked, "Heron fin", "sea", 1026, 0.6, 15) == sea_g);
    assert_true(tank_truth_in_water_g(other, "Heron fin", "sea", 1026, 0.6, 15) == sea_g);
    assert_true(tank_truth_in_water_g(asked, "Heron fin", "lake", 1026, 0.6, 15) != sea_g);
    tank_destroy(asked);
    tank_destroy(other);
}

/* Drawn errors must look like their distribution over many sessions: mean 0, standard deviation 1.
 */
static void named_draws_are_spread_as_told(void **state) {
    struct tank_declared declared = tank_declared_default();
    struct tank_cell cell = tank_cell_default();
    double sum = 0, squares = 0;
    const int sessions = 2000;
    (void)state;
    for (int seed = 0; seed < sessions; seed++) {
        struct tank *tank = tank_create(&declared, &cell, (unsigned long)seed);
        double exact_g = tank_truth_in_water_g(tank, "Heron fin", "sea", 1026, 0, 15);
        double drawn_g = tank_truth_in_water_g(tank, "Heron fin", "sea", 1026, 1, 15);
        double error = (drawn_g - exact_g) / 1.612; /* of 1 kg/m3 on 1.612 L, about */
        sum += error;
        squares += error * error;
        tank_destroy(tank);
    }
    /* four standard errors: 4 / sqrt(2000) and 4 / sqrt(4000) */
    assert_true(fabs(sum / sessions) < 0.09);
    assert_true(fabs(sqrt(squares / sessions) - 1) < 0.065);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(same_seed_same_lines),
        cmocka_unit_test(lines_have_three_fields_and_a_rising_time),
        cmocka_unit_test(a_second_of_device_time_has_rate_hz_samples),
        cmocka_unit_test(an_act_waits_for_its_time),
        cmocka_unit_test(what_cannot_be_done_is_refused_and_changes_nothing),
        cmocka_unit_test(air_never_comes_back),
        cmocka_unit_test(the_rig_file_tells_what_is_drawn),
        cmocka_unit_test(the_rig_file_reads_the_tanks_lines),
        cmocka_unit_test(no_two_items_share_a_name),
        cmocka_unit_test(the_grebe_fin_alone_lies_on_a_class_line),
        cmocka_unit_test(acts_are_done_in_the_order_of_time),
        cmocka_unit_test(a_shake_is_of_what_hangs_there),
        cmocka_unit_test(an_act_ends_a_shake),
        cmocka_unit_test(a_line_cannot_push),
        cmocka_unit_test(asking_for_the_truth_changes_nothing),
        cmocka_unit_test(named_draws_are_spread_as_told),
    };
    return cmocka_run_group_tests_name("tank", tests, NULL, NULL);
}
