/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which readings of a full weighing may end early, and what becomes of those, on traces drawn by
   hand (hand_bench.h). */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "agree.h"
#include "hand_bench.h"

static const double EMPTY = 100000, COUNTS = 600000; /* the hanger, counts; of a kilogram */

static struct hand_bench bench;
static unsigned shakes;

/* 300 g in water, 900 g dry; a shake frees 20, 8, 3 g, and nothing more. */
static enum up_answer_word hang(struct hand_bench *b, const struct up_ask *ask) {
    static const double gain_kg[] = {0.02, 0.008, 0.003};
    if (ask->action == UP_ACTION_IMMERSE) {
        shakes = 0;
        b->level = EMPTY + 0.3 * COUNTS;
    } else if (ask->action == UP_ACTION_HANG_IN_AIR) {
        b->level = EMPTY + 0.9 * COUNTS;
    } else if (ask->action == UP_ACTION_SHAKE) {
        b->level += shakes < 3 ? gain_kg[shakes] * COUNTS : 0;
        shakes++;
    } else {
        b->level = EMPTY;
    }
    return UP_ANSWER_DONE;
}

static void learn(double bound_g) {
    for (int step = 0; step < UP_QUICK_STEPS; step++) {
        struct up_early_envelope *envelope = &bench.plan.quick.envelope[step];
        envelope->basis = UP_EARLY_MANY;
        bench.plan.quick.watch[step].seen = 4; /* borne out by the first four */
        for (int i = 0; i < UP_EARLY_VALUES; i++) {
            envelope->a_kg[i] = 1e-3;
            envelope->bound[i] = bound_g;
        }
    }
}

static int begin(void **state) {
    (void)state;
    hand_bench_begin(&bench);
    bench.act = hang;
    bench.plan.steady_shakes = true;
    bench.plan.quick.shortens = true;
    bench.plan.quick.lot = 1; /* of its minor readings none goes on to the end by lot */
    learn(0.9);
    return 0;
}

static int end(void **state) {
    (void)state;
    hand_bench_end(&bench);
    return 0;
}

static const struct up_measurement *weigh(void) {
    hand_bench_start(&bench);
    hand_bench_run(&bench);
    return hand_bench_measured(&bench);
}

static unsigned ended(void) {
    const struct up_measurement *measured = weigh();
    unsigned count = 0;
    assert_int_equal(measured->trials, 3);
    for (unsigned i = 0; i < measured->trials; i++) {
        count += measured->trial[i].ended_early;
    }
    return count;
}

static double stuck_air_kg(void) {
    struct up_result result[UP_WATERS_MAX + 1];
    struct up_failure failure;
    unsigned results;
    if (!up_procedure_results(bench.procedure, result, &results, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_false(result->quick.is);
    return result->weighing.stuck_air_kg;
}

/* Four shakes: hung, and after the first two of them. */
static void those_before_the_last_two_end(void **state) {
    (void)state;
    const struct up_measurement *measured = weigh();
    assert_int_equal(measured->trial[0].shakes, 4);
    assert_int_equal(measured->trial[0].ended_early, 0);
    for (unsigned i = 1; i < 3; i++) {
        const struct up_trial *trial = &measured->trial[i];
        assert_true(trial->shakes == 4 && trial->shakes_set);
        assert_int_equal(trial->ended_early, 3);
        assert_true(trial->early_counts == 0 && trial->early_gain_counts == 0);
        assert_close(trial->early_freed_counts, 0.9e-3 * COUNTS, 1e-6);
        assert_close(trial->load_counts, 0.331 * COUNTS, 20);
    }
}

/* One in ten goes on to the end by lot, before others that end early: the slope is that of those
   which did, 20 s after the step. */
static void a_reading_that_ended_early_has_no_slope(void **state) {
    unsigned mixed = 0;
    (void)state;
    for (unsigned long lot = 1; lot <= 12; lot++) {
        bench.plan.quick.lot = lot;
        const struct up_measurement *measured = weigh();
        for (unsigned i = 0; i < measured->trials; i++) {
            mixed += measured->trial[i].ended_early == 1 || measured->trial[i].ended_early == 2;
            assert_close(measured->trial[i].water_age_s, 20, 0.5);
        }
    }
    assert_true(mixed > 0);
}

/* 18 s each. */
static void it_takes_so_much_less(void **state) {
    (void)state;
    double begun_s = bench.now_s;
    weigh();
    double short_s = bench.now_s - begun_s;
    bench.plan.quick.shortens = false;
    begun_s = bench.now_s;
    assert_int_equal(ended(), 0);
    assert_close(bench.now_s - begun_s - short_s, 6 * 18, 3);
}

/* 31 g freed, and 0.9 g more at most in two of three trials; a tenth stays. */
static void the_bound_for_stuck_air_holds_it(void **state) {
    (void)state;
    weigh();
    assert_close(stuck_air_kg(), (0.031 + 0.0009 * 2 / 3) / 9, 3e-6);
    bench.plan.quick.shortens = false;
    weigh();
    assert_close(stuck_air_kg(), 0.031 / 9, 3e-6);
}

/* Of an eighth of a gram and a share of a tenth: 1.125 g, but a gram at most. */
static void a_wide_bound_ends_nothing(void **state) {
    (void)state;
    learn(0.99);
    assert_int_equal(ended(), 6);
    learn(1.01);
    assert_int_equal(ended(), 0);
    bench.rig.stuck_share = 0.2;
    learn(0.49);
    assert_int_equal(ended(), 6);
    learn(0.51);
    assert_int_equal(ended(), 0);
}

/* From 6 to 24 s are 0.6 decades; what hangs are 0.3 kg, after the shakes 0.32 and 0.328. */
static void a_cell_that_creeps_reads_to_the_end(void **state) {
    (void)state;
    bench.calibration.creep_rel_decade = -0.125e-3 / 0.6 / 0.34;
    assert_int_equal(ended(), 6);
    bench.calibration.creep_rel_decade = -0.125e-3 / 0.6 / 0.29;
    assert_int_equal(ended(), 0);
    bench.calibration.creep_rel_decade = 0;
    bench.calibration.u_creep_rel_decade = 0.125e-3 / 0.6 / 0.29 / 2;
    assert_int_equal(ended(), 0);
    bench.calibration.u_creep_rel_decade = (double)NAN; /* not known */
    assert_int_equal(ended(), 0);
}

static void what_was_not_borne_out_ends_nothing(void **state) {
    (void)state;
    for (int step = 0; step < UP_QUICK_STEPS; step++) {
        bench.plan.quick.watch[step].seen = 0;
    }
    /* Of three immersions the first three bear it out, of twelve shakes the first four. */
    assert_int_equal(ended(), 4);
    learn(0.9);
    bench.plan.steady_shakes = false; /* each trial shakes until little comes */
    assert_int_equal(ended(), 0);
}

#define TEST(function) cmocka_unit_test_setup_teardown(function, begin, end)

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(those_before_the_last_two_end),
        TEST(a_reading_that_ended_early_has_no_slope),
        TEST(it_takes_so_much_less),
        TEST(the_bound_for_stuck_air_holds_it),
        TEST(a_wide_bound_ends_nothing),
        TEST(a_cell_that_creeps_reads_to_the_end),
        TEST(what_was_not_borne_out_ends_nothing),
    };
    return cmocka_run_group_tests_name("shorten", tests, NULL, NULL);
}
