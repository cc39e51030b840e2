/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The simulated tank against an own computation: loads, truth, air, creep, noise, slipped words. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "tank.h"
#include "upthrust/water.h"

/* Everything is exactly as declared, and the cell is a straight line. */
static struct tank_declared exact_declared(void) {
    struct tank_declared declared = tank_declared_default();
    declared.temp_spread_k = declared.u_thermometer_k = declared.solids_max_g_kg = 0;
    declared.item_temp_halfwidth_k = declared.mass_tolerance_rel = 0;
    declared.expansion_low_per_k = declared.expansion_high_per_k = 4.5e-4;
    declared.u_air_temp_k = declared.u_air_pressure_pa = declared.u_air_humidity = 0;
    declared.meniscus_halfwidth_kg = declared.hang_sd_kg = declared.swing_most_rad = 0;
    return declared;
}

static struct tank_cell exact_cell(void) {
    struct tank_cell cell = tank_cell_default();
    cell.counts_per_kg_spread_rel = cell.white_counts = cell.correlated_counts = 0;
    cell.drift_counts_min = cell.walk_counts_sqrt_s = cell.curvature_rel = 0;
    cell.creep_rel_low = cell.creep_rel_high = cell.hysteresis_rel = 0;
    cell.sway_kg = cell.slosh_kg = 0;
    cell.bit_slip_chance = cell.jitter_s = 0;
    return cell;
}

static long counts_of(struct tank *tank) {
    char line[96];
    long counts = 0;
    tank_sample(tank, line, sizeof line);
    assert_int_equal(sscanf(line, "%*[0-9],%ld,", &counts), 1);
    return counts;
}

/* The mean of a second, after the act and a wait. */
static double level_after(struct tank *tank, const char *act, const char *item, double mass_kg,
                          double wait_s) {
    double sum = 0, until_s = tank_time_s(tank) + wait_s;
    assert_true(tank_act(tank, act, item, mass_kg, tank_time_s(tank)));
    while (tank_time_s(tank) < until_s) {
        counts_of(tank);
    }
    for (int i = 0; i < 10; i++) {
        sum += (double)counts_of(tank);
    }
    return sum / 10;
}

static struct tank *exact_tank(void) {
    struct tank_declared declared = exact_declared();
    struct tank_cell cell = exact_cell();
    struct tank *tank = tank_create(&declared, &cell, 1);
    assert_non_null(tank);
    return tank;
}

static double water_kg_m3(double temp_c, double solids_g_kg, double depth_m) {
    struct up_water water = {.temp_c = temp_c, .salinity_g_kg = solids_g_kg, .depth_m = depth_m};
    struct up_water_density density;
    assert_true(up_water_density(&water, &density, NULL));
    return density.density_kg_m3.value;
}

static void assert_near(double value, double wanted, double within) {
    if (!(fabs(value - wanted) <= within)) {
        fail_msg("%.9g is not within %g of %.9g", value, within, wanted);
    }
}

static void time_advances_only_with_samples(void **state) {
    struct tank *tank = exact_tank();
    (void)state;
    assert_true(tank_act(tank, "add-ballast", NULL, 0, 0));
    assert_true(tank_time_s(tank) == 0);
    counts_of(tank);
    assert_near(tank_time_s(tank), 0.1, 1e-9);
    tank_destroy(tank);
}

static void a_hung_mass_pulls_less_by_the_air_it_displaces(void **state) {
    struct tank *tank = exact_tank();
    double empty = level_after(tank, "empty-in-air", NULL, 0, 5);
    double loaded = level_after(tank, "hang-mass", NULL, 1, 5);
    (void)state;
    /* air of 22 C, 1013.25 hPa and half humidity: 1.19 kg/m3 (general data) */
    assert_near((loaded - empty) / 6e5, 1 - 1.19 / 8000, 4e-6);
    tank_destroy(tank);
}

static void the_cell_shows_the_truth_of_every_item(void **state) {
    size_t count;
    const struct tank_item *gear = tank_gear(&count);
    struct tank *tank = exact_tank();
    double tare = level_after(tank, "add-ballast", NULL, 0, 5);
    (void)state;
    for (size_t i = 0; i < count; i++) {
        double volume_m3 = gear[i].volume_m3 * (1 + 2 * 4.5e-4);
        double own_g = 1e3 * (water_kg_m3(22, 0, 0.4) * volume_m3 - gear[i].mass_kg);
        double truth_g = tank_truth_in_tank_g(tank, gear[i].name);
        assert_near(truth_g, own_g, 1e-6);
        double held = level_after(tank, "immerse", gear[i].name, 0, 5);
        for (int k = 0; k < 12; k++) { /* half of the air at least goes each time */
            held = level_after(tank, "shake", gear[i].name, 0, 8);
        }
        /* the wetted line is 5 mg; what twelve shakes leave of 30 g less than 0.05 */
        assert_near(-(held - tare) / 600, truth_g, 0.06);
        assert_near(level_after(tank, "lift-out", gear[i].name, 0, 5), tare, 1);
    }
    tank_destroy(tank);
}

static void air_leaves_in_shares(void **state) {
    struct tank_declared told = tank_declared_default();
    struct tank *tank = exact_tank();
    double tare = level_after(tank, "add-ballast", NULL, 0, 5);
    double truth_g = tank_truth_in_tank_g(tank, "Dabchick boot");
    double left_g = -(level_after(tank, "immerse", "Dabchick boot", 0, 5) - tare) / 600 - truth_g;
    (void)state;
    assert_true(left_g > 0.5);
    for (int i = 0; i < 3; i++) {
        double now_g = -(level_after(tank, "shake", "Dabchick boot", 0, 8) - tare) / 600 - truth_g;
        double slack_g = 0.01; /* the wetted line */
        assert_true(now_g <= left_g * (1 - told.shake_share_low) + slack_g);
        assert_true(now_g >= left_g * (1 - told.shake_share_high) - slack_g);
        left_g = now_g;
    }
    tank_destroy(tank);
}

static void a_shaken_item_is_off_the_hook_for_a_while(void **state) {
    struct tank *tank = exact_tank();
    double tare = level_after(tank, "add-ballast", NULL, 0, 5);
    double held = level_after(tank, "immerse", "Heron fin", 0, 5);
    (void)state;
    assert_true(held - tare > 0.3 * 6e5);
    assert_near(level_after(tank, "shake", "Heron fin", 0, 2), tare, 50);
    tank_destroy(tank);
}

/* 6 g with a time constant of 200 s, and a share of air that is the item's own. */
static struct tank *soaking_tank(void) {
    static const struct tank_item item = {.name = "Sponge",
                                          .pieces = 1,
                                          .mass_kg = 0.5,
                                          .volume_m3 = 0.4e-3,
                                          .soak_kg = 0.006,
                                          .soak_s = 200};
    struct tank_declared declared = exact_declared();
    struct tank_cell cell = exact_cell();
    declared.gear = &item;
    declared.gear_count = 1;
    return tank_create(&declared, &cell, 1);
}

static void what_takes_up_water_grows_heavier(void **state) {
    struct tank *tank = soaking_tank();
    (void)state;
    double dry_g = tank_truth_in_tank_g(tank, "Sponge");
    double early = level_after(tank, "immerse", "Sponge", 0, 20);
    double late = level_after(tank, "shake", "Sponge", 0, 200);
    /* read from 20.0 to 21.0 s and from 221.0 to 222.0 s after it went in */
    double grams = 6 * (exp(-20.5 / 200) - exp(-221.5 / 200));
    assert_near((late - early) / 600, grams, 0.05);
    level_after(tank, "lift-out", "", 0, 300); /* it does not go on in air */
    assert_near(tank_truth_in_tank_g(tank, "Sponge"), dry_g - 6 * (1 - exp(-222.0 / 200)), 0.05);
    tank_destroy(tank);
}

/* ---- whole windows ---- */

static void a_window_tells_what_its_samples_do(void **state) {
    struct tank_declared declared = exact_declared();
    struct tank_cell cell = exact_cell();
    struct tank_window window;
    (void)state;
    cell.creep_rel_low = cell.creep_rel_high = 0.002;
    cell.sway_kg = cell.slosh_kg = 0.02;
    cell.hysteresis_rel = 1e-4;
    cell.drift_counts_min = 60;
    struct tank *sampled = tank_create(&declared, &cell, 1), *told = tank_clone(sampled);
    double from_s = 12;
    tank_act(sampled, "hang-mass", NULL, 2, 5);
    tank_act(told, "hang-mass", NULL, 2, 5);
    tank_window(told, from_s, 4, &window);
    double sum = 0, count = 0;
    while (tank_time_s(sampled) < from_s + 4 - 0.05) {
        double counts = (double)counts_of(sampled);
        sum += tank_time_s(sampled) > from_s ? counts : 0;
        count += tank_time_s(sampled) > from_s;
    }
    /* 2 kg are 1.2 million counts, the ringing that is left some thousand */
    assert_near(window.load_counts, sum / count, 40);
    assert_true(window.readings == 40 && window.glitches == 0);
    assert_near(tank_step_s(told, tank_ideal_counts(told)), 5.25, 0.2);
    tank_destroy(sampled);
    tank_destroy(told);
}

static double creep_seen(double share) {
    struct tank_declared declared = exact_declared();
    struct tank_cell cell = exact_cell();
    cell.creep_rel_low = cell.creep_rel_high = share;
    struct tank *tank = tank_create(&declared, &cell, 1);
    double early = level_after(tank, "hang-mass", NULL, 2, 2);
    double late = level_after(tank, "hang-mass", NULL, 2, 600); /* the same mass: no step */
    tank_destroy(tank);
    return (late - early) / (2 * 6e5);
}

static void creep_has_the_sign_and_share_asked(void **state) {
    (void)state;
    assert_true(creep_seen(0.002) > 0.5 * 0.002 && creep_seen(0.002) < 0.002);
    assert_true(creep_seen(-0.002) < -0.5 * 0.002 && creep_seen(-0.002) > -0.002);
    assert_near(creep_seen(0), 0, 1e-6);
}

static void an_idle_stream_is_as_noisy_as_declared(void **state) {
    enum { SAMPLES = 20000 };
    struct tank_declared declared = exact_declared();
    struct tank_cell cell = exact_cell(), usual = tank_cell_default();
    double sum = 0, squares = 0, products = 0, before = 0;
    cell.white_counts = usual.white_counts;
    cell.correlated_counts = usual.correlated_counts;
    struct tank *tank = tank_create(&declared, &cell, 3);
    (void)state;
    for (int i = 0; i < SAMPLES; i++) {
        double counts = (double)counts_of(tank) - cell.offset_counts;
        sum += counts;
        squares += counts * counts;
        products += counts * before;
        before = counts;
    }
    double correlated = usual.correlated_counts * usual.correlated_counts;
    double variance = usual.white_counts * usual.white_counts + correlated;
    double lag_1 = usual.correlation * correlated / variance;
    assert_near(sum / SAMPLES, 0, 3);
    assert_near(sqrt(squares / SAMPLES), sqrt(variance), 0.03 * sqrt(variance));
    assert_near(products / squares, lag_1, 0.03);
    tank_destroy(tank);
}

static void a_slipped_word_is_shifted_behind_ones(void **state) {
    struct tank_declared declared = exact_declared();
    struct tank_cell cell = exact_cell();
    int slips = 0, by_one = 0;
    cell.bit_slip_chance = 0.1;
    struct tank *tank = tank_create(&declared, &cell, 2);
    (void)state;
    for (int i = 0; i < 2000; i++) {
        long counts = counts_of(tank);
        if (counts != 80000) {
            slips++;
            by_one += counts == (0x800000L | (80000 >> 1)) - 0x1000000L;
            assert_true(counts == (0x800000L | (80000 >> 1)) - 0x1000000L ||
                        counts == (0x800000L | (80000 >> 2)) - 0x1000000L);
        }
    }
    assert_in_range(slips, 140, 260);
    assert_in_range(by_one, slips / 4, slips);
    tank_destroy(tank);
}

static void another_water_keeps_its_drawn_density(void **state) {
    struct tank *tank = exact_tank();
    double first_g = tank_truth_in_water_g(tank, "Heron fin", "sea", 1026, 0.5, 15);
    (void)state;
    assert_true(first_g == tank_truth_in_water_g(tank, "Heron fin", "sea", 1026, 0.5, 15));
    double exact_g = tank_truth_in_water_g(tank, "Heron fin", "sea", 1026, 0, 15);
    assert_near(exact_g, 1e3 * (1026 * 1.612e-3 * (1 - 5 * 4.5e-4) - 1.980), 1e-6);
    assert_near(first_g, exact_g, 5 * 0.5 * 1.612);
    assert_true(first_g != exact_g);
    assert_true(isnan(tank_truth_in_water_g(tank, "No such fin", "sea", 1026, 0, 15)));
    double half_g = tank_truth_in_range_g(tank, "Heron fin", "sea", 1026, 0.5, 15) - exact_g;
    double most_g = tank_truth_in_water_g(tank, "Heron fin", "sea", 1026.5, 0, 15) - exact_g;
    assert_true(fabs(half_g) < most_g && half_g != 0);
    assert_true((half_g > 0) == (first_g > exact_g));
    tank_destroy(tank);
}

/* 8 g and more from the lines between the classes, but for the one meant to lie on one. */
static void only_one_item_lies_on_a_line(void **state) {
    size_t count;
    const struct tank_item *gear = tank_gear(&count);
    const double waters[][2] = {
        {22, water_kg_m3(22, 0.2, 0)}, {20, water_kg_m3(20, 0.2, 0)}, {15, 1025.97}};
    struct tank *tank = exact_tank();
    int close = 0;
    (void)state;
    assert_true(count >= 13);
    for (size_t i = 0; i < count; i++) {
        bool is_close = false;
        for (size_t w = 0; w < 3; w++) {
            double g =
                tank_truth_in_water_g(tank, gear[i].name, "w", waters[w][1], 0, waters[w][0]);
            double margin = fabs(fabs(g) - 50 * gear[i].pieces);
            is_close = is_close || margin <= 8;
        }
        close += is_close;
    }
    assert_int_equal(close, 1);
    tank_destroy(tank);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(time_advances_only_with_samples),
        cmocka_unit_test(a_hung_mass_pulls_less_by_the_air_it_displaces),
        cmocka_unit_test(the_cell_shows_the_truth_of_every_item),
        cmocka_unit_test(air_leaves_in_shares),
        cmocka_unit_test(a_shaken_item_is_off_the_hook_for_a_while),
        cmocka_unit_test(what_takes_up_water_grows_heavier),
        cmocka_unit_test(a_window_tells_what_its_samples_do),
        cmocka_unit_test(creep_has_the_sign_and_share_asked),
        cmocka_unit_test(an_idle_stream_is_as_noisy_as_declared),
        cmocka_unit_test(a_slipped_word_is_shifted_behind_ones),
        cmocka_unit_test(another_water_keeps_its_drawn_density),
        cmocka_unit_test(only_one_item_lies_on_a_line),
    };
    return cmocka_run_group_tests_name("tank physics", tests, NULL, NULL);
}
