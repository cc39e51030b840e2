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
    const struct CMUnitTest tests[] = {cmocka_unit_test(the_extremes_come_through),
                                       cmocka_unit_test(no_single_wrong_bit_passes)};
    return cmocka_run_group_tests_name("numbered line", tests, load_rig, NULL);
}
