/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The glitch test: on single raw readings, before any averaging. */
#pragma once

#include <stdbool.h>
#include <stdint.h>

#include "stream/noise.h"
#include "stream/repeats.h"

enum up_verdict {
    UP_READING_GOOD,
    UP_READING_BIT_SLIP, /* 0x800000 | (word >> k): the read began before the data was ready */
    UP_READING_ALL_ONES, /* all bits one, or 2^n - 1 */
    UP_READING_SATURATED,
    UP_READING_JUMP,     /* far from its neighbours on both sides, of no known shape */
    UP_READING_STUCK,    /* one of a run of equal raw words longer than chance allows */
    UP_READING_OVERLOAD, /* beyond what the cell bears */
    UP_VERDICTS
};

const char *up_verdict_name(enum up_verdict verdict);

struct up_reading {
    double time_s, load, temp_c;
    enum up_verdict verdict;
    bool unstable; /* the device itself calls it so: one vote, no proof */
    unsigned back; /* stuck: as many good readings before it belong to the run; they were given out
                      before it could be known and must be taken back */
};

/*
 * Median of seven: a reading that differs from the median of itself and its three neighbours on
 * either side by more than eight times the noise floor, and by more than eight times what those
 * neighbours themselves scatter, is a glitch (Hampel's identifier). A step of the load passes it.
 *
 * A converter that died repeats a word. Words of all ones where the load was not, and saturated
 * ones, are named at once; any other word when it has come 12 times in a row where the noise is
 * three divisions or more (two neighbours are then equal in less than one of ten cases: 12 in a row
 * are no chance), else 32 times. A word of less than 20 bits may stand still in good health: where
 * its noise is below three divisions it is never called stuck. Conversions count, not lines.
 */
enum { UP_GLITCH_SPAN = 7, UP_GLITCH_RING = 8 };

struct up_glitch_filter {
    int word_bits; /* 0: loads are no raw words, only jumps are found */
    double most;   /* what the cell bears, in load units; infinite where not given */
    struct up_repeats repeats;
    struct up_noise noise;
    struct up_reading ring[UP_GLITCH_RING]; /* the latest seven; the eighth load is NaN */
    double load[UP_GLITCH_RING];            /* theirs once more, for the quick test */
    uint64_t pushed, judged;
    double near_limit;   /* a reading so near to four of the span is surely no glitch */
    unsigned stuck_from; /* as many equal words are no chance; 0 where any number may be */
    double odd_from;     /* words below this, but for -1, are of no special kind */
    double last_load;    /* of the latest good or stuck reading */
    unsigned run;        /* equal words in a row, up to that one */
    double run_start_s;
    enum up_verdict run_verdict; /* of the run: good, stuck or saturated */
    bool condemned;              /* just now: those of the run that passed must be taken back */
    uint64_t count[UP_VERDICTS];
};

void up_glitch_filter_begin(struct up_glitch_filter *filter, int word_bits, double division);
/* From now on a good reading of more than this, up or down, is an overload. */
void up_glitch_filter_set_limit(struct up_glitch_filter *filter, double most);
/* Takes a reading; true when an older one (three conversions back) has been judged into *judged. */
bool up_glitch_filter_push(struct up_glitch_filter *filter, double time_s, double load,
                           double temp_c, struct up_reading *judged);
/* The lines come much faster all at once: where they repeat one word, the converter is saturated
   or gone and always looks ready. False where they do not. */
bool up_glitch_filter_condemn(struct up_glitch_filter *filter);
/* The device itself reported the latest reading as unstable. */
void up_glitch_filter_mark_unstable(struct up_glitch_filter *filter);
/* The stream broke off: readings without neighbours are discarded, the noise floor is kept. */
void up_glitch_filter_restart(struct up_glitch_filter *filter);
/* At the end of a stream: gives out what is still held, one a call. */
bool up_glitch_filter_flush(struct up_glitch_filter *filter, struct up_reading *judged);
/* Whether the latest judged readings may yet turn out to be stuck, from *start_s on. */
bool up_glitch_filter_may_be_stuck(const struct up_glitch_filter *filter, double *start_s);
