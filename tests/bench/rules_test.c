/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The rules of a session, each on a trace that would break it: what the cell shows is drawn by hand
   (hand_bench.h), so that every limit can be passed by a little on either side. */
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

/* What hangs, in conventional kilograms; a shake frees so much air. */
static struct {
    double air_kg, water_kg, gain_kg[UP_TRIAL_SHAKES_MAX];
    unsigned shakes;
} item;

static double counts(double kg) {
    return kg * bench.calibration.slope_counts_per_kg;
}

static enum up_answer_word hang(struct hand_bench *b, const struct up_ask *ask) {
    if (ask->action == UP_ACTION_HANG_IN_AIR) {
        b->level = EMPTY + counts(item.air_kg);
    } else if (ask->action == UP_ACTION_IMMERSE) {
        item.shakes = 0;
        b->level = EMPTY + counts(item.water_kg);
    } else if (ask->action == UP_ACTION_SHAKE) {
        b->level += counts(item.gain_kg[item.shakes++]);
    } else if (ask->action != UP_ACTION_CONFIRM) {
        b->level = EMPTY;
    }
    return ask->action == UP_ACTION_CONFIRM ? UP_ANSWER_ACCEPT : UP_ANSWER_DONE;
}

static int begin(void **state) {
    (void)state;
    hand_bench_begin(&bench);
    bench.act = hang;
    memset(&item, 0, sizeof item);
    item.air_kg = 0.9;
    item.water_kg = 0.3;
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

/* ---- shaking ---- */

static unsigned shakes_after_a_gain_of(double gain_g) {
    item.gain_kg[0] = gain_g * 1e-3;
    return measure()->trial[0].shakes;
}

/* Half a gram matters where the readings are sure of it. */
static void shaking_stops_at_half_a_gram(void **state) {
    (void)state;
    assert_int_equal(shakes_after_a_gain_of(0.45), 1);
    assert_int_equal(shakes_after_a_gain_of(0.55), 2);
}

static enum up_answer_word shake_the_second_once(struct hand_bench *b, const struct up_ask *ask) {
    bool is_second = b->asked[UP_ACTION_LIFT_OUT] == 1 && ask->action == UP_ACTION_SHAKE;
    return is_second && item.shakes == 1 ? UP_ANSWER_SKIP : hang(b, ask);
}

/* The second trial's first shake frees next to nothing; then its first frees much, and still does.
   One whose second shake was skipped is none of those. */
static void the_first_trial_sets_the_shakes(void **state) {
    (void)state;
    bench.plan.steady_shakes = true;
    bench.plan.trials = 4;
    item.gain_kg[0] = 0.005;
    item.gain_kg[1] = 0.0004;
    const struct up_trial *trial = measure()->trial;
    for (unsigned i = 0; i < 4; i++) {
        assert_true(trial[i].shakes == 2 && trial[i].shakes_set == (i > 0));
    }
    bench.act = shake_the_second_once;
    hand_bench_start(&bench);
    hand_bench_run(&bench);
    trial = hand_bench_measured(&bench)->trial;
    assert_true(trial[1].shakes == 1 && !trial[1].shakes_set);
    assert_true(trial[2].shakes == 2 && trial[2].shakes_set);
}

static enum up_answer_word less_air_later(struct hand_bench *b, const struct up_ask *ask) {
    if (ask->action == UP_ACTION_LIFT_OUT) {
        item.gain_kg[0] = item.gain_kg[1] = b->asked[UP_ACTION_LIFT_OUT] == 1 ? 0.0001 : 0.009;
    }
    return hang(b, ask);
}

static void later_trials_shake_as_often_whatever_they_gain(void **state) {
    (void)state;
    bench.plan.steady_shakes = true;
    bench.act = less_air_later;
    item.gain_kg[0] = 0.005;
    const struct up_trial *trial = measure()->trial;
    for (unsigned i = 0; i < 3; i++) {
        assert_int_equal(trial[i].shakes, 2);
    }
    assert_true(trial[2].still_gaining);
}

/* Noise of 6000 counts is 10 g; a mean of 80 readings has 1.12 g, a difference of two
   1.58 g, and three times that is 4.75 g. */
static void shaking_stops_at_three_u_of_a_gain(void **state) {
    (void)state;
    bench.noise = 6000;
    assert_int_equal(shakes_after_a_gain_of(4.5), 1);
    assert_int_equal(shakes_after_a_gain_of(5.1), 2);
    const struct up_trial *trial = &hand_bench_measured(&bench)->trial[0];
    assert_close(trial->gain_counts[0], 5.1e-3 * 600000, 6000.0 / 40);
    assert_close(trial->u_gain_counts, sqrt(2) * 6000 / sqrt(80),
                 60); /* a lag-1 correlation by chance */
    assert_false(trial->still_gaining);
}

static void a_gain_is_positive_on_a_cell_that_counts_downward(void **state) {
    (void)state;
    bench.calibration.slope_counts_per_kg = -600000;
    assert_int_equal(shakes_after_a_gain_of(3), 2);
    assert_close(hand_bench_measured(&bench)->trial[0].gain_counts[0], 1800, 5);
}

/* ---- time ---- */

/* Told at each immersion but the first, and not the same each time; as long as a reading in all. */
static enum up_answer_word note_waits(struct hand_bench *b, const struct up_ask *ask) {
    double *waits_s = b->context, wait_s = 0;
    if (ask->action == UP_ACTION_IMMERSE && sscanf(ask->text, "Wait %lf s", &wait_s) == 1) {
        waits_s[b->asked[UP_ACTION_IMMERSE]] = wait_s;
        assert_non_null(strstr(ask->text, "Hang the item"));
    }
    return hang(b, ask);
}

static void trials_are_not_evenly_spaced(void **state) {
    (void)state;
    double waits_s[7] = {0};
    bench.act = note_waits;
    bench.context = waits_s;
    bench.plan.trials = 5;
    measure();
    assert_true(waits_s[1] == 0 && waits_s[2] > 0);
    double sum_s = 0;
    for (unsigned i = 2; i <= 5; i++) {
        assert_true(waits_s[i] != waits_s[i - 1]);
        sum_s += waits_s[i];
    }
    assert_true(sum_s >= 30 && sum_s <= 60);
}

/* A zero that drifts is no bubble and no drip. */
static void slopes_are_without_the_drift(void **state) {
    (void)state;
    bench.drift_per_s = 5;
    const struct up_trial *trial = measure()->trial;
    for (unsigned i = 0; i < 3; i++) {
        assert_close(trial[i].water_slope_counts_s, 0, 1);
        assert_close(trial[i].tare_slope_counts_s, 0, 1);
        double change = trial[i].tare_change_counts, per_reading = 5 * bench.rig.read_after_s;
        assert_true(change > 2 * per_reading && change < 10 * per_reading);
        assert_true(trial[i].water_age_s > 15 && trial[i].tare_age_s > 15);
    }
}

static void a_soak_counts_from_the_first_immersion(void **state) {
    (void)state;
    const struct up_measurement *measured = measure();
    double first_s = measured->trial[0].soak_s, second_s = measured->trial[1].soak_s;
    assert_true(first_s > 2 * bench.rig.read_after_s && first_s < 4 * bench.rig.read_after_s);
    assert_true(second_s > first_s + 3 * bench.rig.read_after_s);
}

static double read_after_s(void) {
    return bench.plateau.start_s - bench.plateau.step_s;
}

/* The operator was away while the second immersion was asked for. */
static enum up_answer_word leave_once(struct hand_bench *b, const struct up_ask *ask) {
    double usual_s = b->rig.read_after_s - b->rig.window_s / 2;
    if (ask->action == UP_ACTION_IMMERSE && b->asked[UP_ACTION_IMMERSE] == 2) {
        up_procedure_abandon_step(b->procedure, "nobody was there");
        return UP_ANSWER_DONE; /* to a question that is open no more */
    }
    if (ask->action == UP_ACTION_IMMERSE && b->asked[UP_ACTION_IMMERSE] == 3) {
        assert_int_equal(b->asked[UP_ACTION_EMPTY_IN_WATER], 1); /* that tare was read just now */
        assert_close(read_after_s(), usual_s + 3 * b->rig.read_after_s, 0.3);
    }
    if (ask->action == UP_ACTION_SHAKE) {
        assert_close(read_after_s(), usual_s, 0.3);
    }
    return hang(b, ask);
}

static void the_cell_rests_after_an_absence(void **state) {
    (void)state;
    bench.act = leave_once;
    const struct up_measurement *measured = measure();
    assert_int_equal(bench.asked[UP_ACTION_IMMERSE], 4);
    assert_int_equal(measured->trials, 3);
    assert_string_equal(bench.fault, "nobody was there");
}

/* ---- the tare that neighbours share ---- */

static void a_tare_serves_a_neighbour_for_ten_minutes(void **state) {
    (void)state;
    measure();
    struct up_opening opening = up_procedure_opening(bench.procedure);
    assert_true(opening.known && opening.age_s < 10);
    hand_bench_wait(&bench, 595 - opening.age_s);
    opening = up_procedure_opening(bench.procedure);
    assert_true(opening.known);
    assert_close(opening.age_s, 595, 0.3);
    hand_bench_wait(&bench, 10);
    assert_false(up_procedure_opening(bench.procedure).known);
}

static void a_tare_at_another_depth_serves_nobody(void **state) {
    (void)state;
    bench.plan.second_depth_m = 2;
    const struct up_measurement *measured = measure();
    assert_true(isfinite(measured->deep_counts.value));
    assert_false(up_procedure_opening(bench.procedure).known);
}

/* The cell drifts by a count a second; the neighbour's tare is 400 s old. Between it and the tare
   afterwards drift is a straight line, which weights by time take off to the last count. */
static void a_tare_taken_over_counts_with_its_age(void **state) {
    (void)state;
    bench.drift_per_s = 1;
    bench.plan.opening = (struct up_opening){
        .known = true, .age_s = 400, .load = EMPTY - 400, .u_load = 500, .temp_c = 20};
    const struct up_measurement *measured = measure();
    assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_AIR], 1);
    assert_close(measured->air_counts.value, counts(item.air_kg), 3);
    /* read some 21 s after the stream's beginning, and the tare 24 s later: w = 421 / 445 */
    double own = 20 / sqrt(80), w = 421.0 / 445;
    assert_close(measured->air_counts.u, hypot(own, hypot((1 - w) * 500, w * own)), 0.5);
}

/* ---- after a break: the same cell? ---- */

static double afterwards_kg; /* what the item weighs since */
static bool breaks, heals;

static enum up_answer_word swap_the_cell(struct hand_bench *b, const struct up_ask *ask) {
    if (ask->action == UP_ACTION_IMMERSE && b->asked[UP_ACTION_IMMERSE] == 2) {
        item.water_kg = afterwards_kg;
        if (breaks) {
            up_procedure_interrupt(b->procedure, "the cable came off");
            return UP_ANSWER_DONE;
        }
    }
    if (heals && strstr(b->fault, "than before the break") != NULL) {
        item.water_kg = 0.3;
    }
    return hang(b, ask);
}

static bool is_refused(double before_kg, double after_kg) {
    bench.act = swap_the_cell;
    bench.fault[0] = '\0';
    item.water_kg = before_kg;
    afterwards_kg = after_kg;
    measure();
    return strstr(bench.fault, "gave up") != NULL;
}

static void another_cell_is_refused_whichever_way_it_reads(void **state) {
    (void)state;
    breaks = true;
    heals = false;
    assert_true(is_refused(0.3, 0.33));
    assert_true(is_refused(0.3, 0.27));
    assert_true(is_refused(-0.3, -0.33));
    assert_false(is_refused(0.3, 0.315));
    assert_false(is_refused(0.3, 0.285));
    assert_int_equal(hand_bench_measured(&bench)->trials, 3);
    assert_false(is_refused(2, 1.94)); /* three per cent may be the item's own */
    assert_true(is_refused(2, 1.88));
    assert_true(is_refused(2, 2.12));
}

static void a_second_trial_that_is_unlike_gives_up(void **state) {
    (void)state;
    breaks = true;
    heals = false;
    assert_true(is_refused(0.3, 0.27));
    assert_int_equal(hand_bench_measured(&bench)->trials, 1);
    assert_int_equal(bench.asked[UP_ACTION_LIFT_OUT],
                     3); /* the first trial, and two that are not */
    assert_false(up_procedure_progress(bench.procedure).complete);
}

static void one_trial_that_is_unlike_costs_only_itself(void **state) {
    (void)state;
    breaks = heals = true;
    assert_false(is_refused(0.3, 0.27));
    const struct up_measurement *measured = hand_bench_measured(&bench);
    assert_int_equal(measured->trials, 3);
    assert_int_equal(bench.asked[UP_ACTION_LIFT_OUT], 4);
    assert_close(measured->trial[1].load_counts, counts(0.3), 5);
    assert_true(up_procedure_progress(bench.procedure).complete);
}

static void without_a_break_trials_may_differ(void **state) {
    (void)state;
    breaks = heals = false;
    assert_false(is_refused(0.3, 0.27));
    assert_int_equal(bench.faults, 0);
}

/* ---- outliers ---- */

static enum up_answer_word heavier_at_third(struct hand_bench *b, const struct up_ask *ask) {
    item.water_kg = b->asked[UP_ACTION_IMMERSE] == 3 ? 0.308 : 0.3;
    return hang(b, ask);
}

/* Two that agree by chance make no outlier of the third; three do. */
static void an_outlier_needs_four_trials(void **state) {
    (void)state;
    bench.act = heavier_at_third;
    measure();
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 0);
    bench.plan.trials = 4;
    measure();
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
    bench.rig.division_counts = counts(0.004); /* 8 g apart: two roundings, or the item */
    measure();
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 0);
    bench.rig.division_counts = counts(0.003);
    measure();
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
}

static double second_off_kg, apart_kg = 1e-4;
static enum up_answer_word word_for_pair;

/* The second and fifth are off, the others scatter a little. */
static enum up_answer_word two_lie_off(struct hand_bench *b, const struct up_ask *ask) {
    unsigned number = b->asked[UP_ACTION_IMMERSE];
    item.water_kg = number == 2   ? 0.30802
                    : number == 5 ? 0.3 + second_off_kg
                                  : 0.3 + (number % 3) * apart_kg;
    enum up_answer_word word = hang(b, ask);
    return ask->action == UP_ACTION_CONFIRM ? word_for_pair : word;
}

static void measure_pair(unsigned trials, double off_kg, enum up_answer_word word) {
    second_off_kg = off_kg;
    word_for_pair = word;
    bench.act = two_lie_off;
    bench.plan.trials = trials;
    measure();
}

/* Together they widen the scatter, so that neither lies off by Grubbs' test. */
static void two_outliers_do_not_hide_each_other(void **state) {
    (void)state;
    measure_pair(6, 0.0085, UP_ANSWER_DONE);
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
    assert_non_null(strstr(bench.note, "differs from the others and is kept"));
    assert_int_equal(hand_bench_measured(&bench)->trials, 6);
    measure_pair(6, -0.0015, UP_ANSWER_DONE); /* either way */
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
    measure_pair(5, 0.0085, UP_ANSWER_DONE); /* two of five may be a habit */
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 0);
}

static char pair_question[240];

static enum up_answer_word note_pair(struct hand_bench *b, const struct up_ask *ask) {
    if (ask->action == UP_ACTION_CONFIRM && pair_question[0] == '\0') {
        memcpy(pair_question, ask->text, sizeof pair_question);
    }
    return two_lie_off(b, ask);
}

/* By one word; as many others are made in their place. */
static void both_outliers_are_left_out_by_one_word(void **state) {
    (void)state;
    second_off_kg = 0.00852;
    word_for_pair = UP_ANSWER_SKIP;
    bench.act = note_pair;
    bench.plan.trials = 6;
    memset(pair_question, 0, sizeof pair_question);
    const struct up_measurement *measured = measure();
    assert_int_equal(bench.asked[UP_ACTION_CONFIRM], 1);
    assert_non_null(strstr(pair_question, "Trials 5 and 2 are 8.5 g heavier and 8.0 g heavier"));
    assert_non_null(strstr(pair_question, "what went wrong"));
    assert_int_equal(measured->trials, 8);
    for (unsigned i = 0; i < measured->trials; i++) {
        assert_true(measured->trial[i].left_out == (i == 1 || i == 4));
    }
}

/* The second of a pair by 0.4 g: the first one alone is asked about. */
static void a_pair_of_which_one_matters_is_one(void **state) {
    (void)state;
    bench.noise = 1;
    apart_kg = 1e-5;
    second_off_kg = 0.0004;
    word_for_pair = UP_ANSWER_SKIP;
    bench.act = note_pair;
    bench.plan.trials = 8;
    memset(pair_question, 0, sizeof pair_question);
    measure();
    apart_kg = 1e-4;
    assert_non_null(strstr(pair_question, "Trial 2 is 8.0 g heavier"));
}

/* ---- ballast and capacity ---- */

static bool ballast_holds(double lift_kg) {
    item.water_kg = -lift_kg;
    item.air_kg = 0.1;
    measure();
    return strstr(bench.fault, "hang at least") == NULL;
}

/* 2 kg of lead (11340 kg/m3) weigh 1.8236 kg in water and hold two thirds of that. */
static void ballast_holds_one_and_a_half_times_the_lift(void **state) {
    (void)state;
    assert_true(bench.rig.ballast_kg == 2);
    assert_true(ballast_holds(1.21));
    assert_false(ballast_holds(1.22));
    assert_non_null(strstr(bench.fault, "the item lifts 1220 g and the ballast holds 1824 g"));
}

static void show(struct hand_bench *b, double hanging_kg) {
    b->level = EMPTY + counts(hanging_kg - b->rig.ballast_kg);
    hand_bench_wait(b, 3);
}

/* Over the 10 kg that the cell bears, a little below it, over it, relieved, and over it again. */
static enum up_answer_word overload_twice(struct hand_bench *b, const struct up_ask *ask) {
    if (ask->action == UP_ACTION_HANG_IN_AIR) {
        static const double hanging_kg[] = {10.2, 9.7, 10.2, 9.3, 10.2};
        for (size_t i = 0; i < sizeof hanging_kg / sizeof hanging_kg[0]; i++) {
            show(b, hanging_kg[i]);
        }
    }
    return hang(b, ask);
}

static void an_overload_that_hovers_is_told_once(void **state) {
    (void)state;
    assert_true(bench.rig.capacity_kg == 10);
    bench.act = overload_twice;
    measure();
    assert_int_equal(bench.faults, 2);
    assert_non_null(strstr(bench.fault, "take the load off at once: 10.2"));
}

/* ---- readings that are typed ---- */

static const char typed_rig[] = "[rig]\nid = typed\n[port]\nkind = typed\n"
                                "[line]\nlayout = bare\nload_unit = kg\n"
                                "[sensor]\ncapacity_kg = 10\ndivision_counts = 0.02\n"
                                "[tank]\nwater = fresh\nballast_kg = 2\ntemp_c = 20\n";

static void use_typed_rig(void) {
    struct up_failure failure = {0};
    if (!up_rig_parse("typed", typed_rig, &bench.rig, &failure)) {
        fail_msg("%s", failure.text);
    }
}

/* Answers each question that wants a number with the next one; stops where they end. */
static void type(const double *reading, size_t count) {
    struct up_event event;
    bench.fault[0] = '\0';
    use_typed_rig();
    bench.calibration.slope_counts_per_kg = 1;
    bench.calibration.read_after_s = bench.rig.read_after_s;
    bench.calibration.window_s = bench.rig.window_s;
    snprintf(bench.calibration.bench, sizeof bench.calibration.bench, "typed");
    memcpy(bench.calibration.rig_sha256, bench.rig.sha256, sizeof bench.calibration.rig_sha256);
    hand_bench_start(&bench);
    for (size_t i = 0; up_procedure_next(bench.procedure, &event);) {
        if (event.kind == UP_EVENT_FAULT) {
            snprintf(bench.fault, sizeof bench.fault, "%s", event.text);
        } else if (event.kind == UP_EVENT_ASK && !event.ask.wants_number) {
            up_procedure_answer(bench.procedure, event.ask.id, UP_ANSWER_DONE, 0, NULL);
        } else if (event.kind == UP_EVENT_ASK && i < count) {
            up_procedure_clock(bench.procedure, 30.0 * (double)i);
            up_procedure_answer(bench.procedure, event.ask.id, UP_ANSWER_NUMBER, reading[i++],
                                NULL);
        }
    }
}

/* The scale was set to nothing with the ballast on it. */
static void item_and_ballast_hang_on_the_scale_together(void **state) {
    (void)state;
    type((const double[]){0, 7.98, 0}, 3);
    assert_string_equal(bench.fault, "");
    type((const double[]){0, 8.02, 0}, 3);
    assert_non_null(strstr(bench.fault, "item and ballast together are 10.02 kg"));
    assert_true(up_procedure_is_finished(bench.procedure));
}

/* Rounding alone sets trials that agree two divisions apart: weighing again until they meet would
   make them surer than they are. */
static void two_divisions_are_no_other_item(void **state) {
    (void)state;
    type((const double[]){0, 1.5, 0, 0.3, 0.3, 0, 0.34, 0.34, 0}, 9);
    assert_int_equal(hand_bench_measured(&bench)->trials, 2);
    type((const double[]){0, 1.5, 0, 0.3, 0.3, 0, 0.36, 0.36, 0}, 9);
    assert_int_equal(hand_bench_measured(&bench)->trials, 1);
}

/* A division is rectangular; the tare is the mean of two readings. */
static void a_typed_reading_is_as_sure_as_its_division(void **state) {
    (void)state;
    type((const double[]){0, 1.5, 0}, 3);
    const struct up_quantity *air = &hand_bench_measured(&bench)->air_counts;
    assert_close(air->value, 1.5, 1e-12);
    assert_close(air->u, 0.02 / sqrt(12) * sqrt(1.5), 1e-12);
}

/* A mass of 500 g on a scale at nothing: what it shows lies between half and twice that, or it was
   typed in another unit. */
static void a_mass_is_typed_in_the_unit_of_the_scale(void **state) {
    (void)state;
    use_typed_rig();
    const struct up_calibrate_plan plan = {.rig = &bench.rig, .masses = 3, .mass_kg = {0.5, 1, 2}};
    struct up_failure failure = {0};
    struct up_event event = {.kind = UP_EVENT_NOTE};
    assert_true(up_procedure_calibrate(&plan, &bench.procedure, &failure));
    while (up_procedure_next(bench.procedure, &event) &&
           !(event.kind == UP_EVENT_ASK && event.ask.mass_kg == 0.5 && event.ask.wants_number)) {
        bool tare = event.kind == UP_EVENT_ASK && event.ask.wants_number;
        up_procedure_answer(bench.procedure, event.ask.id, tare ? UP_ANSWER_NUMBER : UP_ANSWER_DONE,
                            0, NULL);
    }
    assert_true(event.ask.mass_kg == 0.5);
    static const double refused[] = {0.24, 1.02, 5, 0};
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        assert_false(up_procedure_answer(bench.procedure, event.ask.id, UP_ANSWER_NUMBER,
                                         refused[i], &failure));
        assert_non_null(strstr(failure.text, "type it in kg"));
    }
    assert_true(
        up_procedure_answer(bench.procedure, event.ask.id, UP_ANSWER_NUMBER, 0.98, &failure));
}

#define RULE(test) cmocka_unit_test_setup_teardown(test, begin, end)

/* ---- a device that was not polled while a question was open ---- */

static enum up_answer_word hang_unseen(struct hand_bench *b, const struct up_ask *ask) {
    enum up_answer_word word = hang(b, ask);
    b->now_s += 84;
    return word;
}

/* Its first line shows the load standing already: the schedule counts from there. */
static void what_came_to_stand_unseen_did_so_by_the_first_line(void **state) {
    (void)state;
    bench.act = hang_unseen;
    assert_int_equal(measure()->trials, 3);
    assert_int_equal(bench.faults, 0);
    double due_s = bench.plateau.step_s + bench.rig.read_after_s;
    assert_close((bench.plateau.start_s + bench.plateau.end_s) / 2, due_s, 0.2);
    assert_true(bench.now_s - bench.plateau.step_s < 30);
}

/* The last question stays open until what is held no longer goes back to the change of load: it had
   come to stand by the first reading that is still held. */
static double last_asked_s;

static enum up_answer_word hang_for_hours(struct hand_bench *b, const struct up_ask *ask) {
    enum up_answer_word word = hang(b, ask);
    if (ask->action == UP_ACTION_LIFT_OUT && b->asked[ask->action] == 3) {
        last_asked_s = b->now_s;
        hand_bench_wait(b, 7.5 * 3600);
    }
    return word;
}

static void what_came_to_stand_hours_ago_stood_by_the_first_reading_held(void **state) {
    (void)state;
    bench.act = hang_for_hours;
    assert_int_equal(measure()->trials, 3);
    assert_int_equal(bench.faults, 0);
    assert_true(bench.plateau.step_s > last_asked_s + 3600);
    double due_s = bench.plateau.step_s + bench.rig.read_after_s;
    assert_close((bench.plateau.start_s + bench.plateau.end_s) / 2, due_s, 0.2);
}

/* ---- the water's temperature ---- */

/* The thermometer hangs from the item: it reads the water while the item is under it, then the air
   over the tank. */
static enum up_answer_word hang_with_thermometer(struct hand_bench *b, const struct up_ask *ask) {
    b->temp_c = ask->action == UP_ACTION_IMMERSE || ask->action == UP_ACTION_SHAKE ? 12 : 25;
    return hang(b, ask);
}

static void a_trials_temperature_is_that_of_its_reading_in_the_water(void **state) {
    (void)state;
    bench.act = hang_with_thermometer;
    const struct up_measurement *measured = measure();
    for (unsigned i = 0; i < measured->trials; i++) {
        assert_close(measured->trial[i].temp_c, 12, 1e-9);
    }
    assert_int_equal(measured->trials, 3);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        RULE(shaking_stops_at_half_a_gram),
        RULE(the_first_trial_sets_the_shakes),
        RULE(later_trials_shake_as_often_whatever_they_gain),
        RULE(shaking_stops_at_three_u_of_a_gain),
        RULE(a_gain_is_positive_on_a_cell_that_counts_downward),
        RULE(trials_are_not_evenly_spaced),
        RULE(slopes_are_without_the_drift),
        RULE(a_soak_counts_from_the_first_immersion),
        RULE(the_cell_rests_after_an_absence),
        RULE(a_tare_serves_a_neighbour_for_ten_minutes),
        RULE(a_tare_at_another_depth_serves_nobody),
        RULE(a_tare_taken_over_counts_with_its_age),
        RULE(another_cell_is_refused_whichever_way_it_reads),
        RULE(a_second_trial_that_is_unlike_gives_up),
        RULE(one_trial_that_is_unlike_costs_only_itself),
        RULE(two_divisions_are_no_other_item),
        RULE(without_a_break_trials_may_differ),
        RULE(an_outlier_needs_four_trials),
        RULE(two_outliers_do_not_hide_each_other),
        RULE(both_outliers_are_left_out_by_one_word),
        RULE(a_pair_of_which_one_matters_is_one),
        RULE(ballast_holds_one_and_a_half_times_the_lift),
        RULE(an_overload_that_hovers_is_told_once),
        RULE(item_and_ballast_hang_on_the_scale_together),
        RULE(what_came_to_stand_unseen_did_so_by_the_first_line),
        RULE(what_came_to_stand_hours_ago_stood_by_the_first_reading_held),
        RULE(a_trials_temperature_is_that_of_its_reading_in_the_water),
        RULE(a_typed_reading_is_as_sure_as_its_division),
        RULE(a_mass_is_typed_in_the_unit_of_the_scale),
    };
    return cmocka_run_group_tests_name("rules", tests, NULL, NULL);
}
