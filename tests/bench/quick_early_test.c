/* SPDX-License-Identifier: GPL-3.0-or-later */
/* When a reading of a quick weighing ends, and what it teaches, on traces drawn by hand
   (hand_bench.h). */
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

/* ---- early readings ---- */

static void trust(double grams) {
    for (int step = 0; step < UP_QUICK_STEPS; step++) {
        struct up_early_envelope *envelope = &bench.plan.quick.envelope[step];
        envelope->basis = UP_EARLY_MANY;
        bench.plan.quick.watch[step].seen = 4; /* borne out by the first four */
        for (int i = 0; i < UP_EARLY_VALUES; i++) {
            envelope->a_kg[i] = 1e-3;
            envelope->b[i] = 0;
            envelope->bound[i] = grams;
        }
    }
}

/* A run that the lot lets end early, for all of three readings. */
static void choose_run(void) {
    bench.plan.quick.lot = 3;
}

static double seconds_of(double kg) {
    double begun_s = bench.now_s;
    weigh(kg);
    return bench.now_s - begun_s;
}

static void a_reading_ends_when_enough_is_known(void **state) {
    (void)state;
    choose_run();
    double whole_s = seconds_of(0.3);
    trust(0.9);
    double quick_s = seconds_of(0.3);
    struct up_result result = result_of(0);
    /* Two readings in the water end after 6 s instead of 24. */
    assert_close(whole_s - quick_s, 2 * 18, 1.5);
    assert_int_equal(result.answer.class, UP_CLASS_NEGATIVE);
    assert_close(result.quick.early_kg, 2 * 0.9e-3, 1e-9); /* of item and hanger */
    trust(300);                                            /* a bound too wide for a class */
    assert_close(seconds_of(0.3), whole_s, 1);
}

static void near_a_line_it_reads_to_the_end(void **state) {
    (void)state;
    choose_run();
    trust(0.9);
    weigh(0.0505); /* half a gram from the line */
    assert_close(hand_bench_measured(&bench)->trial[0].early_counts, 0, 1e-9);
    weigh(0.2);
    assert_close(hand_bench_measured(&bench)->trial[0].early_counts, 2 * 0.9e-3 * COUNTS, 1e-6);
}

/* The mean that the traces taught is taken off. */
static void the_mean_is_taken_off(void **state) {
    (void)state;
    choose_run();
    trust(0.9);
    for (int i = 0; i < UP_EARLY_VALUES; i++) {
        bench.plan.quick.envelope[UP_QUICK_IMMERSED].mean[i] = 5;
    }
    weigh(0.3);
    assert_close(result_of(0).answer.buoyancy_kg.value, -0.295, 1e-4);
}

/* One reading in ten goes on to the end, and which ones hangs on run and reading. */
static void one_in_ten_reads_to_the_end(void **state) {
    (void)state;
    unsigned taught = 0;
    trust(0.9);
    for (int i = 0; i < 100; i++) {
        bench.plan.quick.lot = (unsigned long)i;
        taught += weigh(0.3)->taughts;
    }
    print_message("# %u of 200 readings went on to the end\n", taught);
    assert_true(taught > 4 && taught < 20 + 5 * 4.3);
}

/* Without an envelope every reading teaches: a drift of 6 counts a second is 10 mg a second, and
   the reading after 4 s lies 16 s before that of the full schedule. */
static void full_readings_teach(void **state) {
    (void)state;
    bench.drift_per_s = 6;
    const struct up_quick_progress *quick = weigh(0.3);
    assert_int_equal(quick->taughts, 2);
    assert_int_equal(quick->taught[0].step, UP_QUICK_IMMERSED);
    assert_int_equal(quick->taught[1].step, UP_QUICK_LIFTED);
    assert_close(quick->taught[0].off_kg[0], -16 * 6 / COUNTS, 2e-5);
    assert_close(quick->taught[0].step_kg, 0.3, 0.01);
    assert_close(quick->taught[1].step_kg, -0.3, 0.01);
}

/* 4 g at 0.9 Hz turn 3.6 times in a window of 4 s, or a reading less of it: of up to 0.35 g by
   which they move a plain mean a tapered one has a twelfth. The full reading is moved by 0.05 g. */
static void a_swing_hardly_moves_an_early_reading(void **state) {
    (void)state;
    bench.swing = 4e-3 * COUNTS;
    bench.swing_hz = 0.9;
    const struct up_quick_progress *quick = weigh(0.3);
    double tapered_kg = 0, plain_kg = 0;
    assert_int_equal(quick->taughts, 2);
    for (int i = 0; i < UP_EARLY_TIMES; i++) {
        tapered_kg = fmax(tapered_kg, fabs(quick->taught[0].off_kg[i]));
        plain_kg = fmax(plain_kg, fabs(quick->taught[0].off_kg[UP_EARLY_TIMES + i]));
    }
    print_message("# off by %.3f g tapered, %.3f g plainly\n", 1e3 * tapered_kg, 1e3 * plain_kg);
    assert_true(tapered_kg < 0.1e-3);
    assert_true(plain_kg > 0.2e-3);
}

static void a_reading_ends_with_the_tapered_mean(void **state) {
    (void)state;
    choose_run();
    trust(0.9);
    bench.swing = 4e-3 * COUNTS;
    bench.swing_hz = 0.9;
    weigh(0.3);
    double off_kg = result_of(0).answer.buoyancy_kg.value + 0.3;
    assert_true(bench.plateau.early > 0);
    print_message("# off by %.3f g\n", 1e3 * off_kg);
    assert_true(fabs(off_kg) < 0.06e-3);
}

/* A swing that was not there when it was learned contradicts, though the tapered readings do not.
 */
static void a_swing_shows_beside_a_reading(void **state) {
    (void)state;
    choose_run();
    trust(0.15);
    bench.swing = 4e-3 * COUNTS;
    bench.swing_hz = 0.9;
    const struct up_quick_progress *quick = weigh(0.3);
    assert_int_equal(quick->watch[UP_QUICK_IMMERSED].against, 1);
}

/* The hanger's reading may end within what a trial of the kind scatters by, not only a gram. */
static void the_hanger_is_read_as_well_as_the_kind_repeats(void **state) {
    (void)state;
    choose_run();
    trust(1.5);
    weigh(0.3);
    assert_true(bench.plateau.early == 0);
    bench.plan.kind_repeatability_kg.u = 2e-3;
    weigh(0.3);
    assert_close(bench.plateau.early, 1.5e-3 * COUNTS, 1e-6);
}

/* It drifts by 10 mg a second where the envelope allows 20 mg either way: a trace that contradicts
   itself is read to the end and counts against the envelope, and the second such rejects it. */
static void a_trace_that_contradicts_itself(void **state) {
    (void)state;
    choose_run();
    trust(0.02);
    bench.drift_per_s = 6;
    const struct up_quick_progress *quick = weigh(0.0501);
    assert_true(quick->watch[UP_QUICK_LIFTED].against == 1);
    memcpy(bench.plan.quick.watch, quick->watch, sizeof quick->watch);
    quick = weigh(0.0501);
    assert_true(up_early_is_rejected(&quick->watch[UP_QUICK_LIFTED], UP_QUICK_EARLY_RISK));
}

/* For a second after the first two and a half a hand lifts what hangs by 33 g, on a cell that
   counts downward: the first reading says 201 g down, the third 209 g, which would be enough for a
   line at 200 g. */
static enum up_answer_word lift_it_a_while(struct hand_bench *b, const struct up_ask *ask) {
    bool hangs = ask->action == UP_ACTION_IMMERSE;
    b->level = EMPTY - (hangs ? item.kg * COUNTS : 0);
    b->shaken_s = hangs ? b->now_s + 2.5 : b->shaken_s;
    return UP_ANSWER_DONE;
}

static void a_trace_that_contradicts_itself_goes_on(void **state) {
    (void)state;
    bench.plan.quick.lot = 3;
    trust(3);
    bench.calibration.slope_counts_per_kg = -COUNTS;
    bench.act = lift_it_a_while;
    bench.plan.item.tolerance_g = 200;
    weigh(0.209);
    assert_true(hand_bench_measured(&bench)->trial[0].early_counts == 0);
    bench.untouched = true;
    weigh(0.2165);
    assert_true(hand_bench_measured(&bench)->trial[0].early_counts > 0);
}

/* A session's first four readings of each step go on to the end. */
static void the_first_readings_bear_it_out(void **state) {
    (void)state;
    choose_run();
    trust(0.9);
    memset(bench.plan.quick.watch, 0, sizeof bench.plan.quick.watch);
    for (unsigned i = 0; i < 6; i++) {
        const struct up_quick_progress *quick = weigh(0.3);
        bool whole = hand_bench_measured(&bench)->trial[0].early_counts == 0;
        assert_int_equal(whole, i < 4);
        memcpy(bench.plan.quick.watch, quick->watch, sizeof quick->watch);
    }
}

/* ---- what was asked must show ---- */

static double done_s;

static enum up_answer_word answer_late(struct hand_bench *b, const struct up_ask *ask) {
    hang(b, ask);
    hand_bench_wait(b, 5);
    done_s = b->now_s;
    return UP_ANSWER_DONE;
}

static void it_counts_from_the_answer(void **state) {
    (void)state;
    choose_run();
    trust(0.9);
    bench.act = answer_late;
    weigh(0.3);
    assert_true(bench.plateau.early > 0);
    assert_close(bench.plateau.start_s - done_s, 2, 0.25);
}

/* A hand at the hanger for three seconds, as far as 33 g: early the hanger is not as it was, at the
   end it is. */
static enum up_answer_word touch_the_hanger(struct hand_bench *b, const struct up_ask *ask) {
    b->shaken_s = ask->action == UP_ACTION_LIFT_OUT ? b->now_s + 2 : b->shaken_s;
    return hang(b, ask);
}

static void nothing_is_asked_that_the_end_answers(void **state) {
    (void)state;
    choose_run();
    trust(0.9);
    bench.act = touch_the_hanger;
    bench.pull_s = 3;
    const struct up_quick_progress *quick = weigh(0.3);
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 0);
    assert_int_equal(quick->class, UP_CLASS_NEGATIVE);
    assert_true(bench.plateau.early == 0);
}

static enum up_answer_word forget_to_hang(struct hand_bench *b, const struct up_ask *ask) {
    if (ask->action == UP_ACTION_IMMERSE && b->asked[UP_ACTION_IMMERSE] == 1) {
        return UP_ANSWER_DONE;
    }
    if (ask->action == UP_ACTION_CONFIRM) {
        b->level = EMPTY + item.kg * COUNTS;
        return UP_ANSWER_DONE;
    }
    return hang(b, ask);
}

static void an_early_reading_of_nothing_is_asked_about(void **state) {
    (void)state;
    choose_run();
    trust(0.9);
    bench.act = forget_to_hang;
    weigh(0.3);
    assert_true(bench.asked[UP_ACTION_CONFIRM] > 0);
    assert_close(result_of(0).answer.buoyancy_kg.value, -0.3, 1e-4);
}

#define TEST(function) cmocka_unit_test_setup_teardown(function, begin, end)

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(a_reading_ends_when_enough_is_known),
        TEST(near_a_line_it_reads_to_the_end),
        TEST(the_mean_is_taken_off),
        TEST(one_in_ten_reads_to_the_end),
        TEST(full_readings_teach),
        TEST(a_swing_hardly_moves_an_early_reading),
        TEST(a_reading_ends_with_the_tapered_mean),
        TEST(a_swing_shows_beside_a_reading),
        TEST(the_hanger_is_read_as_well_as_the_kind_repeats),
        TEST(a_trace_that_contradicts_itself),
        TEST(a_trace_that_contradicts_itself_goes_on),
        TEST(the_first_readings_bear_it_out),
        TEST(it_counts_from_the_answer),
        TEST(nothing_is_asked_that_the_end_answers),
        TEST(an_early_reading_of_nothing_is_asked_about),
    };
    return cmocka_run_group_tests_name("quick early", tests, NULL, NULL);
}
