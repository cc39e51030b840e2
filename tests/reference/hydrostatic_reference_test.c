/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Hydrostatic weighings whose density must come back. No published worked example with all its
 * readings was at hand, so these are synthetic: computed elsewhere, forward, with 30 digits, from a
 * true mass and density to the readings of a balance adjusted with masses of 8000 kg/m3 in air of
 * 1.2 kg/m3, weighing in air of 1.1860 kg/m3 and in water of 997.5408 kg/m3 (the CIPM density at 23
 * C, Tanaka et al. 2001). The equation is that of ISO 1183-1 method A with air correction (from
 * memory): rho = a (rho_w - rho_a) / (a + s - b) + rho_a, a in air, s the sinker alone in water, b
 * both in water. Handbook densities of lead and aluminium.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "upthrust/weighing.h"

struct weighing_case {
    const char *name;
    double mass_g, density_kg_m3, air_g, sinker_g, immersed_g;
};

static const struct weighing_case cases[] = {
    {"PVC", 25, 1300, 24.980939, 0, 5.817396},
    {"polypropylene with a lead sinker", 25, 905, 24.970983, 54.730216, 52.173457},
    {"neoprene foam with a lead sinker", 20, 220, 19.895166, 182.434053, 111.737921},
    {"lead", 500, 11340, 500.022711, 0, 456.085132},
    {"aluminium", 100, 2700, 99.971070, 0, 63.063504},
};

/* The readings are printed to a microgram: what that rounding leaves in the density. */
static double allowed(const struct weighing_case *c) {
    double lost_g = c->air_g + c->sinker_g - c->immersed_g;
    return c->density_kg_m3 * 2e-6 / lost_g + 1e-6;
}

static void densities_come_back(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct weighing_case *c = &cases[i];
        struct up_weighing weighing = {
            .weighed_in_air = true, .in_tank = true, .calibration_air_kg_m3 = 1.2};
        struct up_question question = {
            .tolerance_kg = 0.05, .coverage = 0.95, .confidence = 0.95, .draws = 1};
        struct up_answer answer;
        weighing.term[UP_INPUT_SLOPE].value = 1; /* counts are conventional kilograms */
        weighing.term[UP_INPUT_AIR_DENSITY].value = 1.1860;
        weighing.term[UP_INPUT_WATER_DENSITY].value = 997.5408;
        weighing.term[UP_INPUT_AIR_LOAD].value = c->air_g * 1e-3;
        weighing.term[UP_INPUT_WATER_LOAD].value = (c->immersed_g - c->sinker_g) * 1e-3;
        assert_true(up_weigh(&weighing, &question, &answer));
        double density = answer.mass_kg / answer.volume_m3;
        if (fabs(density - c->density_kg_m3) > allowed(c) ||
            fabs(answer.mass_kg * 1e3 - c->mass_g) > 2e-6) {
            fail_msg("%s: density %.6f kg/m3, mass %.9f g", c->name, density, answer.mass_kg * 1e3);
        }
        double lift_kg = 997.5408 * c->mass_g * 1e-3 / c->density_kg_m3 - c->mass_g * 1e-3;
        assert_true(fabs(answer.buoyancy_kg.value - lift_kg) < 3e-9);
    }
}

/* NIST database densities (Geant4's material table): what a kilogram weighs immersed in water of
   998.2067 kg/m3 is 1 - rho_w / rho, tabulated to 0.1 g. */
static void handbook_apparent_masses(void **state) {
    static const struct {
        double density_kg_m3, in_water_g;
    } materials[] = {{11350, 912.1}, {7874, 873.2}, {8000, 875.2}, {2699, 630.2}, {8520, 882.8},
                     {4540, 780.1},  {920, -85.0},  {900, -109.1}, {940, -61.9},  {1300, 232.1},
                     {1140, 124.4},  {1425, 299.5}, {1230, 188.4}};
    (void)state;
    for (size_t i = 0; i < sizeof materials / sizeof materials[0]; i++) {
        double volume_m3 = 1 / materials[i].density_kg_m3;
        struct up_weighing weighing = {.weighed_in_air = true, .in_tank = true};
        struct up_question question = {
            .tolerance_kg = 0.05, .coverage = 0.95, .confidence = 0.95, .draws = 1};
        struct up_answer answer;
        weighing.term[UP_INPUT_SLOPE].value = 1;
        weighing.term[UP_INPUT_WATER_DENSITY].value = 998.2067;
        weighing.term[UP_INPUT_AIR_LOAD].value = 1; /* in vacuum, as the table */
        weighing.term[UP_INPUT_WATER_LOAD].value = 1 - 998.2067 * volume_m3;
        assert_true(up_weigh(&weighing, &question, &answer));
        assert_true(fabs(-answer.buoyancy_kg.value * 1e3 - materials[i].in_water_g) < 0.0501);
        assert_true(fabs(answer.volume_m3 - volume_m3) < 1e-12);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(densities_come_back),
        cmocka_unit_test(handbook_apparent_masses),
    };
    return cmocka_run_group_tests_name("hydrostatic", tests, NULL, NULL);
}
