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

#include "real_cell.h"
#include "stream/listen.h"

static struct up_rig rig;
static struct up_listening *listening;
static struct up_heard_column *column;
static gsl_rng *rng;
static long time_ms;

#define CLOCK_AND_COUNTS                                                                           \
    "[rig]\nid = x\n[line]\nlayout = fields\nseparator = comma\ntime_field = 1\n"                  \
    "time_unit = ms\nload_field = 2\nword_bits = 24\n"

static void listen_with(const char *text) {
    struct up_failure failure;
    if (!up_rig_parse("x.ini", text, &rig, &failure)) {
        fail_msg("%s", failure.text);
    }
    time_ms = 0;
    listening = up_listening_create(&rig, false);
    column = &listening->column[0];
}

static int begin(void **state) {
    (void)state;
    rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(rng, 12);
    listen_with(CLOCK_AND_COUNTS "[bench]\nread_after_s = 6\nwindow_s = 4\n");
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

/* The level is read at 4 to 8 s; the last ten are words that stick, 200 counts off. */
static void a_run_is_no_part_of_its_level(void **state) {
    (void)state;
    say_noise(70, 10000, 60, 0);
    for (int i = 0; i < 15; i++) {
        say(10200);
    }
    say_noise(100, 10000, 60, 0);
    up_listening_end(listening);
    assert_int_equal(column->plateaus, 1);
    assert_in_range(column->plateau[0].readings, 29, 31);
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

/* ---- streams that look as recordings of real cells do ---- */

static void say_cell(struct real_cell *cell, double seconds) {
    double end_s = cell->now_s + seconds;
    while (cell->now_s < end_s) {
        char line[64];
        long word = real_cell_word(cell);
        int length = snprintf(line, sizeof line, "%.0f,%ld\n", 1e3 * cell->now_s, word);
        up_listening_bytes(listening, line, (size_t)length);
    }
}

/* Eight times 2.28 kg, hung for two minutes. Returns the loaded plateaus that were found. */
static int hang_eight_times(struct real_cell *cell) {
    int found = 0;
    up_listening_destroy(listening);
    listen_with(CLOCK_AND_COUNTS);
    say_cell(cell, 60);
    for (int i = 0; i < 8; i++) {
        real_cell_hang(cell, 2280);
        say_cell(cell, 120);
        real_cell_hang(cell, 0);
        say_cell(cell, 60);
    }
    up_listening_end(listening);
    gsl_rng_free(cell->rng);
    for (uint64_t i = 0; i < column->plateaus; i++) {
        double load_g = (column->plateau[i].load + 50000) / cell->counts_per_g;
        found += fabs(load_g - 2280) < 40;
        assert_true(fabs(load_g - 2280) < 40 || fabs(load_g) < 20);
    }
    return found;
}

/* As a calibration reads them: 20 s after they were hung, or later where they swing. */
static void hung_masses_that_swing_and_creep_are_plateaus(void **state) {
    (void)state;
    for (int i = 0; i < 6; i++) {
        struct real_cell cell = real_cell_begin(i / 2, 40 + (unsigned long)i);
        if (i % 2 == 1) { /* creep alone */
            cell.swing_g = 0;
            cell.creep_g_decade = i == 3 ? -11 : 11;
        }
        assert_int_equal(hang_eight_times(&cell), 8);
        assert_int_equal(column->plateaus, 17);
        assert_true(column->glitches <= 3); /* hands */
        for (uint64_t j = 1; j < column->plateaus; j++) {
            const struct up_plateau *plateau = &column->plateau[j];
            double hung_s = 60 + 90.0 * (double)(j - 1) + (j % 2 == 0 ? 30 : 0);
            assert_true(plateau->step_s > hung_s && plateau->step_s < hung_s + 2);
        }
    }
}

/* The noise is known over seconds, so that a slow stream reads them too; a board that prints each
   conversion three or four times gives as many readings as it converts. */
static void at_any_rate_and_however_often_printed(void **state) {
    static const struct {
        double rate_hz, lines_per_value;
        int readings;
    } rows[] = {{1, 1, 8}, {4, 1, 32}, {8.85, 3.3, 71}, {10, 2, 80}, {80, 1, 640}, {80, 5, 640}};
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        for (int which = 0; which < 3; which++) {
            struct real_cell cell = real_cell_begin(which, 60 + (unsigned long)which);
            cell.rate_hz = rows[i].rate_hz;
            cell.lines_per_value = rows[i].lines_per_value;
            assert_in_range(hang_eight_times(&cell), 7, 8);
            double per_value = column->filter.repeats.per_value;
            assert_true(fabs(per_value / rows[i].lines_per_value - 1) < 0.1);
            for (uint64_t j = 0; j < column->plateaus; j++) {
                assert_in_range(column->plateau[j].readings, rows[i].readings - 3,
                                rows[i].readings + 3);
            }
        }
    }
}

/* ---- a converter that is gone; a recorder that slept ---- */

static void say_stamped(double at_s, double load, const char *unit) {
    char line[64];
    long whole = (long)at_s;
    int length = snprintf(line, sizeof line, "%02ld:%02ld:%02ld.%06.0f,%.2f%s\n", whole / 3600,
                          whole / 60 % 60, whole % 60, 1e6 * (at_s - (double)whole), load, unit);
    up_listening_bytes(listening, line, (size_t)length);
}

#define STAMPED_POUNDS                                                                             \
    "[rig]\nid = x\n[line]\nlayout = fields\nseparator = comma\ntime_field = 1\n"                  \
    "time_unit = hh:mm:ss\nload_field = 2\nload_unit = lb\n[sensor]\ndivision_counts = 0.0045\n"

/* As a recording has it: 10.24 lines a second, then 124 with one word, of which neither rig file
   nor unit says that it is the largest one. */
static void a_saturated_converter_needs_no_capacity(void **state) {
    double now_s = 15 * 3600 + 50 * 60;
    (void)state;
    up_listening_destroy(listening);
    listen_with(STAMPED_POUNDS);
    for (int i = 0; i < 600; i++) {
        say_stamped(now_s += 1 / 10.24, 0.02 + gsl_ran_gaussian(rng, 0.015), "");
    }
    for (int i = 0; i < 3000; i++) {
        say_stamped(now_s += 1 / 124.0, 800.32, " lb");
    }
    for (int i = 0; i < 600; i++) {
        say_stamped(now_s += 1 / 10.24, 0.02 + gsl_ran_gaussian(rng, 0.015), "");
    }
    up_listening_end(listening);
    assert_int_equal(column->filter.count[UP_READING_SATURATED], 3000);
    assert_int_equal(column->glitches, 3000);
    assert_int_equal(column->glitches_kept, 1);
    assert_int_equal(column->glitch[0].readings, 3000);
    assert_true(fabs(column->glitch[0].time_s - (57000 + 600 / 10.24 + 1 / 124.0)) < 0.01);
    for (uint64_t i = 0; i < column->plateaus; i++) {
        assert_true(fabs(column->plateau[i].load) < 0.1);
    }
}

/* Nor is it saturated where only the rate rises, or a display stands still at its old rate. */
static void what_is_not_saturated(void **state) {
    double now_s = 15 * 3600;
    (void)state;
    up_listening_destroy(listening);
    listen_with(STAMPED_POUNDS);
    for (int i = 0; i < 3000; i++) {
        double load = i < 300 ? 0.02 : i < 1200 ? 5 : 5 + gsl_ran_gaussian(rng, 0.02);
        say_stamped(now_s += i < 1200 ? 0.1 : 0.01, load, "");
    }
    for (int i = 0; i < 3000; i++) { /* a display that goes on moving by a division */
        say_stamped(now_s += 0.002, 5 + 0.01 * (i / 11 % 2), "");
    }
    up_listening_end(listening);
    assert_int_equal(listening->pace.count[UP_PACE_RATE], 2);
    assert_int_equal(column->filter.count[UP_READING_SATURATED], 0);
}

static void a_recorder_that_slept_shows_by_its_stamps(void **state) {
    double now_s = 15 * 3600;
    (void)state;
    up_listening_destroy(listening);
    listen_with(STAMPED_POUNDS);
    for (int i = 0; i < 1200; i++) {
        now_s += i < 300 || i >= 893 ? 0.1 : 0.385 / 593;
        now_s += i == 300 ? 155.9 : 0;
        say_stamped(now_s, gsl_ran_gaussian(rng, 0.015), "");
    }
    up_listening_end(listening);
    assert_int_equal(listening->pace.count[UP_PACE_STALL], 1);
    assert_int_equal(listening->pace.count[UP_PACE_BURST], 1);
    assert_true(fabs(listening->pace.lines_lost - 966) < 30);
}

static void glitches_of_a_run_stand_as_one(void **state) {
    (void)state;
    say_noise(300, 10000, 60, 0);
    for (int i = 0; i < 500; i++) {
        say(10020);
    }
    say_noise(50, 10000, 60, 0);
    say(-8000000);
    say_noise(300, 10000, 60, 0);
    up_listening_end(listening);
    assert_int_equal(column->glitches, 501);
    assert_int_equal(column->glitches_kept, 2);
    assert_int_equal(column->glitch[0].verdict, UP_READING_STUCK);
    assert_int_equal(column->glitch[0].readings, 500);
    assert_true(fabs(column->glitch[0].time_s - 30.1) < 1e-9);
    assert_true(column->glitch[0].load == 10020);
    assert_int_equal(column->glitch[1].verdict, UP_READING_JUMP);
    assert_int_equal(column->glitch[1].readings, 1);
}

/* The division bounds what a constant reading can say. */
static void a_constant_reading_is_as_sure_as_its_division(void **state) {
    (void)state;
    up_listening_destroy(listening);
    listen_with("[rig]\nid = x\n[line]\nlayout = bare\nload_unit = kg\nrate_hz = 10\n[sensor]\n"
                "division_counts = 0.005\n");
    for (int i = 0; i < 400; i++) {
        up_listening_bytes(listening, "0.360 kg\n", 9);
    }
    up_listening_end(listening);
    assert_int_equal(column->plateaus, 1);
    assert_true(fabs(column->plateau[0].u_load - 0.005 / sqrt(12)) < 1e-9);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(no_dead_word_becomes_a_plateau, begin, end),
        cmocka_unit_test_setup_teardown(a_run_is_no_part_of_its_level, begin, end),
        cmocka_unit_test_setup_teardown(statistics_of_white_noise_on_levels, begin, end),
        cmocka_unit_test_setup_teardown(a_long_drift_bounds_the_averaging, begin, end),
        cmocka_unit_test_setup_teardown(the_pace_is_counted, begin, end),
        cmocka_unit_test_setup_teardown(hung_masses_that_swing_and_creep_are_plateaus, begin, end),
        cmocka_unit_test_setup_teardown(at_any_rate_and_however_often_printed, begin, end),
        cmocka_unit_test_setup_teardown(a_saturated_converter_needs_no_capacity, begin, end),
        cmocka_unit_test_setup_teardown(what_is_not_saturated, begin, end),
        cmocka_unit_test_setup_teardown(a_recorder_that_slept_shows_by_its_stamps, begin, end),
        cmocka_unit_test_setup_teardown(glitches_of_a_run_stand_as_one, begin, end),
        cmocka_unit_test_setup_teardown(a_constant_reading_is_as_sure_as_its_division, begin, end),
    };
    return cmocka_run_group_tests_name("listen", tests, NULL, NULL);
}
