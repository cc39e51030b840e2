/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The load cell of the second tank, by laws that recordings of cheap beams show: creep with two
 * time constants that may differ in size and sign when the load comes off, loops (play operators
 * after Prandtl and Ishlinskii), a zero that does not come back, a scatter from loading to loading
 * that grows with the load, noise that remembers, words that a board prints more than once.
 *
 * What hangs is put in step by step, in the order of time. Between steps the reading is a function
 * of time, so that it can be asked for at any moment after the latest step.
 */
#ifndef SECOND_CELL_H
#define SECOND_CELL_H

#include <gsl/gsl_rng.h>

enum { SECOND_CREEPS = 2, SECOND_PLAYS = 4 };

/* Shares are shares of the step of the load. */
struct second_cell_law {
    double counts_g, zero_counts;
    double creep[SECOND_CREEPS]; /* when load is added; positive: the reading goes on rising */
    double creep_unloading[SECOND_CREEPS]; /* when it comes off; positive: it goes on falling */
    double creep_s[SECOND_CREEPS];
    double play_kg[SECOND_PLAYS], play_share[SECOND_PLAYS];
    double scatter_kg, scatter_share; /* sd of a loading: root of the sum of squares */
    double return_share;              /* sd of where the reading stands after an unloading */
    double bend_per_kg;               /* the reading gains this share a kilogram */
    double span_share;                /* and this one, where the cell is not as warm as usual */
    double noise_kg, noise_lag1;
    unsigned held; /* each conversion is printed so many times */
};

struct second_cell {
    struct second_cell_law law;
    gsl_rng *chance; /* borrowed */
    double load_kg, since_s;
    double creep_left_kg[SECOND_CREEPS]; /* at since_s, of what will have died out in the end */
    double play_at_kg[SECOND_PLAYS];
    double offset_kg; /* of this loading or unloading */
    double noise_kg;
    unsigned printed; /* of the word below */
    double word;
};

void second_cell_begin(struct second_cell *cell, const struct second_cell_law *law,
                       gsl_rng *chance);

/* At this time the load steps to load_kg. */
void second_cell_load(struct second_cell *cell, double time_s, double load_kg);

/* What the cell shows, in kg, without noise; extra_kg: what swings, drifts and drips on top of the
   load and has no memory in the cell. */
double second_cell_shows_kg(const struct second_cell *cell, double time_s, double extra_kg);

/* The next word on the wire: with noise, rounded, held. Draws one number a conversion. */
double second_cell_word(struct second_cell *cell, double time_s, double extra_kg);

#endif
