/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Compressible gear against the law of the ideal gas, computed elsewhere. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "agree.h"
#include "upthrust/gas.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

#define ATMOSPHERE_PA 101325.0
#define GRAVITY       9.80665
#define ZERO_C_K      273.15

/* A litre of free gas and nothing else, in fresh water of 998.2 kg/m3 at 20 C. */
static struct up_gas litre_at(double shallow_m, double deep_m) {
    const double water = 998.2;
    double shallow_pa = ATMOSPHERE_PA + water * GRAVITY * shallow_m;
    double deep_pa = ATMOSPHERE_PA + water * GRAVITY * deep_m;
    struct up_gas_session session = {.shallow = {shallow_m, water * 1e-3},
                                     .deep = {deep_m, water * 1e-3 * shallow_pa / deep_pa},
                                     .air_pressure_pa = {ATMOSPHERE_PA, 0, (double)INFINITY},
                                     .temp_c = 20,
                                     .gravity_m_s2 = {GRAVITY, 0, (double)INFINITY},
                                     .water_kg_m3 = water};
    struct up_gas gas;
    struct up_failure failure = {UP_STATUS_DONE, ""};
    assert_true(up_gas_from_depths(&session, &gas, &failure));
    return gas;
}

static double buoyancy_g(const struct up_gas *gas, double depth_m, double air_pa, double temp_c) {
    struct up_gas_prediction prediction;
    struct up_gas_place place = {depth_m, air_pa, temp_c};
    assert_true(up_gas_buoyancy_at(gas, &place, &prediction, NULL));
    return prediction.buoyancy_kg.value * 1e3;
}

/* By hand, a litre at the surface, 20 C: p V = const gives at 0.4 m
   1000 (1 - 101325 / (101325 + 998.2 * 9.80665 * 0.4)) ml less, times 0.9982 g/ml: 37.1 g. For 30
   hPa 998.2 g * 3000/104325 = 28.7 g. V/T = const gives for 10 K 998.2 g * 10/293.15 = 34.05 g. */
static void test_a_litre_by_hand(void **state) {
    (void)state;
    struct up_gas gas = litre_at(0, 1);
    assert_close(gas.volume_m3.value, 1e-3, 1e-15);
    double here_g = buoyancy_g(&gas, 0, ATMOSPHERE_PA, 20);
    assert_close(here_g, 998.2, 1e-9);
    assert_close(here_g - buoyancy_g(&gas, 0.4, ATMOSPHERE_PA, 20), 37.1, 0.05);
    assert_close(here_g - buoyancy_g(&gas, 0, ATMOSPHERE_PA + 3000, 20), 28.7, 0.05);
    assert_close(buoyancy_g(&gas, 0, ATMOSPHERE_PA, 30) - here_g, 34.05, 0.005);
}

/*
 * Net buoyancy of foam as a share of that at the surface, computed elsewhere: share phi of gas,
 * rubber of 1230 kg/m3 that does not yield, ideal gas at the pressure around it, sea water of 1025
 * kg/m3, 9.80665 m/s2. A model, no measurement. Here a litre of it is weighed at 0 and 3 m by the
 * table, and predicted at the table's deeper rows within the range.
 */
static const struct {
    double phi, at_3_m, at_5_m, at_10_m, at_15_m;
} FOAM[] = {{0.7, 0.74915, 0.63736, 0.45531, 0.34585},
            {0.8, 0.75858, 0.65099, 0.47579, 0.37044},
            {0.85, 0.76226, 0.65631, 0.48378, 0.38004},
            {0.9, 0.76543, 0.66091, 0.49068, 0.38833}};

static void test_foam_by_the_ideal_gas_table(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(FOAM); i++) {
        double whole_kg = 1025e-3 - 1230e-3 * (1 - FOAM[i].phi);
        struct up_gas_session session = {.shallow = {0, whole_kg},
                                         .deep = {3, whole_kg * FOAM[i].at_3_m},
                                         .air_pressure_pa = {ATMOSPHERE_PA, 0, (double)INFINITY},
                                         .temp_c = 20,
                                         .gravity_m_s2 = {GRAVITY, 0, (double)INFINITY},
                                         .water_kg_m3 = 1025};
        struct up_gas gas;
        assert_true(up_gas_from_depths(&session, &gas, NULL));
        assert_close(gas.volume_m3.value, FOAM[i].phi * 1e-3, 5e-8);
        double per_g = whole_kg * 1e3;
        /* Five printed digits, drawn out from 3 m to 15 m. */
        assert_close(buoyancy_g(&gas, 5, ATMOSPHERE_PA, 20) / per_g, FOAM[i].at_5_m, 5e-5);
        assert_close(buoyancy_g(&gas, 10, ATMOSPHERE_PA, 20) / per_g, FOAM[i].at_10_m, 5e-5);
        assert_close(buoyancy_g(&gas, 15, ATMOSPHERE_PA, 20) / per_g, FOAM[i].at_15_m, 5e-5);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_litre_by_hand),
        cmocka_unit_test(test_foam_by_the_ideal_gas_table),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
