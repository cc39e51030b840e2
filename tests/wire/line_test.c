/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "upthrust/wire.h"

static const struct up_line_rule bare = {
    .layout = UP_LAYOUT_BARE, .frame_end = '\n', .loads = 1, .word_bits = 24, .rate_hz = 10};
static const struct up_line_rule commas = {.layout = UP_LAYOUT_FIELDS,
                                           .frame_end = '\n',
                                           .separator = ',',
                                           .load = {{.field = 2}},
                                           .loads = 1,
                                           .time = {.field = 1},
                                           .time_unit_s = 1e-3,
                                           .temp = {.field = 3},
                                           .word_bits = 24};
static const struct up_line_rule blanks = {.layout = UP_LAYOUT_FIELDS,
                                           .frame_end = '\n',
                                           .separator = ' ',
                                           .load = {{.field = 2}, {.field = 1}},
                                           .loads = 2,
                                           .rate_hz = 80,
                                           .load_unit = UP_LOAD_G};
static const struct up_line_rule pounds = {
    .layout = UP_LAYOUT_BARE, .frame_end = '\n', .loads = 1, .rate_hz = 1, .load_unit = UP_LOAD_LB};
static const struct up_line_rule newtons = {
    .layout = UP_LAYOUT_BARE, .frame_end = '\n', .loads = 1, .rate_hz = 1, .load_unit = UP_LOAD_N};

struct line_case {
    const struct up_line_rule *rule;
    const char *text;
    enum up_refusal refusal;
    double load;
};

static const struct line_case line_cases[] = {
    {&bare, "12345", UP_LINE_FITS, 12345},
    {&bare, "  -7 ", UP_LINE_FITS, -7},
    {&bare, "8388607", UP_LINE_FITS, 8388607},
    {&bare, "8388608", UP_REFUSED_RANGE, 0},
    {&bare, "-8388609", UP_REFUSED_RANGE, 0},
    {&bare, "nan", UP_REFUSED_WORDS, 0},
    {&bare, "inf", UP_REFUSED_WORDS, 0},
    {&bare, "ovf", UP_REFUSED_WORDS, 0},
    {&bare, "12 g", UP_REFUSED_UNIT, 0},
    {&bare, "12 apples", UP_REFUSED_NUMBER, 0},
    {&bare, "1234567890123", UP_REFUSED_NUMBER, 0},
    {&bare, "seven", UP_REFUSED_WORDS, 0},
    {&bare, "0x10", UP_REFUSED_NUMBER, 0},
    {&bare, "1,5", UP_REFUSED_NUMBER, 0},
    {&bare, "\x1b[2J5", UP_REFUSED_BYTES, 0},
    {&bare, "5\x80", UP_REFUSED_BYTES, 0},
    {&commas, "1200,-345,21.5", UP_LINE_FITS, -345},
    {&commas, "1200 , 345 , 21.5 , more", UP_LINE_FITS, 345},
    {&commas, "1200,345", UP_REFUSED_FIELDS, 0},
    {&commas, "Time,Counts,Temp", UP_REFUSED_WORDS, 0},
    {&commas, ",345,21", UP_REFUSED_NUMBER, 0},
    {&commas, "1200,345,85.5", UP_REFUSED_RANGE, 0},
    {&commas, "1200,345,-126", UP_REFUSED_RANGE, 0},
    {&commas, "1200,345,2x", UP_REFUSED_NUMBER, 0},
    /* a thermometer that fell out: the load is as good as ever */
    {&commas, "1200,345,85", UP_LINE_FITS, 345},
    {&commas, "1200,345,-127.00", UP_LINE_FITS, 345},
    {&commas, "1200,345,nan", UP_LINE_FITS, 345},
    {&commas, "1200,345,", UP_LINE_FITS, 345},
    {&blanks, "  250 \t 1500.5", UP_LINE_FITS, 1.5005},
    {&blanks, "250", UP_REFUSED_FIELDS, 0},
    /* 1 lb = 0.45359237 kg exactly (agreement of 1959); standard gravity 9.80665 m/s2 (CGPM 1901)
     */
    {&pounds, "10", UP_LINE_FITS, 4.5359237},
    {&newtons, "9.80665", UP_LINE_FITS, 1},
};

static void lines_become_samples_or_are_refused(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof line_cases / sizeof line_cases[0]; i++) {
        const struct line_case *line = &line_cases[i];
        struct up_sample sample;
        enum up_refusal refusal = up_line_read(line->rule, line->text, strlen(line->text), &sample);
        if (refusal != line->refusal ||
            (refusal == UP_LINE_FITS && fabs(sample.load[0] - line->load) > 1e-12)) {
            fail_msg("\"%s\": %s, load %.17g", line->text, up_refusal_name(refusal),
                     sample.load[0]);
        }
    }
}

static void time_and_temperature_come_along(void **state) {
    struct up_sample sample;
    (void)state;
    assert_int_equal(up_line_read(&commas, "1250,9,21.5", 11, &sample), UP_LINE_FITS);
    assert_true(fabs(sample.time_s - 1.25) < 1e-12);
    assert_true(sample.temp_c == 21.5);
    assert_int_equal(up_line_read(&bare, "9", 1, &sample), UP_LINE_FITS);
    assert_true(isnan(sample.temp_c) && isnan(sample.time_s));
}

static bool push(struct up_reader *reader, char byte, struct up_sample *sample) {
    const char *bytes = &byte;
    size_t length = 1;
    return up_reader_take(reader, &bytes, &length, sample);
}

static unsigned push_all(struct up_reader *reader, const char *bytes, size_t length,
                         struct up_sample *samples, unsigned room) {
    unsigned count = 0;
    struct up_sample sample;
    for (size_t i = 0; i < length; i++) {
        if (push(reader, bytes[i], &sample) && count < room) {
            samples[count++] = sample;
        }
    }
    return count;
}

static void every_kind_of_line_end(void **state) {
    static const char bytes[] = "1\r\n2\n3\r4\n\n\r\n5\r\n";
    struct up_reader reader;
    struct up_sample sample[8];
    (void)state;
    up_reader_begin(&reader, &bare, false);
    assert_int_equal(push_all(&reader, bytes, sizeof bytes - 1, sample, 8), 5);
    for (unsigned i = 0; i < 5; i++) {
        assert_true(sample[i].load[0] == i + 1);
        assert_true(fabs(sample[i].time_s - 0.1 * i) < 1e-12);
        assert_int_equal(sample[i].number, i);
    }
    assert_int_equal(sample[3].offset, 7);
    assert_int_equal(sample[4].offset, 12);
    assert_int_equal(reader.lines, 5);
    assert_int_equal(up_reader_refused(&reader), 0);
}

static void a_live_device_begins_within_a_line(void **state) {
    struct up_reader reader;
    struct up_sample sample[4];
    (void)state;
    up_reader_begin(&reader, &bare, true);
    assert_int_equal(push_all(&reader, "45\n123\n9", 8, sample, 4), 1);
    assert_true(sample[0].load[0] == 123);
    up_reader_end(&reader);
    assert_int_equal(reader.count[UP_REFUSED_CUT], 2);
}

static void a_stream_that_broke_off_goes_on(void **state) {
    struct up_reader reader;
    struct up_sample sample[4];
    (void)state;
    up_reader_begin(&reader, &bare, true);
    assert_int_equal(push_all(&reader, "45\n123\n9", 8, sample, 4), 1);
    up_reader_resume(&reader, true);
    assert_int_equal(push_all(&reader, "99\n124\n", 7, sample, 4), 1);
    assert_true(sample[0].load[0] == 124);
    assert_int_equal(sample[0].number, 1);
    assert_true(fabs(sample[0].time_s - 0.1) < 1e-12); /* time goes on behind what was */
    assert_int_equal(sample[0].offset, 11);
    up_reader_resume(&reader, false); /* a device that is polled begins with a whole line */
    assert_int_equal(push_all(&reader, "125\n", 4, sample, 4), 1);
    assert_int_equal(reader.count[UP_REFUSED_CUT], 3);
    assert_int_equal(up_reader_refused(&reader), 3);
}

static void a_line_without_end_keeps_memory_bounded(void **state) {
    struct up_reader reader;
    struct up_sample sample;
    (void)state;
    up_reader_begin(&reader, &bare, false);
    for (long i = 0; i < 10000000; i++) {
        assert_false(push(&reader, '7', &sample));
    }
    assert_true(up_reader_is_endless(&reader));
    assert_false(push(&reader, '\n', &sample));
    assert_false(up_reader_is_endless(&reader));
    assert_int_equal(reader.count[UP_REFUSED_OVERLONG], 1);
    assert_false(push(&reader, '8', &sample));
    assert_true(push(&reader, '\n', &sample));
    assert_true(sample.load[0] == 8);
    assert_int_equal(sample.offset, 10000001);
}

static void nul_bytes_are_counted_and_harmless(void **state) {
    static const char bytes[] = "1\n\0\0\n2\0\n3\n";
    struct up_reader reader;
    struct up_sample sample[4];
    (void)state;
    up_reader_begin(&reader, &bare, false);
    assert_int_equal(push_all(&reader, bytes, sizeof bytes - 1, sample, 4), 2);
    assert_int_equal(reader.count[UP_REFUSED_BYTES], 2);
}

static void a_reset_device_does_not_turn_time_back(void **state) {
    static const char bytes[] = "1000,1,20\n1100,2,20\n50,3,20\n150,4,20\n250,5,20\n";
    struct up_reader reader;
    struct up_sample sample[8];
    (void)state;
    up_reader_begin(&reader, &commas, false);
    assert_int_equal(push_all(&reader, bytes, sizeof bytes - 1, sample, 8), 4);
    assert_int_equal(reader.count[UP_REFUSED_TIME], 1);
    assert_true(fabs(sample[2].time_s - 1.2) < 1e-9);
    assert_true(fabs(sample[3].time_s - 1.3) < 1e-9);
}

static void assert_times(const char *bytes, const double *time_s, size_t count, uint64_t refused) {
    struct up_reader reader;
    struct up_sample sample[16];
    up_reader_begin(&reader, &commas, false);
    assert_int_equal(push_all(&reader, bytes, strlen(bytes), sample, 16), count);
    assert_int_equal(reader.count[UP_REFUSED_TIME], refused);
    for (size_t i = 0; i < count; i++) {
        assert_true(fabs(sample[i].time_s - time_s[i]) < 1e-6);
    }
}

/* What comes after it goes on as if it had not been. */
static void a_slip_of_the_clock_costs_its_line_and_no_more(void **state) {
    static const double time_s[] = {1, 1.1, 1.2, 1.3};
    (void)state;
    assert_times("1000,1,20\n1100,2,20\n1e300,3,20\n1200,4,20\n1300,5,20\n", time_s, 4, 1);
    assert_times("1000,1,20\n1100,2,20\n-1e300,3,20\n1200,4,20\n1300,5,20\n", time_s, 4, 1);
    assert_times("1000,1,20\n1100,2,20\n1e12,3,20\n1e10,3,20\n1200,4,20\n1300,5,20\n", time_s, 4,
                 2);
    assert_times("1000,1,20\n1100,2,20\n7,3,20\n1200,4,20\n1300,5,20\n", time_s, 4, 1);
    assert_times("1e300,3,20\n1e300,3,20\n1000,1,20\n1100,2,20\n1200,4,20\n1300,5,20\n", time_s, 4,
                 2);
}

static void a_clock_that_is_set_goes_on(void **state) {
    static const double time_s[] = {1, 1.1, 1.2, 1.3};
    (void)state;
    assert_times("1000,1,20\n1100,2,20\n1700000000000,3,20\n1700000000100,4,20\n"
                 "1700000000200,5,20\n",
                 time_s, 4, 1);
}

/* Put behind the old clock, the new one is not before it by a rounding: found by random bytes. */
static void a_clock_that_is_set_never_runs_back(void **state) {
    (void)state;
    for (int set_ms = -999; set_ms < 1000; set_ms++) {
        char bytes[80];
        struct up_reader reader;
        struct up_sample sample[3];
        int length = snprintf(bytes, sizeof bytes, "1000,1,20\n%d,2,20\n%d,3,20\n%d,4,20\n", set_ms,
                              set_ms, set_ms);
        up_reader_begin(&reader, &commas, false);
        assert_int_equal(push_all(&reader, bytes, (size_t)length, sample, 3), 3);
        assert_true(sample[1].time_s >= sample[0].time_s && sample[1].time_s < 1.0000001);
        assert_true(sample[2].time_s >= sample[1].time_s);
    }
}

static void refused_lines_are_kept_to_show(void **state) {
    struct up_reader reader;
    struct up_sample sample[2];
    (void)state;
    up_reader_begin(&reader, &bare, false);
    push_all(&reader, "1\nscale not ready\n2\nhello\n1o\n", 29, sample, 2);
    assert_string_equal(reader.refused_text[0], "scale not ready");
    assert_int_equal(reader.refused_line[0], 2);
    assert_string_equal(reader.refused_text[1], "hello");
    assert_int_equal(reader.count[UP_REFUSED_WORDS], 2);
    assert_int_equal(reader.count[UP_REFUSED_NUMBER], 1);
}

/* The short way to a number gives the very double that strtod gives. */
static void numbers_are_the_nearest_doubles(void **state) {
    static const struct up_line_rule kilograms = {.layout = UP_LAYOUT_BARE,
                                                  .frame_end = '\n',
                                                  .loads = 1,
                                                  .rate_hz = 1,
                                                  .load_unit = UP_LOAD_KG};
    (void)state;
    srand(11);
    for (int i = 0; i < 200000; i++) {
        char text[40];
        struct up_sample sample;
        int places = rand() % 9;
        snprintf(text, sizeof text, "%s%d.%0*d", rand() % 2 == 0 ? "-" : "", rand() % 1000000,
                 places + 1, rand() % 1000);
        assert_int_equal(up_line_read(&kilograms, text, strlen(text), &sample), UP_LINE_FITS);
        if (sample.load[0] != strtod(text, NULL)) {
            fail_msg("%s became %.17g", text, sample.load[0]);
        }
    }
}

/* Whatever bytes come, in whatever pieces: no crash, and each line is counted once. */
static void random_bytes(void **state) {
    struct up_reader reader;
    struct up_sample sample;
    uint64_t good = 0;
    (void)state;
    srand(7);
    up_reader_begin(&reader, &commas, false);
    for (int i = 0; i < 300000; i++) {
        static const char likely[] = "0123456789,.-\r\n \t,0123456789";
        char byte =
            rand() % 10 == 0 ? (char)(rand() & 255) : likely[(size_t)rand() % (sizeof likely - 1)];
        good += push(&reader, byte, &sample);
    }
    up_reader_end(&reader);
    assert_true(reader.lines > 1000);
    assert_int_equal(reader.lines, good + up_reader_refused(&reader));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines_become_samples_or_are_refused),
        cmocka_unit_test(time_and_temperature_come_along),
        cmocka_unit_test(every_kind_of_line_end),
        cmocka_unit_test(a_live_device_begins_within_a_line),
        cmocka_unit_test(a_stream_that_broke_off_goes_on),
        cmocka_unit_test(a_line_without_end_keeps_memory_bounded),
        cmocka_unit_test(nul_bytes_are_counted_and_harmless),
        cmocka_unit_test(a_reset_device_does_not_turn_time_back),
        cmocka_unit_test(a_slip_of_the_clock_costs_its_line_and_no_more),
        cmocka_unit_test(a_clock_that_is_set_goes_on),
        cmocka_unit_test(a_clock_that_is_set_never_runs_back),
        cmocka_unit_test(refused_lines_are_kept_to_show),
        cmocka_unit_test(numbers_are_the_nearest_doubles),
        cmocka_unit_test(random_bytes),
    };
    return cmocka_run_group_tests_name("line", tests, NULL, NULL);
}
