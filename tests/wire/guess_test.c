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
/* clocks */
LINE(day_comma, "%02d:%02d:%02d.%03d,0.%02d\n", 15, 59 + i / 10 / 60, i / 10 % 60, 100 * (i % 10),
     i % 7)
LINE(date_semicolon, "19.10.2025;13:05:%02d;%d\n", i / 2, 81234 - 3 * (i % 9))
LINE(date_blank, "2025-10-19 13:05:%02d.%d %d\n", i / 10, i % 10, 81234 - 3 * (i % 9))
LINE(quoted, "2025-10-19 13:05:%02d.129,0.004,\"2.690,2.23%d,%d\"\n", i, i % 4,
     155170 - 40 * (i % 9))
LINE(arrow, "13:05:%02d.%d29 -> %d\n", i / 10, i % 10, 81234 - 3 * (i % 9))
LINE(bracketed, "[2025-10-19 13:05:%02d] Scale: %d.25 kg (T 21.%d C)\n", i, 3 + i % 2, i % 10)
LINE(equal_stamps, "0.%04d,0.3%d\n", 101 * (i / 3), i % 9)
LINE(slow_load, "%d,%d\n", 1000 + 100 * i, 500)
LINE(coarse_first, "%d,%d.5\n", 1700000000 + i / 10, 12 - i % 2)
LINE(filling, "1   %d    20\n", 44140 + 10 * (i / 4))
LINE(time_last, "%d.5,%d\n", 12 - i % 2, 1000 + 100 * i)
LINE(json_clock, "{\"raw\": %d, \"time\": \"13:05:%02d\", \"humidity\": %d.5}\n", 81234 - i % 5, i,
     40 + i)
LINE(once_a_second, "%d,%d\n", 700 + i, 81234 - 7 * (i % 3))
/* commas */
LINE(comma_tab, "-0,00233%d\t0,5101535320%02d\n", i % 7, 10 + i)
LINE(comma_semicolon, "%d;12,%d;21,50\n", 100 * i, 10 + i % 5)
LINE(comma_kg, "ST  %d,50 kg\n", 12 + i % 2)
LINE(ms_and_grams, "%d,%d g\n", 1000 + 100 * i, 250 + i % 3)
/* beside temperature and humidity */
LINE(climate_labels, "Temp: 2%d.5 C  Humidity: 4%d %%  Load: 12.%d g\n", i % 9, i % 9, i % 3)
LINE(climate_columns, "%d,0.0%d,21.%02d,45.%d\n", 100 * i, i % 2, 10 + i, i % 9)
LINE(evil_json, "{\"a\\nload_unit = kg\\npoll = T\": %d, \"b\\u001b[2J\": %d, \"a\": 1.%03d}\n",
     5 + i % 7, 9 * i, i % 7)
LINE(climate_json, "{\"temperature\" : 2%d.5, \"weight\" : 1.%d}\n", i % 9, i % 2)
LINE(short_labels, "T: 2%d.5 H: 4%d W: 1234%d\n", i % 9, i % 9, i % 3)
/* scales */
LINE(long_labels, "GROSS WEIGHT    %d.0\rNET WEIGHT        %d.5\rTARE      1116.5\rSTATUS \xe1*\r",
     1152 + i % 9, 35 + i % 5)
LINE(slash, "+0%02d.12/%d G S\n", 7 + i % 3, i % 10)
LINE(unit_column, "%d.25,lbs,\n", 12 + i % 3)
LINE(two_states, "%s    %d.7g  \r\n", i % 3 == 0 ? "US" : i / 5 % 3 == 1 ? "ST" : "NT", 20 + i)

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
    {"a time of day",
     day_comma,
     40,
     {"load_field = 2", "time_field = 1", "time_unit = hh:mm:ss", "division_counts = 0.01"}},
    {"date and time in columns",
     date_semicolon,
     40,
     {"time_field = 2", "time_unit = hh:mm:ss", "load_field = 3"}},
    {"date and time between blanks",
     date_blank,
     40,
     {"layout = numbers", "time_field = 2", "load_field = 3"}},
    {"a quoted field",
     quoted,
     40,
     {"time_field = 1", "time_unit = hh:mm:ss", "load_field = 5", "word_bits = 24"}},
    {"a recorder's arrow", arrow, 40, {"layout = numbers", "time_field = 1", "load_field = 2"}},
    {"a recorder's brackets",
     bracketed,
     40,
     {"time_field = 2", "load_field = 3", "load_unit = kg"}},
    {"equal stamps", equal_stamps, 40, {"time_field = 1", "time_unit = s", "load_field = 2"}},
    {"a load that stands still beside a clock",
     slow_load,
     40,
     {"time_field = 1", "load_field = 2"}},
    {"seconds since 1970, ten lines each",
     coarse_first,
     80,
     {"time_field = 1", "time_unit = s", "load_field = 2"}},
    {"a load that rises behind its status", filling, 40, {"load_field = 2", "rate_hz"}},
    {"a clock behind the load",
     time_last,
     40,
     {"load_field = 1", "time_field = 2", "time_unit = ms"}},
    {"a clock in JSON",
     json_clock,
     40,
     {"load_label = raw", "time_label = time", "time_unit = hh:mm:ss"}},
    {"decimal commas and tabs",
     comma_tab,
     40,
     {"decimal = comma", "separator = tab", "load_field = 1", "time_field = 2"}},
    {"decimal commas and semicolons",
     comma_semicolon,
     40,
     {"decimal = comma", "separator = semicolon", "load_field = 2", "time_unit = ms"}},
    {"a decimal comma and a unit",
     comma_kg,
     40,
     {"decimal = comma", "layout = numbers", "load_unit = kg"}},
    {"a clock, a comma, a unit",
     ms_and_grams,
     40,
     {"separator = comma", "time_field = 1", "load_unit = g"}},
    {"temperature and humidity by labels",
     climate_labels,
     40,
     {"load_label = Load:", "load_unit = g"}},
    {"temperature and humidity in columns",
     climate_columns,
     40,
     {"time_field = 1", "load_field = 2"}},
    {"a temperature in JSON",
     climate_json,
     40,
     {"load_label = weight", "temp_label = temperature"}},
    {"names that would begin other keys", evil_json, 40, {"layout = json\nload_label = a\n"}},
    {"temperature and humidity by letters", short_labels, 40, {"load_label = W:"}},
    {"long labels",
     long_labels,
     40,
     {"starts_with = GROSS WEIGHT", "other_lines = pass", "load_unit = kg"}},
    {"a digit behind a slash",
     slash,
     40,
     {"layout = numbers", "load_unit = g", "division_counts = 1e-06"}},
    {"the unit in a column of its own",
     unit_column,
     40,
     {"load_field = 1", "unit_field = 2", "load_unit = lb"}},
    {"states, no report", two_states, 40, {"layout = numbers", "load_unit = g"}},
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
    assert_null(strstr(guess.line_section, "not known: count"));
    free(bytes);
}

static void the_smallest_step_is_the_division(void **state) {
    static const char bytes[] =
        "1.000 kg\n1.010 kg\n1.012 kg\n1.010 kg\n1.030 kg\n1.010 kg\n1.030 kg\n1.000 kg\n";
    struct up_guess guess;
    struct up_failure failure = {0};
    (void)state;
    assert_true(up_guess_layout(bytes, strlen(bytes), 10, &guess, &failure));
    assert_non_null(strstr(guess.line_section, "division_counts = 0.002\n"));
    assert_true(guess.step_seen);
    static const char still[] = "1.00 kg\n1.00 kg\n1.00 kg\n1.00 kg\n1.00 kg\n1.00 kg\n";
    assert_true(up_guess_layout(still, strlen(still), 2, &guess, &failure));
    assert_false(guess.step_seen); /* 10 g, or 50 g? */
    assert_non_null(strstr(guess.line_section, "\n; division_counts = 0.01\n")); /* not taken */
    static const char once[] = "1.000 kg\n1.010 kg\n1.012 kg\n1.030 kg\n1.050 kg\n1.070 kg\n";
    assert_true(up_guess_layout(once, strlen(once), 2, &guess, &failure));
    assert_false(guess.step_seen); /* 2 g came once */
    static const char loads[] = "0.00 kg\n0.51 kg\n1.02 kg\n1.53 kg\n0.00 kg\n0.51 kg\n";
    assert_true(up_guess_layout(loads, strlen(loads), 2, &guess, &failure));
    assert_false(guess.step_seen); /* a mass, again and again: no scale steps by 0.51 */
    static const char turns[] = "1.00 kg\n1.01 kg\n1.00 kg\n1.01 kg\n1.00 kg\n1.01 kg\n1.00 kg\n";
    assert_true(up_guess_layout(turns, strlen(turns), 2, &guess, &failure));
    assert_true(guess.step_seen); /* nobody hangs 10 g six times */
    static const char jump[] = "0.00 kg\n0.00 kg\n0.51 kg\n0.51 kg\n0.51 kg\n0.00 kg\n";
    assert_true(up_guess_layout(jump, strlen(jump), 2, &guess, &failure));
    assert_false(guess.step_seen); /* a load */
}

/* By the pace of the lines: counters that rise by one, ten, a thousand. */
static void the_unit_of_a_clock_comes_from_the_pace(void **state) {
    static const struct {
        const struct stream stream;
        double rate_hz;
    } rows[] = {
        {{"seconds", once_a_second, 40, {"time_field = 1", "time_unit = s"}}, 1.05},
        {{"numbers of lines", once_a_second, 40, {"sequence_field = 1", "rate_hz = 10"}}, 10},
        {{"slow milliseconds", clock_us_tab, 40, {"time_unit = ms"}}, 0.08},
        {{"microseconds", clock_us_tab, 40, {"time_unit = us"}}, 80},
        {{"tenths of a millisecond", clock_ms, 40, {"time_unit = us"}}, 10000},
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct up_guess guess;
        struct up_failure failure = {0};
        char *bytes = make_stream(&rows[i].stream);
        assert_true(up_guess_layout(bytes, strlen(bytes), rows[i].rate_hz, &guess, &failure));
        for (size_t j = 0; j < 2 && rows[i].stream.says[j] != NULL; j++) {
            if (strstr(guess.line_section, rows[i].stream.says[j]) == NULL) {
                fail_msg("%s: \"%s\" is missing in\n%s", rows[i].stream.what,
                         rows[i].stream.says[j], guess.line_section);
            }
        }
        free(bytes);
    }
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
    memset(rows, 0, 200000);
    for (int i = 0; i < 40; i++) { /* three lines of ten are a number */
        size_t used = strlen(rows);
        snprintf(rows + used, 20, i % 10 < 3 ? "%d\n" : "no number\n", i);
    }
    refuse(rows, strlen(rows), "no layout fits");
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
        cmocka_unit_test(the_smallest_step_is_the_division),
        cmocka_unit_test(the_unit_of_a_clock_comes_from_the_pace),
        cmocka_unit_test(what_is_no_stream_of_readings_is_refused),
    };
    return cmocka_run_group_tests_name("guess", tests, NULL, NULL);
}
