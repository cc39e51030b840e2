/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the firmware's side writes, the rig file beside it reads; a damaged line never passes. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "embedded.h"
#include "numbered_line.h"
#include "upthrust/rig.h"
#include "upthrust/wire.h"
#include "wire/guess.h"

static struct up_rig rig;

static int load_rig(void **state) {
    struct up_failure failure = {0};
    (void)state;
    return up_rig_parse("numbered-line.ini", embedded_numbered_line_ini, &rig, &failure) ? 0 : -1;
}

struct reading {
    uint16_t sequence;
    uint32_t time_ms;
    int32_t counts;
    int16_t temp_centi_c;
};

static bool read_back(const char *line, size_t length, struct up_sample *sample) {
    struct up_reader reader;
    up_reader_begin(&reader, &rig.line, false);
    return up_reader_take(&reader, &line, &length, sample);
}

static void the_extremes_come_through(void **state) {
    static const struct reading readings[] = {{0, 0, 0, 0},
                                              {65535, 4294967295u, 8388607, 5999},
                                              {41, 4100, -8388608, -499},
                                              {9, 1, -1, -1}};
    (void)state;
    for (size_t i = 0; i < sizeof readings / sizeof readings[0]; i++) {
        const struct reading *reading = &readings[i];
        char line[NUMBERED_LINE_SIZE];
        struct up_sample sample;
        size_t length = numbered_line(line, reading->sequence, reading->time_ms, reading->counts,
                                      reading->temp_centi_c);
        assert_in_range(length, 1, NUMBERED_LINE_SIZE - 1);
        assert_int_equal(strlen(line), length);
        assert_true(read_back(line, length, &sample));
        assert_true(sample.load[0] == reading->counts);
        assert_true(fabs(sample.time_s - reading->time_ms * 1e-3) < 1e-9);
        assert_true(fabs(sample.temp_c - reading->temp_centi_c * 1e-2) < 1e-9);
        assert_true(sample.sequence == reading->sequence);
    }
}

/* A thermometer that says nothing leaves its column empty: the load is as good as ever. */
static void no_temperature_is_none(void **state) {
    char line[NUMBERED_LINE_SIZE];
    struct up_sample sample;
    (void)state;
    size_t length = numbered_line(line, 41, 4100, -81234, NUMBERED_LINE_NO_TEMP);
    assert_non_null(strstr(line, "-81234,*"));
    assert_true(read_back(line, length, &sample));
    assert_true(sample.load[0] == -81234 && isnan(sample.temp_c));
}

static size_t note(char *line, const char *text) {
    memcpy(line, text, strlen(text));
    return numbered_line_seal(line, line + strlen(text));
}

/* Lines of words are named, none of them refused; said again they are kept once, but each
   beginning is another one; a damaged one is refused as any line. */
static void words_of_the_device_are_kept(void **state) {
    static const char *const texts[] = {"#start a=1", "#start a=1", "#thermometer absent",
                                        "#thermometer absent", "#thermometer ok"};
    char line[64];
    struct up_reader reader;
    struct up_sample sample;
    (void)state;
    up_reader_begin(&reader, &rig.line, false);
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        const char *at = line;
        size_t length = note(line, texts[i]);
        assert_false(up_reader_take(&reader, &at, &length, &sample));
    }
    assert_int_equal(reader.count[UP_LINE_NOTE], 5);
    assert_int_equal(up_reader_refused(&reader), 0);
    assert_int_equal(reader.notes, 4);
    assert_string_equal(reader.note[0], "start a=1");
    assert_string_equal(reader.note[2], "thermometer absent");
    assert_string_equal(reader.note[3], "thermometer ok");
    const char *at = line;
    size_t length = note(line, "#thermometer ok");
    line[3] ^= 1;
    assert_false(up_reader_take(&reader, &at, &length, &sample));
    assert_int_equal(reader.count[UP_REFUSED_CHECKSUM], 1);
}

/* What a board sends is known by its checksums, whole, and by its start line by name. */
static void a_board_is_known(void **state) {
    static char bytes[4096];
    struct up_guess guess;
    struct up_failure failure = {0};
    struct up_rig found;
    (void)state;
    size_t length = note(bytes, "#start upthrust-board version=1");
    for (uint16_t i = 0; i < 40; i++) {
        int16_t centi_c = i % 3 == 0 ? NUMBERED_LINE_NO_TEMP : 2150;
        length += numbered_line(bytes + length, i, 100u * i, 8000 + i, centi_c);
    }
    assert_true(up_guess_layout(bytes, length, (double)NAN, &guess, &failure));
    assert_string_equal(guess.words, "numbered lines with a checksum, of upthrust-board version=1");
    assert_int_equal(guess.fits, 40);
    char text[2048];
    snprintf(text, sizeof text, "[rig]\nid = x\n%s", guess.line_section);
    assert_true(up_rig_parse("x", text, &found, &failure));
    assert_true(found.line.note_mark == '#' && found.line.word_bits == 24 &&
                found.line.checksum == UP_CHECKSUM_CRC16 && found.line.temp.field == 4 &&
                found.line.sequence.field == 1 && found.u_thermometer_k == 0.3);
}

/* A CRC of 16 bits finds every error of one bit, and every burst of up to 16 (theory of cyclic
   codes). The bits that make an end of line of a byte are left out: they make two lines. */
static void no_single_wrong_bit_passes(void **state) {
    char line[NUMBERED_LINE_SIZE];
    size_t length = numbered_line(line, 41, 4100, -81234, 2150) - 2;
    int tried = 0;
    (void)state;
    for (size_t i = 0; i < length * 8; i++) {
        char damaged[NUMBERED_LINE_SIZE];
        struct up_sample sample;
        memcpy(damaged, line, sizeof damaged);
        damaged[i / 8] = (char)(damaged[i / 8] ^ (1 << (i % 8)));
        if (damaged[i / 8] == '\n' || damaged[i / 8] == '\r') {
            continue;
        }
        tried++;
        if (read_back(damaged, length + 2, &sample)) {
            /* hex digits may be written small: the same line, not a damaged one */
            assert_true(sample.load[0] == -81234 && sample.sequence == 41);
            assert_true(i / 8 > length - 5 && i % 8 == 5);
        }
    }
    assert_true(tried > 150);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_extremes_come_through), cmocka_unit_test(no_temperature_is_none),
        cmocka_unit_test(words_of_the_device_are_kept), cmocka_unit_test(a_board_is_known),
        cmocka_unit_test(no_single_wrong_bit_passes)};
    return cmocka_run_group_tests_name("numbered line", tests, load_rig, NULL);
}
