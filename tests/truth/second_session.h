/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One calibration and one measurement at the second tank, played through the public interface of
 * the procedure, and what came of it beside the truth.
 */
#ifndef SECOND_SESSION_H
#define SECOND_SESSION_H

#include "second_rival.h"

enum { SECOND_WATERS = 2, SECOND_RESULTS = SECOND_WATERS + 1 };

struct second_outcome;

struct second_plan {
    enum second_law law;
    enum second_mistake mistake;
    bool body; /* a reference body is weighed first */
    unsigned long seed;
    bool trace;                   /* print what is asked, reported and done */
    struct up_loadings *loadings; /* takes those of the calibration, and nothing is measured; NULL:
                                     the whole is played */
    /* A quick weighing by this, of an item as a shop has them; NULL: a full one. Its kind scatters
       so; u 0: a new kind. */
    const struct up_quick_plan *quick;
    struct up_quantity scatter_kg;
    /* So many items of a quick queue, one after the other: the same tank and cell, and each begins
       with the hanger as the one before left it. Called after each. 0: one item. */
    unsigned neighbours;
    void (*weighed)(void *context, const struct second_outcome *outcome);
    void *context;
    bool shortens; /* no quick one by it, but a full one that may end minor readings */
};

struct second_outcome {
    unsigned results; /* 0: refused, or stopped */
    double truth_kg[SECOND_RESULTS], value_kg[SECOND_RESULTS], width_kg[SECOND_RESULTS];
    double stuck_kg[SECOND_RESULTS]; /* the interval reaches so much further down */
    bool holds[SECOND_RESULTS], classed[SECOND_RESULTS], wrong_class[SECOND_RESULTS];
    unsigned questions; /* faults reported and words wanted, in both sessions */
    bool made;          /* the mistake was made at all */
    bool noticed;       /* something was asked about it, or no result was given */
    double calibrating_s, measuring_s;
    double ready_s;     /* of the latter: until the item is asked for the first time */
    double trial_sd_kg; /* of the trials */
    struct up_quick_taught taught[UP_QUICK_TAUGHT_MAX];
    unsigned taughts;
    struct up_early_watch watch[UP_QUICK_STEPS];
    bool aside;
    unsigned ended_early;      /* minor readings of a full one */
    struct second_rival rival; /* beside a quick weighing */
    char ended[512];           /* why there is no result; else the first question */
};

void second_session_play(const struct second_plan *plan, struct second_outcome *outcome);

#endif
