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

#include "upthrust/bench.h"

enum { COUNT = 600 };

static double stream[COUNT];
static enum up_verdict verdict[COUNT];
static struct up_screen screen;

static void make_noise(double level, double sd) {
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(rng, 11);
    for (int i = 0; i < COUNT; i++) {
        stream[i] = round(level + gsl_ran_gaussian(rng, sd));
    }
    gsl_rng_free(rng);
}

/* Runs the stream through; every reading must come out once and in order. */
static unsigned judge_all(int bits) {
    struct up_reading reading;
    unsigned out = 0, glitches = 0;
    up_screen_begin(&screen, bits, 1);
    for (int i = 0; i < COUNT; i++) {
        if (up_screen_push(&screen, i, stream[i], (double)NAN, &reading)) {
            assert_true(reading.time_s == out && reading.load == stream[out]);
            verdict[out++] = reading.verdict;
        }
    }
    while (up_screen_flush(&screen, &reading)) {
        assert_true(reading.time_s == out);
        verdict[out++] = reading.verdict;
    }
    assert_int_equal(out, COUNT);
    for (int i = 0; i < COUNT; i++) {
        glitches += verdict[i] != UP_READING_GOOD;
    }
    return glitches;
}

static void plain_noise_passes(void **state) {
    (void)state;
    make_noise(12345, 70);
    assert_int_equal(judge_all(24), 0);
    assert_true(screen.noise_floor > 55 && screen.noise_floor < 85);
}

static void steps_pass(void **state) {
    (void)state;
    make_noise(0, 50);
    for (int i = 100; i < COUNT; i++) {
        stream[i] += i < 300 ? 10000 : -250000;
    }
    stream[300] = 4000; /* caught half-way */
    assert_int_equal(judge_all(24), 0);
}

/* Slipped words as real recordings hold them: 12404 -> -8382382, 5747 -> -8387142 (k = 1 and 2 of
   neighbouring readings about those levels), -33259 -> -4202639. */
static void bit_slips_are_named(void **state) {
    (void)state;
    make_noise(12453, 60);
    stream[200] = -8382382;
    assert_int_equal(judge_all(24), 1);
    assert_int_equal(verdict[200], UP_READING_BIT_SLIP);
    make_noise(5800, 60);
    stream[200] = -8387142;
    assert_int_equal(judge_all(24), 1);
    assert_int_equal(verdict[200], UP_READING_BIT_SLIP);
    make_noise(-33259, 60);
    stream[200] = -4202639;
    assert_int_equal(judge_all(24), 1);
    assert_int_equal(verdict[200], UP_READING_BIT_SLIP);
}

static void a_slip_within_a_step_is_named(void **state) {
    (void)state;
    make_noise(12000, 60);
    for (int i = 300; i < COUNT; i++) {
        stream[i] += 9000;
    }
    stream[302] = -8388608 + 21000 / 2;
    assert_int_equal(judge_all(24), 1);
    assert_int_equal(verdict[302], UP_READING_BIT_SLIP);
}

static void other_wild_words_are_named(void **state) {
    (void)state;
    make_noise(500000, 60);
    stream[50] = 8388607;
    stream[150] = -1;
    stream[250] = 2097151;
    stream[350] = 470000;
    stream[450] = -8388608;
    assert_int_equal(judge_all(24), 5);
    assert_int_equal(verdict[50], UP_READING_SATURATED);
    assert_int_equal(verdict[150], UP_READING_ALL_ONES);
    assert_int_equal(verdict[250], UP_READING_ALL_ONES);
    assert_int_equal(verdict[350], UP_READING_JUMP);
    assert_int_equal(verdict[450], UP_READING_SATURATED);
}

static void three_in_a_row_do_not_hide_each_other(void **state) {
    (void)state;
    make_noise(12453, 60);
    for (int i = 200; i < 203; i++) {
        stream[i] = -8382382;
    }
    assert_int_equal(judge_all(24), 3);
}

static void a_saturated_run_has_no_good_reading(void **state) {
    (void)state;
    make_noise(12453, 60);
    for (int i = 200; i < 400; i++) {
        stream[i] = 8388607;
    }
    assert_int_equal(judge_all(24), 200);
}

static void without_raw_words_only_jumps_are_told(void **state) {
    (void)state;
    make_noise(500, 2);
    stream[100] = -1;
    stream[200] = 8388607;
    assert_int_equal(judge_all(0), 2);
    assert_int_equal(verdict[100], UP_READING_JUMP);
    assert_int_equal(verdict[200], UP_READING_JUMP);
}

static void a_constant_stream_has_the_floor_of_its_division(void **state) {
    (void)state;
    make_noise(500, 0);
    assert_int_equal(judge_all(24), 0);
    assert_true(fabs(screen.noise_floor - 1 / sqrt(12)) < 1e-12);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(plain_noise_passes),
        cmocka_unit_test(steps_pass),
        cmocka_unit_test(bit_slips_are_named),
        cmocka_unit_test(a_slip_within_a_step_is_named),
        cmocka_unit_test(other_wild_words_are_named),
        cmocka_unit_test(three_in_a_row_do_not_hide_each_other),
        cmocka_unit_test(a_saturated_run_has_no_good_reading),
        cmocka_unit_test(without_raw_words_only_jumps_are_told),
        cmocka_unit_test(a_constant_stream_has_the_floor_of_its_division),
    };
    return cmocka_run_group_tests_name("screen", tests, NULL, NULL);
}
