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

static const struct up_water FRESH = {.name = "fresh", .model = UP_WATER_FRESH, .temp_c = 20};
static const struct up_water SEA = {
    .name = "sea", .model = UP_WATER_SEA, .temp_c = 20, .salinity_g_kg = 35};

static struct up_water_density density_of(const struct up_water *water) {
    struct up_water_density density;
    struct up_failure failure;
    assert_true(up_water_density(water, &density, &failure));
    assert_true(isfinite(density.density_kg_m3.value) && isinf(density.density_kg_m3.dof));
    return density;
}

static double rho(const struct up_water *water) {
    return density_of(water).density_kg_m3.value;
}

static double u_rho(const struct up_water *water) {
    return density_of(water).density_kg_m3.u;
}

static void assert_refused(const struct up_water *water, const char *wanted) {
    struct up_water_density density;
    struct up_failure failure = {UP_STATUS_DONE, ""};
    assert_false(up_water_density(water, &density, &failure));
    assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
    assert_non_null(strstr(failure.text, wanted));
    assert_true(isnan(density.density_kg_m3.value) && isnan(density.density_kg_m3.u));
    assert_string_equal(density.model, "");
    assert_false(up_water_density(water, &density, NULL));
}

/* ---- the plain formulas ---- */

static void test_fresh_formula_refuses_what_it_does_not_cover(void **state) {
    (void)state;
    const double bad_c[] = {-1e-9, 40.0000001, -300, 1e308, ENDLESS, -ENDLESS, NO_NUMBER};
    const double bad_pa[] = {-101325, 1.1e6, 1e308, ENDLESS, -ENDLESS, NO_NUMBER};
    for (size_t i = 0; i < sizeof bad_c / sizeof *bad_c; i++) {
        assert_true(isnan(up_water_fresh_kg_m3(bad_c[i], 0)));
    }
    for (size_t i = 0; i < sizeof bad_pa / sizeof *bad_pa; i++) {
        assert_true(isnan(up_water_fresh_kg_m3(20, bad_pa[i])));
    }
    assert_true(isfinite(up_water_fresh_kg_m3(0, 0)) && isfinite(up_water_fresh_kg_m3(40, 6e5)));
}

static void test_sea_formula_refuses_what_it_does_not_cover(void **state) {
    (void)state;
    const double bad[] = {-1e308, -3, 1e308, ENDLESS, -ENDLESS, NO_NUMBER};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        assert_true(isnan(up_water_sea_kg_m3(bad[i], 20, 0)));
        assert_true(isnan(up_water_sea_kg_m3(35, bad[i], 0)));
        assert_true(i == 1 || isnan(up_water_sea_kg_m3(35, 20, bad[i])));
    }
    assert_true(isnan(up_water_sea_kg_m3(42.0001, 20, 0)));
    assert_true(isnan(up_water_sea_kg_m3(35, 40.0001, 0)));
    assert_true(isnan(up_water_sea_kg_m3(35, 20, 100.0001e6)));
    assert_true(isnan(up_water_sea_kg_m3(35, 20, -0.1001e6)));
    assert_true(isfinite(up_water_sea_kg_m3(0, -2, -0.1e6)));
    assert_true(isfinite(up_water_sea_kg_m3(42, 40, 100e6)));
}

static void test_practical_salinity_35_is_standard_seawater(void **state) {
    (void)state;
    assert_close(up_water_absolute_salinity_g_kg(35), 35.16504, 1e-13);
    assert_close(up_water_absolute_salinity_g_kg(0), 0, 0);
}

/* ---- what is asked for ---- */

static void test_every_number_outside_its_range_is_named(void **state) {
    (void)state;
    const double bad[] = {-1e-6, -1e308, 1e308, ENDLESS, -ENDLESS, NO_NUMBER};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct up_water water[] = {SEA, SEA, SEA, SEA, SEA, FRESH};
        water[0].temp_c = water[1].u_temp_c = water[2].salinity_g_kg = bad[i];
        water[3].u_salinity_g_kg = water[4].depth_m = water[5].salinity_g_kg = bad[i];
        assert_refused(&water[0], "temperature in C");
        assert_refused(&water[1], "uncertainty of temperature in K");
        assert_refused(&water[2], "salinity in g/kg");
        assert_refused(&water[3], "uncertainty of salinity in g/kg");
        assert_refused(&water[4], "depth in m");
        assert_refused(&water[5], "dissolved solids in g/kg");
    }
}

static void test_the_ends_of_the_ranges_belong_to_them(void **state) {
    (void)state;
    struct up_water low = {.name = "low", .model = UP_WATER_FRESH};
    struct up_water high = {.model = UP_WATER_SEA, .temp_c = 40, .salinity_g_kg = 42};
    struct up_water hard = {.model = UP_WATER_FRESH, .temp_c = 40, .salinity_g_kg = 2};
    high.depth_m = hard.depth_m = 60;
    high.u_temp_c = high.u_salinity_g_kg = hard.u_temp_c = hard.u_salinity_g_kg = 1;
    assert_true(rho(&low) > 999 && rho(&low) < 1000);
    assert_true(rho(&high) > 1020 && rho(&high) < 1030);
    assert_true(rho(&hard) > 992 && rho(&hard) < 995);
    high.temp_c = 40.001;
    assert_refused(&high, "40.001, outside 0 to 40");
    high.temp_c = 40;
    high.depth_m = 60.001;
    assert_refused(&high, "60.001, outside 0 to 60");
    hard.salinity_g_kg = 2.001;
    assert_refused(&hard, "2.001, outside 0 to 2");
}

static void test_a_name_without_an_end_and_an_unknown_model_do_no_harm(void **state) {
    (void)state;
    struct up_water water = FRESH;
    memset(water.name, 'x', sizeof water.name);
    water.depth_m = -1;
    assert_refused(&water, "depth in m");
    water.depth_m = 0;
    /* A number no enumerator has, as a damaged file might bring. */
    memset(&water.model, 0x7f, sizeof water.model);
    assert_refused(&water, "neither fresh nor sea");
}

static void test_depth_makes_denser_by_43_to_46_ppm_in_10_m(void **state) {
    (void)state;
    struct up_water water[] = {FRESH, SEA};
    for (int i = 0; i < 2; i++) {
        double before = rho(&water[i]);
        for (int depth_m = 10; depth_m <= 60; depth_m += 10) {
            water[i].depth_m = depth_m;
            double rise_ppm = (rho(&water[i]) / before - 1) * 1e6;
            assert_true(rise_ppm > 42 && rise_ppm < 46);
            before = rho(&water[i]);
        }
    }
}

static void test_pressure_is_hydrostatic_under_standard_gravity(void **state) {
    (void)state;
    struct up_water water = SEA;
    double surface = rho(&water);
    assert_close(density_of(&water).gauge_pressure_pa, 0, 0);
    water.depth_m = 60;
    struct up_water_density deep = density_of(&water);
    assert_close(deep.gauge_pressure_pa, surface * 9.80665 * 60, 1e-6);
    assert_close(deep.density_kg_m3.value, up_water_sea_kg_m3(35, 20, deep.gauge_pressure_pa),
                 1e-12);
}

static void test_solids_add_some_0_8_kg_m3_for_each_g_kg(void **state) {
    (void)state;
    for (int temp_c = 0; temp_c <= 40; temp_c += 5) {
        struct up_water water = FRESH;
        water.temp_c = temp_c;
        double pure = rho(&water);
        water.salinity_g_kg = 0.5;
        double added = (rho(&water) - pure) / 0.5;
        assert_true(added > 0.74 && added < 0.83);
    }
    struct up_water water = FRESH;
    double pure = rho(&water);
    water.salinity_g_kg = 1;
    assert_close(rho(&water) - pure, 0.77, 0.02);
}

/* ---- uncertainty ---- */

static void test_exact_inputs_leave_the_uncertainty_of_the_formula(void **state) {
    (void)state;
    assert_close(u_rho(&FRESH), 0.42e-3, 1e-15);
    assert_close(u_rho(&SEA), 4e-3, 1e-15);
    assert_close(density_of(&SEA).u_temp_kg_m3, 0, 0);
    assert_close(density_of(&SEA).u_salinity_kg_m3, 0, 0);
}

static void test_parts_combine_to_the_whole(void **state) {
    (void)state;
    struct up_water water = SEA;
    water.u_temp_c = 0.2;
    water.u_salinity_g_kg = 0.5;
    struct up_water_density d = density_of(&water);
    double sum = d.u_model_kg_m3 * d.u_model_kg_m3 + d.u_temp_kg_m3 * d.u_temp_kg_m3 +
                 d.u_salinity_kg_m3 * d.u_salinity_kg_m3;
    assert_close(d.density_kg_m3.u, sqrt(sum), 1e-14);
    assert_close(d.u_salinity_kg_m3, 0.5 * 0.756, 0.5 * 0.01);
    assert_close(d.u_temp_kg_m3, 0.2 * fabs(d.slope_kg_m3_k), 1e-3);
}

/* Where estimate - u would lie below nothing, the slope is that of the part which is left: 0.1 g/kg
   of solids are worth the same at 0.02 g/kg as at 1. */
static void test_u_of_salinity_holds_at_the_end_of_the_range(void **state) {
    (void)state;
    struct up_water water = FRESH;
    water.u_salinity_g_kg = 0.1;
    water.salinity_g_kg = 1;
    double inside = density_of(&water).u_salinity_kg_m3;
    water.salinity_g_kg = 0.02;
    assert_close(density_of(&water).u_salinity_kg_m3, inside, 0.02 * inside);
    water.salinity_g_kg = 1.99;
    assert_close(density_of(&water).u_salinity_kg_m3, inside, 0.02 * inside);
}

static void test_slope_is_that_of_the_density(void **state) {
    (void)state;
    struct up_water water[] = {FRESH, SEA};
    for (int i = 0; i < 2; i++) {
        for (double temp_c = 1; temp_c < 40; temp_c += 1.5) {
            struct up_water low = water[i], high = water[i];
            low.temp_c = temp_c - 1e-3;
            high.temp_c = temp_c + 1e-3;
            water[i].temp_c = temp_c;
            double slope = (rho(&high) - rho(&low)) / 2e-3;
            assert_close(density_of(&water[i]).slope_kg_m3_k, slope, 1e-6);
        }
    }
}

/* By hand from the derivative of the CIPM formula at 0 and 40 C, where no step outwards is. */
static void test_slope_holds_at_both_ends(void **state) {
    (void)state;
    for (int end_c = 0; end_c <= 40; end_c += 40) {
        struct up_water water = FRESH;
        double a = end_c - 3.983035, b = end_c + 301.797, c = end_c + 69.34881;
        double slope = -999.97495 / 522528.9 * (2 * a * b / c + a * a / c - a * a * b / (c * c));
        water.temp_c = end_c;
        assert_close(density_of(&water).slope_kg_m3_k, slope, 2e-6);
    }
}

static void test_at_the_densest_the_thermometer_still_counts(void **state) {
    (void)state;
    struct up_water water = FRESH;
    water.temp_c = 3.983035;
    water.u_temp_c = 1;
    struct up_water_density d = density_of(&water);
    assert_close(d.slope_kg_m3_k, 0, 1e-6);
    /* Curvature 0.0160 kg/m3/K2; over sqrt(2) for one kelvin. */
    assert_close(d.u_temp_kg_m3, 0.0113, 5e-4);
}

static void test_more_uncertain_inputs_never_give_less_uncertainty(void **state) {
    (void)state;
    struct up_water temp = SEA, salt = SEA, solids = FRESH;
    double before[3] = {0, 0, 0};
    for (double u = 0; u <= 2; u += 0.125) {
        temp.u_temp_c = salt.u_salinity_g_kg = solids.u_salinity_g_kg = u;
        double now[3] = {u_rho(&temp), u_rho(&salt), u_rho(&solids)};
        for (int i = 0; i < 3; i++) {
            assert_true(now[i] > before[i]);
            before[i] = now[i];
        }
    }
}

static void test_unknown_kind_of_solids_is_part_of_the_model(void **state) {
    (void)state;
    struct up_water water = FRESH;
    water.salinity_g_kg = 0.5;
    assert_close(density_of(&water).u_model_kg_m3, 0.0381, 0.0005);
    assert_non_null(strstr(density_of(&water).model, "solids"));
    assert_null(strstr(density_of(&FRESH).model, "solids"));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_fresh_formula_refuses_what_it_does_not_cover),
        cmocka_unit_test(test_sea_formula_refuses_what_it_does_not_cover),
        cmocka_unit_test(test_practical_salinity_35_is_standard_seawater),
        cmocka_unit_test(test_every_number_outside_its_range_is_named),
        cmocka_unit_test(test_the_ends_of_the_ranges_belong_to_them),
        cmocka_unit_test(test_a_name_without_an_end_and_an_unknown_model_do_no_harm),
        cmocka_unit_test(test_depth_makes_denser_by_43_to_46_ppm_in_10_m),
        cmocka_unit_test(test_pressure_is_hydrostatic_under_standard_gravity),
        cmocka_unit_test(test_solids_add_some_0_8_kg_m3_for_each_g_kg),
        cmocka_unit_test(test_exact_inputs_leave_the_uncertainty_of_the_formula),
        cmocka_unit_test(test_parts_combine_to_the_whole),
        cmocka_unit_test(test_u_of_salinity_holds_at_the_end_of_the_range),
        cmocka_unit_test(test_slope_is_that_of_the_density),
        cmocka_unit_test(test_slope_holds_at_both_ends),
        cmocka_unit_test(test_at_the_densest_the_thermometer_still_counts),
        cmocka_unit_test(test_more_uncertain_inputs_never_give_less_uncertainty),
        cmocka_unit_test(test_unknown_kind_of_solids_is_part_of_the_model),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
