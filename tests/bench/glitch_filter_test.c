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

#include "metrology/statistics.h"
#include "stream/glitch_filter.h"

enum { COUNT = 600 };

static double stream[COUNT];
static enum up_verdict verdict[COUNT];
static struct up_glitch_filter filter;

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
    up_glitch_filter_begin(&filter, bits, 1);
    for (int i = 0; i < COUNT; i++) {
        if (up_glitch_filter_push(&filter, 0.1 * i, stream[i], (double)NAN, &reading)) {
            assert_true(reading.time_s == 0.1 * out && reading.load == stream[out]);
            verdict[out++] = reading.verdict;
        }
    }
    while (up_glitch_filter_flush(&filter, &reading)) {
        assert_true(reading.time_s == 0.1 * out);
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
    assert_true(filter.noise.floor > 55 && filter.noise.floor < 85);
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
        assert_true(fabs(filter.noise.floor - 1 / sqrt(12)) < 1e-12);
    }
}

/* What consumers do with `back`: the verdicts as they stand at the end of the stream. */
static unsigned stuck_at_the_end(int from, int to) {
    struct up_reading reading;
    unsigned inside = 0, all = 0;
    int out = 0;
    up_glitch_filter_begin(&filter, 24, 1);
    for (int i = 0; i <= COUNT + UP_GLITCH_SPAN; i++) {
        if (!(i < COUNT ? up_glitch_filter_push(&filter, 0.1 * i, stream[i], (double)NAN, &reading)
                        : up_glitch_filter_flush(&filter, &reading))) {
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
    assert_int_equal(filter.count[UP_READING_STUCK], all);
    assert_int_equal(filter.count[UP_READING_GOOD], COUNT - all);
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
        assert_true(filter.noise.floor > 50 && filter.noise.floor < 90);
        assert_false(up_glitch_filter_may_be_stuck(&filter, &start_s));
    }
}

static void stuck_from_the_first_word_teaches_no_noise(void **state) {
    (void)state;
    make_noise(12345, 70);
    for (int i = 0; i < 100; i++) {
        stream[i] = 12360;
    }
    assert_int_equal(stuck_at_the_end(0, 100), 100);
    assert_true(filter.noise.floor > 55 && filter.noise.floor < 85);
    make_noise(12345, 0);
    assert_int_equal(stuck_at_the_end(0, COUNT), COUNT);
    assert_true(isnan(filter.noise.floor));
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
    up_glitch_filter_begin(&filter, 0, 0.001);
    up_glitch_filter_set_limit(&filter, 10);
    for (int i = 0; i < COUNT; i++) {
        double load = 9 + stream[i] / 1000 + (i >= 100 && i < 150 ? 2 : 0) - (i >= 300 ? 22 : 0);
        if (up_glitch_filter_push(&filter, i, load, (double)NAN, &reading)) {
            overloads += reading.verdict == UP_READING_OVERLOAD;
            assert_true(reading.verdict == UP_READING_OVERLOAD || fabs(reading.load) <= 10);
        }
    }
    assert_int_equal(overloads, 50 + COUNT - 300 - 3);
    assert_int_equal(filter.count[UP_READING_OVERLOAD], overloads);
}

/* The quick way of the filter against a plain one, reading by reading. */
static void the_quick_test_decides_as_the_slow_one(void **state) {
    struct up_reading reading;
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    (void)state;
    gsl_rng_set(rng, 3);
    up_glitch_filter_begin(&filter, 0, 1);
    for (int i = 0; i < 40000; i++) {
        double sd = 10 + 100 * (i / 5000 % 3);
        double load = round(gsl_ran_gaussian(rng, sd) + 1e4 * (i / 700 % 5));
        load += gsl_rng_uniform(rng) < 0.01 ? gsl_ran_gaussian(rng, 1e6) : 0;
        load += gsl_rng_uniform(rng) < 0.01 ? gsl_ran_gaussian(rng, 9 * sd) : 0;
        double floor = filter.noise.floor;
        if (!up_glitch_filter_push(&filter, 0.1 * i, load, (double)NAN, &reading)) {
            continue;
        }
        double span[7], deviation[7];
        size_t held = filter.pushed < 7 ? filter.pushed : 7;
        for (size_t j = 0; j < held; j++) {
            span[j] = filter.ring[(filter.pushed - 1 - j) % UP_GLITCH_RING].load;
        }
        double centre = up_median(span, held);
        for (size_t j = 0; j < held; j++) {
            deviation[j] = fabs(span[j] - centre);
        }
        double scatter = 1.4826 * up_median(deviation, held);
        double limit =
            8 * fmax(isnan(floor) ? scatter : fmax(floor, scatter), filter.noise.floor_least);
        bool good = !(fabs(reading.load - centre) > limit);
        assert_int_equal(good, reading.verdict == UP_READING_GOOD);
    }
    gsl_rng_free(rng);
}

/* ---- the noise floor ---- */

/* What the filter makes of so many seconds more, from from_s on. */
static double floor_after(double from_s, double seconds, double rate_hz, double sd, double swing) {
    struct up_reading reading;
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(rng, 8);
    for (int i = 0; i < seconds * rate_hz; i++) {
        double time_s = from_s + i / rate_hz;
        double load = gsl_ran_gaussian(rng, sd) + swing * sin(6.2832 * 0.93 * time_s);
        up_glitch_filter_push(&filter, time_s, load, (double)NAN, &reading);
    }
    gsl_rng_free(rng);
    return filter.noise.floor;
}

/* A load that is hung is read after 16 s at the earliest: by then the noise is that of this load,
   whatever the rate. */
static void the_memory_of_the_noise_is_seconds(void **state) {
    static const double rate_hz[] = {1, 5, 8.85, 10, 80, 1000};
    (void)state;
    for (size_t i = 0; i < sizeof rate_hz / sizeof rate_hz[0]; i++) {
        up_glitch_filter_begin(&filter, 0, 1);
        double floor = floor_after(0, 300, rate_hz[i], 60, 0);
        assert_true(floor > 40 && floor < 80);
        floor = floor_after(300, 24, rate_hz[i], 600, 0);
        assert_true(floor > 350 && floor < 800);
    }
}

/* Neighbours of a fast stream hardly differ, though the load swings. */
static void a_swing_counts_at_any_rate(void **state) {
    (void)state;
    for (double rate_hz = 8.85; rate_hz < 1000; rate_hz *= 3) {
        up_glitch_filter_begin(&filter, 0, 1);
        double floor = floor_after(0, 30, rate_hz, 10, 1000);
        assert_true(floor > 354 && floor < 1000); /* its sd is 707, twice the floor may settle */
    }
}

/* ---- repeated words ---- */

static uint64_t judged_good(const double *word, int lines, double rate_hz, double *floor_early) {
    struct up_reading reading;
    uint64_t good = 0;
    up_glitch_filter_begin(&filter, 24, 1);
    for (int i = 0; i < lines; i++) {
        bool out = up_glitch_filter_push(&filter, i / rate_hz, word[i], (double)NAN, &reading);
        good += out && reading.verdict == UP_READING_GOOD;
        if (i == lines / 4) {
            *floor_early = filter.noise.floor;
        }
    }
    return good - filter.count[UP_READING_STUCK];
}

enum { LINES = 60000 };

/* Ten conversions a second, noise of 60: printed 1 to 140 times each. */
static void a_conversion_counts_once_however_often_it_is_printed(void **state) {
    static const double times[] = {1, 1.5, 2, 2.5, 3, 3.3, 4.85, 10, 33, 140};
    static double word[LINES];
    (void)state;
    for (size_t i = 0; i < sizeof times / sizeof times[0]; i++) {
        gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
        double due = 0, now = 0, floor_early = 0;
        int lines = (int)fmin(LINES, 400 * times[i]);
        unsigned conversions = 0;
        gsl_rng_set(rng, 21);
        for (int j = 0; j < lines; j++) {
            if (due < 1) {
                now = 12345 + round(gsl_ran_gaussian(rng, 60));
                due += times[i];
                conversions++;
            }
            word[j] = now;
            due--;
        }
        gsl_rng_free(rng);
        uint64_t good = judged_good(word, lines, 10 * times[i], &floor_early);
        /* what comes before it is known, 16 conversions at most, may count as lines do */
        unsigned early = times[i] > 1 ? 16 * (unsigned)times[i] : 0;
        assert_in_range(good, conversions - 16 - 3, conversions + early);
        assert_true(filter.noise.floor > 45 && filter.noise.floor < 75);
        assert_true(floor_early > 40 && floor_early < 80);
        assert_true(fabs(filter.repeats.per_value / times[i] - 1) < 0.1);
        assert_true((double)filter.count[UP_READING_STUCK] <= times[i]);
    }
}

/* A display that stands still shows one value all the time: that is no repetition, and what it
   learned while the load moved does not make its words stuck. */
static void a_quiet_display_repeats_nothing(void **state) {
    struct up_reading reading;
    unsigned good = 0;
    (void)state;
    up_glitch_filter_begin(&filter, 0, 0.005);
    for (int i = 0; i < 2000; i++) {
        double load = i < 1000 ? -1.64 : i < 1020 ? -1.64 + 0.1 * (i - 1000) : 0.36;
        load += i % 97 < 7 ? 0.005 : 0;
        good += up_glitch_filter_push(&filter, 0.1 * i, load, (double)NAN, &reading) &&
                reading.verdict == UP_READING_GOOD;
    }
    assert_int_equal(good, 2000 - 3);
    assert_true(filter.repeats.per_value == 1);
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
        cmocka_unit_test(the_memory_of_the_noise_is_seconds),
        cmocka_unit_test(a_swing_counts_at_any_rate),
        cmocka_unit_test(a_conversion_counts_once_however_often_it_is_printed),
        cmocka_unit_test(a_quiet_display_repeats_nothing),
    };
    return cmocka_run_group_tests_name("filter", tests, NULL, NULL);
}
