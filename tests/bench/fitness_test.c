/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is said of a stream, against what its window means in fact do. */
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

#include "bench/fitness.h"

#define HEAD "[rig]\nid = x\n"
#define WIRE                                                                                       \
    "[line]\nlayout = fields\nseparator = comma\ntime_field = 1\ntime_unit = ms\nload_field = 2\n" \
    "word_bits = 24\n[bench]\nread_after_s = 6\nwindow_s = 4\n"

struct stream {
    struct up_rig rig;
    struct up_listening *listening;
    gsl_rng *rng;
    long time_ms;
    struct up_fitness fitness;
    struct up_findings findings;
};

static void begin(struct stream *stream, const char *text) {
    struct up_failure failure;
    memset(stream, 0, sizeof *stream);
    assert_true(up_rig_parse("x.ini", text, &stream->rig, &failure));
    stream->listening = up_listening_create(&stream->rig, false);
    stream->rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(stream->rng, 7);
}

static void end(struct stream *stream) {
    up_listening_destroy(stream->listening);
    gsl_rng_free(stream->rng);
}

static void say(struct stream *stream, double load) {
    char line[64];
    stream->time_ms += 100;
    int length = snprintf(line, sizeof line, "%ld,%.0f\n", stream->time_ms, load);
    up_listening_bytes(stream->listening, line, (size_t)length);
}

/* First-order autoregressive noise: each reading resembles the one before by `lag1`. Returns the
   scatter of the means of whole windows of forty. */
static double say_noise(struct stream *stream, int windows, double sd, double lag1) {
    double load = 0, sum = 0, squares = 0;
    for (int i = 0; i < windows; i++) {
        double mean = 0;
        for (int j = 0; j < 40; j++) {
            load = lag1 * load + gsl_ran_gaussian(stream->rng, sd * sqrt(1 - lag1 * lag1));
            say(stream, 50000 + load);
            mean += load / 40;
        }
        sum += mean;
        squares += mean * mean;
    }
    sum /= windows;
    return sqrt(squares / windows - sum * sum);
}

static void judge(struct stream *stream, double counts_per_kg) {
    up_listening_end(stream->listening);
    up_fitness_of_stream(stream->listening, counts_per_kg, (double)NAN, &stream->fitness,
                         &stream->findings);
}

static const struct up_finding *finding(const struct stream *stream, const char *words) {
    for (unsigned i = 0; i < stream->findings.count; i++) {
        if (strstr(stream->findings.list[i].text, words) != NULL) {
            return &stream->findings.list[i];
        }
    }
    return NULL;
}

/* The scatter of 1000 windows is known to 2.3 %; that of half as long groups, to as much again, and
   readings that resemble their neighbours gain a little less than independent ones. */
static void the_uncertainty_is_what_window_means_scatter(void **state) {
    static const double lag1[] = {0, 0.3, 0.6};
    (void)state;
    for (size_t i = 0; i < sizeof lag1 / sizeof lag1[0]; i++) {
        struct stream stream;
        begin(&stream, HEAD WIRE);
        double scatter = say_noise(&stream, 1000, 40, lag1[i]);
        judge(&stream, 1e5);
        assert_int_equal(stream.fitness.readings, 40);
        assert_true(stream.fitness.u_plateau / scatter > 0.85);
        assert_true(stream.fitness.u_plateau / scatter < 1.15);
        assert_true(up_findings_are_good(&stream.findings));
        end(&stream);
    }
}

/* sqrt(1 + 1/4 + 1/4): an item less the mean of its two tares. */
static void grams_come_from_the_slope(void **state) {
    struct stream stream;
    (void)state;
    begin(&stream, HEAD WIRE);
    say_noise(&stream, 20, 40, 0);
    judge(&stream, -2e5);
    assert_true(fabs(stream.fitness.u_weighing_g / (stream.fitness.u_plateau / 200 * sqrt(1.5)) -
                     1) < 1e-12);
    assert_non_null(finding(&stream, "fit to weigh with to"));
    end(&stream);
    begin(&stream, HEAD WIRE);
    say_noise(&stream, 20, 40, 0);
    judge(&stream, 0);
    assert_true(isnan(stream.fitness.u_weighing_g));
    assert_non_null(finding(&stream, "calibrate to know it in grams"));
    end(&stream);
}

static void noise_beyond_the_band_falls_short(void **state) {
    struct stream stream;
    (void)state;
    begin(&stream, HEAD WIRE);
    say_noise(&stream, 20, 4000, 0);
    judge(&stream, 1e5); /* 40 g a reading, 6 g a window, 16 g twice a weighing */
    assert_false(up_findings_are_good(&stream.findings));
    assert_false(finding(&stream, "fit to weigh with to")->good);
    end(&stream);
}

/* A scale of 20 g steps that stands still: no mean is better than its step. */
static void a_coarse_scale_is_no_better_than_its_step(void **state) {
    struct stream stream;
    (void)state;
    begin(&stream,
          HEAD "[line]\nlayout = fields\nseparator = comma\ntime_field = 1\n"
               "time_unit = ms\nload_field = 2\nload_unit = g\n"
               "[sensor]\ndivision_counts = 0.02\n[bench]\nread_after_s = 6\nwindow_s = 4\n");
    for (int i = 0; i < 200; i++) {
        say(&stream, 1240);
    }
    judge(&stream, 0);
    assert_non_null(finding(&stream, "noise of one reading below its smallest step"));
    assert_true(fabs(stream.fitness.u_plateau - 0.02 / sqrt(12)) < 1e-12);
    assert_true(fabs(stream.fitness.u_weighing_g - sqrt(1.5) * 20 / sqrt(12)) < 1e-9);
    end(&stream);
}

static void glitches_bad_lines_and_a_dead_converter_fall_short(void **state) {
    struct stream stream;
    (void)state;
    begin(&stream, HEAD WIRE);
    for (int i = 0; i < 400; i++) {
        say(&stream, i % 10 == 9 ? 900000 : 50000 + gsl_ran_gaussian(stream.rng, 40));
    }
    judge(&stream, 1e5);
    assert_false(finding(&stream, "glitches")->good);
    assert_true(fabs(stream.fitness.glitch_share - 0.1) < 0.01);
    end(&stream);
    begin(&stream, HEAD WIRE);
    for (int i = 0; i < 400; i++) {
        if (i % 10 == 9) {
            up_listening_bytes(stream.listening, "hello\n", 6);
        }
        say(&stream, 50000 + gsl_ran_gaussian(stream.rng, 40));
    }
    judge(&stream, 1e5);
    assert_false(finding(&stream, "do not fit")->good);
    end(&stream);
    begin(&stream, HEAD WIRE);
    say_noise(&stream, 10, 40, 0);
    for (int i = 0; i < 100; i++) {
        say(&stream, 50011);
    }
    judge(&stream, 1e5);
    assert_false(finding(&stream, "the converter repeats itself")->good);
    end(&stream);
}

static void too_few_readings_fall_short(void **state) {
    struct stream stream;
    (void)state;
    begin(&stream, HEAD WIRE);
    for (int i = 0; i < 60; i++) {
        stream.time_ms += 400; /* two a second */
        say(&stream, 50000 + gsl_ran_gaussian(stream.rng, 40));
    }
    judge(&stream, 1e5);
    assert_int_equal(stream.fitness.readings, 8);
    assert_false(finding(&stream, "8 in a window of 4 s")->good);
    end(&stream);
}

/* Without a clock in the lines the rig file's rate is the clock. */
static void a_wrong_nominal_rate_is_told(void **state) {
    struct stream stream;
    (void)state;
    begin(&stream, HEAD "[line]\nlayout = bare\nrate_hz = 10\n");
    for (int i = 0; i < 400; i++) {
        char line[32];
        int length =
            snprintf(line, sizeof line, "%.0f\n", 50000 + gsl_ran_gaussian(stream.rng, 40));
        up_listening_bytes(stream.listening, line, (size_t)length);
    }
    up_listening_end(stream.listening);
    up_fitness_of_stream(stream.listening, 1e5, 32, &stream.fitness, &stream.findings);
    assert_true(fabs(stream.fitness.rate_hz - 12.5) < 1e-9);
    assert_false(finding(&stream, "rate_hz = 10 is the clock")->good);
    end(&stream);
}

/* ---- the gear ---- */

static const char *const TANK = HEAD WIRE "[sensor]\ncapacity_kg = 10\n[tank]\narea_m2 = 0.36\n"
                                          "ballast_kg = 2\n";

static bool suits(const char *text, double mass_kg, double lift_kg, double length_m,
                  const char *words) {
    struct stream stream;
    struct up_gear gear = {mass_kg, lift_kg, length_m};
    bool good;
    begin(&stream, text);
    up_fitness_for_gear(&stream.rig, &gear, &stream.findings);
    good = up_findings_are_good(&stream.findings);
    assert_true(good == (words == NULL));
    assert_true(words == NULL || !finding(&stream, words)->good);
    end(&stream);
    return good;
}

static void gear_is_held_against_cell_ballast_and_tank(void **state) {
    (void)state;
    assert_true(suits(TANK, 3.5, 0.9, 0.5, NULL));
    assert_false(suits(TANK, 7.1, 0, 0, "cell of 10 kg"));
    /* 2 kg of lead hold 2 (1 - 1000/11340) = 1.824 kg, and that is 1.5 times 1.216 kg */
    assert_true(suits(TANK, 3.5, 1.21, 0, NULL));
    assert_false(suits(TANK, 3.5, 1.22, 0, "as ballast"));
    /* 7.2 L on 0.36 m2 are 20 mm */
    assert_false(suits(TANK, 6.5, 0.8, 0, "raises the water"));
    assert_true(suits(TANK, 3.5, 0, 0.49, NULL));
    assert_false(suits(TANK, 3.5, 0, 0.51, "keep it clear of walls"));
    assert_false(suits(HEAD WIRE "[tank]\narea_m2 = 1\n", 1, 0, 0, "set [sensor] capacity_kg"));
    assert_false(suits(HEAD WIRE "[sensor]\ncapacity_kg = 10\n", 1, 0, 0, "set [tank] area_m2"));
}

/* What is left out is named, and falls short of nothing. */
static void keys_that_are_not_set_are_named(void **state) {
    struct stream stream;
    (void)state;
    begin(&stream, HEAD WIRE);
    up_fitness_of_keys(&stream.rig, &stream.findings);
    assert_int_equal(stream.findings.count, 2);
    assert_true(finding(&stream, "[sensor] capacity_kg is not set")->open);
    assert_true(finding(&stream, "[tank] ballast_kg is not set")->open);
    assert_true(up_findings_are_good(&stream.findings));
    end(&stream);
    begin(&stream, TANK);
    up_fitness_of_keys(&stream.rig, &stream.findings);
    assert_int_equal(stream.findings.count, 0);
    end(&stream);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_uncertainty_is_what_window_means_scatter),
        cmocka_unit_test(grams_come_from_the_slope),
        cmocka_unit_test(noise_beyond_the_band_falls_short),
        cmocka_unit_test(a_coarse_scale_is_no_better_than_its_step),
        cmocka_unit_test(glitches_bad_lines_and_a_dead_converter_fall_short),
        cmocka_unit_test(too_few_readings_fall_short),
        cmocka_unit_test(a_wrong_nominal_rate_is_told),
        cmocka_unit_test(gear_is_held_against_cell_ballast_and_tank),
        cmocka_unit_test(keys_that_are_not_set_are_named),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
