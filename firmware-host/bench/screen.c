/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "upthrust/bench.h"
#include "upthrust/statistics.h"

enum { HALF = UP_SCREEN_SPAN / 2, FIRST_FLOOR = 16, FLOOR_EVERY = 16 };
static const double THRESHOLD = 8;

/* For a constant stream: the scatter that rounding to a division alone gives, division/sqrt(12). */
static const double DIVISION_FLOOR = 0.288675134594813;

const char *up_verdict_name(enum up_verdict verdict) {
    static const char *const names[UP_VERDICTS] = {
        [UP_READING_GOOD] = "good",         [UP_READING_BIT_SLIP] = "bit slip",
        [UP_READING_ALL_ONES] = "all ones", [UP_READING_SATURATED] = "saturated",
        [UP_READING_JUMP] = "jump",
    };
    return names[verdict];
}

void up_screen_begin(struct up_screen *screen, int word_bits, double division) {
    memset(screen, 0, sizeof *screen);
    screen->word_bits = word_bits;
    screen->floor_least = division * DIVISION_FLOOR;
    screen->noise_floor = (double)NAN;
}

void up_screen_restart(struct up_screen *screen) {
    screen->held = screen->judged = 0;
    screen->has_last = false;
}

static void learn_floor(struct up_screen *screen, double load) {
    double copy[UP_SCREEN_MEMORY];
    size_t known;
    if (!screen->has_last) {
        screen->has_last = true;
        screen->last_load = load;
        return;
    }
    screen->difference[screen->differences++ % UP_SCREEN_MEMORY] = fabs(load - screen->last_load);
    screen->last_load = load;
    if (screen->differences < FIRST_FLOOR || screen->differences % FLOOR_EVERY != 0) {
        return;
    }
    known = screen->differences < UP_SCREEN_MEMORY ? screen->differences : UP_SCREEN_MEMORY;
    memcpy(copy, screen->difference, known * sizeof copy[0]);
    screen->noise_floor = fmax(screen->floor_least, 1.4826 * up_median(copy, known) / sqrt(2));
}

/* ---- what kind of glitch ---- */

static bool is_ones(double word, int bits) {
    return word == -1 || word == ldexp(1, bits - 2) - 1 || word == ldexp(1, bits - 3) - 1 ||
           word == ldexp(1, bits - 4) - 1;
}

static double sign_extended(uint64_t word, int bits) {
    uint64_t sign = (uint64_t)1 << (bits - 1);
    return (word & sign) != 0 ? (double)word - ldexp(1, bits) : (double)word;
}

/* The read began k bits early: the data line, still high, gave the first bits, and the word
   followed it k places lower. */
static bool is_bit_slip(double word, double expected, double slack, int bits) {
    uint64_t mask = ((uint64_t)1 << bits) - 1;
    uint64_t raw = (uint64_t)(int64_t)llround(expected) & mask;
    for (int k = 1; k <= 2; k++) {
        uint64_t slipped = ((uint64_t)1 << (bits - 1)) | (raw >> k);
        if (fabs(sign_extended(slipped, bits) - word) <= slack / ldexp(1, k) + 1) {
            return true;
        }
    }
    return false;
}

static enum up_verdict name_glitch(const struct up_screen *screen, double load, double expected,
                                   double slack) {
    int bits = screen->word_bits;
    if (bits == 0) {
        return UP_READING_JUMP;
    }
    if (load == ldexp(1, bits - 1) - 1 || load == -ldexp(1, bits - 1)) {
        return UP_READING_SATURATED;
    }
    if (is_bit_slip(load, expected, slack, bits)) {
        return UP_READING_BIT_SLIP;
    }
    return is_ones(load, bits) ? UP_READING_ALL_ONES : UP_READING_JUMP;
}

/* ---- the test ---- */

static double span_median(const struct up_screen *screen, double about, bool deviations) {
    double value[UP_SCREEN_SPAN];
    for (int i = 0; i < screen->held; i++) {
        double load = screen->span[i].load;
        value[i] = deviations ? fabs(load - about) : load;
    }
    return up_median(value, (size_t)screen->held);
}

static void judge(struct up_screen *screen, int which, struct up_reading *judged) {
    struct up_reading *reading = &screen->span[which];
    double centre = span_median(screen, 0, false);
    double scatter = 1.4826 * span_median(screen, centre, true);
    double floor = isnan(screen->noise_floor) ? scatter : fmax(screen->noise_floor, scatter);
    double limit = THRESHOLD * fmax(floor, screen->floor_least);
    if (fabs(reading->load - centre) > limit) {
        reading->verdict = name_glitch(screen, reading->load, centre, limit);
    } else if (screen->word_bits > 0 && (reading->load == ldexp(1, screen->word_bits - 1) - 1 ||
                                         reading->load == -ldexp(1, screen->word_bits - 1))) {
        reading->verdict =
            UP_READING_SATURATED; /* a whole run of them has no neighbours to differ from */
    }
    if (reading->verdict == UP_READING_GOOD) {
        learn_floor(screen, reading->load);
    }
    screen->count[reading->verdict]++;
    *judged = *reading;
}

bool up_screen_push(struct up_screen *screen, double time_s, double load, double temp_c,
                    struct up_reading *judged) {
    if (screen->held == UP_SCREEN_SPAN) {
        memmove(screen->span, screen->span + 1, (UP_SCREEN_SPAN - 1) * sizeof screen->span[0]);
        screen->held--;
        screen->judged--;
    }
    screen->span[screen->held++] = (struct up_reading){time_s, load, temp_c, UP_READING_GOOD};
    if (screen->held - screen->judged <= HALF) {
        return false;
    }
    judge(screen, screen->judged++, judged);
    return true;
}

bool up_screen_flush(struct up_screen *screen, struct up_reading *judged) {
    if (screen->judged >= screen->held) {
        return false;
    }
    judge(screen, screen->judged++, judged);
    return true;
}
