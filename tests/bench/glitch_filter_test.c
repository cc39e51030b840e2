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

#include "bench/glitch_filter.h"
#include "metrology/statistics.h"

enum { COUNT = 600 };

static double stream[COUNT];
static enum up_verdict verdict[COUNT];
static struct up_glitch_filter screen;

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
    up_glitch_filter_begin(&screen, bits, 1);
    for (int i = 0; i < COUNT; i++) {
        if (up_glitch_filter_push(&screen, i, stream[i], (double)NAN, &reading)) {
            assert_true(reading.time_s == out && reading.load == stream[out]);
            verdict[out++] = reading.verdict;
        }
    }
    while (up_glitch_filter_flush(&screen, &reading)) {
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

/* Words of ten bits whose noise is less than a division do stand still. */
static void a_constant_stream_has_the_floor_of_its_division(void **state) {
    (void)state;
    for (int bits = 0; bits <= 10; bits += 10) {
        make_noise(255, 0);
        assert_int_equal(judge_all(bits), 0);
        assert_true(fabs(screen.noise_floor - 1 / sqrt(12)) < 1e-12);
    }
}

/* What consumers do with `back`: the verdicts as they stand at the end of the stream. */
static unsigned stuck_at_the_end(int from, int to) {
    struct up_reading reading;
    unsigned inside = 0, all = 0;
    int out = 0;
    up_glitch_filter_begin(&screen, 24, 1);
    for (int i = 0; i <= COUNT + UP_GLITCH_SPAN; i++) {
        if (!(i < COUNT ? up_glitch_filter_push(&screen, i, stream[i], (double)NAN, &reading)
                        : up_glitch_filter_flush(&screen, &reading))) {
            continue;
        }
        verdict[out] = reading.verdict;
        for (unsigned j = 1; j <= reading.back; j++) {
            assert_int_equal(verdict[out - (int)j], UP_READING_GOOD);
            verdict[out - (int)j] = UP_READING_STUCK;
        }
        out++;
    }
    for (int i = 0; i < COUNT; i++) {
        all += verdict[i] == UP_READING_STUCK;
        inside += verdict[i] == UP_READING_STUCK && i >= from && i < to;
    }
    assert_int_equal(all, inside);
    assert_int_equal(screen.count[UP_READING_STUCK], all);
    assert_int_equal(screen.count[UP_READING_GOOD], COUNT - all);
    return all;
}

static void a_run_of_one_word_is_stuck_from_its_first(void **state) {
    double start_s = 0;
    (void)state;
    for (int length = 2; length <= 200; length++) {
        make_noise(12345, 70);
        for (int i = 300; i < 300 + length; i++) {
            stream[i] = 12360;
        }
        assert_int_equal(stuck_at_the_end(300, 300 + length), length >= 12 ? length : 0);
        assert_true(screen.noise_floor > 55 && screen.noise_floor < 85);
        assert_false(up_glitch_filter_may_be_stuck(&screen, &start_s));
    }
}

static void stuck_from_the_first_word_teaches_no_noise(void **state) {
    (void)state;
    make_noise(12345, 70);
    for (int i = 0; i < 100; i++) {
        stream[i] = 12360;
    }
    assert_int_equal(stuck_at_the_end(0, 100), 100);
    assert_true(screen.noise_floor > 55 && screen.noise_floor < 85);
    make_noise(12345, 0);
    assert_int_equal(stuck_at_the_end(0, COUNT), COUNT);
    assert_true(isnan(screen.noise_floor));
}

/* Neighbours repeat by chance more often the less noise there is: 9 of 100 at three counts. */
static void chance_repeats_are_not_stuck(void **state) {
    static const double sd[] = {1, 3, 10, 70};
    (void)state;
    for (size_t i = 0; i < sizeof sd / sizeof sd[0]; i++) {
        make_noise(12345, sd[i]);
        assert_int_equal(stuck_at_the_end(0, 0), 0);
    }
}

static void a_run_of_dead_words_has_no_good_reading(void **state) {
    static const double dead[] = {-1, 4194303, 2097151, 1048575, 16777215, 8388607, -8388608};
    (void)state;
    for (size_t i = 0; i < sizeof dead / sizeof dead[0]; i++) {
        for (int length = 1; length < 100; length += 3) {
            make_noise(12453, 60);
            for (int j = 200; j < 200 + length; j++) {
                stream[j] = dead[i];
            }
            assert_int_equal(judge_all(24), length);
            assert_int_equal(verdict[200 + length / 2], fabs(dead[i]) >= 8388607 && dead[i] < 1e7
                                                            ? UP_READING_SATURATED
                                                            : UP_READING_ALL_ONES);
        }
    }
}

static void a_level_at_minus_one_is_a_level(void **state) {
    (void)state;
    make_noise(-1, 4);
    assert_int_equal(judge_all(24), 0);
}

static void more_than_the_cell_bears_is_an_overload(void **state) {
    struct up_reading reading;
    unsigned overloads = 0;
    (void)state;
    make_noise(0, 1);
    up_glitch_filter_begin(&screen, 0, 0.001);
    up_glitch_filter_set_limit(&screen, 10);
    for (int i = 0; i < COUNT; i++) {
        double load = 9 + stream[i] / 1000 + (i >= 100 && i < 150 ? 2 : 0) - (i >= 300 ? 22 : 0);
        if (up_glitch_filter_push(&screen, i, load, (double)NAN, &reading)) {
            overloads += reading.verdict == UP_READING_OVERLOAD;
            assert_true(reading.verdict == UP_READING_OVERLOAD || fabs(reading.load) <= 10);
        }
    }
    assert_int_equal(overloads, 50 + COUNT - 300 - 3);
    assert_int_equal(screen.count[UP_READING_OVERLOAD], overloads);
}

/* The quick ways of the screen against plain ones, reading by reading. */
static void the_quick_test_decides_as_the_slow_one(void **state) {
    double difference[UP_GLITCH_MEMORY];
    struct up_reading reading;
    size_t learned = 0;
    double last = (double)NAN, floor = (double)NAN;
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    (void)state;
    gsl_rng_set(rng, 3);
    up_glitch_filter_begin(&screen, 0, 1);
    for (int i = 0; i < 40000; i++) {
        double sd = 1 + 100 * (i / 5000 % 3);
        double load = round(gsl_ran_gaussian(rng, sd) + 1e4 * (i / 700 % 5));
        load += gsl_rng_uniform(rng) < 0.01 ? gsl_ran_gaussian(rng, 1e6) : 0;
        load += gsl_rng_uniform(rng) < 0.01 ? gsl_ran_gaussian(rng, 9 * sd) : 0;
        if (!up_glitch_filter_push(&screen, i, load, (double)NAN, &reading)) {
            continue;
        }
        double span[7], deviation[7];
        size_t held = i < 6 ? (size_t)i + 1 : 7;
        for (size_t j = 0; j < held; j++) {
            span[j] = screen.ring[((size_t)i - j) % UP_GLITCH_RING].load;
        }
        double centre = up_median(span, held);
        for (size_t j = 0; j < held; j++) {
            deviation[j] = fabs(span[j] - centre);
        }
        double scatter = 1.4826 * up_median(deviation, held);
        double limit = 8 * fmax(isnan(floor) ? scatter : fmax(floor, scatter), screen.floor_least);
        bool good = !(fabs(reading.load - centre) > limit);
        assert_int_equal(good, reading.verdict == UP_READING_GOOD);
        if (good) {
            if (!isnan(last)) {
                difference[learned++ % UP_GLITCH_MEMORY] = fabs(reading.load - last);
            }
            last = reading.load;
            if (learned >= 16 && learned % 16 == 0) {
                double copy[UP_GLITCH_MEMORY];
                size_t known = learned < UP_GLITCH_MEMORY ? learned : UP_GLITCH_MEMORY;
                memcpy(copy, difference, known * sizeof copy[0]);
                floor = fmax(screen.floor_least, 1.4826 * up_median(copy, known) / sqrt(2));
            }
        }
        assert_true(floor == screen.noise_floor || (isnan(floor) && isnan(screen.noise_floor)));
    }
    gsl_rng_free(rng);
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
        cmocka_unit_test(a_run_of_one_word_is_stuck_from_its_first),
        cmocka_unit_test(stuck_from_the_first_word_teaches_no_noise),
        cmocka_unit_test(chance_repeats_are_not_stuck),
        cmocka_unit_test(a_run_of_dead_words_has_no_good_reading),
        cmocka_unit_test(a_level_at_minus_one_is_a_level),
        cmocka_unit_test(more_than_the_cell_bears_is_an_overload),
        cmocka_unit_test(the_quick_test_decides_as_the_slow_one),
    };
    return cmocka_run_group_tests_name("screen", tests, NULL, NULL);
}
