/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Simulated sessions by the ten thousand, by whole plateaus (plateau_bench.h), in cells of tank,
 * item and number of trials; and beside each a plain procedure in the same tanks.
 */
#ifndef TRUTH_CELLS_H
#define TRUTH_CELLS_H

#include "bench/procedure.h"
#include "tank.h"

enum {
    TRUTH_TANKS = 6,
    TRUTH_ITEMS = 11,
    TRUTH_MODES = 4, /* 3, 4, 6 trials, adaptive */
    TRUTH_ADAPTIVE = 3,
    TRUTH_WATERS = 2, /* the tank's own, and the sea calculated */
    TRUTH_DIPS_LEAST = 3,
    TRUTH_DIPS_MAX = 12
};

/* What came of a cell's sessions. */
struct truth_tally {
    double results, inside, wrong, undecided;
    double error_g, error_squares_g2, ratio_squares; /* sums; ratio: error over stated u */
    double trials, seconds;
    double rectangular; /* share of the variance in rectangular terms */
};

/* Sums over a worker's sessions; all numbers are double, so that workers' can be added up. */
struct truth_table {
    struct truth_tally ours[TRUTH_TANKS][TRUTH_ITEMS][TRUTH_MODES][TRUTH_WATERS];
    struct truth_tally plain[TRUTH_TANKS][TRUTH_ITEMS][TRUTH_DIPS_MAX + 1]; /* by dips */
    /* of a session's results in the tank's own water, the share inside */
    double share, share_squares, sessions;
    /* The same by the interval alone, without the bound for air that no shake frees: nothing of
       that kind happens in these tanks, so the interval alone must hold as often as it says. */
    double alone, alone_squares;
    /* Where the bench gave up, as nothing settled: calibrations, and measurements of fewer trials
       than asked for. */
    double given_up;
};

struct truth_kind {
    const char *name;
    void (*set)(struct tank_declared *declared, struct tank_cell *cell);
};

extern const struct truth_kind truth_kinds[TRUTH_TANKS];
extern const struct tank_item truth_items[TRUTH_ITEMS];
extern const char *const truth_modes[TRUTH_MODES];

struct truth_settings {
    const struct up_rig *rig;
    unsigned draws; /* of each Monte Carlo */
    void (*spoil)(struct tank_declared *,
                  struct tank_cell *); /* a tank unlike the declared; NULL */
    /* Told of each result, with its time at the tank; NULL */
    void (*told)(void *context, unsigned mode, unsigned water, unsigned item,
                 const struct up_result *result, double seconds);
    void *context;
};

/* One session in a tank of a kind: a calibration, then each item in each mode from that moment on,
   and the plain procedure. False, with a line in the failure, where it could not be done. */
bool truth_session(const struct truth_settings *settings, unsigned kind, unsigned long seed,
                   struct truth_table *table, struct up_failure *failure);

/* The Wilson score interval of a share, for k standard deviations (E. B. Wilson, J. Am. Stat.
   Assoc. 22 (1927) 209, from memory). */
void truth_interval(double hits, double trials, double k, double *low, double *high);

#endif
