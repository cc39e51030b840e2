/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The second tank's physics against equations in closed form, worked out by hand beside each check.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "second_tank.h"

static const double tenth_mg = 1e-7; /* kg: the 1e-4 g of the truth test */

#define assert_near(value, expected, within) assert_true(fabs((value) - (expected)) <= (within))

static gsl_rng *chance;

static int make_chance(void **state) {
    (void)state;
    chance = gsl_rng_alloc(gsl_rng_mt19937);
    return chance ? 0 : -1;
}

static int drop_chance(void **state) {
    (void)state;
    gsl_rng_free(chance);
    return 0;
}

/* Water of 998.2 kg/m3 and 20 C that stays so, air of 1.2 kg/m3, 0.5 m2, a line of 1 mm2. */
static const struct second_tank_law still = {.water_c = 20,
                                             .water_kg_m3 = 998.2,
                                             .air_kg_m3 = 1.2,
                                             .area_m2 = 0.5,
                                             .cord_area_m2 = 1e-6,
                                             .hanger_kg = 0.1,
                                             .ballast_kg = 2};
static const struct second_cell_law ideal = {.counts_g = 500};
static const struct second_item floats = {.mass_kg = 1.4, .volume_m3 = 1.6e-3};
static const struct second_item sinks = {.mass_kg = 3, .volume_m3 = 1e-3};

/* hanger + ballast (1 - 998.2 / 11340) = 0.1 + 2 x 0.9119753086... */
static const double tare_kg = 1.923950617283951;

static struct second_tank tank_of(struct second_tank_law law, struct second_cell_law cell) {
    struct second_tank tank;
    gsl_rng_set(chance, 1);
    second_tank_begin(&tank, &law, &cell, chance);
    return tank;
}

static double hangs_kg(struct second_tank_law law, struct second_hung hung) {
    struct second_tank tank = tank_of(law, ideal);
    second_tank_change(&tank, 10, &hung);
    return second_tank_hung_kg(&tank, 10);
}

/* ---- equilibrium ---- */

static void test_equilibrium(void **state) {
    (void)state;
    assert_near(hangs_kg(still, (struct second_hung){.ballast_share = 1}), tare_kg, tenth_mg);
    /* masses: 2 (1 - 1.2 / 8000) = 1.9997 */
    assert_near(hangs_kg(still, (struct second_hung){.ballast_share = 1, .masses_kg = 2}),
                tare_kg + 1.9997, tenth_mg);
    /* dry: 1.4 - 1.2 x 1.6e-3 = 1.39808 */
    assert_near(hangs_kg(still, (struct second_hung){.ballast_share = 1, .in_air = &floats}),
                tare_kg + 1.39808, tenth_mg);
    /* under water: 1.4 - 998.2 x 1.6e-3 = -0.19712; the level rises by 3.2 mm, 998.2 x 3.2e-9 kg */
    assert_near(hangs_kg(still, (struct second_hung){.ballast_share = 1, .in_water = &floats}),
                tare_kg - 0.19712 - 3.19424e-6, tenth_mg);
    /* 3 - 0.9982 = 2.0018, 2 mm, 1.9964e-6 */
    assert_near(hangs_kg(still, (struct second_hung){.ballast_share = 1, .in_water = &sinks}),
                tare_kg + 2.0018 - 1.9964e-6, tenth_mg);
    /* held beside the hook it only raises the level */
    struct second_hung off = {.ballast_share = 1, .in_water = &sinks, .unhooked = true};
    assert_near(hangs_kg(still, off), tare_kg - 1.9964e-6, tenth_mg);
}

static void test_warm_item_and_water(void **state) {
    (void)state;
    struct second_item item = {.mass_kg = 1.4, .volume_m3 = 1.6e-3, .expansion_per_k = 4e-4};
    struct second_tank_law law = still;
    law.item_k = 5;
    law.item_lag_s = 100;
    law.cord_area_m2 = 0;
    struct second_tank tank = tank_of(law, ideal);
    struct second_hung hung = {.ballast_share = 1, .in_water = &item};
    second_tank_change(&tank, 50, &hung);
    /* warmer by 5 exp(-200/100) = 0.6766764 K: 998.2 x 1.6e-3 x 4e-4 x 0.6766764 = 0.0004322978 */
    assert_near(second_tank_hung_kg(&tank, 250), tare_kg - 0.19712 - 0.0004322978, tenth_mg);
    /* at 25 C in 997.0: 997.0 x 1.6e-3 (1 + 4e-4 x 5) - 1.4 = 0.1983904 */
    assert_near(second_item_buoyancy_kg(&item, 997, 25), 0.1983904, tenth_mg);
    tank.law.water_k_h = 2;
    tank.law.water_kg_m3_k = -0.2;
    assert_near(second_tank_water_c(&tank, 1800), 21, 1e-9);
    assert_near(second_tank_water_kg_m3(&tank, 1800), 998, 1e-9);
}

static void test_slack_line_and_floor(void **state) {
    (void)state;
    struct second_tank_law law = still;
    law.ballast_kg = 0.1; /* 0.1 + 0.0911975 hangs, 0.19712 lifts */
    struct second_hung hung = {.ballast_share = 1, .in_water = &floats};
    assert_true(hangs_kg(law, hung) == 0);
    law = still;
    law.floor_kg = 1;
    /* 1 + 0.02 (1.9239506 - 1) */
    assert_near(hangs_kg(law, (struct second_hung){.ballast_share = 1}), 1.0184790, tenth_mg);
    hung.ballast_share = 0.25; /* 0.1 + 0.4559877 - 0.19712 - 0.0000032: off the floor */
    assert_near(hangs_kg(law, hung), 0.3588645, tenth_mg);
}

static void test_touch(void **state) {
    (void)state;
    struct second_tank_law law = still;
    law.touch_kg = 0.05;
    law.cord_area_m2 = 0;
    struct second_hung hung = {.ballast_share = 1, .in_water = &sinks};
    assert_near(hangs_kg(law, hung), tare_kg + 2.0018 - 0.05, tenth_mg);
    law.touch_varies = 0.1;
    struct second_tank tank = tank_of(law, ideal);
    double once_kg, again_kg;
    second_tank_change(&tank, 0, &hung);
    once_kg = tank.touch_kg;
    hung.unhooked = true;
    second_tank_change(&tank, 5, &hung);
    hung.unhooked = false;
    second_tank_change(&tank, 9, &hung);
    again_kg = tank.touch_kg;
    assert_true(once_kg != again_kg);
    assert_true(second_tank_hung_kg(&tank, 10) != second_tank_hung_kg(&tank, 15));
}

/* ---- air, drips, drift ---- */

static void test_air_leaves_by_shaking(void **state) {
    (void)state;
    struct second_item item = floats;
    item.air_kg = 0.04;
    item.stuck_share = 0.2;
    item.shake_share = 0.5;
    struct second_tank tank = tank_of(still, ideal);
    struct second_hung hung = {.ballast_share = 1, .in_water = &item};
    second_tank_change(&tank, 0, &hung);
    double whole_kg = second_tank_air_kg(&tank, 0);
    assert_true(whole_kg > 0.02 && whole_kg < 0.06);
    for (int i = 0; i < 3; i++)
        second_tank_shake(&tank, 10 + i);
    assert_near(second_tank_air_kg(&tank, 20), whole_kg * (0.2 + 0.8 / 8), tenth_mg);
    /* an item without air and one with: they differ by its lift, and the level that it raises */
    assert_near(second_tank_hung_kg(&tank, 20) + second_tank_air_kg(&tank, 20) * (1 + 1e-6 / 0.5),
                tare_kg - 0.19712 - 3.19424e-6, tenth_mg);
}

static void test_bubbles_form_and_are_shaken_off(void **state) {
    (void)state;
    struct second_item item = floats;
    item.shake_share = 0.75;
    struct second_tank_law law = still;
    law.bubbles_kg_s = 0.001 / 60;
    struct second_tank tank = tank_of(law, ideal);
    struct second_hung hung = {.ballast_share = 1, .in_water = &item};
    second_tank_change(&tank, 100, &hung);
    assert_near(second_tank_air_kg(&tank, 280), 0.003, tenth_mg); /* a gram a minute */
    second_tank_shake(&tank, 280);
    assert_near(second_tank_air_kg(&tank, 340), 0.00075 + 0.001, tenth_mg);
}

static void test_drips(void **state) {
    (void)state;
    struct second_tank_law law = still;
    law.drip_kg = 0.002;
    law.drip_s = 45;
    struct second_tank tank = tank_of(law, ideal);
    struct second_hung hung = {.ballast_share = 1, .in_water = &sinks};
    assert_true(second_tank_drip_kg(&tank, 5) == 0); /* before anything was wet */
    second_tank_change(&tank, 10, &hung);
    assert_true(second_tank_drip_kg(&tank, 20) == 0); /* it hangs in the water */
    hung.in_water = NULL;
    second_tank_change(&tank, 100, &hung);
    assert_near(second_tank_drip_kg(&tank, 100), 0.002, tenth_mg);
    /* 2 g (1 - (20/45)^(2/3)) = 0.83524 g: 17 drops of 50 mg still hang */
    assert_near(second_tank_drip_kg(&tank, 120), 0.00085, tenth_mg);
    assert_true(second_tank_drip_kg(&tank, 145.1) == 0);
    assert_near(second_tank_hung_kg(&tank, 120), tare_kg + 0.00085, tenth_mg);
}

static void test_drift(void **state) {
    (void)state;
    struct second_tank_law law = still;
    law.sine_kg = 0.003;
    law.sine_s = 400;
    law.slow_kg_h = 0.0036;
    struct second_tank tank = tank_of(law, ideal);
    assert_near(second_tank_drift_kg(&tank, 100), 0.003 + 0.0001, 1e-12);
    assert_near(second_tank_drift_kg(&tank, 300), -0.003 + 0.0003, 1e-12);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_equilibrium),
        cmocka_unit_test(test_warm_item_and_water),
        cmocka_unit_test(test_slack_line_and_floor),
        cmocka_unit_test(test_touch),
        cmocka_unit_test(test_air_leaves_by_shaking),
        cmocka_unit_test(test_bubbles_form_and_are_shaken_off),
        cmocka_unit_test(test_drips),
        cmocka_unit_test(test_drift),
    };
    return cmocka_run_group_tests(tests, make_chance, drop_chance);
}
