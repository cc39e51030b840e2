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
 * Median of seven: a reading that differs from the median of itself and its three neighbours on
 * either side by more than eight times the noise floor, and by more than eight times what those
 * neighbours themselves scatter, is a glitch (Hampel's identifier). A step of the load passes it.
 * The noise floor comes from the stream itself: the median absolute first difference of the last
 * 256.
 *
 * A converter that died repeats a word. Words of all ones where the load was not, and saturated
 * ones, are named at once; any other word when it has come 12 times in a row where the noise is
 * three divisions or more (two neighbours are then equal in less than one of ten cases: 12 in a row
 * are no chance), else 32 times. A word of less than 20 bits may stand still in good health: where
 * its noise is below three divisions it is never called stuck.
 */
enum { UP_GLITCH_SPAN = 7, UP_GLITCH_RING = 8, UP_GLITCH_MEMORY = 256 };

struct up_glitch_filter {
    int word_bits;      /* 0: loads are no raw words, only jumps are told */
    double floor_least; /* the noise floor is never taken as less: a share of the division */
    double most;        /* what the cell bears, in load units; infinite where not told */
    struct up_reading ring[UP_GLITCH_RING]; /* the latest seven; the eighth load is NaN */
    double load[UP_GLITCH_RING];            /* theirs once more, for the quick test */
    uint64_t pushed, judged;
    double difference[UP_GLITCH_MEMORY];
    size_t differences, known; /* learned; of those still to be found in the ring */
    bool noting;               /* those near their median are kept apart: */
    double near[UP_GLITCH_MEMORY], near_low, near_high;
    size_t nears, below;
    double noise_floor;  /* of one reading; NaN until 16 differences are there */
    double company;      /* a reading so near to four of the span is surely no glitch */
    unsigned stuck_from; /* as many equal words are no chance; 0 where any number may be */
    double odd_from;     /* words below this, but for -1, are of no special kind */
    double last_load;    /* of the latest good or stuck reading */
    unsigned run;        /* equal words in a row, up to that one */
    double run_start_s;
    bool run_told; /* they have been called stuck */
    uint64_t count[UP_VERDICTS];
};

void up_glitch_filter_begin(struct up_glitch_filter *screen, int word_bits, double division);
/* From now on a good reading of more than this, up or down, is an overload. */
void up_glitch_filter_set_limit(struct up_glitch_filter *screen, double most);
/* Takes a reading; true when an older one (three back) has been judged into *judged. */
bool up_glitch_filter_push(struct up_glitch_filter *screen, double time_s, double load,
                           double temp_c, struct up_reading *judged);
/* The device itself calls the reading pushed last unstable. */
void up_glitch_filter_mark_unstable(struct up_glitch_filter *screen);
/* The stream broke off: what is held has no neighbours any more and is forgotten, the noise floor
   is kept. */
void up_glitch_filter_restart(struct up_glitch_filter *screen);
/* At the end of a stream: gives out what is still held, one a call. */
bool up_glitch_filter_flush(struct up_glitch_filter *screen, struct up_reading *judged);
/* Whether the latest judged readings may yet turn out to be stuck, from *start_s on. */
bool up_glitch_filter_may_be_stuck(const struct up_glitch_filter *screen, double *start_s);

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
    bool by_device;               /* the lines carry a clock */
    bool lines_lost;              /* stall: the clock that is in use shows it */
};

enum { UP_PACE_BLOCK = 16, UP_PACE_FIRST_MAX = 16 };

struct up_pace {
    double last_s, last_arrival_s;  /* NaN: the next interval means nothing */
    double settled_s;               /* interval between lines; NaN until a block of them is there */
    bool settled;                   /* two blocks have agreed on it */
    double interval[UP_PACE_BLOCK]; /* the latest of a block */
    double span_s, longest_s, second_s;
    unsigned block; /* intervals in it */
    bool coarse;
    int backlog; /* lines since a stall, while they may be a burst; 0: none may be */
    double backlog_s;
    bool catching_up;
    uint64_t count[UP_PACE_KINDS];
    struct up_pace_event first[UP_PACE_FIRST_MAX];
};

void up_pace_begin(struct up_pace *pace);
/* What comes next follows a pause that was meant: the interval to it is not looked at. */
void up_pace_pause(struct up_pace *pace);
/* A line came: its device time, or NaN, and the host's monotonic time of its arrival, or NaN. True
   where it shows something, told in *event. */
bool up_pace_push(struct up_pace *pace, double time_s, double arrival_s,
                  struct up_pace_event *event);

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

/* Finds plateaus in a stream of which nobody tells when the load was changed. A step is where the
   level changes by more than eight noise floors and 1.5 times what a window scatters. */
struct up_finder;

struct up_finder *up_finder_create(double window_s, double read_after_s);
void up_finder_destroy(struct up_finder *finder);
/* True when a plateau has ended or been completed into *plateau. A stuck reading takes back those
   before it that belong to its run. */
bool up_finder_push(struct up_finder *finder, const struct up_reading *reading, double noise_floor,
                    struct up_plateau *plateau);
/* Whether the load stands still, as far as is known yet: a step is seen three readings late. */
bool up_finder_on_level(const struct up_finder *finder);
bool up_finder_end(struct up_finder *finder, double noise_floor, struct up_plateau *plateau);

#endif
