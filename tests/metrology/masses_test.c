/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "upthrust/masses.h"

static void assert_error_mg(double mass_kg, double error_mg) {
    double got = up_mass_error_kg(UP_MASSES_M1, mass_kg) * 1e6;
    if (!(fabs(got - error_mg) < 1e-9)) {
        fail_msg("%g kg: %g mg, wanted %g", mass_kg, got, error_mg);
    }
}

static void pieces_of_a_set_add_up(void **state) {
    (void)state;
    assert_error_mg(0.5, 25);
    assert_error_mg(1.5, 75);
    assert_error_mg(4, 200);            /* 2 kg twice */
    assert_error_mg(3, 150);            /* 2 and 1 */
    assert_error_mg(0.75, 25 + 10 + 3); /* 500, 200, 50 */
    assert_error_mg(0.009, 1.6 + 1.2 + 1.2);
    assert_error_mg(0.1 + 0.2, 5 + 10); /* not the double nearest 0.3 */
    assert_error_mg(100, 2500 + 2 * 1000 + 500);
}

static void outside_the_table_there_is_no_number(void **state) {
    static const double bad_kg[] = {0, -1, 0.0005, 1.0005, 200, (double)NAN, (double)INFINITY};
    (void)state;
    for (size_t i = 0; i < sizeof bad_kg / sizeof bad_kg[0]; i++) {
        assert_true(isnan(up_mass_error_kg(UP_MASSES_M1, bad_kg[i])));
    }
    assert_true(isnan(up_mass_error_kg(UP_MASSES_UNCLASSED, 1)));
}

/* All errors go one way: sum(m e) / sum(m m); those of M1 from 100 g on are 50 parts in a million
   each, so the slope's is too. */
static void tolerance_of_a_slope(void **state) {
    const double kg[] = {0.5, -1, 2, 4}, light_kg[] = {0.05, 1};
    (void)state;
    assert_true(fabs(up_masses_tolerance_rel(UP_MASSES_M1, kg, 4) - 5e-5) < 1e-15);
    double wanted = (0.05 * 3e-6 + 1 * 50e-6) / (0.05 * 0.05 + 1);
    assert_true(fabs(up_masses_tolerance_rel(UP_MASSES_M1, light_kg, 2) - wanted) < 1e-15);
    assert_true(isnan(up_masses_tolerance_rel(UP_MASSES_M1, kg, 0)));
    assert_true(isnan(up_masses_tolerance_rel(UP_MASSES_M1, (const double[]){1, 0.0001}, 2)));
}

static void names_come_back(void **state) {
    enum up_mass_class mass_class = UP_MASSES_UNCLASSED;
    (void)state;
    assert_true(up_mass_class_from_name("F2", &mass_class));
    assert_int_equal(mass_class, UP_MASSES_F2);
    assert_false(up_mass_class_from_name("m1", &mass_class));
    assert_false(up_mass_class_from_name("", &mass_class));
    assert_int_equal(mass_class, UP_MASSES_F2);
    assert_string_equal(up_mass_class_name(UP_MASSES_M3), "M3");
}

/* By hand: the check (1 + 0.5) / 500 and 0.0005, air 0.1 (1 / 900 - 1 / 8000), and OIML R 76, class
   III in service: a step up to 500 steps, two up to 2000, then three. */
static void a_checked_scale_leaves_a_width(void **state) {
    (void)state;
    struct up_scale_check scale = {
        .step_g = 1, .known_g = 500, .shown_g = 501, .known_tolerance_rel = 5e-4};
    double rest = 0.003 + 5e-4 + 0.1 * (1.0 / 900 - 1.0 / 8000);
    assert_true(fabs(up_weighed_tolerance_rel(&scale, 1012) - (rest + 2.0 / 1012)) < 1e-12);
    assert_true(fabs(up_weighed_tolerance_rel(&scale, 400) - (rest + 2.0 / 500)) < 1e-12);
    assert_true(fabs(up_weighed_tolerance_rel(&scale, 100) - (rest + 1.0 / 100)) < 1e-12);
    assert_true(fabs(up_weighed_tolerance_rel(&scale, 1900) - (rest + 3.0 / 2000)) < 1e-12);
    assert_true(fabs(up_weighed_tolerance_rel(&scale, 3000) - (rest + 3.0 / 3000)) < 1e-12);
    scale.shown_g = 499; /* either way */
    assert_true(fabs(up_weighed_tolerance_rel(&scale, 3000) - (rest + 3.0 / 3000)) < 1e-12);
    scale.step_g = 0;
    assert_true(isnan(up_weighed_tolerance_rel(&scale, 3000)));
}

/* OIML D 28: a bottle of 900 to 1050 kg/m3 pulls on the cell as a mass of 8000 kg/m3 would of which
   the scale shows as much, whatever the air, if it is the same; a litre counted as a kilogram does
   not. */
static void a_bottle_weighed_whole_is_a_known_mass(void **state) {
    static const double density_kg_m3[] = {900, 1000, 1050}, air_kg_m3[] = {1.0, 1.2, 1.3};
    (void)state;
    struct up_scale_check scale = {
        .step_g = 1e-9, .known_g = 500, .shown_g = 500, .known_tolerance_rel = 0};
    double bound = up_weighed_tolerance_rel(&scale, 1000);
    for (int i = 0; i < 27; i++) {
        double density = density_kg_m3[i % 3], weighed = air_kg_m3[i / 3 % 3];
        double hung = weighed + 0.1 * (i / 9 - 1);
        double shown = (1 - weighed / density) / (1 - weighed / 8000); /* of one kilogram of it */
        double pull = 1 - hung / density, taken = shown * (1 - hung / 8000);
        double off = fabs(pull / taken - 1);
        assert_true(off < (hung == weighed ? 1e-12 : bound * 1.002)); /* of second order */
        assert_true(fabs(pull / (1 - hung / 8000) - 1) > 7 * bound); /* true mass: a gram a litre */
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pieces_of_a_set_add_up),
        cmocka_unit_test(outside_the_table_there_is_no_number),
        cmocka_unit_test(tolerance_of_a_slope),
        cmocka_unit_test(names_come_back),
        cmocka_unit_test(a_checked_scale_leaves_a_width),
        cmocka_unit_test(a_bottle_weighed_whole_is_a_known_mass),
    };
    return cmocka_run_group_tests_name("masses", tests, NULL, NULL);
}
