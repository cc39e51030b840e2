/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The rules of a quick weighing, each on a trace drawn by hand (hand_bench.h). */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "agree.h"
#include "hand_bench.h"
#include "metrology/sequential.h"

static const double EMPTY = 100000, COUNTS = 600000; /* the hanger, counts; of a kilogram */

static struct hand_bench bench;

/* What hangs in the water, kg; a shake frees so much air. */
static struct {
    double kg, gain_kg[UP_TRIAL_SHAKES_MAX];
    double wobble_kg; /* every second time it hangs so much heavier */
    unsigned shakes, hung;
} item;

static enum up_answer_word hang(struct hand_bench *b, const struct up_ask *ask) {
    if (ask->action == UP_ACTION_IMMERSE) {
        item.shakes = 0;
        b->level = EMPTY + (item.kg + (item.hung++ % 2) * item.wobble_kg) * COUNTS;
    } else if (ask->action == UP_ACTION_SHAKE) {
        b->level += item.gain_kg[item.shakes++] * COUNTS;
    } else if (ask->action != UP_ACTION_CONFIRM) {
        b->level = EMPTY;
    }
    return ask->action == UP_ACTION_CONFIRM ? UP_ANSWER_ACCEPT : UP_ANSWER_DONE;
}

static int begin(void **state) {
    (void)state;
    hand_bench_begin(&bench);
    bench.act = hang;
    bench.plan.quick.on = true;
    bench.plan.trials = 2;
    bench.plan.kind_repeatability_kg = (struct up_quantity){0, 3e-4, 20};
    memset(&item, 0, sizeof item);
    return 0;
}

static int end(void **state) {
    (void)state;
    hand_bench_end(&bench);
    return 0;
}

static const struct up_quick_progress *weigh(double kg) {
    item.kg = kg;
    hand_bench_start(&bench);
    hand_bench_run(&bench);
    return up_procedure_quick(bench.procedure);
}

static struct up_result result_of(unsigned which) {
    static struct up_result result[UP_WATERS_MAX + 1];
    struct up_failure failure;
    unsigned results;
    if (!up_procedure_results(bench.procedure, result, &results, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_true(which < results);
    return result[which];
}

/* ---- air and soak push one way ---- */

static void one_that_sinks_is_not_shaken(void **state) {
    (void)state;
    const struct up_quick_progress *quick = weigh(0.3);
    struct up_result result = result_of(0);
    assert_int_equal(quick->class, UP_CLASS_NEGATIVE);
    assert_false(quick->put_aside);
    assert_true(bench.asked[UP_ACTION_SHAKE] == 0 && bench.asked[UP_ACTION_IMMERSE] == 1);
    assert_true(bench.asked[UP_ACTION_HANG_IN_AIR] == 0 && bench.asked[UP_ACTION_LIFT_OUT] == 1);
    assert_true(result.quick.is && result.quick.at_most && isinf(result.quick.low_kg));
    assert_int_equal(result.quick.analysis, 1);
    assert_int_equal(result.answer.class, UP_CLASS_NEGATIVE);
}

/* It is told while the item hangs, a bound that is rounded up: -296.66 g at that time. */
static void what_it_is_at_most_is_rounded_up(void **state) {
    (void)state;
    weigh(0.3005);
    assert_non_null(strstr(bench.note, "in the tank: negative, at most -296 g"));
}

/* Light and light again: nothing but shaking tells whether it is air that lifts. */
static void one_that_floats_is_shaken(void **state) {
    (void)state;
    item.gain_kg[0] = 1e-4;
    const struct up_quick_progress *quick = weigh(-0.3);
    struct up_result result = result_of(0);
    assert_int_equal(quick->class, UP_CLASS_POSITIVE);
    assert_int_equal(bench.asked[UP_ACTION_SHAKE], 1);
    assert_int_equal(bench.asked[UP_ACTION_IMMERSE], 1);
    assert_false(result.quick.at_most);
    assert_int_equal(result.quick.analysis, 2);
}

static void one_that_hovers_is_shaken(void **state) {
    (void)state;
    item.gain_kg[0] = 1e-4;
    assert_int_equal(weigh(0.001)->class, UP_CLASS_NEUTRAL);
    assert_int_equal(bench.asked[UP_ACTION_SHAKE], 1);
}

/* By hand: one shake that freed 2 g says nothing of the share, so 0.2 is assumed, and
   2 g 0.8 / 0.2 + u of a gain (sqrt(2) 0.3 g) 4 may be left; of the 2 g freed a tenth more never
   leaves, 2 g 0.1 / 0.9. */
static void the_bound_of_the_air(void **state) {
    (void)state;
    item.gain_kg[0] = 2e-3;
    assert_int_equal(weigh(-0.3)->class, UP_CLASS_POSITIVE);
    struct up_result result = result_of(0);
    assert_close(result.quick.air_kg, 8e-3 + 4 * sqrt(2) * 3e-4 + 2e-3 / 9, 2e-5);
    assert_close(result.answer.buoyancy_kg.value, 0.298, 1e-4);
    double u = result.answer.buoyancy_kg.u, either = result.quick.margin_kg;
    assert_close(
        result.quick.high_kg,
        result.answer.buoyancy_kg.value +
            up_bound_by_level(up_pocock_bound(5, 0.05, true), result.answer.buoyancy_kg.dof) * u +
            either,
        1e-9);
    assert_close(result.quick.high_kg - result.quick.low_kg,
                 2 * (result.quick.high_kg - result.answer.buoyancy_kg.value) + result.quick.air_kg,
                 1e-9);
}

/* 90 g up: a share of 0.5 was declared, which leaves 16 g of air after gains of 20 and 16 g, and
   nothing would be wrong with it; but the gains show a share of 0.2, which leaves 64 g. */
static void a_weak_shake_is_seen(void **state) {
    (void)state;
    bench.rig.shake_share = 0.5;
    item.gain_kg[0] = 0.020;
    item.gain_kg[1] = 0.016;
    item.gain_kg[2] = 0.0128;
    item.gain_kg[3] = 0.01;
    const struct up_quick_progress *quick = weigh(-0.126);
    assert_int_equal(quick->class, UP_CLASS_UNDECIDED);
    assert_true(quick->put_aside);
    assert_int_equal(bench.asked[UP_ACTION_SHAKE], 4);
}

/* ---- immersions and looks ---- */

static void a_new_kind_is_immersed_twice(void **state) {
    (void)state;
    bench.plan.kind_repeatability_kg.u = 0;
    const struct up_quick_progress *quick = weigh(0.3);
    assert_int_equal(bench.asked[UP_ACTION_IMMERSE], 2);
    assert_int_equal(bench.asked[UP_ACTION_SHAKE], 0);
    assert_int_equal(quick->class, UP_CLASS_NEGATIVE);
    assert_int_equal(result_of(0).quick.analysis, 5);
}

/* Else what two immersions differ by would be its air, not its scatter. */
static void a_new_kind_is_shaken_until_little_comes(void **state) {
    (void)state;
    item.gain_kg[0] = 0.03;
    weigh(-0.3); /* of a known one the class stands after the first */
    assert_int_equal(bench.asked[UP_ACTION_SHAKE], 1);
    bench.plan.kind_repeatability_kg = (struct up_quantity){0};
    memset(bench.asked, 0, sizeof bench.asked);
    weigh(-0.3);
    assert_int_equal(bench.asked[UP_ACTION_IMMERSE], 2);
    assert_int_equal(bench.asked[UP_ACTION_SHAKE], 2 * 2);
}

/* Two immersions that lie apart are asked about, unless the air that may be in them explains it. */
static void air_explains_what_lies_apart(void **state) {
    (void)state;
    bench.plan.kind_repeatability_kg = (struct up_quantity){0};
    item.wobble_kg = 0.03;
    weigh(-0.3);
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
    assert_non_null(strstr(bench.question, "more than before"));
    for (int i = 0; i < 4; i++) {
        item.gain_kg[i] = 0.005;
    }
    memset(bench.asked, 0, sizeof bench.asked);
    weigh(-0.3);
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 0);
}

/* One shake more decides it once the hanger was read; until then its drift may be 12 g. */
static void a_shake_is_of_use_whatever_the_hanger_may_have_done(void **state) {
    (void)state;
    item.gain_kg[0] = 4e-4;
    bench.calibration.scatter_kg = 3e-3;
    weigh(-0.0545);
    assert_int_equal(bench.asked[UP_ACTION_SHAKE], 4);
    assert_int_equal(result_of(0).answer.class, UP_CLASS_POSITIVE);
}

/* Noise that is the same in each part of a window: a known kind's scatter holds what it does. */
static void noise_is_told_by_parts_where_the_scatter_is_known(void **state) {
    (void)state;
    bench.noise = 2000;
    weigh(0.3);
    assert_true(hand_bench_measured(&bench)->trial[0].u_plateau_counts <
                0.5 * bench.plateau.u_load);
    bench.plan.kind_repeatability_kg = (struct up_quantity){0};
    weigh(0.3);
    assert_true(hand_bench_measured(&bench)->trial[0].u_plateau_counts > bench.plateau.u_load);
    bench.plan.kind_repeatability_kg = (struct up_quantity){0, 3e-4, 20};
    bench.plan.quick.on = false; /* a full weighing has trials of its own */
    bench.plan.trials = 3;
    weigh(0.3);
    assert_true(hand_bench_measured(&bench)->trial[0].u_plateau_counts > bench.plateau.u_load);
}

static void one_on_the_line_is_put_aside_at_once(void **state) {
    (void)state;
    const struct up_quick_progress *quick = weigh(0.0505);
    assert_true(quick->put_aside && quick->class == UP_CLASS_UNDECIDED);
    assert_int_equal(bench.asked[UP_ACTION_IMMERSE], 1);
    assert_int_equal(result_of(0).answer.class, UP_CLASS_UNDECIDED);
}

/* What a second immersion decides gets one; that scatters as a trial of 1.5 g does. */
static void one_that_another_immersion_may_decide_gets_it(void **state) {
    (void)state;
    bench.plan.kind_repeatability_kg = (struct up_quantity){0, 1.5e-3, 200};
    const struct up_quick_progress *quick = weigh(0.0548);
    assert_int_equal(bench.asked[UP_ACTION_IMMERSE], 2);
    assert_false(quick->put_aside);
    assert_int_equal(quick->class, UP_CLASS_NEGATIVE);
}

/* The class is stated at one boundary for five looks: 2.122 u and the margin beyond the line. */
static void the_boundary(void **state) {
    (void)state;
    bench.plan.kind_repeatability_kg = (struct up_quantity){0, 2e-3, 1e6};
    weigh(0.2);
    struct up_result far = result_of(0);
    assert_close(far.quick.class_high_kg - far.answer.buoyancy_kg.value,
                 2.1217 * far.answer.buoyancy_kg.u + far.quick.margin_kg, 2e-5);
    /* "At most" has one side too, so it never contradicts the class. */
    assert_close(far.quick.bound_two, 2.1217, 1e-3);
    assert_close(far.quick.high_kg, far.quick.class_high_kg, 1e-12);
    item.gain_kg[0] = 1e-4;
    weigh(-0.2);
    assert_close(result_of(0).quick.bound_two, 2.4132, 1e-3);
    bench.plan.confidence = 0.8; /* the class at less than the interval's 95 % */
    weigh(0.2);
    assert_close(result_of(0).quick.bound_two, 2.4132, 1e-3);
    assert_true(result_of(0).quick.bound_one < 2);
}

static void neighbours_share_the_hanger(void **state) {
    (void)state;
    weigh(0.3);
    bench.plan.opening = up_procedure_opening(bench.procedure);
    assert_true(bench.plan.opening.known);
    hand_bench_start(&bench); /* nothing was read yet, whatever the tare is */
    assert_true(isnan(up_procedure_live_load(bench.procedure)));
    weigh(0.2);
    assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_WATER], 0);
    assert_int_equal(bench.asked[UP_ACTION_IMMERSE], 1);
    assert_close(result_of(0).answer.buoyancy_kg.value, -0.2, 1e-4);
}

/* Another scale says 0.9 kg: 0.7 l, and in a sea of 1025 kg/m3 some 18.6 g more lift. */
static void a_dry_mass_gives_other_waters(void **state) {
    (void)state;
    static const struct up_water sea = {.name = "sea",
                                        .model = UP_WATER_SEA,
                                        .temp_c = 20,
                                        .salinity_g_kg = UP_SEA_SALINITY_G_KG,
                                        .u_salinity_g_kg = 0.1};
    bench.plan.water = &sea;
    bench.plan.waters = 1;
    bench.plan.quick.mass_kg = 0.9;
    bench.plan.quick.u_mass_kg = 1e-3;
    weigh(0.2);
    struct up_result tank = result_of(0), there = result_of(1);
    double volume_m3 = 0.7 / tank.water_density_kg_m3.value;
    assert_close(tank.answer.volume_m3, volume_m3, 2e-6);
    assert_close(there.answer.buoyancy_kg.value - tank.answer.buoyancy_kg.value,
                 (there.water_density_kg_m3.value - tank.water_density_kg_m3.value) * volume_m3,
                 1e-4);
    assert_true(there.quick.is && !there.measured);
}

/* ---- why no class, and what then ---- */

static enum up_aside why_aside(double kg) {
    const struct up_quick_progress *quick = weigh(kg);
    assert_true(quick->put_aside);
    struct up_result result = result_of(0);
    assert_int_equal(result.answer.class, UP_CLASS_UNDECIDED);
    return result.quick.aside;
}

static void it_says_why_there_is_no_class(void **state) {
    (void)state;
    assert_int_equal(why_aside(0.0505), UP_ASIDE_NEAR);
    item.gain_kg[0] = 0.020; /* what four shakes leave may reach the line */
    item.gain_kg[1] = 0.019;
    item.gain_kg[2] = 0.018;
    item.gain_kg[3] = 0.017;
    assert_int_equal(why_aside(-0.14), UP_ASIDE_AIR);
    memset(item.gain_kg, 0, sizeof item.gain_kg);
    bench.plan.kind_repeatability_kg.u = 0; /* two immersions say little of their scatter */
    item.wobble_kg = 3e-3;
    assert_int_equal(why_aside(0.058), UP_ASIDE_SCATTER);
    item.wobble_kg = 0;
    weigh(0.3);
    assert_int_equal(result_of(0).quick.aside, UP_ASIDE_NOT);
}

static void it_tells_how_it_came_about(void **state) {
    (void)state;
    item.gain_kg[0] = 2e-3;
    bench.plan.quick.mass_kg = 0.9;
    bench.plan.quick.u_mass_kg = 1e-3;
    weigh(-0.3);
    struct up_quick quick = result_of(0).quick;
    assert_true(quick.immersions == 1 && quick.shakes == 1);
    assert_true(quick.readings == 3 && quick.ended_early == 0); /* immersed, shaken, lifted */
    assert_true(quick.mass_kg == 0.9 && quick.u_mass_kg == 1e-3);
}

/* Without a lower end there is no half-width; a bound has no probability. */
static void at_most_has_no_half_width(void **state) {
    (void)state;
    weigh(0.3);
    struct up_result result = result_of(0);
    assert_true(isnan(result.answer.expanded_u_kg) && isnan(result.answer.stuck_air_kg));
    assert_true(isfinite(result.quick.high_kg));
    item.gain_kg[0] = 1e-4;
    weigh(-0.3);
    result = result_of(0);
    assert_true(isfinite(result.answer.expanded_u_kg) && isfinite(result.answer.stuck_air_kg));
    assert_true(isnan(result.answer.probability_positive) && isnan(result.answer.guard_low_kg));
}

static enum up_answer_word aside_word;

static enum up_answer_word choose(struct hand_bench *b, const struct up_ask *ask) {
    return ask->action == UP_ACTION_CONFIRM ? aside_word : hang(b, ask);
}

/* Enter and a short press put it aside, "again" (a long press) weighs it in full. */
static void it_is_asked_whether_to_put_it_aside(void **state) {
    (void)state;
    bench.act = choose;
    aside_word = UP_ANSWER_DONE;
    weigh(0.0505);
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 0); /* nobody wants to be asked */
    bench.plan.quick.asks_aside = true;
    const struct up_quick_progress *quick = weigh(0.0505);
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
    assert_true(quick->put_aside && !quick->full_now);
    assert_true(up_procedure_progress(bench.procedure).complete);
    aside_word = UP_ANSWER_AGAIN;
    quick = weigh(0.0505);
    assert_true(quick->put_aside && quick->full_now);
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
    assert_true(up_procedure_progress(bench.procedure).complete);
    assert_false(weigh(0.3)->put_aside);
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 0);
}

/* Of a full weighing the same readings are looked at early, which changes none of them. */
static void a_full_weighing_teaches(void **state) {
    (void)state;
    bench.plan.quick.on = false;
    item.gain_kg[0] = 1e-4;
    assert_null(weigh(-0.3));
    unsigned taughts = 0, lifted = 0;
    const struct up_quick_taught *taught = up_procedure_taught(bench.procedure, &taughts);
    assert_int_equal(taughts, 2 * 3); /* two trials: immersed, shaken, lifted */
    for (unsigned i = 0; i < taughts; i++) {
        lifted += taught[i].step == UP_QUICK_LIFTED;
        assert_true(fabs(taught[i].off_kg[0]) < 1e-3);
    }
    assert_int_equal(lifted, 2);
}

/* Whoever answers before it hangs again loses no more than that time. */
static enum up_answer_word answer_before(struct hand_bench *b, const struct up_ask *ask) {
    if (ask->action == UP_ACTION_SHAKE) {
        b->off_until_s = b->now_s + 7;
        b->off_level = EMPTY;
    }
    return hang(b, ask);
}

static void a_trace_counts_from_when_it_hangs_again(void **state) {
    (void)state;
    bench.plan.quick.on = false;
    bench.act = answer_before;
    item.gain_kg[0] = 1e-4;
    weigh(0.3);
    unsigned taughts = 0, shaken = 0;
    const struct up_quick_taught *taught = up_procedure_taught(bench.procedure, &taughts);
    for (unsigned i = 0; i < taughts; i++) {
        shaken += taught[i].step == UP_QUICK_SHAKEN;
        assert_true(fabs(taught[i].off_kg[0]) < 1e-3);
    }
    assert_int_equal(shaken, 2);
}

/* ---- what was asked must show ---- */

static enum up_answer_word never_shake(struct hand_bench *b, const struct up_ask *ask) {
    return ask->action == UP_ACTION_SHAKE ? UP_ANSWER_SKIP : hang(b, ask);
}

static void a_skipped_shake_proves_nothing(void **state) {
    (void)state;
    bench.act = never_shake;
    const struct up_quick_progress *quick = weigh(-0.3);
    assert_true(quick->class == UP_CLASS_UNDECIDED && quick->put_aside);
    assert_true(result_of(0).quick.at_most);
}

static void refused(const char *says) {
    struct up_procedure *procedure;
    struct up_failure failure;
    assert_false(up_procedure_measure(&bench.plan, &procedure, &failure));
    if (strstr(failure.text, says) == NULL) {
        fail_msg("%s", failure.text);
    }
}

static void what_is_no_part_of_it_is_refused(void **state) {
    (void)state;
    bench.plan.second_depth_m = 3;
    refused("no second depth");
    bench.plan.second_depth_m = 0;
    bench.plan.quick.mass_kg = 0.9;
    refused("give or take 0 g");
    bench.plan.quick.mass_kg = 0;
    bench.rig.port_kind = UP_PORT_TYPED;
    refused("the scale's own readings");
}

#define TEST(function) cmocka_unit_test_setup_teardown(function, begin, end)

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(one_that_sinks_is_not_shaken),
        TEST(what_it_is_at_most_is_rounded_up),
        TEST(one_that_floats_is_shaken),
        TEST(one_that_hovers_is_shaken),
        TEST(the_bound_of_the_air),
        TEST(a_weak_shake_is_seen),
        TEST(a_new_kind_is_immersed_twice),
        TEST(a_new_kind_is_shaken_until_little_comes),
        TEST(air_explains_what_lies_apart),
        TEST(a_shake_is_of_use_whatever_the_hanger_may_have_done),
        TEST(noise_is_told_by_parts_where_the_scatter_is_known),
        TEST(one_on_the_line_is_put_aside_at_once),
        TEST(one_that_another_immersion_may_decide_gets_it),
        TEST(the_boundary),
        TEST(neighbours_share_the_hanger),
        TEST(a_dry_mass_gives_other_waters),
        TEST(it_says_why_there_is_no_class),
        TEST(it_tells_how_it_came_about),
        TEST(at_most_has_no_half_width),
        TEST(it_is_asked_whether_to_put_it_aside),
        TEST(a_full_weighing_teaches),
        TEST(a_trace_counts_from_when_it_hangs_again),
        TEST(a_skipped_shake_proves_nothing),
        TEST(what_is_no_part_of_it_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
