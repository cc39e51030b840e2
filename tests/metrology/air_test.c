/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "agree.h"
#include "upthrust/water.h"

#define ENDLESS   ((double)INFINITY)
#define NO_NUMBER ((double)NAN)

static struct up_air room(void) {
    return (struct up_air){up_known(20, 0), up_known(101325, 0), up_known(0.5, 0)};
}

static struct up_quantity density_of(struct up_air air) {
    struct up_quantity rho;
    struct up_failure failure;
    assert_true(up_air_density(&air, &rho, &failure));
    assert_true(isfinite(rho.value) && rho.u > 0 && rho.dof > 0);
    return rho;
}

static void assert_refused(struct up_air air, const char *wanted) {
    struct up_quantity rho;
    struct up_failure failure = {UP_STATUS_DONE, ""};
    assert_false(up_air_density(&air, &rho, &failure));
    assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
    assert_non_null(strstr(failure.text, wanted));
    assert_true(isnan(rho.value) && isnan(rho.u) && isnan(rho.dof));
    assert_false(up_air_density(&air, &rho, NULL));
}

static void test_values_outside_the_range_are_named(void **state) {
    (void)state;
    const double bad[] = {-1e-6, 110000.1, -1e308, 1e308, ENDLESS, -ENDLESS, NO_NUMBER};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct up_air temp = room(), pressure = room(), humidity = room();
        temp.temp_c.value = pressure.pressure_pa.value = humidity.humidity.value = bad[i];
        assert_refused(temp, "air: temperature in C is");
        assert_refused(pressure, "air: pressure in Pa is");
        assert_refused(humidity, "air: humidity is");
    }
}

static void test_uncertainties_outside_the_range_are_named(void **state) {
    (void)state;
    const double bad[] = {-1e-6, 110000.1, 1e308, ENDLESS, -ENDLESS, NO_NUMBER};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct up_air temp = room(), pressure = room(), humidity = room();
        temp.temp_c.u = pressure.pressure_pa.u = humidity.humidity.u = bad[i];
        assert_refused(temp, "air: uncertainty of temperature in C is");
        assert_refused(pressure, "air: uncertainty of pressure in Pa is");
        assert_refused(humidity, "air: uncertainty of humidity is");
    }
}

static void test_degrees_of_freedom_must_be_above_zero_where_they_count(void **state) {
    (void)state;
    const double bad[] = {0, -1, -ENDLESS, NO_NUMBER};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct up_air air = room();
        air.temp_c.dof = bad[i];
        density_of(air);
        air.temp_c.u = 0.1;
        assert_refused(air, "degrees of freedom of temperature");
    }
}

static void test_the_ends_of_the_ranges_belong_to_them(void **state) {
    (void)state;
    struct up_air thin = {up_known(40, 1), up_known(60000, 100), up_known(1, 0.1)};
    struct up_air thick = {up_known(0, 1), up_known(110000, 100), up_known(0, 0.1)};
    assert_true(density_of(thin).value > 0.6 && density_of(thin).value < 0.7);
    thin.temp_c.value = 40.001;
    assert_refused(thin, "40.001, outside 0 to 40");
    assert_true(density_of(thick).value > 1.3 && density_of(thick).value < 1.5);
}

static void test_warm_thin_and_moist_air_is_lighter(void **state) {
    (void)state;
    double rho = density_of(room()).value;
    struct up_air warm = room(), thin = room(), moist = room();
    warm.temp_c.value = 21;
    thin.pressure_pa.value = 101000;
    moist.humidity.value = 0.6;
    assert_true(density_of(warm).value < rho);
    assert_true(density_of(thin).value < rho);
    assert_true(density_of(moist).value < rho);
}

static void test_exact_inputs_leave_the_uncertainty_of_the_formula(void **state) {
    (void)state;
    struct up_air far = room();
    assert_close(density_of(room()).u, 22e-6 * density_of(room()).value, 1e-15);
    assert_true(isinf(density_of(room()).dof));
    far.temp_c.value = 27;
    assert_close(density_of(far).u, 22e-6 * density_of(far).value, 1e-15);
    far.temp_c.value = 27.001;
    assert_close(density_of(far).u, 1e-4 * density_of(far).value, 1e-15);
}

/* Picard et al. 2008 give the relative sensitivities near 20 C, 101325 Pa, 50 %, in one digit
   (from memory): -4e-3 per kelvin, 1e-5 per pascal, -9e-3 for the whole humidity. */
static void test_each_input_carries_its_share(void **state) {
    (void)state;
    struct up_air temp = room(), pressure = room(), humidity = room();
    double rho = density_of(room()).value;
    temp.temp_c.u = 3;
    pressure.pressure_pa.u = 2000;
    humidity.humidity.u = 0.2;
    assert_close(density_of(temp).u / rho / 3, 4e-3, 0.5e-3);
    assert_close(density_of(pressure).u / rho / 2000, 1e-5, 0.05e-5);
    assert_close(density_of(humidity).u / rho / 0.2, 9e-3, 0.5e-3);
}

static void test_degrees_of_freedom_follow_welch_and_satterthwaite(void **state) {
    (void)state;
    struct up_air air = room();
    air.temp_c = (struct up_quantity){20, 2, 5};
    /* One input rules: its degrees of freedom are those of the result. */
    assert_close(density_of(air).dof, 5, 0.01);
    air.pressure_pa.u = 101325 * density_of(air).u / density_of(air).value;
    /* Two shares, nearly equal, one of them known: (2 u^2)^2 / (u^4 / 5). */
    assert_close(density_of(air).dof, 20, 0.5);
}

/* ---- which formula ---- */

static void test_rough_inputs_take_the_short_form(void **state) {
    (void)state;
    struct up_air air = room();
    assert_non_null(strstr(up_air_model(&air), "CIPM-2007"));
    air.temp_c.u = 0.4; /* 1.4e-3 of the density */
    assert_non_null(strstr(up_air_model(&air), "CIPM-2007"));
    air.temp_c.u = 0.7; /* 2.5e-3 */
    assert_non_null(strstr(up_air_model(&air), "OIML R 111-1"));
    /* E.3-1 by hand: (0.34848 * 1013.25 - 0.009 * 50 * exp(0.061 * 20)) / 293.15 */
    assert_close(density_of(air).value, (0.34848 * 1013.25 - 0.45 * exp(1.22)) / 293.15, 1e-12);
    struct up_air known = room();
    assert_close(density_of(air).value, density_of(known).value, 3e-4 * 1.2);
    assert_true(density_of(air).u > 2e-3 * 1.2);
}

static void test_outside_its_range_the_short_form_is_not_taken(void **state) {
    (void)state;
    struct up_air rough = room();
    rough.temp_c.u = 3;
    struct up_air far[] = {rough, rough, rough, rough, rough};
    far[0].temp_c.value = 9.9;
    far[1].temp_c.value = 30.1;
    far[2].pressure_pa.value = 89900;
    far[3].pressure_pa.value = 110000;
    far[4].humidity.value = 0.8;
    for (size_t i = 0; i < sizeof far / sizeof *far; i++) {
        /* 1100 hPa is the end of both ranges and belongs to them. */
        assert_true((strstr(up_air_model(&far[i]), "OIML") != NULL) == (i == 3));
        density_of(far[i]);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_values_outside_the_range_are_named),
        cmocka_unit_test(test_uncertainties_outside_the_range_are_named),
        cmocka_unit_test(test_degrees_of_freedom_must_be_above_zero_where_they_count),
        cmocka_unit_test(test_the_ends_of_the_ranges_belong_to_them),
        cmocka_unit_test(test_warm_thin_and_moist_air_is_lighter),
        cmocka_unit_test(test_exact_inputs_leave_the_uncertainty_of_the_formula),
        cmocka_unit_test(test_each_input_carries_its_share),
        cmocka_unit_test(test_degrees_of_freedom_follow_welch_and_satterthwaite),
        cmocka_unit_test(test_rough_inputs_take_the_short_form),
        cmocka_unit_test(test_outside_its_range_the_short_form_is_not_taken),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
