/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "upthrust/weighing.h"

/* A tank whose forces are computed here, forward, from a known mass and volume. */
static const double rho_a = 1.19, rho_w = 997.77, slope = 600000;

static struct up_weighing make(double mass_kg, double volume_m3) {
    struct up_weighing weighing = {0};
    double k = 1 - rho_a / UP_MASS_DENSITY_KG_M3;
    weighing.weighed_in_air = weighing.in_tank = true;
    weighing.calibration_air_kg_m3 = rho_a;
    weighing.tank_temp_c = 22;
    weighing.tank_density_slope_kg_m3_k = -0.23;
    weighing.term[UP_INPUT_SLOPE].value = slope;
    weighing.term[UP_INPUT_AIR_DENSITY].value = rho_a;
    weighing.term[UP_INPUT_WATER_DENSITY].value = rho_w;
    weighing.term[UP_INPUT_AIR_LOAD].value = (mass_kg - rho_a * volume_m3) / k * slope;
    weighing.term[UP_INPUT_WATER_LOAD].value = (mass_kg - rho_w * volume_m3) / k * slope;
    return weighing;
}

static struct up_question ask(double tolerance_kg) {
    return (struct up_question){.tolerance_kg = tolerance_kg,
                                .coverage = 0.95,
                                .confidence = 0.95,
                                .air_share_known = true,
                                .draws = 20000,
                                .seed = 3};
}

static void set(struct up_weighing *weighing, enum up_input input, double u,
                enum up_distribution distribution, double dof) {
    weighing->term[input].u = u;
    weighing->term[input].distribution = distribution;
    weighing->term[input].dof = dof;
}

static void known_mass_and_volume_come_back(void **state) {
    static const double cases[][2] = {{1.75, 1.62e-3}, {0.9, 1.02e-3}, {1, 8.82e-5}, {0.2, 4e-4}};
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct up_weighing weighing = make(cases[i][0], cases[i][1]);
        struct up_question question = ask(0.05);
        struct up_answer answer;
        assert_true(up_weigh(&weighing, &question, &answer));
        assert_true(fabs(answer.buoyancy_kg.value - (rho_w * cases[i][1] - cases[i][0])) < 1e-9);
        assert_true(fabs(answer.volume_m3 / cases[i][1] - 1) < 1e-9);
        assert_true(fabs(answer.mass_kg / cases[i][0] - 1) < 1e-9);
        weighing.in_tank = false; /* b_x = rho_x V (1 + beta (t_x - t_w)) - m */
        weighing.target_temp_c = 10;
        weighing.term[UP_INPUT_EXPANSION].value = 4e-4;
        weighing.term[UP_INPUT_TARGET_DENSITY].value = 1026.9;
        assert_true(up_weigh(&weighing, &question, &answer));
        double volume_m3 = cases[i][1] * (1 + 4e-4 * (10 - 22));
        assert_true(fabs(answer.buoyancy_kg.value - (1026.9 * volume_m3 - cases[i][0])) < 1e-9);
    }
}

static void trapped_air_is_no_part_of_the_item(void **state) {
    const double mass_kg = 1.2, volume_m3 = 1.3e-3, air_kg = 0.03;
    struct up_weighing weighing = make(mass_kg, volume_m3);
    struct up_question question = ask(0.05);
    struct up_answer answer;
    (void)state;
    weighing.term[UP_INPUT_WATER_LOAD].value -=
        air_kg / (1 - rho_a / UP_MASS_DENSITY_KG_M3) * slope;
    weighing.term[UP_INPUT_TRAPPED_AIR].value = air_kg;
    weighing.in_tank = false;
    weighing.target_temp_c = 22;
    weighing.term[UP_INPUT_TARGET_DENSITY].value = 1025;
    assert_true(up_weigh(&weighing, &question, &answer));
    /* The water-to-air density ratio leaves 30 g / 840 of volume in the model: microlitres. */
    assert_true(fabs(answer.buoyancy_kg.value - (1025 * volume_m3 - mass_kg)) < 3e-6);
}

static void sensitivities_are_the_partial_derivatives(void **state) {
    struct up_weighing weighing = make(1.75, 1.62e-3);
    struct up_question question = ask(0.05);
    struct up_answer answer;
    double k = 1 - rho_a / UP_MASS_DENSITY_KG_M3;
    (void)state;
    for (int i = 0; i < UP_INPUT_COUNT; i++) {
        set(&weighing, (enum up_input)i, 1e-6, UP_NORMAL, (double)INFINITY);
    }
    weighing.in_tank = false;
    weighing.target_temp_c = 22;
    weighing.term[UP_INPUT_TARGET_DENSITY].value = 1025;
    assert_true(up_weigh(&weighing, &question, &answer));
    /* d b_x / d rho_x = V; d / d rho_w = -V (rho_x - rho_a) / (rho_w - rho_a) */
    double volume_m3 = answer.volume_m3;
    assert_true(fabs(weighing.term[UP_INPUT_TARGET_DENSITY].sensitivity - volume_m3) < 1e-9);
    double expected = -volume_m3 * (1025 - rho_a) / (rho_w - rho_a);
    assert_true(fabs(weighing.term[UP_INPUT_WATER_DENSITY].sensitivity - expected) < 1e-8);
    /* d / d C_w = -(k / S) (rho_x - rho_a) / (rho_w - rho_a) */
    expected = -k / slope * (1025 - rho_a) / (rho_w - rho_a);
    assert_true(fabs(weighing.term[UP_INPUT_WATER_LOAD].sensitivity / expected - 1) < 1e-6);
    assert_true(weighing.term[UP_INPUT_TRAPPED_AIR].sensitivity < -0.99);
}

static void shares_add_up_and_u_is_their_root(void **state) {
    struct up_weighing weighing = make(1.75, 1.62e-3);
    struct up_question question = ask(0.05);
    struct up_answer answer;
    double sum = 0, variance = 0;
    (void)state;
    set(&weighing, UP_INPUT_WATER_LOAD, 300, UP_STUDENT, 4);
    set(&weighing, UP_INPUT_SLOPE, 60, UP_STUDENT, 7);
    set(&weighing, UP_INPUT_TRAPPED_AIR, 2e-4, UP_RECTANGULAR, (double)INFINITY);
    assert_true(up_weigh(&weighing, &question, &answer));
    for (int i = 0; i < UP_INPUT_COUNT; i++) {
        const struct up_term *term = &weighing.term[i];
        sum += term->share;
        variance += pow(term->sensitivity * term->u, 2);
    }
    assert_true(fabs(sum - 1) < 1e-12);
    assert_true(fabs(answer.buoyancy_kg.u / sqrt(variance) - 1) < 1e-12);
    assert_true(answer.buoyancy_kg.dof > 4 && answer.buoyancy_kg.dof < 100);
}

/* One term at a time, the interval is that distribution's own: Student t with 4 degrees of freedom
   2.776, normal 1.960, rectangular 0.95 sqrt(3) = 1.645 standard uncertainties (GUM table G.2 and
   4.3.7). */
static void interval_of_one_term_is_its_own(void **state) {
    static const struct {
        enum up_distribution distribution;
        double dof, factor;
    } cases[] = {{UP_STUDENT, 4, 2.776},
                 {UP_NORMAL, (double)INFINITY, 1.960},
                 {UP_RECTANGULAR, (double)INFINITY, 1.645}};
    (void)state;
    for (size_t i = 0; i < 3; i++) {
        struct up_weighing weighing = make(1.75, 1.62e-3);
        struct up_question question = ask(0.05);
        struct up_answer answer;
        question.draws = 400000;
        set(&weighing, UP_INPUT_WATER_LOAD, 300, cases[i].distribution, cases[i].dof);
        assert_true(up_weigh(&weighing, &question, &answer));
        assert_true(fabs(answer.expanded_u_kg / answer.buoyancy_kg.u / cases[i].factor - 1) <
                    0.012);
    }
}

static enum up_class class_at(double buoyancy_kg, double u_kg, struct up_answer *answer) {
    struct up_weighing weighing = make(1.0, (1.0 + buoyancy_kg) / rho_w);
    struct up_question question = ask(0.05);
    set(&weighing, UP_INPUT_WATER_LOAD, u_kg * slope, UP_NORMAL, (double)INFINITY);
    assert_true(up_weigh(&weighing, &question, answer));
    assert_true(fabs(answer->probability_positive + answer->probability_neutral +
                     answer->probability_negative - 1) < 1e-9);
    return answer->class;
}

static void classes_follow_the_probabilities(void **state) {
    struct up_answer answer;
    (void)state;
    assert_int_equal(class_at(0.2, 0.002, &answer), UP_CLASS_POSITIVE);
    assert_int_equal(class_at(-0.2, 0.002, &answer), UP_CLASS_NEGATIVE);
    assert_int_equal(class_at(0.01, 0.002, &answer), UP_CLASS_NEUTRAL);
    assert_int_equal(class_at(0.05, 0.002, &answer), UP_CLASS_UNDECIDED);
    assert_true(fabs(answer.probability_positive - 0.5) < 0.02);
    /* 1.645 standard uncertainties inside the line is where 95 % lie on one side */
    assert_int_equal(class_at(0.05 + 0.002 * 1.75, 0.002, &answer), UP_CLASS_POSITIVE);
    assert_int_equal(class_at(0.05 + 0.002 * 1.55, 0.002, &answer), UP_CLASS_UNDECIDED);
}

static void no_class_hangs_on_air_nobody_knows(void **state) {
    struct up_weighing weighing = make(1.0, (1.0 + 0.055) / rho_w);
    struct up_question question = ask(0.05);
    struct up_answer answer;
    (void)state;
    set(&weighing, UP_INPUT_WATER_LOAD, 0.0005 * slope, UP_NORMAL, (double)INFINITY);
    weighing.term[UP_INPUT_TRAPPED_AIR].value = 0;
    set(&weighing, UP_INPUT_TRAPPED_AIR, 0.002, UP_RECTANGULAR, (double)INFINITY);
    assert_true(up_weigh(&weighing, &question, &answer));
    assert_int_equal(answer.class, UP_CLASS_POSITIVE);
    set(&weighing, UP_INPUT_TRAPPED_AIR, 0.0035, UP_RECTANGULAR, (double)INFINITY);
    question.air_share_known = false;
    assert_true(up_weigh(&weighing, &question, &answer));
    assert_int_equal(answer.class, UP_CLASS_UNDECIDED);
}

static void nonsense_is_refused(void **state) {
    struct up_weighing weighing = make(1.0, 1e-3);
    struct up_question question = ask(0.05);
    struct up_answer answer;
    (void)state;
    weighing.term[UP_INPUT_AIR_LOAD].value = weighing.term[UP_INPUT_WATER_LOAD].value - 1;
    assert_false(up_weigh(&weighing, &question, &answer)); /* heavier in water than in air */
    weighing = make(1.0, 1e-3);
    weighing.term[UP_INPUT_SLOPE].value = 0;
    assert_false(up_weigh(&weighing, &question, &answer));
    weighing = make(1.0, 1e-3);
    weighing.weighed_in_air = false;
    assert_true(up_weigh(&weighing, &question, &answer));
    assert_true(isnan(answer.volume_m3));
    weighing.in_tank = false;
    assert_false(up_weigh(&weighing, &question, &answer));
}

static void air_bound_and_lead(void **state) {
    (void)state;
    assert_true(fabs(up_trapped_air_bound(2, 0.5, 0.5) - 2.5) < 1e-12);
    assert_true(fabs(up_trapped_air_bound(-2, 0.5, 0.8) - 0.125) < 1e-12);
    /* 1 kg of lift in water of 1000 kg/m3, lead of 11340: 1 / (1 - 1000/11340) */
    assert_true(fabs(up_lead_to_cancel_kg(1, 1000, 11340) - 1.0967117988394585) < 1e-12);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(known_mass_and_volume_come_back),
        cmocka_unit_test(trapped_air_is_no_part_of_the_item),
        cmocka_unit_test(sensitivities_are_the_partial_derivatives),
        cmocka_unit_test(shares_add_up_and_u_is_their_root),
        cmocka_unit_test(interval_of_one_term_is_its_own),
        cmocka_unit_test(classes_follow_the_probabilities),
        cmocka_unit_test(no_class_hangs_on_air_nobody_knows),
        cmocka_unit_test(nonsense_is_refused),
        cmocka_unit_test(air_bound_and_lead),
    };
    return cmocka_run_group_tests_name("weighing", tests, NULL, NULL);
}
