/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Air and nitrox under pressure against two published equations of state, evaluated elsewhere. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "agree.h"
#include "metrology/breathing_gas.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

static double density(double oxygen, double temp_c, double pressure_bar) {
    struct up_breathing_gas gas = {oxygen};
    struct up_quantity density_kg_m3;
    assert_true(up_breathing_gas_density(&gas, pressure_bar * 1e5, temp_c, &density_kg_m3, NULL));
    return density_kg_m3.value;
}

struct air {
    double temp_c, pressure_bar, density_kg_m3;
};

/* Lemmon et al. 2000, evaluated by Debian's python3-iapws 1.5.3 (humidAir.Air): the same equation,
   so all printed digits agree. */
static const struct air lemmon[] = {
    {0, 1.01325, 1.2931},  {0, 50, 65.2229},    {0, 100, 131.4334},    {0, 200, 253.9081},
    {0, 232, 287.9167},    {0, 300, 350.9736},  {10, 1.01325, 1.2472}, {10, 50, 62.5684},
    {10, 100, 125.5522},   {10, 200, 242.1777}, {10, 232, 274.9165},   {10, 300, 336.2740},
    {20, 1.01325, 1.2046}, {20, 50, 60.1458},   {20, 100, 120.2635},   {20, 200, 231.6475},
    {20, 232, 263.1911},   {20, 300, 322.8474}, {40, 1.01325, 1.1274}, {40, 50, 55.8758},
    {40, 100, 111.1078},   {40, 200, 213.4927}, {40, 232, 242.8730},   {40, 300, 299.2402}};

/* GERG-2008 (ISO 20765-2), air as 78.12 % nitrogen, 20.96 % oxygen, 0.92 % argon, evaluated by the
   reference code that a national institute publishes: another equation, within 0.15 %. */
static const struct air gerg[] = {
    {0, 1.01325, 1.2927},  {0, 50, 65.1939},    {0, 100, 131.3247},    {0, 200, 253.6091},
    {0, 232, 287.6157},    {0, 300, 350.7017},  {10, 1.01325, 1.2469}, {10, 50, 62.5386},
    {10, 100, 125.4529},   {10, 200, 241.8911}, {10, 232, 274.6225},   {10, 300, 336.0078},
    {20, 1.01325, 1.2043}, {20, 50, 60.1153},   {20, 100, 120.1711},   {20, 200, 231.3739},
    {20, 232, 262.9047},   {20, 300, 322.5846}, {40, 1.01325, 1.1272}, {40, 50, 55.8439},
    {40, 100, 111.0243},   {40, 200, 213.2447}, {40, 232, 242.6039},   {40, 300, 298.9824}};

static void test_air_is_that_of_lemmon(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(lemmon); i++) {
        assert_close(density(UP_AIR_OXYGEN, lemmon[i].temp_c, lemmon[i].pressure_bar),
                     lemmon[i].density_kg_m3, 6e-5);
    }
}

static void test_air_is_near_gerg(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(gerg); i++) {
        assert_close(density(UP_AIR_OXYGEN, gerg[i].temp_c, gerg[i].pressure_bar),
                     gerg[i].density_kg_m3, 0.0015 * gerg[i].density_kg_m3);
    }
}

/* Oxygen and nitrogen without argon, GERG-2008 as above. */
static const struct {
    double oxygen, temp_c, pressure_bar, density_kg_m3;
} nitrox[] = {{0.32, 0, 50, 66.1399},  {0.32, 0, 200, 259.8936},  {0.32, 0, 300, 360.7163},
              {0.32, 20, 50, 60.9634}, {0.32, 20, 200, 236.6488}, {0.32, 20, 300, 331.1424},
              {0.32, 40, 50, 56.6146}, {0.32, 40, 200, 217.7884}, {0.32, 40, 300, 306.4157},
              {0.36, 0, 50, 66.5792},  {0.36, 0, 200, 262.6692},  {0.36, 0, 300, 365.1121},
              {0.36, 20, 50, 61.3590}, {0.36, 20, 200, 238.9903}, {0.36, 20, 300, 334.9106},
              {0.36, 40, 50, 56.9752}, {0.36, 40, 200, 219.8151}, {0.36, 40, 300, 309.6996}};

static void test_nitrox_is_near_gerg(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(nitrox); i++) {
        assert_close(density(nitrox[i].oxygen, nitrox[i].temp_c, nitrox[i].pressure_bar),
                     nitrox[i].density_kg_m3, 0.0015 * nitrox[i].density_kg_m3);
    }
}

static void test_uncertainty_covers_what_is_known(void **state) {
    (void)state;
    struct up_breathing_gas air = {UP_AIR_OXYGEN}, blend = {0.32};
    struct up_quantity of_air, of_blend;
    assert_true(up_breathing_gas_density(&air, 200e5, 20, &of_air, NULL));
    assert_true(up_breathing_gas_density(&blend, 200e5, 20, &of_blend, NULL));
    assert_close(of_air.u, 0.001 * of_air.value, 1e-9);
    assert_close(of_blend.u, 0.003 * of_blend.value, 1e-9);
}

static void test_refuses_what_it_does_not_know(void **state) {
    (void)state;
    static const struct {
        double oxygen, pressure_pa, temp_c;
    } wrong[] = {{0.18, 1e5, 20},          {0.5, 1e5, 20},           {UP_AIR_OXYGEN, -1, 20},
                 {UP_AIR_OXYGEN, 4e7, 20}, {UP_AIR_OXYGEN, 1e5, -5}, {UP_AIR_OXYGEN, 1e5, 60},
                 {(double)NAN, 1e5, 20},   {0.21, (double)NAN, 20},  {0.21, 1e5, (double)NAN}};
    for (size_t i = 0; i < COUNT(wrong); i++) {
        struct up_breathing_gas gas = {wrong[i].oxygen};
        struct up_quantity density_kg_m3;
        struct up_failure failure = {UP_STATUS_DONE, ""};
        assert_false(up_breathing_gas_density(&gas, wrong[i].pressure_pa, wrong[i].temp_c,
                                              &density_kg_m3, &failure));
        assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
        assert_true(isnan(density_kg_m3.value));
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_air_is_that_of_lemmon),
        cmocka_unit_test(test_air_is_near_gerg),
        cmocka_unit_test(test_nitrox_is_near_gerg),
        cmocka_unit_test(test_uncertainty_covers_what_is_known),
        cmocka_unit_test(test_refuses_what_it_does_not_know),
    };
    return cmocka_run_group_tests_name("reference: breathing gas", tests, NULL, NULL);
}
