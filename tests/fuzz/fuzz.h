/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What must hold whatever comes, for the fuzz targets. */
#ifndef FUZZ_H
#define FUZZ_H

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "upthrust/wire.h"

#define must(holds)                                                                                \
    do {                                                                                           \
        if (!(holds)) {                                                                            \
            fprintf(stderr, "%s:%d: does not hold: %s\n", __FILE__, __LINE__, #holds);             \
            abort();                                                                               \
        }                                                                                          \
    } while (0)

struct tally {
    uint64_t samples, lines, counted;
    double sum;
};

static inline struct tally read_in_steps(const struct up_line_rule *rule, const char *bytes,
                                         size_t size, size_t step) {
    struct tally tally = {0};
    struct up_reader *reader = malloc(sizeof *reader);
    double last_s = (double)-INFINITY;
    must(reader != NULL);
    up_reader_begin(reader, rule, false);
    for (size_t from = 0; from < size; from += step) {
        const char *at = bytes + from;
        size_t length = size - from < step ? size - from : step;
        struct up_sample sample;
        while (up_reader_take(reader, &at, &length, &sample)) {
            must(sample.loads == rule->loads && isfinite(sample.load[0]));
            must(isfinite(sample.time_s) && sample.time_s >= last_s);
            must(sample.offset < size && sample.number == tally.samples);
            last_s = sample.time_s;
            tally.samples++;
            tally.sum += fabs(sample.load[0]) / (1 + fabs(sample.load[0]));
        }
    }
    up_reader_end(reader);
    for (int i = 0; i < UP_REFUSALS; i++) {
        tally.counted += reader->count[i];
    }
    tally.lines = reader->lines;
    must(tally.lines == tally.counted); /* each line is counted once */
    free(reader);
    return tally;
}

/* What comes out must not hang on how the bytes came in. */
static inline void read_both_ways(const struct up_line_rule *rule, const char *bytes, size_t size) {
    struct tally whole = read_in_steps(rule, bytes, size, size > 0 ? size : 1);
    struct tally pieces = read_in_steps(rule, bytes, size, 1);
    must(whole.samples == pieces.samples && whole.lines == pieces.lines);
    must(whole.sum == pieces.sum);
}

#endif
