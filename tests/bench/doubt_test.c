/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What was asked for must have happened: traces drawn by hand (hand_bench.h) on which it has not.
 */
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

static const double EMPTY = 100000; /* the hanger with its ballast, counts */

static struct hand_bench bench;

/* What hangs, and where the operator does nothing but say that it is done: the first time it is
   asked there, or whenever he is asked. */
static struct {
    double air_kg, water_kg, tare_kg;
    enum up_action forgets;
    bool always;
    enum up_answer_word word; /* to a question */
    char first[240];          /* question */
} scene;

static bool forgets(const struct hand_bench *b, enum up_action action) {
    return action == scene.forgets && (scene.always || b->asked[action] == 1);
}

static double level_of(enum up_action action) {
    double kg = action == UP_ACTION_HANG_IN_AIR ? scene.air_kg
                : action == UP_ACTION_IMMERSE   ? scene.water_kg
                                                : 0;
    return EMPTY + kg * bench.calibration.slope_counts_per_kg;
}

static enum up_answer_word act(struct hand_bench *b, const struct up_ask *ask) {
    b->untouched = forgets(b, UP_ACTION_SHAKE);
    if (ask->action == UP_ACTION_CONFIRM) {
        if (scene.first[0] == '\0') {
            memcpy(scene.first, ask->text, sizeof scene.first);
        }
        return scene.word;
    }
    if (forgets(b, ask->action) || ask->action == UP_ACTION_SHAKE) {
        return UP_ANSWER_DONE;
    }
    b->level = level_of(ask->action);
    if (ask->action == UP_ACTION_LIFT_OUT && b->asked[UP_ACTION_LIFT_OUT] == 1) {
        b->level += scene.tare_kg * b->calibration.slope_counts_per_kg;
    }
    return UP_ANSWER_DONE;
}

static int begin(void **state) {
    (void)state;
    hand_bench_begin(&bench);
    memset(&scene, 0, sizeof scene);
    scene.air_kg = 0.9;
    scene.water_kg = 0.3;
    scene.forgets = UP_ACTIONS;
    bench.act = act;
    return 0;
}

static int end(void **state) {
    (void)state;
    hand_bench_end(&bench);
    return 0;
}

static const struct up_measurement *measure(void) {
    hand_bench_start(&bench);
    hand_bench_run(&bench);
    return hand_bench_measured(&bench);
}

static double mean_kg(const struct up_measurement *measured) {
    double sum = 0;
    for (unsigned i = 0; i < measured->trials; i++) {
        sum += measured->trial[i].load_counts;
    }
    return sum / measured->trials / bench.calibration.slope_counts_per_kg;
}

/* Asked once, about this; done mends it and all is as it should be. */
static void assert_mended(const char *about) {
    const struct up_measurement *measured = measure();
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
    assert_non_null(strstr(scene.first, about));
    assert_int_equal(measured->trials, 3);
    assert_close(mean_kg(measured), scene.water_kg, 1e-4);
    assert_close(measured->air_counts.value, scene.air_kg * 600000, 60);
    assert_true(up_procedure_progress(bench.procedure).complete);
}

/* A program that answers "done" to everything does not weigh for ever. */
static void twenty_questions_end_a_session(void **state) {
    (void)state;
    scene.forgets = UP_ACTION_HANG_IN_AIR;
    scene.always = true;
    measure();
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 20);
    assert_true(up_procedure_is_finished(bench.procedure));
    assert_false(up_procedure_progress(bench.procedure).complete);
}

static void a_sound_session_is_not_questioned(void **state) {
    (void)state;
    static const double water_kg[] = {0.3, -0.3, 0.05};
    for (size_t i = 0; i < sizeof water_kg / sizeof water_kg[0]; i++) {
        scene.water_kg = water_kg[i];
        measure();
        assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 0);
        assert_int_equal(bench.faults, 0);
    }
}

static void nothing_hung_dry_is_asked_about(void **state) {
    (void)state;
    scene.forgets = UP_ACTION_HANG_IN_AIR;
    assert_mended("Was it hung on the upper hook");
}

static void nothing_hung_under_water_is_asked_about(void **state) {
    (void)state;
    scene.forgets = UP_ACTION_IMMERSE;
    assert_mended("Was it hung under water?");
}

static void no_hand_at_a_shake_is_asked_about(void **state) {
    (void)state;
    scene.forgets = UP_ACTION_SHAKE;
    assert_mended("shaken?");
    assert_int_equal(bench.asked[UP_ACTION_SHAKE], 4);
}

static void an_item_not_lifted_out_is_asked_about(void **state) {
    (void)state;
    scene.forgets = UP_ACTION_LIFT_OUT;
    assert_mended("Was it lifted out?");
    assert_int_equal(bench.asked[UP_ACTION_LIFT_OUT], 4);
}

/* A body of 9 g in air may be a mistake or a clip; of 11 g it is no question. */
static void a_light_item_is_asked_about_dry(void **state) {
    (void)state;
    scene.word = UP_ANSWER_ACCEPT;
    scene.air_kg = 0.009;
    scene.water_kg = 0.001;
    measure();
    assert_non_null(strstr(scene.first, "Dry, it weighs 9.0 g"));
    bench.asked[UP_ACTION_CONFIRM] = 0;
    scene.air_kg = 0.011;
    measure();
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 0);
}

static void dry_it_must_not_lift(void **state) {
    (void)state;
    scene.word = UP_ANSWER_ACCEPT;
    scene.air_kg = -0.5;
    measure();
    assert_non_null(strstr(scene.first, "Dry, it weighs -500.0 g"));
}

/* A display of 10 g steps that stands (no noise): 18 g under water are seen on it, 4 g are not, and
   then a person's word counts once for all trials. */
static void make_coarse(void) {
    bench.rig.division_counts = 6000;
    bench.noise = 60; /* of no matter beside them */
}

static unsigned questions_on_coarse_steps(double water_kg) {
    make_coarse();
    scene.water_kg = water_kg;
    scene.word = UP_ANSWER_ACCEPT;
    memset(scene.first, 0, sizeof scene.first);
    assert_int_equal(measure()->trials, 3);
    return bench.asked[UP_ACTION_CONFIRM];
}

static bool method_says_light(void) {
    struct up_result result[1];
    struct up_failure failure;
    unsigned count = 0;
    assert_true(up_procedure_results(bench.procedure, result, &count, &failure));
    return strstr(result[0].method, "; lighter in water than the scale's steps show; ") != NULL;
}

static void a_light_item_on_a_coarse_scale(void **state) {
    (void)state;
    assert_int_equal(questions_on_coarse_steps(0.018), 0);
    assert_false(method_says_light());
    assert_int_equal(questions_on_coarse_steps(-0.016), 0);
    assert_int_equal(questions_on_coarse_steps(0.004), 1);
    assert_non_null(strstr(scene.first, "Was it hung under water? Do it now, then press Enter: it "
                                        "is read again. If it is done, the load is too light for "
                                        "the scale's steps: then type accept"));
    assert_non_null(strstr(bench.note, "the load is too light for the scale's steps: whether"));
    assert_true(method_says_light());
}

static void a_coarse_scale_still_asks(void **state) {
    (void)state;
    static const enum up_action forgotten[] = {UP_ACTION_IMMERSE, UP_ACTION_LIFT_OUT,
                                               UP_ACTION_SHAKE};
    for (size_t i = 0; i < sizeof forgotten / sizeof forgotten[0]; i++) {
        make_coarse();
        scene.forgets = forgotten[i];
        scene.word = UP_ANSWER_DONE;
        measure();
        assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
        assert_true((strstr(scene.first, "too light") != NULL) == (i == 0));
        scene.first[0] = '\0';
        assert_true(up_procedure_progress(bench.procedure).complete);
    }
}

/* Twelve grams may stay on the hanger, or one per cent of the largest load. */
static unsigned questions_at_a_tare_off_by(double tare_kg, double air_kg) {
    scene.tare_kg = tare_kg;
    scene.air_kg = air_kg;
    scene.water_kg = air_kg / 2;
    scene.word = UP_ANSWER_ACCEPT;
    measure();
    return bench.asked[UP_ACTION_CONFIRM];
}

static void a_tare_comes_back(void **state) {
    (void)state;
    assert_int_equal(questions_at_a_tare_off_by(0.011, 0.9), 0);
    assert_int_equal(questions_at_a_tare_off_by(-0.011, 0.9), 0);
    assert_int_equal(questions_at_a_tare_off_by(0.0395, 4), 0);
    assert_true(questions_at_a_tare_off_by(0.013, 0.9) > 0);
    assert_true(questions_at_a_tare_off_by(-0.013, 0.9) > 0);
    assert_true(questions_at_a_tare_off_by(0.0405, 4) > 0);
}

/* The load before it is in doubt too: the trial begins anew. */
static void a_tare_that_is_off_costs_its_trial(void **state) {
    (void)state;
    scene.tare_kg = -0.4;
    assert_mended("Empty, the hanger is off its last tare by 400.0 g (usual: 12.0 g)");
    assert_int_equal(bench.asked[UP_ACTION_IMMERSE], 4);
}

static void accept_goes_on_and_the_record_says_so(void **state) {
    (void)state;
    scene.forgets = UP_ACTION_SHAKE;
    scene.word = UP_ANSWER_ACCEPT;
    const struct up_measurement *measured = measure();
    assert_int_equal(bench.asked[UP_ACTION_SHAKE], 3);
    assert_int_equal(measured->trials, 3);
    assert_non_null(strstr(bench.note, "accepted by the operator"));
}

static enum up_answer_word accept_a_step(struct hand_bench *b, const struct up_ask *ask) {
    struct up_failure failure = {0};
    assert_false(up_procedure_answer(b->procedure, ask->id, UP_ANSWER_ACCEPT, 0, &failure));
    assert_non_null(strstr(failure.text, "nothing to accept"));
    return act(b, ask);
}

static void a_step_cannot_be_accepted(void **state) {
    (void)state;
    bench.act = accept_a_step;
    measure();
    assert_int_equal(hand_bench_measured(&bench)->trials, 3);
}

/* Three counts a second, and a trace without a hand: drift is no handling. */
static void drift_is_no_hand(void **state) {
    (void)state;
    bench.drift_per_s = 3;
    scene.forgets = UP_ACTION_SHAKE;
    scene.always = true;
    scene.word = UP_ANSWER_ACCEPT;
    measure();
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 3);
}

/* ---- can it be so? ---- */

static double other_kg; /* hangs in the water at the third immersion */

static enum up_answer_word hang_another(struct hand_bench *b, const struct up_ask *ask) {
    double usual_kg = scene.water_kg;
    if (ask->action == UP_ACTION_IMMERSE && b->asked[UP_ACTION_IMMERSE] == 3) {
        scene.water_kg = other_kg;
    }
    enum up_answer_word word = act(b, ask);
    scene.water_kg = usual_kg;
    return word;
}

static unsigned questions_about(double usual_kg, double third_kg) {
    bench.act = hang_another;
    scene.water_kg = usual_kg;
    other_kg = third_kg;
    measure();
    return bench.asked[UP_ACTION_CONFIRM];
}

/* Ten grams, or two per cent. */
static void another_item_in_the_third_trial_is_asked_about(void **state) {
    (void)state;
    assert_int_equal(questions_about(0.3, 0.3095), 0);
    assert_int_equal(questions_about(0.3, 0.2905), 0);
    assert_int_equal(questions_about(0.8, 0.815), 0);
    assert_int_equal(questions_about(0.8, 0.818), 1);
    assert_int_equal(questions_about(0.3, 0.3105), 1);
    assert_int_equal(questions_about(0.3, 0.2), 1);
    assert_close(mean_kg(hand_bench_measured(&bench)), 0.3, 1e-4); /* the safe answer */
    assert_int_equal(bench.asked[UP_ACTION_IMMERSE], 4);
}

/* 0.9 kg that lose 39 g under water have 23077 kg/m3, 40 g 22500; 90 kg lift 10 kg/m3. */
static bool is_thought_impossible(double air_kg, double water_kg) {
    scene.air_kg = air_kg;
    scene.water_kg = water_kg;
    scene.first[0] = '\0';
    scene.word = UP_ANSWER_ACCEPT;
    measure();
    return strstr(scene.first, "no gear is so") != NULL;
}

static void a_density_that_no_gear_has_is_asked_about(void **state) {
    (void)state;
    assert_false(is_thought_impossible(0.9, 0.9 - 0.040));
    assert_true(is_thought_impossible(0.9, 0.9 - 0.039));
    assert_true(is_thought_impossible(0.9, 1.0));
    assert_false(is_thought_impossible(0.011, 0.011 - 1.05));
    assert_true(is_thought_impossible(0.011, 0.011 - 1.15));
}

/* Nothing hung dry that reads as if it did: the dry weighing is made again with the trial. */
static enum up_answer_word hang_light_once(struct hand_bench *b, const struct up_ask *ask) {
    scene.air_kg = b->asked[UP_ACTION_HANG_IN_AIR] < 2 ? 0.2 : 0.9;
    return act(b, ask);
}

static void an_impossible_item_is_weighed_dry_again(void **state) {
    (void)state;
    bench.act = hang_light_once;
    const struct up_measurement *measured = measure();
    assert_int_equal(bench.asked[UP_ACTION_HANG_IN_AIR], 2);
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
    assert_close(measured->air_counts.value, 0.9 * 600000, 60);
    assert_int_equal(measured->trials, 3);
}

/* ---- a calibration ---- */

static double left_on_kg;

static double asked_kg, hung_kg; /* the first time that the one is asked for, the other hangs */
static bool is_mended;

static enum up_answer_word hang_masses(struct hand_bench *b, const struct up_ask *ask) {
    if (ask->action == UP_ACTION_CONFIRM) {
        left_on_kg = 0;
        is_mended = true;
        return act(b, ask);
    }
    bool is_preload = b->asked[UP_ACTION_HANG_MASS] == 1;
    double kg = ask->mass_kg == asked_kg && !is_mended && !is_preload ? hung_kg : ask->mass_kg;
    if (ask->action == UP_ACTION_EMPTY_IN_WATER && b->asked[ask->action] == 3) {
        kg = left_on_kg;
    }
    b->level = EMPTY + kg * 600000;
    return UP_ANSWER_DONE;
}

static const struct up_loadings *calibrate(void) {
    const struct up_calibrate_plan plan = {.rig = &bench.rig, .masses = 3, .mass_kg = {0.5, 1, 2}};
    struct up_failure failure = {0};
    hand_bench_end(&bench);
    memset(bench.asked, 0, sizeof bench.asked);
    memset(scene.first, 0, sizeof scene.first);
    bench.act = hang_masses;
    is_mended = false;
    assert_true(up_procedure_calibrate(&plan, &bench.procedure, &failure));
    hand_bench_run(&bench);
    return up_procedure_loadings(bench.procedure);
}

static void a_mass_left_on_at_a_tare_is_asked_about(void **state) {
    (void)state;
    assert_int_equal(calibrate()->points, 3);
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 0);
    left_on_kg = 0.05;
    const struct up_loadings *loadings = calibrate();
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
    assert_non_null(strstr(scene.first, "off its last tare by 2.5 % of the largest load"));
    assert_close(loadings->point[1].load_counts, 600000, 10);
}

static unsigned questions_where_hung(double wanted_kg, double instead_kg) {
    asked_kg = wanted_kg;
    hung_kg = instead_kg;
    calibrate();
    asked_kg = 0;
    return bench.asked[UP_ACTION_CONFIRM];
}

/* 35 g or one per cent, by the loadings before; the first one by the preload. */
static void a_mass_that_does_not_fit_is_asked_about_at_once(void **state) {
    (void)state;
    assert_int_equal(questions_where_hung(0.5, 0.533), 0);
    assert_int_equal(questions_where_hung(0.5, 0.463), 1);
    assert_int_equal(bench.asked[UP_ACTION_HANG_MASS], 5);
    assert_non_null(strstr(scene.first, "0.4630 kg hang, not 0.5 kg"));
    assert_int_equal(questions_where_hung(2, 1.967), 0);
    assert_int_equal(questions_where_hung(2, 2.05), 1);
    assert_close(up_procedure_loadings(bench.procedure)->point[2].load_counts, 1200000, 10);
    assert_int_equal(questions_where_hung(1, 2), 1);
}

#define DOUBT(test) cmocka_unit_test_setup_teardown(test, begin, end)

int main(void) {
    const struct CMUnitTest tests[] = {
        DOUBT(a_sound_session_is_not_questioned),
        DOUBT(twenty_questions_end_a_session),
        DOUBT(nothing_hung_dry_is_asked_about),
        DOUBT(nothing_hung_under_water_is_asked_about),
        DOUBT(no_hand_at_a_shake_is_asked_about),
        DOUBT(an_item_not_lifted_out_is_asked_about),
        DOUBT(a_light_item_is_asked_about_dry),
        DOUBT(a_light_item_on_a_coarse_scale),
        DOUBT(a_coarse_scale_still_asks),
        DOUBT(dry_it_must_not_lift),
        DOUBT(a_tare_comes_back),
        DOUBT(a_tare_that_is_off_costs_its_trial),
        DOUBT(accept_goes_on_and_the_record_says_so),
        DOUBT(a_step_cannot_be_accepted),
        DOUBT(drift_is_no_hand),
        DOUBT(another_item_in_the_third_trial_is_asked_about),
        DOUBT(a_density_that_no_gear_has_is_asked_about),
        DOUBT(an_impossible_item_is_weighed_dry_again),
        DOUBT(a_mass_left_on_at_a_tare_is_asked_about),
        DOUBT(a_mass_that_does_not_fit_is_asked_about_at_once),
    };
    return cmocka_run_group_tests_name("doubt", tests, NULL, NULL);
}
