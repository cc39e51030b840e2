/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "bench/glitch_filter.h"
#include "metrology/statistics.h"

enum { HALF = UP_GLITCH_SPAN / 2, FIRST_FLOOR = 16, FLOOR_EVERY = 16 };
enum { RING_MASK = UP_GLITCH_RING - 1, FINE_BITS = 20 };
enum { NOISY_RUN = 12, STILL_RUN = 32 };
static const double THRESHOLD = 8, NOISY_DIVISIONS = 3, NEAR = 0.2;

/* For a constant stream: the scatter that rounding to a division alone gives, division/sqrt(12). */
static const double DIVISION_FLOOR = 0.288675134594813;

const char *up_verdict_name(enum up_verdict verdict) {
    static const char *const names[UP_VERDICTS] = {
        [UP_READING_GOOD] = "good",         [UP_READING_BIT_SLIP] = "bit slip",
        [UP_READING_ALL_ONES] = "all ones", [UP_READING_SATURATED] = "saturated",
        [UP_READING_JUMP] = "jump",         [UP_READING_STUCK] = "stuck",
        [UP_READING_OVERLOAD] = "overload",
    };
    return names[verdict];
}

/* ---- the noise floor, and the limits that hang on it ---- */

/* So many equal words in a row are no chance; 0 where any number may be. */
static unsigned stuck_from(const struct up_glitch_filter *screen) {
    double division = screen->floor_least / DIVISION_FLOOR;
    if (screen->word_bits == 0) {
        return 0;
    }
    if (screen->noise_floor >= NOISY_DIVISIONS * division) {
        return NOISY_RUN;
    }
    return ldexp(1, screen->word_bits) >= ldexp(division, FINE_BITS) ? STILL_RUN : 0;
}

static void set_limits(struct up_glitch_filter *screen) {
    double floor = isnan(screen->noise_floor) ? 0 : screen->noise_floor;
    screen->company = THRESHOLD * fmax(floor, screen->floor_least);
    screen->stuck_from = stuck_from(screen);
}

/* Of a full memory those near the last median are kept apart and in order, and the smaller ones
   counted: so the next median takes a few steps, and is exact. */
static void note(struct up_glitch_filter *screen, double difference) {
    bool below = difference < screen->near_low, within = difference <= screen->near_high;
    /* Kept or overwritten by the next: chance decides, so a branch would often be guessed wrong.
       There is room: one has left the memory before. */
    screen->near[screen->nears] = difference;
    screen->nears += !below && within;
    screen->below += below;
}

static void unnote(struct up_glitch_filter *screen, double difference) {
    bool below = difference < screen->near_low, within = difference <= screen->near_high;
    screen->below -= below;
    if (!below && within) {
        size_t at = 0;
        while (screen->near[at] != difference) {
            at++;
        }
        screen->nears--;
        memmove(screen->near + at, screen->near + at + 1,
                (screen->nears - at) * sizeof screen->near[0]);
    }
}

static double median_difference(struct up_glitch_filter *screen) {
    const size_t middle = UP_GLITCH_MEMORY / 2;
    double copy[UP_GLITCH_MEMORY];
    double median = 0;
    if (screen->noting) {
        up_sort(screen->near, screen->nears);
        if (screen->below < middle && screen->below + screen->nears > middle) {
            const double *pair = &screen->near[middle - 1 - screen->below];
            return 0.5 * (pair[0] + pair[1]);
        }
    }
    for (size_t i = 0; i < screen->known; i++) {
        copy[i] = screen->difference[(screen->differences - 1 - i) % UP_GLITCH_MEMORY];
    }
    median = up_median(copy, screen->known);
    screen->noting = screen->known == UP_GLITCH_MEMORY;
    screen->nears = screen->below = 0;
    screen->near_low = (1 - NEAR) * median;
    screen->near_high = (1 + NEAR) * median;
    for (size_t i = 0; screen->noting && i < UP_GLITCH_MEMORY; i++) {
        note(screen, screen->difference[i]);
    }
    return median;
}

static void learn_floor(struct up_glitch_filter *screen, double difference) {
    double *slot = &screen->difference[screen->differences++ % UP_GLITCH_MEMORY];
    if (screen->noting) {
        unnote(screen, *slot);
        note(screen, difference);
    }
    *slot = difference;
    screen->known += screen->known < UP_GLITCH_MEMORY;
    if (screen->known >= FIRST_FLOOR && screen->differences % FLOOR_EVERY == 0) {
        double median = median_difference(screen);
        screen->noise_floor = fmax(screen->floor_least, 1.4826 * median / sqrt(2));
        set_limits(screen);
    }
}

/* What a run of stuck words taught, before it was known as one, says nothing of the noise. */
static void forget(struct up_glitch_filter *screen, size_t count) {
    count = count < screen->known ? count : screen->known;
    screen->differences -= count;
    screen->known -= count;
    screen->noting = screen->noting && count == 0;
    if (screen->known < FIRST_FLOOR) {
        screen->noise_floor = (double)NAN;
    }
    set_limits(screen);
}

/* ---- begin ---- */

void up_glitch_filter_begin(struct up_glitch_filter *screen, int word_bits, double division) {
    memset(screen, 0, sizeof *screen);
    screen->word_bits = word_bits;
    screen->floor_least = division * DIVISION_FLOOR;
    screen->most = (double)INFINITY;
    screen->odd_from = word_bits > 0 ? ldexp(1, word_bits - 4) - 1 : (double)INFINITY;
    screen->noise_floor = (double)NAN;
    screen->last_load = (double)NAN;
    for (int i = 0; i < UP_GLITCH_RING; i++) {
        screen->load[i] = (double)NAN;
    }
    set_limits(screen);
}

void up_glitch_filter_restart(struct up_glitch_filter *screen) {
    for (int i = 0; i < UP_GLITCH_RING; i++) {
        screen->load[i] = (double)NAN;
    }
    screen->judged = screen->pushed;
    screen->last_load = (double)NAN;
    screen->run = 0;
    screen->run_told = false;
}

void up_glitch_filter_set_limit(struct up_glitch_filter *screen, double most) {
    screen->most = most;
}

/* ---- what kind of glitch ---- */

static bool is_ones(double word, int bits) {
    return word == -1 || word == ldexp(1, bits) - 1 || word == ldexp(1, bits - 2) - 1 ||
           word == ldexp(1, bits - 3) - 1 || word == ldexp(1, bits - 4) - 1;
}

static bool is_saturated(double word, int bits) {
    return word == ldexp(1, bits - 1) - 1 || word == -ldexp(1, bits - 1);
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

static enum up_verdict name_glitch(const struct up_glitch_filter *screen, double load,
                                   double expected, double slack) {
    int bits = screen->word_bits;
    if (bits == 0) {
        return UP_READING_JUMP;
    }
    if (is_saturated(load, bits)) {
        return UP_READING_SATURATED;
    }
    if (is_bit_slip(load, expected, slack, bits)) {
        return UP_READING_BIT_SLIP;
    }
    return is_ones(load, bits) ? UP_READING_ALL_ONES : UP_READING_JUMP;
}

/* ---- runs of one word ---- */

bool up_glitch_filter_may_be_stuck(const struct up_glitch_filter *screen, double *start_s) {
    *start_s = screen->run_start_s;
    return screen->run > 1 && !screen->run_told && screen->stuck_from > 0;
}

static unsigned same_in_span(const struct up_glitch_filter *screen, double load) {
    unsigned same = 0;
    for (int i = 0; i < UP_GLITCH_RING; i++) {
        same += screen->load[i] == load;
    }
    return same;
}

/* A good reading: does it repeat the ones before? Else it teaches the noise floor. */
static void follow_run(struct up_glitch_filter *screen, struct up_reading *reading) {
    double difference = fabs(reading->load - screen->last_load);
    screen->last_load = reading->load;
    if (difference == 0) {
        unsigned limit = screen->stuck_from;
        screen->run++;
        if (screen->run_told || (limit > 0 && screen->run >= limit)) {
            reading->verdict = UP_READING_STUCK;
            reading->back = screen->run_told ? 0 : screen->run - 1;
            screen->run_told = true;
            forget(screen, reading->back > 0 ? reading->back - 1 : 0);
            return;
        }
    } else {
        screen->run = 1;
        screen->run_told = false;
        screen->run_start_s = reading->time_s;
    }
    if (!isnan(difference)) {
        learn_floor(screen, difference);
    }
}

/* ---- the test ---- */

static double span_median(const struct up_glitch_filter *screen, double about, bool deviations) {
    double value[UP_GLITCH_RING];
    size_t held = 0;
    for (int i = 0; i < UP_GLITCH_RING; i++) {
        double load = screen->load[i];
        if (!isnan(load)) {
            value[held++] = deviations ? fabs(load - about) : load;
        }
    }
    return up_median(value, held);
}

/* True where the reading is surely no glitch: it lies within the least limit of four of the seven,
   so of their median too. Itself and those after it are asked first and mostly enough. */
static bool has_company(const struct up_glitch_filter *screen, double load) {
    double limit = screen->company;
    uint64_t near = 0;
    for (uint64_t i = 0; i < UP_GLITCH_RING && near <= HALF; i++) {
        near += fabs(screen->load[(screen->judged - 1 + i) & RING_MASK] - load) <= limit;
    }
    return near > HALF;
}

static enum up_verdict test_alone(const struct up_glitch_filter *screen, double load) {
    double centre = span_median(screen, 0, false);
    double scatter = 1.4826 * span_median(screen, centre, true);
    double floor = isnan(screen->noise_floor) ? scatter : fmax(screen->noise_floor, scatter);
    double limit = THRESHOLD * fmax(floor, screen->floor_least);
    return fabs(load - centre) > limit ? name_glitch(screen, load, centre, limit) : UP_READING_GOOD;
}

/* A dead converter's words agree among themselves. Words of all ones are named where they are most
   of the span and the load was not there before. */
static bool is_dead(const struct up_glitch_filter *screen, double load) {
    bool near_last = fabs(load - screen->last_load) <= THRESHOLD * screen->noise_floor;
    return is_ones(load, screen->word_bits) && !near_last && screen->stuck_from > 0 &&
           same_in_span(screen, load) > HALF;
}

static enum up_verdict test_word(const struct up_glitch_filter *screen, double load) {
    bool may_be_odd = load == -1 || fabs(load) >= screen->odd_from;
    if (!may_be_odd) {
        return fabs(load) > screen->most ? UP_READING_OVERLOAD : UP_READING_GOOD;
    }
    if (screen->word_bits > 0 && is_saturated(load, screen->word_bits)) {
        return UP_READING_SATURATED;
    }
    if (screen->word_bits > 0 && is_dead(screen, load)) {
        return UP_READING_ALL_ONES;
    }
    return fabs(load) > screen->most ? UP_READING_OVERLOAD : UP_READING_GOOD;
}

static void judge(struct up_glitch_filter *screen, struct up_reading *judged) {
    *judged = screen->ring[screen->judged++ & RING_MASK];
    if (!has_company(screen, judged->load)) {
        judged->verdict = test_alone(screen, judged->load);
    }
    if (judged->verdict == UP_READING_GOOD) {
        judged->verdict = test_word(screen, judged->load);
    }
    if (judged->verdict == UP_READING_GOOD) {
        follow_run(screen, judged);
    }
    screen->count[UP_READING_GOOD] -= judged->back;
    screen->count[judged->verdict] += judged->back + 1;
}

bool up_glitch_filter_push(struct up_glitch_filter *screen, double time_s, double load,
                           double temp_c, struct up_reading *judged) {
    size_t slot = screen->pushed++ & RING_MASK;
    screen->ring[slot] = (struct up_reading){time_s, load, temp_c, UP_READING_GOOD, false, 0};
    screen->load[slot] = load;
    screen->load[screen->pushed & RING_MASK] = (double)NAN; /* the eighth */
    if (screen->pushed - screen->judged <= HALF) {
        return false;
    }
    judge(screen, judged);
    return true;
}

void up_glitch_filter_mark_unstable(struct up_glitch_filter *screen) {
    screen->ring[(screen->pushed - 1) & RING_MASK].unstable = true;
}

bool up_glitch_filter_flush(struct up_glitch_filter *screen, struct up_reading *judged) {
    if (screen->judged >= screen->pushed) {
        return false;
    }
    judge(screen, judged);
    return true;
}
