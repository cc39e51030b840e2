/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Streams of every kind, made here; the section [line] that comes out must read them. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "text/text.h"
#include "upthrust/rig.h"
#include "upthrust/wire.h"
#include "wire/guess.h"

struct stream {
    const char *what;
    void (*line)(int i, char *line, size_t size);
    int lines;
    const char *says[4]; /* must stand in the section */
};

#pragma GCC diagnostic ignored "-Wmissing-field-initializers" /* the table's rows end early */

#define LINE(name, ...)                                                                            \
    static void name(int i, char *line, size_t size) {                                             \
        snprintf(line, size, __VA_ARGS__);                                                         \
    }

LINE(bare_counts, "%d\n", 100000 + 17 * (i % 5))
LINE(bare_grams, "%d.5 g\r\n", i)
LINE(clock_ms, "%d,%d\n", 1000 + 100 * i, 81234 - i)
LINE(clock_us_tab, "%d\t%d\n", 12500 * i, -81234 + 3 * i)
LINE(clock_s_semicolon, "%d.%d;%d\n", 1700000000 + i / 10, i % 10, 81234 + i)
LINE(numbered, "%d,%d,%d,21.50\n", i, 100 * i, 8123400 + i)
LINE(json, "{\"grams\": %d.5, \"ms\": %d}\n", 250 + i % 3, 90 * i)
LINE(status_comma, "%s,GS,   %d.6 g\r\n", i % 7 == 0 ? "US" : "ST", 240 + i)
LINE(status_blank, "ST,GS    %d.7g  \r\n", 20 + i)
LINE(question_mark, "%s  %d.640 kg   %sN\n", i < 9 ? "-" : " ", i, i % 4 == 0 ? "?" : " ")
LINE(label_equals, "weight = %d.25 kg, battery = 3.70 V\n", i)
LINE(three_labels, "S1: 5 S2: %d S3: 7\n", 1000 + i)
LINE(next_line, "Board reading: \r\n%d\r\n", 4711 + i)
LINE(star_hash, "*%d#", 4711 + i)
LINE(stx_etx, "\002 %07d%c\003", i, i % 5 == 0 ? 'M' : 'G')
LINE(report, "F %6d.0\rA %6d.5\r4    343.5\rV1\r", 0, 300 + i)
LINE(tags, "%sSENSOR:FORCE:%d.5\n", i % 4 == 0 ? "STATUS:1 ok\n" : "", i)

static const struct stream streams[] = {
    {"whole numbers", bare_counts, 40, {"layout = bare", "word_bits = 24"}},
    {"grams", bare_grams, 40, {"layout = bare", "load_unit = g", "division_counts = 0.001"}},
    {"a clock in ms", clock_ms, 40, {"load_field = 2", "time_field = 1", "time_unit = ms"}},
    {"a clock in us", clock_us_tab, 40, {"separator = tab", "time_unit = us"}},
    {"a clock in s", clock_s_semicolon, 40, {"separator = semicolon", "time_unit = s"}},
    {"numbered lines", numbered, 40, {"sequence_field = 1", "time_field = 2", "load_field = 3"}},
    {"JSON", json, 40, {"layout = json", "load_label = grams", "time_label = ms"}},
    {"status in a column", status_comma, 40, {"load_unit = g", "stable_words = ST"}},
    {"status before blanks", status_blank, 40, {"layout = numbers", "stable_words = ST"}},
    {"a question mark", question_mark, 40, {"layout = numbers", "load_unit = kg", "words = ?"}},
    {"a label and an equals sign", label_equals, 40, {"load_label = weight =", "load_unit = kg"}},
    {"the livelier of three labels", three_labels, 40, {"load_label = S2:"}},
    {"the number on the next line", next_line, 40, {"value_line = next"}},
    {"star and hash", star_hash, 40, {"frame_start = star", "frame_end = hash"}},
    {"start and end bytes", stx_etx, 40, {"frame_start = stx", "unstable_words = M"}},
    {"a report of several lines", report, 40, {"starts_with = A", "other_lines = pass"}},
    {"tags", tags, 40, {"load_label = SENSOR:FORCE:", "other_lines = pass"}},
};

static char *make_stream(const struct stream *stream) {
    char *bytes = up_allocate((size_t)stream->lines + 1, 200);
    for (int i = 0; i < stream->lines; i++) {
        size_t used = strlen(bytes);
        stream->line(i, bytes + used, 200);
    }
    return bytes;
}

static void check_fit(const struct stream *stream, const char *bytes, const char *section) {
    struct up_failure failure = {0};
    struct up_rig rig;
    struct up_reader reader;
    struct up_sample sample;
    size_t length = strlen(bytes);
    int good = 0;
    char *text = up_text_format("[rig]\nid = guessed\n%s", section);
    if (!up_rig_parse("guessed", text, &rig, &failure)) {
        fail_msg("%s: %s", stream->what, failure.text);
    }
    up_reader_begin(&reader, &rig.line, false);
    while (up_reader_take(&reader, &bytes, &length, &sample)) {
        good++;
    }
    if (good < stream->lines - 1 || up_reader_refused(&reader) > 1) {
        fail_msg("%s: %d samples of %d", stream->what, good, stream->lines);
    }
    free(text);
}

static void each_kind_is_found_and_reads_its_stream(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof streams / sizeof streams[0]; i++) {
        const struct stream *stream = &streams[i];
        struct up_guess guess;
        struct up_failure failure = {0};
        char *bytes = make_stream(stream);
        if (!up_guess_layout(bytes, strlen(bytes), (double)NAN, &guess, &failure)) {
            fail_msg("%s: %s", stream->what, failure.text);
        }
        for (size_t j = 0; j < 4 && stream->says[j] != NULL; j++) {
            if (strstr(guess.line_section, stream->says[j]) == NULL) {
                fail_msg("%s: \"%s\" is missing in\n%s", stream->what, stream->says[j],
                         guess.line_section);
            }
        }
        check_fit(stream, bytes, guess.line_section);
        free(bytes);
    }
}

static void a_header_names_unit_and_clock(void **state) {
    struct up_guess guess;
    struct up_failure failure = {0};
    char bytes[2000] = "time_ms,force_N\n";
    (void)state;
    for (int i = 0; i < 30; i++) {
        size_t used = strlen(bytes);
        snprintf(bytes + used, sizeof bytes - used, "%d,%d.25\n", 100 * i, i);
    }
    assert_true(up_guess_layout(bytes, strlen(bytes), (double)NAN, &guess, &failure));
    assert_non_null(strstr(guess.line_section, "load_unit = N"));
    assert_int_equal(guess.fits, 30);
}

static void the_measured_rate_is_written(void **state) {
    struct up_guess guess;
    struct up_failure failure = {0};
    char *bytes = make_stream(&streams[0]);
    (void)state;
    assert_true(up_guess_layout(bytes, strlen(bytes), 9.73, &guess, &failure));
    assert_non_null(strstr(guess.line_section, "rate_hz = 9.73\n"));
    assert_null(strstr(guess.line_section, "nobody saw"));
    free(bytes);
}

static void refuse(const char *bytes, size_t length, const char *says) {
    struct up_guess guess;
    struct up_failure failure = {0};
    assert_false(up_guess_layout(bytes, length, (double)NAN, &guess, &failure));
    assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
    if (strstr(failure.text, says) == NULL) {
        fail_msg("\"%s\", wanted \"%s\"", failure.text, says);
    }
}

static void what_is_no_stream_of_readings_is_refused(void **state) {
    char *rows = up_allocate(200000, 1), *noise = up_allocate(4000, 1);
    (void)state;
    for (size_t i = 0; i < 199990; i++) {
        rows[i] = i % 5 == 4 ? ',' : '1';
    }
    refuse(rows, 199990, "longer than 1023 bytes");
    refuse("", 0, "no whole line");
    refuse("one\ntwo\nthree\nfour\nfive\nsix\nseven\n", 34, "no layout fits");
    srand(5);
    for (size_t i = 0; i < 4000; i++) {
        noise[i] = (char)(rand() & 255);
    }
    refuse(noise, 4000, "wrong baud rate");
    free(rows);
    free(noise);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_kind_is_found_and_reads_its_stream),
        cmocka_unit_test(a_header_names_unit_and_clock),
        cmocka_unit_test(the_measured_rate_is_written),
        cmocka_unit_test(what_is_no_stream_of_readings_is_refused),
    };
    return cmocka_run_group_tests_name("guess", tests, NULL, NULL);
}
