/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The bare hook, read before the ballast goes on: what the ballast weighs, and what it holds. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "hand_bench.h"

static const double BARE = 100000, COUNTS_PER_KG = 600000;
static const double LEAD_IN_WATER = 1 - 1000 / 11340.0;

static struct hand_bench bench;

static struct {
    double ballast_kg, mended_kg; /* what it weighs under water: at first, and once asked about */
    double water_kg;              /* the item there */
    double tare_kg;               /* left on the hanger at the first lift-out */
    bool skips;                   /* the bare hook */
    enum up_answer_word word;     /* to a question */
    char first[240];              /* question */
} scene;

static enum up_answer_word act(struct hand_bench *b, const struct up_ask *ask) {
    double kg = ask->action == UP_ACTION_HANG_IN_AIR ? 0.9
                : ask->action == UP_ACTION_IMMERSE   ? scene.water_kg
                                                     : 0;
    if (ask->action == UP_ACTION_CONFIRM) {
        if (scene.first[0] == '\0') {
            memcpy(scene.first, ask->text, sizeof scene.first);
        }
        scene.ballast_kg = scene.mended_kg;
        return scene.word;
    }
    if (ask->action == UP_ACTION_BARE_HOOK) {
        b->level = BARE;
        return scene.skips ? UP_ANSWER_SKIP : UP_ANSWER_DONE;
    }
    if (ask->action == UP_ACTION_SHAKE) {
        return UP_ANSWER_DONE;
    }
    if (ask->action == UP_ACTION_LIFT_OUT && b->asked[UP_ACTION_LIFT_OUT] == 1) {
        kg = scene.tare_kg;
    }
    b->level = BARE + (scene.ballast_kg + kg) * COUNTS_PER_KG;
    return UP_ANSWER_DONE;
}

static int begin(void **state) {
    (void)state;
    hand_bench_begin(&bench);
    memset(&scene, 0, sizeof scene);
    scene.ballast_kg = scene.mended_kg = 2 * LEAD_IN_WATER;
    scene.water_kg = 0.3;
    bench.act = act;
    bench.plan.bare_hook = true;
    return 0;
}

static int end(void **state) {
    (void)state;
    hand_bench_end(&bench);
    return 0;
}

static const struct up_measurement *measure(void) {
    memset(scene.first, 0, sizeof scene.first);
    hand_bench_start(&bench);
    hand_bench_run(&bench);
    return hand_bench_measured(&bench);
}

static void it_costs_one_reading_and_no_question(void **state) {
    (void)state;
    bench.plan.bare_hook = false;
    measure();
    unsigned without = bench.plateaus;
    assert_int_equal(bench.asked[UP_ACTION_BARE_HOOK], 0);
    bench.plan.bare_hook = true;
    assert_int_equal(measure()->trials, 3);
    assert_int_equal(bench.asked[UP_ACTION_BARE_HOOK], 1);
    assert_int_equal(bench.asked[UP_ACTION_ADD_BALLAST], 1);
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 0);
    assert_int_equal(bench.plateaus, without + 1);
    assert_int_equal(bench.faults, 0);
}

/* Half of it hangs, or the floor carries half: asked before the item costs time. */
static void ballast_of_another_weight_is_asked_about(void **state) {
    (void)state;
    scene.ballast_kg = 0.9;
    const struct up_measurement *measured = measure();
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
    assert_non_null(strstr(scene.first, "Under water the ballast weighs 900 g; 2 kg of lead weigh "
                                        "1824 g."));
    assert_non_null(strstr(scene.first, "To keep the reading, type accept"));
    assert_null(strstr(scene.first, "same cell")); /* nothing was away */
    assert_int_equal(bench.asked[UP_ACTION_BARE_HOOK], 2);
    assert_int_equal(bench.asked[UP_ACTION_HANG_IN_AIR], 1);
    assert_int_equal(measured->trials, 3);
}

static bool is_asked_about(double share) {
    scene.ballast_kg = share * 2 * LEAD_IN_WATER;
    scene.mended_kg = 2 * LEAD_IN_WATER;
    measure();
    assert_true(bench.asked[UP_ACTION_CONFIRM] <= 1);
    return bench.asked[UP_ACTION_CONFIRM] == 1;
}

/* Ten per cent: iron is no question. */
static void it_may_be_of_iron(void **state) {
    (void)state;
    assert_false(is_asked_about(0.91));
    assert_false(is_asked_about(1.09));
    assert_true(is_asked_about(0.89));
    assert_true(is_asked_about(1.11));
    assert_true(is_asked_about(0)); /* none hangs, or the floor carries it all */
}

static void it_is_weighed_by_the_calibration(void **state) {
    (void)state;
    bench.calibration.slope_counts_per_kg = 600000;
    assert_false(is_asked_about(1));
    scene.ballast_kg = scene.mended_kg = 2 * LEAD_IN_WATER;
    bench.calibration.slope_counts_per_kg = 300000; /* it seems twice as heavy */
    measure();
    assert_non_null(strstr(scene.first, "the ballast weighs 3647 g"));
}

/* As done does: only the typed word goes on. */
static void again_reads_the_bare_hook_anew(void **state) {
    (void)state;
    scene.ballast_kg = 0.9;
    scene.word = UP_ANSWER_AGAIN;
    assert_int_equal(measure()->trials, 3);
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
    assert_int_equal(bench.asked[UP_ACTION_BARE_HOOK], 2);
}

/* The next item of a list hangs from the same ballast: what it weighs goes on with the tare. */
static void a_neighbour_inherits_what_it_weighs(void **state) {
    (void)state;
    scene.ballast_kg = scene.mended_kg = 0.9;
    scene.word = UP_ANSWER_ACCEPT;
    measure();
    struct up_opening opening = up_procedure_opening(bench.procedure);
    assert_true(opening.known && fabs(opening.ballast_kg - 0.9) < 1e-3);
    bench.plan.opening = opening;
    bench.plan.bare_hook = false;
    scene.word = UP_ANSWER_DONE;
    scene.water_kg = -1.2; /* 2 kg would hold it, 0.9 kg go slack */
    measure();
    assert_true(bench.faults > 0);
}

/* What was weighed holds, whatever was declared. */
static void accepted_it_holds_what_it_weighs(void **state) {
    (void)state;
    scene.ballast_kg = scene.mended_kg = 0.9;
    scene.word = UP_ANSWER_ACCEPT;
    scene.water_kg = -0.59;
    assert_int_equal(measure()->trials, 3);
    assert_int_equal(bench.asked[UP_ACTION_BARE_HOOK], 1);
    scene.water_kg = -0.61;
    assert_int_equal(measure()->trials, 0);
    assert_non_null(strstr(bench.fault, "the item lifts 610 g and the ballast holds 900 g"));
    scene.ballast_kg = scene.mended_kg = 3.6; /* and more holds more */
    scene.water_kg = -2;
    assert_int_equal(measure()->trials, 3);
}

static void without_it_the_declared_ballast_counts(void **state) {
    (void)state;
    scene.ballast_kg = 0.9;
    scene.skips = true;
    scene.water_kg = -1.2;
    assert_int_equal(measure()->trials, 3);
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 0);
}

static void undeclared_ballast_is_weighed_too(void **state) {
    (void)state;
    bench.rig.ballast_kg = 0;
    scene.ballast_kg = scene.mended_kg = 0.9;
    scene.water_kg = -0.61;
    assert_int_equal(measure()->trials, 0);
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 0);
    scene.ballast_kg = scene.mended_kg = 0.04; /* is none: what holds it down is not known */
    assert_int_equal(measure()->trials, 3);
}

/* 12 g, not one per cent of the ballast. */
static void the_tare_is_as_strict_as_without_it(void **state) {
    (void)state;
    scene.word = UP_ANSWER_ACCEPT;
    scene.tare_kg = 0.011;
    measure();
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 0);
    scene.tare_kg = 0.013;
    measure();
    assert_true(bench.asked[UP_ACTION_CONFIRM] > 0);
    assert_non_null(strstr(scene.first, "off its last tare by 13.0 g (usual: 12.0 g)"));
}

static void done_to_everything_ends_it(void **state) {
    (void)state;
    scene.ballast_kg = scene.mended_kg = 0.9;
    measure();
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 20);
    assert_int_equal(bench.asked[UP_ACTION_HANG_IN_AIR], 0);
    assert_false(up_procedure_progress(bench.procedure).complete);
}

static void a_neighbour_leaves_its_ballast_on(void **state) {
    (void)state;
    measure();
    bench.plan.opening = up_procedure_opening(bench.procedure);
    assert_true(bench.plan.opening.known);
    measure();
    assert_int_equal(bench.asked[UP_ACTION_BARE_HOOK], 0);
    assert_int_equal(hand_bench_measured(&bench)->trials, 3);
}

/* Somebody takes the ballast off while the program is down; with it on again, all goes on. */
static enum up_answer_word act_without(struct hand_bench *b, const struct up_ask *ask) {
    if (ask->action == UP_ACTION_ADD_BALLAST) {
        scene.ballast_kg = scene.mended_kg;
    }
    return act(b, ask);
}

static void break_off(double ballast_kg, unsigned bare_asked) {
    hand_bench_start(&bench);
    for (long i = 0; bench.asked[UP_ACTION_IMMERSE] < 2; i++) {
        assert_true(hand_bench_step(&bench, i));
    }
    scene.ballast_kg = ballast_kg;
    up_procedure_resume(bench.procedure, "it goes on");
    hand_bench_run(&bench);
    assert_int_equal(bench.asked[UP_ACTION_BARE_HOOK], bare_asked);
    const struct up_measurement *measured = hand_bench_measured(&bench);
    assert_int_equal(measured->trials, 3);
    double weighed_kg = up_procedure_opening(bench.procedure).ballast_kg;
    assert_true(fabs(weighed_kg - scene.mended_kg) < 1e-3);
    for (unsigned i = 0; i < measured->trials; i++) {
        assert_true(fabs(measured->trial[i].load_counts - scene.water_kg * COUNTS_PER_KG) < 300);
    }
}

static void ballast_that_is_off_after_a_break_is_weighed_again(void **state) {
    (void)state;
    bench.act = act_without;
    break_off(scene.ballast_kg, 1);
    break_off(0, 2);
}

/* A quick weighing hangs nothing dry, so what was read with the wrong ballast would be the tare. */
static void quick(void) {
    bench.plan.quick.on = true;
    bench.plan.trials = 2;
    bench.plan.kind_repeatability_kg = (struct up_quantity){0, 3e-4, 20};
}

static void put_right_the_hanger_is_read_again(void **state) {
    (void)state;
    quick();
    scene.ballast_kg = 0; /* forgotten */
    const struct up_measurement *measured = measure();
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
    assert_int_equal(bench.asked[UP_ACTION_BARE_HOOK], 2);
    assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_WATER], 2);
    assert_int_equal(measured->trials, 1);
    assert_true(fabs(measured->trial[0].load_counts - 0.3 * COUNTS_PER_KG) < 300);
}

static void accepted_nothing_hangs_dry(void **state) {
    (void)state;
    quick();
    scene.ballast_kg = scene.mended_kg = 0.9;
    scene.word = UP_ANSWER_ACCEPT;
    assert_int_equal(measure()->trials, 1);
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
    assert_int_equal(bench.asked[UP_ACTION_HANG_IN_AIR], 0);
}

#define BALLAST(test) cmocka_unit_test_setup_teardown(test, begin, end)

int main(void) {
    const struct CMUnitTest tests[] = {
        BALLAST(again_reads_the_bare_hook_anew),
        BALLAST(a_neighbour_inherits_what_it_weighs),
        BALLAST(it_costs_one_reading_and_no_question),
        BALLAST(ballast_of_another_weight_is_asked_about),
        BALLAST(it_may_be_of_iron),
        BALLAST(it_is_weighed_by_the_calibration),
        BALLAST(accepted_it_holds_what_it_weighs),
        BALLAST(without_it_the_declared_ballast_counts),
        BALLAST(undeclared_ballast_is_weighed_too),
        BALLAST(the_tare_is_as_strict_as_without_it),
        BALLAST(done_to_everything_ends_it),
        BALLAST(a_neighbour_leaves_its_ballast_on),
        BALLAST(ballast_that_is_off_after_a_break_is_weighed_again),
        BALLAST(put_right_the_hanger_is_read_again),
        BALLAST(accepted_nothing_hangs_dry),
    };
    return cmocka_run_group_tests_name("ballast", tests, NULL, NULL);
}
