/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "metrology/statistics.h"
#include "stream/glitch_filter.h"

enum { HALF = UP_GLITCH_SPAN / 2, RING_MASK = UP_GLITCH_RING - 1, FINE_BITS = 20 };
enum { NOISY_RUN = 12, STILL_RUN = 32 };
static const double THRESHOLD = 8, NOISY_DIVISIONS = 3;

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

/* ---- the limits that depend on the noise floor ---- */

/* The number of equal words in a row that chance does not explain; 0 where any number may occur. */
static unsigned stuck_from(const struct up_glitch_filter *filter) {
    double division = filter->repeats.division;
    if (filter->word_bits == 0) {
        return 0;
    }
    if (filter->noise.floor >= NOISY_DIVISIONS * division) {
        return NOISY_RUN;
    }
    return ldexp(1, filter->word_bits) >= ldexp(division, FINE_BITS) ? STILL_RUN : 0;
}

static void set_limits(struct up_glitch_filter *filter) {
    double floor = isnan(filter->noise.floor) ? 0 : filter->noise.floor;
    filter->near_limit = THRESHOLD * fmax(floor, filter->noise.floor_least);
    filter->stuck_from = stuck_from(filter);
}

/* ---- begin ---- */

void up_glitch_filter_begin(struct up_glitch_filter *filter, int word_bits, double division) {
    memset(filter, 0, sizeof *filter);
    filter->word_bits = word_bits;
    filter->most = (double)INFINITY;
    filter->odd_from = word_bits > 0 ? ldexp(1, word_bits - 4) - 1 : (double)INFINITY;
    noise_begin(&filter->noise, division * DIVISION_FLOOR);
    repeats_begin(&filter->repeats, division);
    filter->last_load = (double)NAN;
    for (int i = 0; i < UP_GLITCH_RING; i++) {
        filter->load[i] = (double)NAN;
    }
    set_limits(filter);
}

void up_glitch_filter_restart(struct up_glitch_filter *filter) {
    for (int i = 0; i < UP_GLITCH_RING; i++) {
        filter->load[i] = (double)NAN;
    }
    filter->judged = filter->pushed;
    filter->last_load = (double)NAN;
    filter->run = 0;
    filter->run_verdict = UP_READING_GOOD;
}

void up_glitch_filter_set_limit(struct up_glitch_filter *filter, double most) {
    filter->most = most;
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

static enum up_verdict name_glitch(const struct up_glitch_filter *filter, double load,
                                   double expected, double slack) {
    int bits = filter->word_bits;
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

bool up_glitch_filter_may_be_stuck(const struct up_glitch_filter *filter, double *start_s) {
    *start_s = filter->run_start_s;
    return filter->run > 1 && filter->run_verdict == UP_READING_GOOD && filter->stuck_from > 0;
}

static unsigned same_in_span(const struct up_glitch_filter *filter, double load) {
    unsigned same = 0;
    for (int i = 0; i < UP_GLITCH_RING; i++) {
        same += filter->load[i] == load;
    }
    return same;
}

static bool is_too_long(const struct up_glitch_filter *filter) {
    unsigned limit = filter->stuck_from, longest = 2 * repeats_longest(&filter->repeats);
    return limit > 0 && filter->run >= (limit > longest ? limit : longest);
}

/* A good reading: does it repeat those before? Else it teaches the noise floor. */
static void track_run(struct up_glitch_filter *filter, struct up_reading *reading) {
    bool repeats = reading->load == filter->last_load;
    filter->last_load = reading->load;
    if (!repeats) {
        filter->run = 0;
        filter->run_verdict = UP_READING_GOOD;
        filter->run_start_s = reading->time_s;
    }
    filter->run++;
    bool was_good = filter->run_verdict == UP_READING_GOOD;
    if (was_good && is_too_long(filter)) {
        filter->run_verdict = UP_READING_STUCK;
    }
    if (filter->run_verdict != UP_READING_GOOD) {
        reading->verdict = filter->run_verdict;
        reading->back = was_good || filter->condemned ? filter->run - 1 : 0;
        filter->condemned = false;
        noise_forget_since(&filter->noise, filter->run_start_s);
        set_limits(filter);
    } else if (noise_learn(&filter->noise, reading->time_s, reading->load)) {
        set_limits(filter);
    }
}

/* ---- the test ---- */

static double span_median(const struct up_glitch_filter *filter, double about, bool deviations) {
    double value[UP_GLITCH_RING];
    size_t held = 0;
    for (int i = 0; i < UP_GLITCH_RING; i++) {
        double load = filter->load[i];
        if (!isnan(load)) {
            value[held++] = deviations ? fabs(load - about) : load;
        }
    }
    return up_median(value, held);
}

/* True where the reading is surely no glitch: it lies within the least limit of four of the seven,
   so of their median too. Itself and those after it are asked first and mostly enough. */
static bool is_near_most(const struct up_glitch_filter *filter, double load) {
    double limit = filter->near_limit;
    uint64_t near = 0;
    for (uint64_t i = 0; i < UP_GLITCH_RING && near <= HALF; i++) {
        near += fabs(filter->load[(filter->judged - 1 + i) & RING_MASK] - load) <= limit;
    }
    return near > HALF;
}

static enum up_verdict test_alone(const struct up_glitch_filter *filter, double load) {
    double centre = span_median(filter, 0, false);
    double scatter = 1.4826 * span_median(filter, centre, true);
    double floor = isnan(filter->noise.floor) ? scatter : fmax(filter->noise.floor, scatter);
    double limit = THRESHOLD * fmax(floor, filter->noise.floor_least);
    return fabs(load - centre) > limit ? name_glitch(filter, load, centre, limit) : UP_READING_GOOD;
}

/* The words of a dead converter are all alike. Words of all ones are named where they are most of
   the span and the load was not there before. */
static bool is_dead_converter(const struct up_glitch_filter *filter, double load) {
    bool near_last = fabs(load - filter->last_load) <= THRESHOLD * filter->noise.floor;
    return is_ones(load, filter->word_bits) && !near_last && filter->stuck_from > 0 &&
           same_in_span(filter, load) > HALF;
}

static enum up_verdict test_word(const struct up_glitch_filter *filter, double load) {
    bool may_be_odd = load == -1 || fabs(load) >= filter->odd_from;
    if (!may_be_odd) {
        return fabs(load) > filter->most ? UP_READING_OVERLOAD : UP_READING_GOOD;
    }
    if (filter->word_bits > 0 && is_saturated(load, filter->word_bits)) {
        return UP_READING_SATURATED;
    }
    if (filter->word_bits > 0 && is_dead_converter(filter, load)) {
        return UP_READING_ALL_ONES;
    }
    return fabs(load) > filter->most ? UP_READING_OVERLOAD : UP_READING_GOOD;
}

static void judge(struct up_glitch_filter *filter, struct up_reading *judged) {
    *judged = filter->ring[filter->judged++ & RING_MASK];
    if (!is_near_most(filter, judged->load)) {
        judged->verdict = test_alone(filter, judged->load);
    }
    if (judged->verdict == UP_READING_GOOD) {
        judged->verdict = test_word(filter, judged->load);
    }
    if (judged->verdict == UP_READING_GOOD) {
        track_run(filter, judged);
    }
    filter->count[UP_READING_GOOD] -= judged->back;
    filter->count[judged->verdict] += judged->back + 1;
}

/* Where a device prints each conversion several times, differences between lines say nothing. */
static bool is_conversion(struct up_glitch_filter *filter, double load) {
    bool single = filter->repeats.most == 1;
    bool taken = repeats_take(&filter->repeats, load);
    if (single && filter->repeats.most > 1) {
        noise_begin(&filter->noise, filter->noise.floor_least);
        filter->run = 1;
        set_limits(filter);
    }
    return taken;
}

bool up_glitch_filter_push(struct up_glitch_filter *filter, double time_s, double load,
                           double temp_c, struct up_reading *judged) {
    if (!is_conversion(filter, load)) {
        return false;
    }
    size_t slot = filter->pushed++ & RING_MASK;
    filter->ring[slot] = (struct up_reading){time_s, load, temp_c, UP_READING_GOOD, false, 0};
    filter->load[slot] = load;
    filter->load[filter->pushed & RING_MASK] = (double)NAN; /* the eighth */
    if (filter->pushed - filter->judged <= HALF) {
        return false;
    }
    judge(filter, judged);
    return true;
}

bool up_glitch_filter_condemn(struct up_glitch_filter *filter) {
    bool one_word = filter->run >= NOISY_RUN && filter->last_load == filter->repeats.word;
    if (one_word) {
        filter->condemned = filter->run_verdict == UP_READING_GOOD;
        filter->run_verdict = UP_READING_SATURATED;
    }
    return one_word;
}

void up_glitch_filter_mark_unstable(struct up_glitch_filter *filter) {
    filter->ring[(filter->pushed - 1) & RING_MASK].unstable = true;
}

bool up_glitch_filter_flush(struct up_glitch_filter *filter, struct up_reading *judged) {
    if (filter->judged >= filter->pushed) {
        return false;
    }
    judge(filter, judged);
    return true;
}
