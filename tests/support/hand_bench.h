/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The procedure on a trace drawn by hand: no tank, no physics. A test says what the cell shows at
 * each ask, to the count; the noise repeats itself every eight readings, so that
 * it has a known standard deviation and the mean of a window is exact.
 */
#ifndef HAND_BENCH_H
#define HAND_BENCH_H

#include "bench/procedure.h"

struct hand_bench {
    struct up_rig rig;
    struct up_calibration calibration;
    struct up_measure_plan plan;
    struct up_procedure *procedure;
    double now_s;
    double level, drift_per_s, noise; /* what the cell shows, counts: level at now_s = 0 */
    double swing, swing_hz;           /* and what swings there, counts */
    double temp_c;
    double shaken_s;               /* a hand is at the hook for the second after it */
    double pull_s;                 /* or for so long; 0: a second */
    bool untouched;                /* no hand comes */
    double off_until_s, off_level; /* until then the cell shows that level */
    unsigned asked[UP_ACTIONS], faults, plateaus;
    char fault[240], note[240], question[240]; /* the latest of each */
    struct up_plateau plateau;                 /* the latest */
    /* Sets level (and what else it likes) for an ask; returns the word to answer. May be NULL: all
       is done at the level that is. */
    enum up_answer_word (*act)(struct hand_bench *bench, const struct up_ask *ask);
    void *context;
};

/* The simulated tank's rig, a calibration of 600000 counts/kg made by hand, three trials. */
void hand_bench_begin(struct hand_bench *bench);
/* Another session at the same bench; the plan is as the test has left it. */
void hand_bench_start(struct hand_bench *bench);
/* Runs until the procedure is finished. */
void hand_bench_run(struct hand_bench *bench);
/* One sample of it, `i` its number; false where it has come to its end. */
bool hand_bench_step(struct hand_bench *bench, long i);
/* Feeds samples for so long; answers nothing. */
void hand_bench_wait(struct hand_bench *bench, double seconds);
const struct up_measurement *hand_bench_measured(const struct hand_bench *bench);
void hand_bench_end(struct hand_bench *bench);

#endif
