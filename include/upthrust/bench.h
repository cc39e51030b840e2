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
                      before it could be told and must be taken back */
};

/*
 * Many boards print each conversion several times. Where the noise is three divisions or more, two
 * equal words in a row are one conversion, up to as many lines as four of five words last.
 */
enum { UP_REPEATS_MEMORY = 16 };

struct up_repeats {
    double division, word;
    unsigned run; /* lines of this word so far */
    double
        per_value; /* lines of one conversion, as the latest runs have it; 1 until they show more */
    unsigned most; /* a line beyond so many of one word is another conversion */
    size_t runs;   /* ended */
    double lines[UP_REPEATS_MEMORY], jump[UP_REPEATS_MEMORY]; /* of the latest, and after each */
};

/* The noise floor: 1.4826 times the median absolute difference of good readings over the last 25 s,
   sixteen differences at least, over the square root of 2. Readings closer than 0.09 s are passed
   over, so that the floor means the same at any rate; of fast streams some differences are kept. */
enum { UP_NOISE_MEMORY = 160 };

struct up_noise {
    double floor;       /* of one reading; NaN until 16 differences are known */
    double floor_least; /* never less: a share of the division */
    double from_s, from_load, keep_s, due_s;
    double time_s[UP_NOISE_MEMORY], difference[UP_NOISE_MEMORY];
    size_t learned, known; /* of those still in the ring */
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
/* The device itself calls the reading pushed last unstable. */
void up_glitch_filter_mark_unstable(struct up_glitch_filter *filter);
/* The stream broke off: what is held has no neighbours any more and is forgotten, the noise floor
   is kept. */
void up_glitch_filter_restart(struct up_glitch_filter *filter);
/* At the end of a stream: gives out what is still held, one a call. */
bool up_glitch_filter_flush(struct up_glitch_filter *filter, struct up_reading *judged);
/* Whether the latest judged readings may yet turn out to be stuck, from *start_s on. */
bool up_glitch_filter_may_be_stuck(const struct up_glitch_filter *filter, double *start_s);

/* ---- pace: do the lines come as they did? ---- */

enum up_pace_kind {
    UP_PACE_STALL, /* no line for longer than a second and ten settled intervals */
    UP_PACE_BURST, /* what a stall held back, far faster than it was measured: times of arrival
                      are worth nothing, the device's own clock still is */
    UP_PACE_RATE,  /* 1.5 times as fast or as slow as before, from one block of lines to the next; a
                      sudden rise means that the converter is gone and always looks ready */
    UP_PACE_BACK,  /* device time ran back: the reader refuses the line and counts it */
    UP_PACE_KINDS
};

const char *up_pace_name(enum up_pace_kind kind);

struct up_pace_event {
    enum up_pace_kind kind;
    double time_s;                /* device time where there is any, else arrival */
    double interval_s, settled_s; /* of the stall, or between lines now; as it was before */
    bool by_device;               /* the lines carry a clock that says when they were measured */
    bool lines_lost;              /* stall: the clock that is in use shows it */
};

enum { UP_PACE_BLOCK = 16, UP_PACE_FIRST_MAX = 16 };

struct up_pace {
    double last_s, last_arrival_s; /* NaN: the next interval means nothing */
    double settled_s;              /* interval between lines; NaN until a block of them is there */
    double tick_s;                 /* of a coarse clock, which gives one time to several lines; 0 */
    bool settled;                  /* two blocks have agreed on the interval */
    double interval[UP_PACE_BLOCK]; /* the latest of a block */
    double span_s, longest_s, second_s;
    unsigned block, ticks; /* intervals in it, and those above zero */
    bool coarse;
    int backlog; /* lines since a stall, while they may be a burst; 0: none may be */
    double backlog_s;
    bool backlog_lost, catching_up; /* the stall lost lines; the burst goes on */
    double lines_lost;              /* in all stalls, less those that came in bursts; roughly */
    uint64_t events, count[UP_PACE_KINDS];
    struct up_pace_event first[UP_PACE_FIRST_MAX];
};

void up_pace_begin(struct up_pace *pace);
/* What comes next follows a pause that was meant: the interval to it is not looked at. */
void up_pace_pause(struct up_pace *pace);
/* A line came: its device time, or NaN, and the host's monotonic time of its arrival, or NaN. True
   where it shows something, told in *event. */
bool up_pace_push(struct up_pace *pace, double time_s, double arrival_s,
                  struct up_pace_event *event);

/* Lines come so much faster all at once that the converter may be gone and always look ready. */
bool up_pace_is_runaway(const struct up_pace_event *event);

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
    unsigned unstable; /* of the readings: so called by the device */
    double late_s;     /* read this much later than the schedule says */
    double unrest;     /* scatter or rise, the worse, as a share of what the settle rule allows */
};

/*
 * The settle rule, in the rig's own noise: about its straight line a window may scatter by no more
 * than twice the noise floor, and over the window the line may rise by no more than 1.5 floors plus
 * `creep_allowance` (load units; the part that a slow creep explains and the schedule cancels).
 * Fills *plateau in either case; true where the rule holds. Needs 5 readings.
 */
bool up_plateau_judge(const struct up_reading *reading, size_t count, double noise_floor,
                      double creep_allowance, struct up_plateau *plateau);

#endif
