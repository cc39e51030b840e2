/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "stream/pace.h"

static struct up_pace pace;
static struct up_pace_event last;
static double device_s, arrival_s;
static gsl_rng *rng;

static void restart(void) {
    up_pace_begin(&pace);
    device_s = arrival_s = 100;
}

static int begin(void **state) {
    (void)state;
    rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(rng, 9);
    restart();
    return 0;
}

static int end(void **state) {
    (void)state;
    gsl_rng_free(rng);
    return 0;
}

enum clocks { BOTH, DEVICE, ARRIVAL };

static void lines(int count, double interval_s, double jitter_s, enum clocks clocks) {
    for (int i = 0; i < count; i++) {
        double step_s = interval_s + gsl_ran_gaussian(rng, jitter_s);
        device_s += step_s;
        arrival_s += step_s;
        up_pace_push(&pace, clocks == ARRIVAL ? (double)NAN : device_s,
                     clocks == DEVICE ? (double)NAN : arrival_s, &last);
    }
}

static uint64_t reported(void) {
    return pace.count[UP_PACE_STALL] + pace.count[UP_PACE_BURST] + pace.count[UP_PACE_RATE];
}

static void a_steady_stream_tells_nothing(void **state) {
    (void)state;
    lines(5000, 0.1, 0.014, BOTH);
    assert_int_equal(reported(), 0);
    assert_true(fabs(pace.settled_s - 0.1) < 0.01);
}

/* Gaps of 0.4 to 0.8 s from the host's scheduling, as recordings show them. */
static void rare_gaps_are_no_change_of_rate(void **state) {
    (void)state;
    for (int i = 0; i < 50; i++) {
        lines(20 + i, 0.1, 0.003, DEVICE);
        lines(2, 0.7, 0, DEVICE);
    }
    assert_int_equal(reported(), 0);
}

static void a_coarse_clock_is_no_change_of_rate(void **state) {
    double true_s = 0;
    (void)state;
    for (int i = 0; i < 5000; i++) {
        true_s += 0.0065 + (i % 130 == 0 ? 0.17 : 0);
        up_pace_push(&pace, floor(true_s / 0.0156) * 0.0156, (double)NAN, &last);
    }
    assert_int_equal(reported(), 0);
}

static void a_stall_of_the_device_is_told_once(void **state) {
    (void)state;
    lines(100, 0.1, 0.002, BOTH);
    device_s += 4;
    arrival_s += 4;
    lines(100, 0.1, 0.002, BOTH);
    assert_int_equal(pace.count[UP_PACE_STALL], 1);
    assert_int_equal(reported(), 1);
    assert_true(pace.first[0].lines_lost && pace.first[0].by_device);
    assert_true(fabs(pace.first[0].interval_s - 4.1) < 0.02);
    assert_true(fabs(pace.first[0].settled_s - 0.1) < 0.01);
}

static void a_slow_stream_is_no_stall(void **state) {
    (void)state;
    lines(200, 5, 0.5, BOTH);
    assert_int_equal(reported(), 0);
}

/* A recorder that slept for 155.9 s and then wrote 593 lines in 0.385 s, as one recording has it.
 */
static void a_backlog_after_a_stall_is_a_burst(void **state) {
    (void)state;
    for (int clocks = 0; clocks < 3; clocks += 2) {
        restart();
        lines(100, 0.1, 0.002, (enum clocks)clocks);
        arrival_s += 155.9;
        for (int i = 0; i < 593; i++) {
            device_s += 0.1;
            arrival_s += 0.385 / 593;
            up_pace_push(&pace, clocks == ARRIVAL ? (double)NAN : device_s, arrival_s, &last);
        }
        lines(300, 0.1, 0.002, (enum clocks)clocks);
        assert_int_equal(pace.count[UP_PACE_STALL], 1);
        assert_int_equal(pace.count[UP_PACE_BURST], 1);
        assert_int_equal(pace.count[UP_PACE_RATE], 0);
        assert_true(pace.first[0].lines_lost == (clocks == ARRIVAL));
        assert_int_equal(pace.first[1].kind, UP_PACE_BURST);
    }
}

/* The same recording once more, its lines stamped by the recorder as they came: about a thousand
   lines never did. Their stamps are worth nothing, so the reading is spoilt. */
static void stamps_of_a_recorder_show_stall_burst_and_loss(void **state) {
    (void)state;
    lines(100, 0.1, 0.002, DEVICE);
    device_s += 155.9;
    for (int i = 0; i < 593; i++) {
        device_s += 0.385 / 593;
        up_pace_push(&pace, device_s, (double)NAN, &last);
    }
    lines(300, 0.1, 0.002, DEVICE);
    assert_int_equal(pace.count[UP_PACE_STALL], 1);
    assert_int_equal(pace.count[UP_PACE_BURST], 1);
    assert_int_equal(pace.count[UP_PACE_RATE], 0);
    assert_false(pace.first[1].by_device);
    assert_true(fabs(pace.lines_lost - (1559 - 593)) < 20);
}

/* Whole seconds, as a time of day has them: ten lines with one stamp. */
static void a_clock_of_whole_seconds_shows_stall_and_rate(void **state) {
    double true_s = 0;
    (void)state;
    for (int i = 0; i < 3000; i++) {
        true_s += i < 2000 ? 0.1 : 0.008;
        true_s += i == 1000 ? 4 : 0;
        up_pace_push(&pace, floor(true_s), (double)NAN, &last);
        if (i == 900) {
            assert_true(fabs(pace.settled_s - 0.1) < 0.02);
            assert_int_equal(reported(), 0);
        }
    }
    assert_int_equal(pace.count[UP_PACE_STALL], 1);
    assert_int_equal(pace.count[UP_PACE_BURST], 0);
    assert_int_equal(pace.count[UP_PACE_RATE], 1);
    assert_true(pace.first[0].lines_lost);
    assert_true(fabs(pace.lines_lost - 40) < 12);
    assert_true(pace.first[1].settled_s > 4 * pace.first[1].interval_s);
}

/* Ticks of a minute: what happens within them is not seen, and no tick is a stall. */
static void a_clock_of_minutes_stalls_at_no_tick(void **state) {
    (void)state;
    for (int i = 0; i < 20000; i++) {
        up_pace_push(&pace, 60 * floor(i * 0.1 / 60), (double)NAN, &last);
    }
    assert_int_equal(reported(), 0);
}

/* A converter that is gone: from 10 lines a second to 124, as one recording has it. */
static void a_sudden_rise_of_the_rate_is_told_once(void **state) {
    (void)state;
    for (int clocks = 0; clocks < 3; clocks++) {
        restart();
        lines(200, 0.1, 0.002, (enum clocks)clocks);
        lines(600, 1 / 124.0, 0.0002, (enum clocks)clocks);
        assert_int_equal(pace.count[UP_PACE_RATE], 1);
        assert_int_equal(reported(), 1);
        assert_true(pace.first[0].settled_s > 0.09 && pace.first[0].interval_s < 0.07);
        lines(200, 0.1, 0.002, (enum clocks)clocks);
        assert_int_equal(pace.count[UP_PACE_RATE], 2);
    }
}

static void a_slow_change_of_the_rate_is_followed(void **state) {
    (void)state;
    for (int i = 0; i < 200; i++) {
        lines(20, 0.1 * (1 + 0.01 * i), 0.001, BOTH);
    }
    assert_int_equal(reported(), 0);
}

/* A port that hands over sixteen lines at a time. */
static void batches_are_no_bursts(void **state) {
    (void)state;
    for (int i = 0; i < 8000; i++) {
        up_pace_push(&pace, (double)NAN, 100 + 0.016 * (i / 16), &last);
    }
    assert_int_equal(reported(), 0);
}

static void a_pause_that_was_meant_is_no_stall(void **state) {
    (void)state;
    lines(100, 0.1, 0.002, BOTH);
    device_s += 60;
    arrival_s += 60;
    up_pace_pause(&pace);
    lines(100, 0.1, 0.002, BOTH);
    assert_int_equal(reported(), 0);
}

static void without_a_clock_nothing_is_told(void **state) {
    (void)state;
    for (int i = 0; i < 100; i++) {
        assert_false(up_pace_push(&pace, (double)NAN, (double)NAN, &last));
    }
    assert_int_equal(reported(), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_steady_stream_tells_nothing, begin, end),
        cmocka_unit_test_setup_teardown(rare_gaps_are_no_change_of_rate, begin, end),
        cmocka_unit_test_setup_teardown(a_coarse_clock_is_no_change_of_rate, begin, end),
        cmocka_unit_test_setup_teardown(a_stall_of_the_device_is_told_once, begin, end),
        cmocka_unit_test_setup_teardown(a_slow_stream_is_no_stall, begin, end),
        cmocka_unit_test_setup_teardown(a_backlog_after_a_stall_is_a_burst, begin, end),
        cmocka_unit_test_setup_teardown(stamps_of_a_recorder_show_stall_burst_and_loss, begin, end),
        cmocka_unit_test_setup_teardown(a_clock_of_whole_seconds_shows_stall_and_rate, begin, end),
        cmocka_unit_test_setup_teardown(a_clock_of_minutes_stalls_at_no_tick, begin, end),
        cmocka_unit_test_setup_teardown(a_sudden_rise_of_the_rate_is_told_once, begin, end),
        cmocka_unit_test_setup_teardown(a_slow_change_of_the_rate_is_followed, begin, end),
        cmocka_unit_test_setup_teardown(batches_are_no_bursts, begin, end),
        cmocka_unit_test_setup_teardown(a_pause_that_was_meant_is_no_stall, begin, end),
        cmocka_unit_test_setup_teardown(without_a_clock_nothing_is_told, begin, end),
    };
    return cmocka_run_group_tests_name("pace", tests, NULL, NULL);
}
