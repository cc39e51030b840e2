/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From samples to readings and plateaus.
 */
#ifndef UPTHRUST_BENCH_H
#define UPTHRUST_BENCH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* ---- the glitch test: on single raw readings, before any averaging ---- */

enum up_verdict {
    UP_READING_GOOD,
    UP_READING_BIT_SLIP, /* 0x800000 | (word >> k): the read began before the data was ready */
    UP_READING_ALL_ONES, /* all bits one, or 2^n - 1 */
    UP_READING_SATURATED,
    UP_READING_JUMP, /* far from its neighbours on both sides, of no known shape */
    UP_VERDICTS
};

const char *up_verdict_name(enum up_verdict verdict);

struct up_reading {
    double time_s, load, temp_c;
    enum up_verdict verdict;
};

/*
 * Median of seven: a reading that differs from the median of itself and its three neighbours on
 * either side by more than eight times the noise floor, and by more than eight times what those
 * neighbours themselves scatter, is a glitch (Hampel's identifier). A step of the load passes it.
 * The noise floor comes from the stream itself: the median absolute first difference of the last
 * 256.
 */
enum { UP_SCREEN_SPAN = 7, UP_SCREEN_MEMORY = 256 };

struct up_screen {
    int word_bits;      /* 0: loads are no raw words, only jumps are told */
    double floor_least; /* the noise floor is never taken as less: a share of the division */
    struct up_reading span[UP_SCREEN_SPAN];
    int held, judged; /* in the span; of those already given out */
    double difference[UP_SCREEN_MEMORY];
    size_t differences;
    double noise_floor; /* of one reading; NaN until 16 differences are there */
    double last_load;
    bool has_last;
    uint64_t count[UP_VERDICTS];
};

void up_screen_begin(struct up_screen *screen, int word_bits, double division);
/* Takes a reading; true when an older one (three back) has been judged into *judged. */
bool up_screen_push(struct up_screen *screen, double time_s, double load, double temp_c,
                    struct up_reading *judged);
/* The stream broke off: what is held has no neighbours any more and is forgotten, the noise floor
   is kept. */
void up_screen_restart(struct up_screen *screen);
/* At the end of a stream: gives out what is still held, one a call. */
bool up_screen_flush(struct up_screen *screen, struct up_reading *judged);

/* ---- plateaus ---- */

struct up_plateau {
    double start_s, end_s;
    double step_s;       /* when the load came to stand: the time the schedule counts from */
    double load, u_load; /* mean of the window; u allows for correlated readings */
    double slope_per_s;  /* of the straight line through the window */
    double sd;           /* about that line */
    double lag1;
    double temp_c; /* mean; NaN where the stream has none */
    unsigned readings, glitches;
    double late_s; /* read this much later than the schedule says */
};

/*
 * The settle rule, in the rig's own noise: about its straight line a window may scatter by no more
 * than twice the noise floor, and over the window the line may rise by no more than 1.5 floors plus
 * `creep_allowance` (load units; the part that a slow creep explains and the schedule cancels).
 * Fills *plateau in either case; true where the rule holds. Needs 5 readings.
 */
bool up_plateau_judge(const struct up_reading *reading, size_t count, double noise_floor,
                      double creep_allowance, struct up_plateau *plateau);

/* Finds plateaus in a stream of which nobody tells when the load was changed. A step is where the
   level changes by more than eight noise floors and 1.5 times what a window scatters. */
struct up_finder;

struct up_finder *up_finder_create(double window_s, double read_after_s);
void up_finder_destroy(struct up_finder *finder);
/* True when a plateau has ended or been completed into *plateau. */
bool up_finder_push(struct up_finder *finder, const struct up_reading *reading, double noise_floor,
                    struct up_plateau *plateau);
bool up_finder_end(struct up_finder *finder, double noise_floor, struct up_plateau *plateau);

#endif
