/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A kit's arithmetic against examples worked by hand. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "agree.h"
#include "kit/kit.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

static struct up_bounded exactly(double value) {
    return (struct up_bounded){value, 0, false};
}

static struct up_part part_of(enum up_part_kind kind, const char *name, double mass_kg,
                              double volume_l) {
    struct up_part part = {.kind = kind,
                           .buoyancy_kg = exactly(-mass_kg),
                           .volume_m3 = exactly(volume_l * 1e-3),
                           .mass_kg = exactly(mass_kg),
                           .place_m = exactly(0),
                           .gas = {UP_AIR_OXYGEN}};
    snprintf(part.name, sizeof part.name, "%s", name);
    return part;
}

static struct up_kit_state state_in(double water_kg_m3) {
    struct up_kit_state state = {
        .water_kg_m3 = water_kg_m3, .air_pressure_pa = 101325, .gas_temp_c = 20};
    for (size_t i = 0; i < UP_KIT_PARTS_MAX; i++) {
        state.lead_kg[i] = (double)NAN;
    }
    return state;
}

/* A body of 96 kg with 4 kg of lead hangs still in fresh water of 1000 kg/m3. */
static struct up_kit plain_kit(void) {
    struct up_kit kit = {
        .body_kg = exactly(96), .parts = 1, .checks = 1, .draws = 20000, .seed = 1};
    kit.part[0] = part_of(UP_PART_LEAD, "belt", 4, 0);
    kit.check[0].state = state_in(1000);
    snprintf(kit.check[0].label, sizeof kit.check[0].label, "check 1");
    return kit;
}

static struct up_kit_draws *solved(const struct up_kit *kit) {
    struct up_kit_draws *draws = NULL;
    struct up_failure failure = {UP_STATUS_DONE, ""};
    if (!up_kit_solve(kit, &draws, &failure)) {
        fail_msg("%s", failure.text);
    }
    return draws;
}

/* Whoever weighs 100 kg displaces 100 kg of fresh water; in the sea 2.5 kg more. Lead to hold that
   down: 2.5 / (1 - 1025/11190), 11190 the middle of what lead may be: 2.752 kg. From 997 to 1029:
   100 x 32/997 = 3.210 kg, 3.535 kg of lead. (Archimedes; 2.75 and 3.5 kg are common practice.) */
static void test_from_fresh_water_to_the_sea(void **state) {
    (void)state;
    static const struct {
        double from_kg_m3, to_kg_m3, lead_kg;
    } row[] = {{1000, 1025, 2.752}, {997, 1029, 3.535}, {1025, 1000, -2.679}};
    for (size_t i = 0; i < COUNT(row); i++) {
        struct up_kit kit = plain_kit();
        struct up_kit_state from = state_in(row[i].from_kg_m3), to = state_in(row[i].to_kg_m3);
        struct up_kit_answer answer;
        kit.check[0].state = from;
        struct up_kit_draws *draws = solved(&kit);
        assert_true(up_kit_lead_change_kg(draws, &from, &to, &answer, NULL));
        assert_close(answer.value, row[i].lead_kg, 0.006);
        assert_true(answer.u < 0.03); /* the breath cancels; lead's density and body remain */
        up_kit_free(draws);
    }
}

/* 12 l of air from 200 bar (gauge) to 50 at 20 C. Lemmon's equation at 201.01 and 51.01 bar: 232.7
   and 61.4 kg/m3 (between the rows of the reference test): 12e-3 x 171.4 = 2.056 kg lighter. Lead
   in water of 1025: 2.056 / (1 - 1025/11190) = 2.263 kg more. */
static void test_gas_breathed_off_lifts(void **state) {
    (void)state;
    struct up_kit kit = plain_kit();
    kit.part[1] = part_of(UP_PART_CYLINDER, "twelve", 14, 15);
    kit.part[1].water_volume_m3 = 12e-3;
    kit.part[1].working_pressure_bar = 232;
    kit.parts = 2;
    struct up_kit_state full = state_in(1025), near_empty = full;
    struct up_kit_answer answer;
    full.pressure_bar = 200;
    near_empty.pressure_bar = 50;
    kit.check[0].state = full;
    struct up_kit_draws *draws = solved(&kit);
    assert_true(up_kit_lead_change_kg(draws, &full, &near_empty, &answer, NULL));
    assert_close(answer.value, 2.263, 0.01);
    assert_true(up_kit_part_lift_kg(draws, 1, &full, &answer, NULL));
    /* 1025 x 15e-3 - 14 - 12e-3 x 232.7 */
    assert_close(answer.value, 15.375 - 14 - 2.792, 0.01);
    up_kit_free(draws);
}

/* 6 l of suit gas at 10 m of sea water (P = 101325 + 1025 x 9.80665 x 10 = 201843 Pa): by Boyle
   alone 3.012 l are left; where half of the gas follows, 4.506 l; the middle 3.759 l, so 2.241 l
   or 2.297 kg of lift are lost, rectangular from 1.531 to 3.063 kg, u 0.442 kg. */
static void test_a_suit_is_squeezed(void **state) {
    (void)state;
    struct up_kit kit = plain_kit();
    kit.part[1] = part_of(UP_PART_SUIT, "suit", 3, 2);
    kit.part[1].gas_m3 = exactly(6e-3);
    kit.parts = 2;
    struct up_kit_state up = state_in(1025), down = up;
    struct up_kit_answer answer;
    down.depth_m = 10;
    kit.check[0].state = up;
    struct up_kit_draws *draws = solved(&kit);
    assert_true(up_kit_lead_change_kg(draws, &up, &down, &answer, NULL));
    assert_close(answer.value * (1 - 1025 / 11190.0), -2.297, 0.01);
    assert_close(answer.u * (1 - 1025 / 11190.0), 0.442, 0.01);
    down.suit_gas_gone = true; /* a bound: all 6.15 kg of lift */
    assert_true(up_kit_lead_change_kg(draws, &up, &down, &answer, NULL));
    assert_close(answer.value * (1 - 1025 / 11190.0), -6.15, 0.01);
    up_kit_free(draws);
}

/* Two checks of 0.5 kg each: their mean is known to 0.354 kg, with the
   breath that all share to 0.612 kg; held 0.5 kg apart they are no
   surprise (chi-squared 0.5, p = 0.48), 4 kg apart they contradict each other (32, p below 1e-7).
 */
static void test_checks_are_combined_and_contradict(void **state) {
    (void)state;
    struct up_kit kit = plain_kit();
    double effective;
    struct up_kit_answer answer;
    kit.checks = 2;
    kit.check[1] = kit.check[0];
    kit.check[1].state.lead_kg[0] = 4 + 0.5 / (1 - 1000 / 11190.0);
    struct up_kit_draws *draws = solved(&kit);
    assert_close(up_kit_agreement(draws, &effective), 0.4795, 0.01);
    assert_true(up_kit_lift_kg(draws, &kit.check[0].state, &answer, NULL));
    assert_close(answer.value, 0.25, 0.02); /* the mean of so many draws is known to 0.004 */
    assert_close(answer.u, 0.612, 0.01);
    up_kit_free(draws);
    kit.check[1].state.lead_kg[0] = 4 + 4 / (1 - 1000 / 11190.0);
    draws = solved(&kit);
    assert_true(up_kit_agreement(draws, &effective) < 1e-6);
    up_kit_free(draws);
}

/* Checks at the surface and at 10 m show how much suit gas follows the pressure: 6 l at 1025 lose
   3.063 kg by Boyle alone. Five checks up, four at depth, where 0.6 of that is missing: the
   difference is known to 0.5 sqrt(1/5 + 1/4) = 0.335 kg, and the draws' shares lie from 0.2 to 1.1.
   A normal of 1.838 +- 0.335 kg cut off at 0.613 and 3.369 stays what it is. */
static void test_two_depths_tell_the_suit(void **state) {
    (void)state;
    struct up_kit kit = plain_kit();
    kit.part[1] = part_of(UP_PART_SUIT, "suit", 3, 2);
    kit.part[1].gas_m3 = exactly(6e-3);
    kit.parts = 2;
    kit.checks = 9;
    for (size_t i = 0; i < kit.checks; i++) {
        kit.check[i] = kit.check[0];
        kit.check[i].state = state_in(1025);
        if (i % 2 == 1) {
            kit.check[i].state.depth_m = 10;
            kit.check[i].state.lead_kg[0] = 4 - 0.6 * 3.063 / (1 - 1025 / 11190.0);
        }
    }
    struct up_kit_draws *draws = solved(&kit);
    struct up_kit_answer answer;
    struct up_kit_state up = state_in(1025), down = up;
    down.depth_m = 10;
    assert_true(up_kit_lead_change_kg(draws, &up, &down, &answer, NULL));
    assert_close(answer.value * (1 - 1025 / 11190.0), -1.838, 0.04);
    assert_close(answer.u * (1 - 1025 / 11190.0), 0.335, 0.02);
    double effective;
    up_kit_agreement(draws, &effective);
    assert_true(effective > 2000);
    up_kit_free(draws);
}

/* Each check is predicted by those before it, as a kit of these alone would; from the fourth on two
   depths tell the suit. */
static void test_a_record_is_predicted_check_by_check(void **state) {
    (void)state;
    struct up_kit kit = plain_kit();
    struct up_kit_prediction prediction[5];
    kit.part[1] = part_of(UP_PART_SUIT, "suit", 3, 2);
    kit.part[1].gas_m3 = (struct up_bounded){6e-3, 1e-3, false};
    kit.part[1].stuck_air_kg = 0.1;
    kit.parts = 2;
    kit.checks = COUNT(prediction);
    for (size_t i = 0; i < kit.checks; i++) {
        kit.check[i].state = state_in(1000 + 5 * (double)i);
        kit.check[i].state.depth_m = i == 2 ? 10 : 0;
        kit.check[i].state.lead_kg[0] = i == 4 ? 8 : 4;
        kit.check[i].state.water = (unsigned)i;
        kit.check[i].state.without[1] = i == 3;
    }
    assert_true(up_kit_predict(&kit, prediction, NULL));
    for (size_t i = 1; i < COUNT(prediction); i++) {
        struct up_kit before = kit;
        struct up_kit_answer lift;
        before.checks = i;
        struct up_kit_draws *draws = solved(&before);
        assert_true(up_kit_lift_kg(draws, &kit.check[i].state, &lift, NULL));
        assert_close(prediction[i].lift_kg.value, lift.value, 1e-9);
        assert_close(prediction[i].lift_kg.low, lift.low, 1e-9);
        assert_close(prediction[i].lift_kg.high, lift.high, 1e-9);
        assert_int_equal(prediction[i].inside, lift.low <= 0 && lift.high >= 0);
        up_kit_free(draws);
    }
    assert_false(prediction[4].inside);
}

/* 0.3 kg of lift 0.9 m towards the feet: -0.3 x 9.80665 x 0.9 = -2.648 N m. */
static void test_moment_of_a_fin(void **state) {
    (void)state;
    struct up_kit kit = plain_kit();
    kit.part[1] = part_of(UP_PART_GEAR, "fins", 0.725, 1);
    kit.part[1].place_m = exactly(-0.9);
    kit.parts = 2;
    struct up_kit_draws *draws = solved(&kit);
    struct up_kit_state sea = state_in(1025);
    struct up_kit_answer answer;
    assert_true(up_kit_part_moment_nm(draws, 1, &sea, &answer, NULL));
    assert_close(answer.value, -2.648, 0.001);
    kit.part[1].place_m.value = (double)NAN;
    up_kit_free(draws);
    draws = solved(&kit);
    struct up_failure failure = {UP_STATUS_DONE, ""};
    assert_false(up_kit_part_moment_nm(draws, 1, &sea, &answer, &failure));
    assert_non_null(strstr(failure.text, "fins"));
    up_kit_free(draws);
}

/* 10 g of lift that air which stayed may have had when the fins were weighed: worn in the check and
   now they change nothing, as the body takes them up; worn only now they take 10 g of lead off,
   worn only then they ask for 10 g more (in fresh water, by lead of 11190 kg/m3). Downward only. */
static void test_stuck_air_lengthens_an_answer(void **state) {
    (void)state;
    struct up_kit kit = plain_kit();
    struct up_kit_state now = state_in(1000);
    struct up_kit_answer with, without;
    double lead_kg = 0.01 / (1 - 1000 / 11190.0);
    kit.part[1] = part_of(UP_PART_GEAR, "fins", 0.725, 1);
    kit.part[1].place_m = exactly(-0.9);
    kit.parts = 2;
    static const double low[2][2] = {{0, -1}, {0, 0}}, high[2][2] = {{0, 0}, {1, 0}};
    for (int worn_then = 0; worn_then < 2; worn_then++) {
        for (int worn_now = 0; worn_now < 2; worn_now++) {
            kit.check[0].state.without[1] = !worn_then;
            now.without[1] = !worn_now;
            kit.part[1].stuck_air_kg = 0;
            struct up_kit_draws *draws = solved(&kit);
            assert_true(up_kit_lead_kg(draws, &now, &without, NULL));
            up_kit_free(draws);
            kit.part[1].stuck_air_kg = 0.01;
            draws = solved(&kit);
            assert_true(up_kit_lead_kg(draws, &now, &with, NULL));
            assert_close(with.value, without.value, 1e-12);
            int both = worn_then && worn_now;
            assert_close(with.low - without.low, both ? 0 : lead_kg * low[worn_then][worn_now],
                         2e-5);
            assert_close(with.high - without.high, both ? 0 : lead_kg * high[worn_then][worn_now],
                         2e-5);
            assert_close(with.least - without.least, with.low - without.low, 1e-12);
            assert_close(with.most - without.most, with.high - without.high, 1e-12);
            if (worn_now) {
                assert_true(up_kit_part_lift_kg(draws, 1, &now, &with, NULL));
                assert_close(with.low, with.value - 0.01, 1e-9);
                assert_close(with.high, with.value, 1e-9);
            }
            up_kit_free(draws);
        }
    }
    struct up_kit_draws *draws = solved(&kit);
    struct up_kit_state before = now;
    before.without[1] = true;
    now.without[1] = false;
    assert_true(up_kit_lead_change_kg(draws, &before, &now, &with, NULL));
    up_kit_free(draws);
    kit.part[1].stuck_air_kg = 0;
    draws = solved(&kit);
    assert_true(up_kit_lead_change_kg(draws, &before, &now, &without, NULL));
    assert_close(with.low - without.low, -lead_kg, 2e-5);
    assert_close(with.high, without.high, 1e-9);
    up_kit_free(draws);
}

/* 2 kg of lead (11340 kg/m3) from 0.10 m towards the feet to 0.35 m towards the head, in water of
   1025: -2 (1 - 1025/11340) x 9.80665 x 0.45 = -8.028 N m (shared table of static moments,
   recomputed by hand); with the middle of what lead may be, 11190: -8.0175. Marks are 5 % wide: the
   part is known to 0.05/sqrt(3). */
static void test_moving_lead(void **state) {
    (void)state;
    struct up_kit kit = plain_kit();
    struct up_kit_state sea = state_in(1025);
    struct up_kit_answer answer;
    struct up_failure failure = {UP_STATUS_DONE, ""};
    kit.part[0].place_m = exactly(-0.10);
    kit.part[0].mass_kg = (struct up_bounded){4, 0.1, false};
    kit.part[1] = part_of(UP_PART_LEAD, "tank band", 1, 0);
    kit.part[1].place_m = exactly(0.35);
    kit.parts = 2;
    struct up_kit_draws *draws = solved(&kit);
    assert_true(up_kit_move_nm(draws, 0, 1, 2, &sea, &answer, NULL));
    assert_close(answer.value, -8.0175, 0.01);
    assert_close(answer.u, 8.0175 * 0.1 / 4, 0.01);
    struct up_kit_state more = sea; /* of the same lead: 4 kg +- 0.1 kg more */
    more.lead_kg[0] = 8;
    sea.lead_kg[0] = 4;
    assert_true(up_kit_lead_change_kg(draws, &sea, &more, &answer, NULL));
    assert_close(answer.value, -4, 0.01);
    assert_close(answer.u, 0.1, 0.005);
    up_kit_free(draws);
    kit.part[1].place_m.value = (double)NAN;
    draws = solved(&kit);
    assert_false(up_kit_move_nm(draws, 0, 1, 2, &sea, &answer, &failure));
    assert_non_null(strstr(failure.text, "tank band"));
    up_kit_free(draws);
}

/* Another cylinder: 1 kg heavier when empty, 2 l larger outside: in the sea 2.05 - 1 = 1.05 kg more
   lift, 1.05 / (1 - 1025/11190) = 1.156 kg of lead; 0.3 m towards the head 3.089 N m. A spare
   weighs nothing until it is asked about. */
static void test_a_spare_takes_a_place(void **state) {
    (void)state;
    struct up_kit kit = plain_kit();
    struct up_kit_state sea = state_in(1025);
    struct up_kit_answer with, without;
    struct up_kit_swap swap;
    for (size_t i = 1; i < 3; i++) {
        kit.part[i] = part_of(UP_PART_CYLINDER, i == 1 ? "steel" : "aluminium", 13 + (double)i,
                              12 + 2 * (double)i);
        kit.part[i].water_volume_m3 = 12e-3;
        kit.part[i].working_pressure_bar = 232;
        kit.part[i].place_m = exactly(0.3);
    }
    kit.parts = 2;
    struct up_kit_draws *draws = solved(&kit);
    assert_true(up_kit_lift_kg(draws, &sea, &without, NULL));
    up_kit_free(draws);
    kit.part[2].spare = true;
    kit.part[2].instead_of = 1;
    kit.part[2].place_m.value = (double)NAN; /* where the first one sits */
    kit.parts = 3;
    draws = solved(&kit);
    assert_true(up_kit_lift_kg(draws, &sea, &with, NULL));
    assert_close(with.value, without.value, 1e-9);
    assert_true(up_kit_swap(draws, 2, &sea, &swap, NULL));
    assert_close(swap.lift_kg.value, 1.05, 1e-9);
    assert_close(swap.lead_kg.value, 1.156, 0.002);
    assert_close(swap.moment_nm.value, 3.089, 0.001);
    up_kit_free(draws);
}

/* Two pieces of gear with one calibration: their errors are the same, 10 g each, so their sum is
   off by 20 g, not 14. */
static void test_shared_errors_add_up(void **state) {
    (void)state;
    struct up_kit kit = plain_kit();
    const double covariance[9] = {0, 0, 0, 0, 1.0001e-4, 1e-4, 0, 1e-4, 1.0001e-4};
    kit.part[1] = part_of(UP_PART_GEAR, "left", 1, 1);
    kit.part[2] = part_of(UP_PART_GEAR, "right", 1, 1);
    kit.part[1].buoyancy_kg.u = kit.part[2].buoyancy_kg.u = 0.01;
    kit.parts = 3;
    kit.covariance_kg2 = covariance;
    struct up_kit_state with = state_in(1000), without = with;
    struct up_kit_answer answer;
    without.without[1] = without.without[2] = true;
    struct up_kit_draws *draws = solved(&kit);
    assert_true(up_kit_lead_change_kg(draws, &without, &with, &answer, NULL));
    assert_close(answer.u * (1 - 1000 / 11190.0), 0.02, 5e-4);
    up_kit_free(draws);
}

static void test_refuses_what_cannot_be(void **state) {
    (void)state;
    static const char *const says[] = {"no weight check", "not a number", "jacket"};
    for (size_t i = 0; i < COUNT(says); i++) {
        struct up_kit kit = plain_kit();
        struct up_kit_draws *draws;
        struct up_failure failure = {UP_STATUS_DONE, ""};
        kit.checks = i == 0 ? 0 : 1;
        kit.part[0].buoyancy_kg.value = i == 1 ? (double)NAN : 0;
        kit.check[0].state.jacket_gas_kg = i == 2 ? 1 : 0;
        assert_false(up_kit_solve(&kit, &draws, &failure));
        assert_null(draws);
        assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
        assert_non_null(strstr(failure.text, says[i]));
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_from_fresh_water_to_the_sea),
        cmocka_unit_test(test_gas_breathed_off_lifts),
        cmocka_unit_test(test_a_suit_is_squeezed),
        cmocka_unit_test(test_checks_are_combined_and_contradict),
        cmocka_unit_test(test_two_depths_tell_the_suit),
        cmocka_unit_test(test_a_record_is_predicted_check_by_check),
        cmocka_unit_test(test_moment_of_a_fin),
        cmocka_unit_test(test_stuck_air_lengthens_an_answer),
        cmocka_unit_test(test_moving_lead),
        cmocka_unit_test(test_a_spare_takes_a_place),
        cmocka_unit_test(test_shared_errors_add_up),
        cmocka_unit_test(test_refuses_what_cannot_be),
    };
    return cmocka_run_group_tests_name("kit: lead and trim", tests, NULL, NULL);
}
