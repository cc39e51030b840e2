/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "bench/listen.h"

static struct up_rig rig;
static struct up_listening *listening;
static struct up_heard_column *column;
static gsl_rng *rng;
static long time_ms;

static int begin(void **state) {
    static const char text[] = "[rig]\nid = x\n[line]\nlayout = fields\nseparator = comma\n"
                               "time_field = 1\ntime_unit = ms\nload_field = 2\nword_bits = 24\n"
                               "[bench]\nread_after_s = 6\nwindow_s = 4\n";
    struct up_failure failure;
    (void)state;
    assert_true(up_rig_parse("x.ini", text, &rig, &failure));
    rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(rng, 12);
    time_ms = 0;
    listening = up_listening_create(&rig, false);
    column = &listening->column[0];
    return 0;
}

static int end(void **state) {
    (void)state;
    up_listening_destroy(listening);
    gsl_rng_free(rng);
    return 0;
}

static void say(double load) {
    char line[64];
    time_ms += 100;
    int length = snprintf(line, sizeof line, "%ld,%.0f\n", time_ms, load);
    up_listening_bytes(listening, line, (size_t)length);
}

static void say_noise(int count, double level, double sd, double slope) {
    for (int i = 0; i < count; i++) {
        say(level + slope * i + gsl_ran_gaussian(rng, sd));
    }
}

static void no_dead_word_becomes_a_plateau(void **state) {
    static const double word[] = {30000, -1, 4194303, 8388607, -8388608};
    (void)state;
    for (size_t i = 0; i < sizeof word / sizeof word[0]; i++) {
        say_noise(300, 10000, 60, 0);
        for (int j = 0; j < 150; j++) {
            say(word[i]);
        }
    }
    say_noise(300, 20000, 60, 0);
    up_listening_end(listening);
    assert_int_equal(column->glitches, 5 * 150);
    assert_true(column->plateaus >= 2);
    for (uint64_t i = 0; i < column->plateaus; i++) {
        double load = column->plateau[i].load;
        assert_true(fabs(load - 10000) < 60 || fabs(load - 20000) < 60);
        assert_true(column->plateau[i].sd > 40 && column->plateau[i].sd < 80);
    }
    double deviation = up_allan_deviation(&column->quiet.allan, 0);
    assert_true(deviation > 56 && deviation < 64);
}

/* The level, known from 1.7 s on, is read at 5.7 to 9.7 s; the words that stick lie there, 200
   counts off. */
static void a_run_is_no_part_of_its_level(void **state) {
    (void)state;
    say_noise(70, 10000, 60, 0);
    for (int i = 0; i < 15; i++) {
        say(10200);
    }
    say_noise(100, 10000, 60, 0);
    up_listening_end(listening);
    assert_int_equal(column->plateaus, 1);
    assert_in_range(column->plateau[0].readings, 24, 27);
    assert_true(fabs(column->plateau[0].load - 10000) < 40);
    assert_int_equal(column->glitches, 15);
    assert_in_range(column->quiet.allan.group[0].pairs, 120, 147);
}

/* White noise of 60 counts: 60 / sqrt(n) for n readings; a drift takes over where it is as much. */
static void statistics_of_white_noise_on_levels(void **state) {
    (void)state;
    for (int i = 0; i < 40; i++) {
        say_noise(300, 10000.0 * (i % 3), 60, 0);
        say_noise(5, 10000.0 * (i % 3) + 5000, 2500, 0); /* a hand */
    }
    say_noise(6000, 50000, 60, 0.05); /* 10 min at 30 counts a minute */
    up_listening_end(listening);
    for (int i = 0; i < 4; i++) {
        double expected = 60 / sqrt(up_allan_factor(i));
        double deviation = up_allan_deviation(&column->quiet.allan, i);
        assert_true(fabs(deviation / expected - 1) < 0.05);
    }
    assert_true(fabs(up_listening_lag1(column)) < 0.1);
    assert_true(fabs(column->quiet.longest_s - 598) < 3);
    assert_true(fabs(60 * column->quiet.slope_per_s - 30) < 2);
    assert_true(fabs(up_listening_clock_hz(listening) - 10) < 1e-9);
}

static void a_long_drift_bounds_the_averaging(void **state) {
    (void)state;
    say_noise(20000, 0, 60, 0.5); /* 0.05 n / sqrt(2) against 60 / sqrt(n): equal near n = 30 */
    up_listening_end(listening);
    int best = up_allan_minimum(&column->quiet.allan, 8);
    assert_true(up_allan_factor(best) >= 20 && up_allan_factor(best) <= 50);
}

static void the_pace_is_counted(void **state) {
    (void)state;
    say_noise(100, 0, 60, 0);
    time_ms += 5000;
    say_noise(100, 0, 60, 0);
    time_ms -= 100000; /* a reset */
    say_noise(100, 0, 60, 0);
    up_listening_end(listening);
    assert_int_equal(listening->pace.count[UP_PACE_STALL], 1);
    assert_int_equal(listening->pace.count[UP_PACE_BACK], 1);
    assert_int_equal(listening->pace.count[UP_PACE_RATE], 0);
    assert_true(fabs(listening->pace.first[0].time_s - 15.1) < 1e-9);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(no_dead_word_becomes_a_plateau, begin, end),
        cmocka_unit_test_setup_teardown(a_run_is_no_part_of_its_level, begin, end),
        cmocka_unit_test_setup_teardown(statistics_of_white_noise_on_levels, begin, end),
        cmocka_unit_test_setup_teardown(a_long_drift_bounds_the_averaging, begin, end),
        cmocka_unit_test_setup_teardown(the_pace_is_counted, begin, end),
    };
    return cmocka_run_group_tests_name("listen", tests, NULL, NULL);
}
