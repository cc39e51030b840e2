/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Afternoons of quick weighings at the first family of tanks, by whole plateaus: a bench learns the
 * scatter of a kind by full weighings and how readings end by readings at the full schedule; then
 * it sorts stocks of fifty. Beside it, on the same items, two others: a rival (one shake, one early
 * reading, a fixed guard band), and the plain procedure (three dips, mean, sign).
 */
#ifndef QUICK_CELLS_H
#define QUICK_CELLS_H

#include "bench/procedure.h"
#include "tank.h"
#include "truth_cells.h"

enum { QUICK_STOCK = 50, QUICK_DISTANCES = 5 };

/* Distance of the truth from the nearest line, g: below 10, 25, 50, 100, and above. */
extern const double quick_distance_g[QUICK_DISTANCES];

struct quick_tally { /* all double, so that workers' can be added up */
    double items, wrong, aside, inside, told;
    double seconds;                          /* from one ask to the next item's */
    double sunk, sunk_s, floated, floated_s; /* far from a line: hook to class */
    double near;                             /* items within 10 g of a line */
    double beside;                           /* items that the others weighed too */
    double rival_wrong, rival_aside, rival_s;
    double plain_wrong, plain_s;
};

/* All double: of one process's afternoons. */
struct quick_sum {
    struct quick_tally by[QUICK_DISTANCES + 1]; /* by distance, and of all */
    /* Afternoons: one in which an envelope was rejected by the fifth item, and in which none was.
     */
    double days, rejected_early, rejected_never;
};

struct quick_cell {
    const char *name;
    void (*tank)(struct tank_declared *declared, struct tank_cell *cell);    /* one to learn on */
    void (*changed)(struct tank_declared *declared, struct tank_cell *cell); /* since; NULL */
    double air_low_g, air_high_g;
    double near_share; /* of the stock, within 50 g of a line */
    bool new_kind;     /* its scatter is not known */
    bool on_the_line;  /* all items within 2 g of a line */
    bool neutral;      /* heavy ones within 20 g of neutral, which ring with their whole mass */
    bool exchanged;    /* learned from light items in still water, under another label */
    /* Aims, shares; 0 s: none. Those handed on beyond the share that lies within 10 g of a line. */
    double wrong_most, aside_beyond, seconds_most;
    bool always;  /* in `make check` too */
    bool rejects; /* an envelope must be rejected within five items in nine afternoons of ten */
};

/* What a bench has learned; and by how many readings. */
struct quick_learned {
    struct up_quick_plan plan;
    struct up_quantity scatter_kg;
};

bool quick_learn_bench(const struct up_rig *rig, const struct quick_cell *cell,
                       struct quick_learned *learned, struct up_failure *failure);

/* One afternoon, added to the sum. */
bool quick_afternoon(const struct up_rig *rig, const struct quick_cell *cell,
                     const struct quick_learned *learned, unsigned long seed, struct quick_sum *sum,
                     struct up_failure *failure);

/* A queue of full weighings on a bench that has learned; `shortens`: minor readings may end. */
enum { QUICK_FULLS = 20 };

struct quick_fulls { /* all double */
    double items, holds, wrong, seconds, readings_ended;
    double half_kg; /* sum of half-widths */
};

bool quick_full_queue(const struct up_rig *rig, const struct quick_cell *cell,
                      const struct quick_learned *learned, unsigned trials, bool shortens,
                      unsigned long seed, struct quick_fulls *sum, struct up_failure *failure);

#endif
