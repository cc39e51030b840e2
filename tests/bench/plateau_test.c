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

#include "stream/finder.h"

enum { COUNT = 1000 };

static struct up_reading reading[COUNT];
static gsl_rng *rng;
static const struct up_rig rig = {
    .window_s = 4, .read_after_s = 6, .patience_s = 60, .division_counts = 1};

static int begin(void **state) {
    (void)state;
    rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(rng, 5);
    return 0;
}

static int end(void **state) {
    (void)state;
    gsl_rng_free(rng);
    return 0;
}

static void make(double level, double sd, double slope_per_s) {
    for (int i = 0; i < COUNT; i++) {
        reading[i] = (struct up_reading){.time_s = 0.1 * i, .temp_c = 21};
        reading[i].load = level + slope_per_s * 0.1 * i + gsl_ran_gaussian(rng, sd);
    }
}

static void quiet_is_settled(void **state) {
    struct up_plateau plateau;
    (void)state;
    make(5000, 50, 0);
    assert_true(up_plateau_judge(reading, 80, 50, 0, &plateau));
    assert_true(fabs(plateau.load - 5000) < 4 * 50 / sqrt(80));
    assert_true(fabs(plateau.u_load - 50 / sqrt(80)) < 3);
    assert_int_equal(plateau.readings, 80);
    assert_true(plateau.temp_c == 21);
}

static void slope_sway_and_too_few_are_not(void **state) {
    struct up_plateau plateau;
    (void)state;
    make(5000, 50, 30);
    assert_false(up_plateau_judge(reading, 80, 50, 0, &plateau));
    assert_true(up_plateau_judge(reading, 80, 50, 250, &plateau)); /* a creep that is allowed for */
    make(5000, 50, 0);
    for (int i = 0; i < 80; i++) {
        reading[i].load += 300 * sin(0.1 * i * 2 * 3.14159 / 1.3);
    }
    assert_false(up_plateau_judge(reading, 80, 50, 0, &plateau));
    make(5000, 50, 0);
    assert_false(up_plateau_judge(reading, 4, 50, 0, &plateau));
    assert_false(up_plateau_judge(reading, 0, 50, 0, &plateau));
}

static void glitches_are_never_averaged_in(void **state) {
    struct up_plateau plateau;
    (void)state;
    make(5000, 50, 0);
    reading[20].load = -8e6;
    reading[20].verdict = UP_READING_BIT_SLIP;
    assert_true(up_plateau_judge(reading, 80, 50, 0, &plateau));
    assert_int_equal(plateau.glitches, 1);
    assert_int_equal(plateau.readings, 79);
    assert_true(fabs(plateau.load - 5000) < 30);
}

/* A first-order autoregressive series of lag-1 r: the mean's variance is (1 + r) / (1 - r) times
   that of white noise (Box and Jenkins; from memory). Checked on 400 windows. */
static void uncertainty_allows_for_correlation(void **state) {
    const double r = 0.5, sd = 50;
    double sum = 0, squares = 0, stated = 0;
    (void)state;
    for (int n = 0; n < 400; n++) {
        struct up_plateau plateau;
        double last = gsl_ran_gaussian(rng, sd);
        for (int i = 0; i < 200; i++) {
            last = r * last + gsl_ran_gaussian(rng, sd * sqrt(1 - r * r));
            reading[i] =
                (struct up_reading){.time_s = 0.1 * i, .load = last, .temp_c = (double)NAN};
        }
        up_plateau_judge(reading, 200, sd, 0, &plateau);
        sum += plateau.load;
        squares += plateau.load * plateau.load;
        stated += plateau.u_load;
    }
    double seen = sqrt(squares / 400 - sum / 400 * sum / 400);
    assert_true(fabs(stated / 400 / seen - 1) < 0.15);
}

/* A swing of 0.93 Hz, as recorded cells show it, correlates the readings, and hardly moves the mean
   of eight seconds; where the noise itself is slow the parts show no less than there is. */
static void a_swing_hardly_moves_a_mean(void **state) {
    (void)state;
    for (int swings = 0; swings < 2; swings++) {
        double squares = 0, parts = 0, stated = 0, last = 0;
        for (int n = 0; n < 400; n++) {
            struct up_plateau plateau;
            double phase = gsl_ran_flat(rng, 0, 2 * 3.14159265);
            for (int i = 0; i < 80; i++) {
                last = 0.5 * last + gsl_ran_gaussian(rng, 5);
                double swing = swings ? 50 * sin(2 * 3.14159265 * 0.093 * i + phase) : 0;
                reading[i] = (struct up_reading){.time_s = 0.1 * i, .load = last + swing};
            }
            up_plateau_judge(reading, 80, 50, 0, &plateau);
            squares += plateau.load * plateau.load;
            parts += plateau.u_parts * plateau.u_parts;
            stated += plateau.u_load * plateau.u_load;
            assert_true(plateau.u_parts <= plateau.u_load);
        }
        assert_true(parts > 0.5 * squares);
        assert_true(swings ? stated > 9 * parts : stated < 2 * parts);
    }
}

static void finder_reads_each_level_once(void **state) {
    static const double level[] = {0, 10000, 20000, 9990, 50};
    struct up_quiet quiet;
    up_quiet_begin(&quiet);
    struct up_finder *finder = up_finder_create(&rig, &quiet);
    struct up_plateau plateau[8];
    int found = 0;
    (void)state;
    make(0, 60, 0);
    for (int i = 0; i < COUNT; i++) {
        reading[i].load += level[i / 200];
        if (i % 200 < 8 && i > 100) { /* handling */
            reading[i].load += gsl_ran_gaussian(rng, 4000);
        }
        found += up_finder_push(finder, &reading[i], 60, &plateau[found]);
    }
    found += up_finder_end(finder, 60, &plateau[found]);
    assert_int_equal(found, 5);
    for (int i = 0; i < 5; i++) {
        assert_true(fabs(plateau[i].load - level[i]) < 50);
        double middle_s = (plateau[i].start_s + plateau[i].end_s) / 2;
        assert_true(middle_s > 20 * i + 4.5 && middle_s < 20 * i + 9);
    }
    up_finder_destroy(finder);
}

/* A display that changes by a division in the middle of the window stands as still as it can. */
static void a_step_of_one_division_is_no_unrest(void **state) {
    static const struct up_rig display = {
        .window_s = 4, .read_after_s = 6, .patience_s = 60, .division_counts = 0.005};
    struct up_quiet quiet;
    struct up_plateau plateau;
    int found = 0;
    (void)state;
    for (int steps = 1; steps < 3; steps++) {
        struct up_finder *finder = up_finder_create(&display, &quiet);
        up_quiet_begin(&quiet);
        for (int i = 0; i < 200; i++) {
            struct up_reading one = {.time_s = 0.1 * i,
                                     .load = 0.36 + (i < 60 ? 0 : 0.005 * steps)};
            found += up_finder_push(finder, &one, 0.005 / sqrt(12), &plateau);
        }
        assert_int_equal(found, steps);
        assert_true(steps == 1 ? plateau.late_s == 0 : plateau.late_s > 0);
        up_finder_destroy(finder);
    }
}

static void finder_keeps_memory_bounded_and_still_reads(void **state) {
    struct up_quiet quiet;
    up_quiet_begin(&quiet);
    struct up_finder *finder = up_finder_create(&rig, &quiet);
    struct up_plateau plateau;
    int found = 0;
    (void)state;
    for (int i = 0; i < 400000; i++) {
        struct up_reading one = {.time_s = 0.1 * i, .load = gsl_ran_gaussian(rng, 60)};
        found += up_finder_push(finder, &one, 60, &plateau);
    }
    assert_false(up_finder_end(finder, 60, &plateau));
    assert_int_equal(found, 1);
    assert_true(plateau.end_s < 20);
    assert_in_range(quiet.allan.group[0].pairs, 399900, 400000);
    up_finder_destroy(finder);
}

/* The device's own word can forbid a reading, never make one. */
static void the_device_has_one_vote(void **state) {
    struct up_reading seen[40];
    struct up_plateau plateau;
    (void)state;
    for (int i = 0; i < 40; i++) {
        seen[i] = (struct up_reading){
            .time_s = 0.1 * i, .load = 1000 + i % 2, .temp_c = 20, .unstable = i < 20};
    }
    assert_true(up_plateau_judge(seen, 40, 1, 0, &plateau));
    assert_int_equal(plateau.unstable, 20);
    seen[20].unstable = true;
    assert_false(up_plateau_judge(seen, 40, 1, 0, &plateau));
    for (int i = 0; i < 40; i++) {
        seen[i].unstable = false;
        seen[i].load = 1000 + 10 * i;
    }
    assert_false(up_plateau_judge(seen, 40, 1, 0, &plateau));
}

static void a_mark_belongs_to_the_latest_reading(void **state) {
    struct up_glitch_filter screen;
    struct up_reading judged;
    int unstable = 0, number = 0;
    (void)state;
    up_glitch_filter_begin(&screen, 0, 1);
    for (int i = 0; i < 30; i++) {
        bool out = up_glitch_filter_push(&screen, i, 5, 20, &judged);
        if (i == 17) {
            up_glitch_filter_mark_unstable(&screen);
        }
        if (out && judged.unstable) {
            unstable++;
            number = (int)judged.time_s;
        }
    }
    assert_int_equal(unstable, 1);
    assert_int_equal(number, 17);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_device_has_one_vote),
        cmocka_unit_test(a_mark_belongs_to_the_latest_reading),
        cmocka_unit_test(quiet_is_settled),
        cmocka_unit_test(slope_sway_and_too_few_are_not),
        cmocka_unit_test(glitches_are_never_averaged_in),
        cmocka_unit_test(uncertainty_allows_for_correlation),
        cmocka_unit_test(a_swing_hardly_moves_a_mean),
        cmocka_unit_test(finder_reads_each_level_once),
        cmocka_unit_test(a_step_of_one_division_is_no_unrest),
        cmocka_unit_test(finder_keeps_memory_bounded_and_still_reads),
    };
    return cmocka_run_group_tests_name("plateau", tests, begin, end);
}
