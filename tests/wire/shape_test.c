/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Every shape of line that scales and converter boards are known to print, each read by the text
   of a rig file alone: no code knows any device. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "upthrust/rig.h"
#include "upthrust/wire.h"

#pragma GCC diagnostic ignored "-Wmissing-field-initializers" /* the table's rows end early */

#define POUND_KG 0.45359237 /* exact: agreement of 1959 */

enum { GOOD_MAX = 8 };

struct good {
    double load;
    bool unstable;
    double time_s; /* 0: by count, not looked at */
};

struct shape {
    const char *what, *line_section, *bytes;
    struct good good[GOOD_MAX];
    int goods;
    enum up_refusal other; /* what the remaining lines are, all of them ... */
    int others;            /* ... so many */
};

#define RATE "rate_hz = 10\n"
#define MS_COMMA                                                                                   \
    "layout = fields\nseparator = comma\ntime_field = 1\ntime_unit = ms\nload_field = 2\n"

static const struct shape shapes[] = {
    {"whole counts", "layout = bare\nword_bits = 24\n" RATE, "12345\r\n-7\r\n", {{12345}, {-7}}, 2},
    {"a decimal number of kilograms",
     "layout = bare\nload_unit = kg\n" RATE,
     "1.250\n-0.0\n",
     {{1.25}, {0}},
     2},
    {"a number between star and hash",
     "layout = bare\nframe_start = star\nframe_end = hash\n" RATE,
     "56#\r\n*1234#\r\n*-77#*5#",
     {{1234}, {-77}, {5}},
     3,
     UP_REFUSED_CUT,
     1},
    {"a number and its unit, a point behind",
     "layout = bare\nload_unit = g\n" RATE,
     "12.50 g.\n3.00 g\n12.5 kg\n",
     {{0.0125}, {0.003}},
     2,
     UP_REFUSED_UNIT,
     1},
    {"pounds", "layout = bare\nload_unit = lb\n" RATE, "2.0 lbs\n", {{2 * POUND_KG}}, 1},
    {"units of nobody's",
     "layout = numbers\nload_field = 1\n" RATE,
     "17.5 units\n-2 units\n",
     {{17.5}, {-2}},
     2},
    {"a label before the number",
     "layout = labels\nload_label = reading:\n" RATE,
     "Some Demo\nBoard reading: 4711\nBoard reading: -5\n",
     {{4711}, {-5}},
     2,
     UP_REFUSED_WORDS,
     1},
    {"a label, a number with its unit, another label",
     "layout = labels\nload_label = Reading:\nload_unit = lb\n" RATE,
     "Reading: 1.5 lbs factor: 7050.0\n",
     {{1.5 * POUND_KG}},
     1},
    {"a label with the unit in brackets",
     "layout = labels\nload_label = Load (grammes):\nload_unit = g\n" RATE,
     "Load (grammes): 250\n",
     {{0.25}},
     1},
    {"a label and a tab",
     "layout = labels\nload_label = read:\n" RATE,
     "read:\t12.5\n",
     {{12.5}},
     1},
    {"two labelled numbers parted by a bar",
     "layout = labels\nload_label = one reading:\nload_unit = g\n" RATE,
     "one reading:\t20.5\t| average:\t20.7\n",
     {{0.0205}},
     1},
    {"the label on one line, the number on the next",
     "layout = labels\nload_label = reading:\nvalue_line = next\n" RATE,
     "Board reading: \r\n4711\r\nBoard reading: \r\n-12\r\n",
     {{4711}, {-12}},
     2,
     UP_LINE_LABEL,
     2},
    {"milliseconds, counts", MS_COMMA, "1000,5\n1100,-6\n", {{5, 0, 1.0}, {-6, 0, 1.1}}, 2},
    {"milliseconds, blank, counts", MS_COMMA, "1000, 5\n", {{5, 0, 1.0}}, 1},
    {"microseconds, raw, grams",
     "layout = fields\nseparator = comma\ntime_field = 1\ntime_unit = us\nload_field = 3\n"
     "load_unit = g\n",
     "2500000,81234,250.5\n",
     {{0.2505, 0, 2.5}},
     1},
    {"seconds and a number, a blank between",
     "layout = fields\nseparator = blanks\ntime_field = 1\ntime_unit = s\nload_field = 2\n",
     "0.5 17\n 0.6\t 18\n",
     {{17, 0, 0.5}, {18, 0, 0.6}},
     2},
    {"milliseconds, tab, number",
     "layout = fields\nseparator = tab\ntime_field = 1\ntime_unit = ms\nload_field = 2\n",
     "1500\t-9\n",
     {{-9, 0, 1.5}},
     1},
    {"seconds since 1970 with a fraction, semicolon",
     "layout = fields\nseparator = semicolon\ntime_field = 1\ntime_unit = s\nload_field = 2\n",
     "1617283940.25;12.5\n",
     {{12.5, 0, 1617283940.25}},
     1},
    {"sixteen columns",
     "layout = fields\nseparator = comma\ntime_field = 1\ntime_unit = ms\nload_field = 11, 12\n"
     "columns = 16\n",
     "23682,-.31,.38,9.44,0,.12,0,359.94,-1.69,-2.38,5864,12464,-33033,-33144,-33468,-34500\n"
     "23780,-.31,.38,9.44,0,.12,0,359.94,-1.69,-2.38,5864,12464,-33033,-33144,-33468\n"
     "23880,1,1,1,1,1,1,1,1,1,1,1,1,1,1,23980,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1\n",
     {{5864, 0, 23.682}},
     1,
     UP_REFUSED_FIELDS,
     1 /* and one that is merged: distinguished below */},
    {"microseconds and four cells",
     "layout = fields\nseparator = comma\ntime_field = 1\ntime_unit = us\nload_field = 4\n",
     "1000000,1,2,3,4\n",
     {{3, 0, 1.0}},
     1},
    {"number, unit, and a comma behind",
     "layout = fields\nseparator = comma\nload_field = 1\nunit_field = 2\nload_unit = "
     "printed\n" RATE,
     "2.00,lbs,\n1.5,kg,\n3,stone,\n",
     {{2 * POUND_KG}, {1.5}},
     2,
     UP_REFUSED_UNIT,
     1},
    {"milliseconds, number, unit, raw, two temperatures, a comma behind",
     MS_COMMA "unit_field = 3\nload_unit = kg\ntemp_field = 5\n",
     "1000,1.25,kg,81234,21.5,22.0,\n1100,1.25,lb,81234,21.5,22.0,\n",
     {{1.25, 0, 1.0}},
     1,
     UP_REFUSED_UNIT,
     1},
    {"two labels parted by >",
     "layout = labels\nload_label = raw_1\n" RATE,
     "raw_1:4711>raw_2:4712\n",
     {{4711}},
     1},
    {"three short labels",
     "layout = labels\nload_label = S2\n" RATE,
     "S1: 5 S2: 6 S3: 7\n",
     {{6}},
     1},
    {"a message in brackets and a numbered cell",
     "layout = labels\nload_label = Cell 1\n" RATE,
     "[input] Cell 1: 99 Cell 2: 100\n",
     {{99}},
     1},
    {"tag, tag and value, with other lines between",
     "layout = labels\nstarts_with = SENSOR:\nother_lines = pass\nload_label = FORCE\n"
     "load_unit = N\n" RATE,
     "SENSOR:FORCE:9.80665\nSTATUS:7 ok\nWARNING:3 hot\nSENSOR:FORCE:0.00\n",
     {{1}, {0}},
     2,
     UP_LINE_PASSED,
     2},
    {"JSON, numbers as strings",
     "layout = json\nload_label = weight\nload_unit = g\n" RATE,
     "{\"sensor_0\":\"81234\",\"weight\":\"250\"}\n{\"weight\":\"heavy\"}\n",
     {{0.25}},
     1,
     UP_REFUSED_WORDS,
     1},
    {"JSON with a temperature",
     "layout = json\nload_label = weight\ntemp_label = temperature\nload_unit = kg\n" RATE,
     "{\"temperature\" : 21.5, \"weight\" : 1.5}\n",
     {{1.5}},
     1},
    {"JSON with a time",
     "layout = json\nload_label = grams\ntime_label = ms\ntime_unit = ms\nload_unit = g\n",
     "{\"grams\": 250, \"ms\": 1500}\n{\"grams\": 250, \"ms\": 16{\"grams\": 2, \"ms\": 17}\n",
     {{0.25, 0, 1.5}},
     1,
     UP_REFUSED_NUMBER,
     1},
    {"a mark, milliseconds, number, status, checksum",
     "layout = fields\nseparator = comma\nstarts_with = 1985\ntime_field = 2\ntime_unit = ms\n"
     "load_field = 3\nstatus_field = 4\nstable_words = 0\nover_words = 2\n"
     "checksum = sum8\nchecksum_after = comma\nchecksum_base = decimal\n",
     /* by hand: the bytes of "1985,1000,12.500000,0" add up to 1026 = 4 * 256 + 2 */
     "1985,1000,12.500000,0,2\n1985,1000,12.500000,2,4\n1985,1000,12.500000,0,3\n",
     {{12.5, 0, 1.0}},
     1,
     UP_REFUSED_CHECKSUM,
     1},
    {"an arrow before the number",
     "layout = labels\nload_label = digital reading ->\n" RATE,
     "DIFF_A: -0.02 V (digital reading -> -53159)\n",
     {{-53159}},
     1},
    {"status, gross or net, a sign apart, the unit joined",
     "layout = fields\nseparator = comma\nload_field = 3\nload_unit = printed\nstatus_field = 1\n"
     "stable_words = ST\nunstable_words = US\nover_words = OL\n" RATE,
     "ST,GS,   245.6 g\nUS,NT,-  1.500kg\nOL,GS,\nST,GS, 00254.80 kg\n",
     {{0.2456}, {-1.5, true}, {254.8}},
     3,
     UP_REFUSED_OVER,
     1},
    {"status without a comma before the number",
     "layout = numbers\nload_field = 1\nload_unit = g\nstable_words = ST\nunstable_words = "
     "US\n" RATE,
     "S    20.7g  \r\nST,GS    20.7g  \r\nUS,GS    20.9g  \r\n",
     {{0.0207, true}, {0.0207}, {0.0209, true}},
     3},
    {"a question mark for unstable",
     "layout = numbers\nload_field = 1\nload_unit = kg\nunstable_words = ?\n" RATE,
     "-  1.640 kg    N\n   0.360 kg   ?G\n",
     {{-1.64}, {0.36, true}},
     2},
    {"a mode letter first",
     "layout = numbers\nload_field = 1\nload_unit = g\n" RATE,
     "     N       0.3749 g   \r\n",
     {{0.0003749}},
     1},
    {"answers of two letters",
     "layout = numbers\nload_field = 1\nload_unit = g\nstable_words = S S\nunstable_words = S D\n"
     "over_words = S +\nunder_words = S -\nignore_words = S I\n" RATE,
     "S S     100.00 g\r\nS D    -100.05 g\r\nS I\r\n",
     {{0.1}, {-0.10005, true}},
     2,
     UP_LINE_PASSED,
     1},
    {"answers of two letters, beyond the range",
     "layout = numbers\nload_field = 1\nload_unit = g\nstable_words = S S\nunstable_words = S D\n"
     "over_words = S +\nunder_words = S -\nignore_words = S I\n" RATE,
     "S S     100.00 g\r\nS S -5 g\r\nS -\r\n",
     {{0.1}, {-0.005}},
     2,
     UP_REFUSED_UNDER,
     1},
    {"value, a slash, mode and status letters",
     "layout = numbers\nload_field = 1\nload_unit = kg\nstable_words = S\n" RATE,
     "+007.12/3 G S\n+007.20/3 G\n-7.5/1/2 G S\n",
     {{7.123}, {7.203, true}, {-7.5}},
     3},
    {"a time of day and counts",
     "layout = fields\nseparator = comma\ntime_field = 1\ntime_unit = hh:mm:ss\nload_field = 2\n",
     "13:05:25.129,4711\n13:05:25,4712\n25:05:26.5,4\n13:61:00,4\n13h,4\n",
     {{4711, 0, 47125.129}},
     1,
     UP_REFUSED_NUMBER,
     3 /* and one that ran back */},
    {"a time of day with a comma, decimal commas",
     "layout = fields\nseparator = semicolon\ndecimal = comma\ntime_field = 2\n"
     "time_unit = hh:mm:ss\nload_field = 3\nload_unit = g\n",
     "19.10.2025;13:05:25,5;12,5\n19.10.2025;13:05:26;12,6\n",
     {{0.0125, 0, 47125.5}, {0.0126, 0, 47126}},
     2},
    {"date and time in one column, then what a device sent in quotes",
     "layout = fields\nseparator = comma\ntime_field = 1\ntime_unit = hh:mm:ss\nload_field = 5\n",
     "2025-10-19 13:05:25.129,0.004,\"2.690,2.230,155170\"\n"
     "2025-10-19T13:05:26Z,0.004,\" 2.690,2.230,-155170 \"\n",
     {{155170, 0, 47125.129}, {-155170, 0, 47126}},
     2},
    {"half a day, twice",
     "layout = fields\nseparator = semicolon\ntime_field = 1\ntime_unit = hh:mm:ss\nload_field = "
     "2\n",
     "JAN. 14,2024  12:34AM;1\nJAN. 14,2024  06:34 am;2\nJAN. 14,2024  12:34pm;3\n"
     "JAN. 14,2024  06:34PM;4\n",
     {{1, 0, 2040}, {2, 0, 23640}, {3, 0, 45240}, {4, 0, 66840}},
     4},
    {"a recorder's time, an arrow, the device's line",
     "layout = numbers\ntime_field = 1\ntime_unit = hh:mm:ss\nload_field = 2\nload_unit = g\n",
     "13:05:25.129 -> 12.5 g\n13:05:25.229 -> -0.5 g\n",
     {{0.0125, 0, 47125.129}, {-0.0005, 0, 47125.229}},
     2},
    {"a date, a time, a number; each is one number",
     "layout = numbers\ntime_field = 2\ntime_unit = hh:mm:ss\nload_field = 3\n",
     "[2025-10-19 13:05:25.129] raw 4711\n[10/19/2025 13:05:26] raw 4712\n",
     {{4711, 0, 47125.129}, {4712, 0, 47126}},
     2},
    {"a time behind a label, and in JSON",
     "layout = labels\ntime_label = at\ntime_unit = hh:mm:ss\nload_label = load:\n",
     "at 13:05:25.5 load: 4711\nat noon load: 4711\n",
     {{4711, 0, 47125.5}},
     1,
     UP_REFUSED_NUMBER,
     1},
    {"a time in JSON",
     "layout = json\ntime_label = time\ntime_unit = hh:mm:ss\nload_label = raw\n",
     "{\"time\":\"13:05:25.5\",\"raw\":4711}\n{\"time\":130525,\"raw\":4711}\n",
     {{4711, 0, 47125.5}},
     1,
     UP_REFUSED_NUMBER,
     1},
    {"sixteen characters, the unit only when it stands still",
     "layout = bare\nload_unit = g\nunit_missing = unstable\npoll = \\eP\npoll_end = cr\n" RATE,
     "+    1234.5 g  \r\n-      12.5    \r\n",
     {{1.2345}, {-0.0125, true}},
     2},
    {"a start byte, sign, weight and status letter, an end byte",
     "layout = bare\nload_unit = g\nframe_start = stx\nframe_end = etx\nunstable_words = M\n"
     "over_words = O\nignore_words = E\nstable_words = G, N\n" RATE,
     "\x02 0001234G\x03\r\n\x02-0000012M\x03\x02 9999999O\x03",
     {{1.234}, {-0.012, true}},
     2,
     UP_REFUSED_OVER,
     1},
    {"a start byte and a fixed length",
     "layout = bare\nload_unit = g\nframe_start = stx\nframe_bytes = 9\n" RATE,
     "12\x02 0001234\x02-0000012",
     {{1.234}, {-0.012}},
     2},
    {"status, weight, tare",
     "layout = fields\nseparator = blanks\nload_field = 2\nload_unit = lb\nstatus_field = 1\n"
     "stable_words = 1\nunstable_words = 2\n" RATE,
     "1   44140    00\n2   44150    00\n",
     {{44140 * POUND_KG}, {44150 * POUND_KG, true}},
     2},
    {"two letters, then the number with its unit",
     "layout = bare\nstarts_with = wn\nload_unit = kg\n" RATE,
     "wn  12.34kg\n12.34kg\n",
     {{12.34}},
     1,
     UP_REFUSED_LABEL,
     1},
    {"decimal comma",
     "layout = fields\nseparator = tab\ndecimal = comma\nload_field = 1\nload_unit = N\n" RATE,
     "-9,80665\t0,510153532028198\n",
     {{-1}},
     1},
    {"a key letter a line, of which one counts; lines that end in CR",
     "layout = bare\nstarts_with = A\nother_lines = pass\nload_unit = kg\n" RATE,
     "F      0.0\rA    349.0\rB\xad\x03\r4    343.5\r",
     {{349}},
     1,
     UP_LINE_PASSED,
     3},
    {"text in another encoding, where the rig file allows it",
     "layout = labels\nload_label = Gewicht\nother_bytes = pass\nload_unit = kg\n" RATE,
     "Tank 21 \xb0"
     "C Gewicht: 1.5 kg\nGewicht: 1\xb0"
     "5 kg\n",
     {{1.5}},
     1,
     UP_REFUSED_NUMBER,
     1},
    {"NMEA 0183's check, exclusive or between dollar and star",
     "layout = fields\nseparator = comma\nload_field = 3\nframe_start = dollar\nchecksum = xor8\n"
     "checksum_after = star\n" RATE,
     /* the sentence and its sum stand in many texts on NMEA 0183 (from memory) */
     "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n"
     "$GPGGA,123519,4807.039,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n",
     {{4807.038}},
     1,
     UP_REFUSED_CHECKSUM,
     1},
    {"a checksum that is cut off, of bytes whose sum is nothing",
     "layout = bare\nchecksum = xor8\nchecksum_after = star\n" RATE,
     "12*03\n11*\n",
     {{12}},
     1,
     UP_REFUSED_CHECKSUM,
     1},
    {"a frame whose end was lost before another",
     "layout = bare\nframe_start = star\nframe_end = hash\n" RATE,
     "*12*345#*67#",
     {{345}, {67}},
     2},
    {"a label that ends another word",
     "layout = labels\nload_label = W\n" RATE,
     "LOW 3\nW 4\n",
     {{4}},
     1,
     UP_REFUSED_LABEL,
     1},
    {"G for gross behind a number in kilograms",
     "layout = numbers\nload_field = 1\nload_unit = kg\n" RATE,
     "1.250 G\n0.5 kg G\n",
     {{1.25}, {0.5}},
     2},
    {"a status word that begins another",
     "layout = numbers\nload_field = 1\nunstable_words = US\nover_words = OL\n" RATE,
     "USB 5\nOLD 6\nUS 7\n",
     {{5}, {6}, {7, true}},
     3},
    {"an exponent and its sign",
     "layout = bare\nload_unit = kg\n" RATE,
     "2.5e-1\n2.5E+1\n",
     {{0.25}, {25}},
     2},
    {"a sequence number, one missing, one twice",
     "layout = fields\nseparator = comma\nsequence_field = 1\nsequence_modulus = 100\n"
     "load_field = 2\n" RATE,
     "98,1\n99,2\n1,3\n1,4\n",
     {{1}, {2}, {3}},
     3,
     UP_REFUSED_REPEATED,
     1},
};

static void load_rig(const struct shape *shape, struct up_rig *rig) {
    struct up_failure failure = {0};
    char text[1024];
    snprintf(text, sizeof text, "[rig]\nid = shape\n[sensor]\ndivision_counts = 0.001\n[line]\n%s",
             shape->line_section);
    if (!up_rig_parse(shape->what, text, rig, &failure)) {
        fail_msg("%s: %s", shape->what, failure.text);
    }
}

static void compare(const struct shape *shape, int which, const struct up_sample *sample) {
    const struct good *good = &shape->good[which];
    if (which >= shape->goods || fabs(sample->load[0] - good->load) > 1e-9 ||
        sample->unstable != good->unstable ||
        (good->time_s != 0 && fabs(sample->time_s - good->time_s) > 1e-9)) {
        fail_msg("%s: sample %d is %.12g at %.12g s%s", shape->what, which + 1, sample->load[0],
                 sample->time_s, sample->unstable ? ", unstable" : "");
    }
}

/* `step` bytes at a time: what comes out must not hang on how the bytes came in. */
static void read_shape(const struct shape *shape, size_t step) {
    struct up_rig rig;
    struct up_reader reader;
    int goods = 0;
    size_t size = strlen(shape->bytes);
    load_rig(shape, &rig);
    up_reader_begin(&reader, &rig.line, false);
    for (size_t from = 0; from < size; from += step) {
        const char *bytes = shape->bytes + from;
        size_t length = size - from < step ? size - from : step;
        struct up_sample sample;
        while (up_reader_take(&reader, &bytes, &length, &sample)) {
            compare(shape, goods++, &sample);
        }
    }
    if (goods != shape->goods ||
        (int)reader.count[shape->other] != shape->others + (shape->others == 0) * goods) {
        fail_msg("%s: %d samples, %d lines %s", shape->what, goods, (int)reader.count[shape->other],
                 up_refusal_name(shape->other));
    }
}

static void every_shape_by_its_rig_file(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof shapes / sizeof shapes[0]; i++) {
        read_shape(&shapes[i], 4096);
    }
}

static void in_pieces_of_any_size(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof shapes / sizeof shapes[0]; i++) {
        for (size_t step = 1; step < 12; step++) {
            read_shape(&shapes[i], step);
        }
    }
}

static void count_in(const char *line_section, const char *bytes, struct up_reader *reader,
                     struct up_rig *rig) {
    const struct shape shape = {.what = "counted", .line_section = line_section};
    size_t length = strlen(bytes);
    struct up_sample sample;
    load_rig(&shape, rig);
    up_reader_begin(reader, &rig->line, false);
    while (up_reader_take(reader, &bytes, &length, &sample)) {
    }
}

static void merged_lines_are_named(void **state) {
    struct up_reader reader;
    struct up_rig rig;
    (void)state;
    count_in("layout = fields\nseparator = comma\ncolumns = 3\nload_field = 2\n" RATE,
             "1,2,3\n1,2,31,2,3\n1,2\n", &reader, &rig);
    assert_int_equal(reader.count[UP_REFUSED_MERGED], 1);
    assert_int_equal(reader.count[UP_REFUSED_FIELDS], 1);
    count_in("layout = labels\nload_label = A:\n" RATE, "A: 1\nA: 2A: 3\n", &reader, &rig);
    assert_int_equal(reader.count[UP_REFUSED_MERGED], 1);
}

/* Where the rig file does not say how many columns a line has, the lines themselves do. */
static void merged_lines_are_known_by_the_usual_width(void **state) {
    char bytes[600] = "";
    struct up_reader reader;
    struct up_rig rig;
    (void)state;
    for (int i = 0; i < 25; i++) {
        strcat(bytes, "1,2,3,\n");
    }
    strcat(bytes, "1,2,3,1,2,3,\n1,2,3,4\n");
    count_in("layout = fields\nseparator = comma\nload_field = 2\n" RATE, bytes, &reader, &rig);
    assert_int_equal(reader.count[UP_REFUSED_MERGED], 1);
    assert_int_equal(reader.count[UP_LINE_FITS], 26);
}

static void lost_lines_and_headers_are_counted(void **state) {
    struct up_reader reader;
    struct up_rig rig;
    (void)state;
    count_in("layout = fields\nseparator = comma\nsequence_field = 1\nload_field = 2\n" RATE,
             "Seq,Load\n65534,1\n65535,1\n0,1\n5,1\nSeq,Load\n0,1\n", &reader, &rig);
    assert_int_equal(reader.lost, 4);
    assert_int_equal(reader.count[UP_REFUSED_WORDS], 1);
    assert_int_equal(reader.count[UP_REFUSED_HEADER], 1);
    assert_int_equal(reader.count[UP_LINE_FITS], 5);
}

/* After a break the number of lines is unknown. */
static void a_break_loses_no_count_of_lines(void **state) {
    static const char before[] = "1,1\n2,1\n", after[] = "900,1\n902,1\n";
    struct up_reader reader;
    struct up_rig rig;
    struct up_sample sample;
    const char *bytes = after;
    size_t length = strlen(after);
    (void)state;
    count_in("layout = fields\nseparator = comma\nsequence_field = 1\nload_field = 2\n" RATE,
             before, &reader, &rig);
    up_reader_resume(&reader, false);
    while (up_reader_take(&reader, &bytes, &length, &sample)) {
    }
    assert_int_equal(reader.count[UP_LINE_FITS], 4);
    assert_int_equal(reader.lost, 1);
}

/* The clock goes on over midnight, each night; where it runs back by less the device was reset. */
static void a_day_ends_and_another_begins(void **state) {
    static const char bytes[] = "23:59:59.5,1\n00:00:00.5,2\n00:00:01.5,3\n00:00:00.5,4\n"
                                "00:00:02.5,5\n09:00:00,6\n18:00:00,7\n00:00:00,8\n";
    static const double time_s[] = {86399.5, 86400.5, 86401.5, 86402.5, 118800, 151200, 172800};
    const struct shape shape = {.what = "midnight",
                                .line_section = "layout = fields\nseparator = comma\nload_field = "
                                                "2\ntime_field = 1\ntime_unit = hh:mm:ss\n"};
    const char *at = bytes;
    size_t length = strlen(bytes);
    struct up_rig rig;
    struct up_reader reader;
    struct up_sample sample;
    (void)state;
    load_rig(&shape, &rig);
    up_reader_begin(&reader, &rig.line, false);
    for (int i = 0; i < 7; i++) {
        assert_true(up_reader_take(&reader, &at, &length, &sample));
        assert_true(fabs(sample.time_s - time_s[i]) < 1e-9);
    }
    assert_int_equal(reader.count[UP_REFUSED_TIME], 1);
}

static void the_first_good_lines_can_be_dropped(void **state) {
    struct up_reader reader;
    struct up_rig rig;
    (void)state;
    count_in("layout = bare\ndrop_lines = 3\n" RATE, "1\nhello\n2\n3\n4\n5\n", &reader, &rig);
    assert_int_equal(reader.numbered, 2);
}

/* What a device prints before its first good line does not point to a wrong rig file; never a good
   line does. */
static void a_banner_is_forgiven_and_a_wrong_rig_is_not(void **state) {
    struct up_reader reader;
    struct up_rig rig;
    char bytes[2000] = "";
    (void)state;
    for (int i = 0; i < 30; i++) {
        strcat(bytes, "loading ...\n");
    }
    for (int i = 0; i < 12; i++) {
        strcat(bytes, "5\n");
    }
    count_in("layout = bare\n" RATE, bytes, &reader, &rig);
    assert_false(up_reader_is_mismatched(&reader, 40));
    assert_int_equal(reader.count[UP_REFUSED_WORDS], 30); /* no header: nothing came before */
    count_in("layout = labels\nload_label = weight\n" RATE, bytes, &reader, &rig);
    assert_true(up_reader_is_mismatched(&reader, 40));
}

/* Catalogue of parametrised CRC algorithms, CRC-16/IBM-3740: check 0x29B1 (from memory). */
static void crc_as_published(void **state) {
    (void)state;
    assert_int_equal(up_crc16("123456789", 9), 0x29B1);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_shape_by_its_rig_file),
        cmocka_unit_test(in_pieces_of_any_size),
        cmocka_unit_test(merged_lines_are_named),
        cmocka_unit_test(merged_lines_are_known_by_the_usual_width),
        cmocka_unit_test(lost_lines_and_headers_are_counted),
        cmocka_unit_test(a_break_loses_no_count_of_lines),
        cmocka_unit_test(a_day_ends_and_another_begins),
        cmocka_unit_test(the_first_good_lines_can_be_dropped),
        cmocka_unit_test(a_banner_is_forgiven_and_a_wrong_rig_is_not),
        cmocka_unit_test(crc_as_published),
    };
    return cmocka_run_group_tests_name("shapes", tests, NULL, NULL);
}
