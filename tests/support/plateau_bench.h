/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The procedure on the simulated tank by whole plateaus: the procedure, the calibration, the
 * results and the decision are the program's own, only the samples and what turns them into a
 * plateau are left out. A hundred times as fast as virtual_bench.h, beside which it is checked.
 */
#ifndef PLATEAU_BENCH_H
#define PLATEAU_BENCH_H

#include "bench/procedure.h"
#include "tank.h"

struct plateau_bench {
    const struct up_rig *rig;
    struct tank *tank;
    /* From an ask to the moment when the load hangs, by action; shaking itself is the tank's. */
    double handling_s[UP_ACTIONS];
    unsigned plateaus, late;
    /* Called with each plateau as it was taken. May be NULL. */
    void (*told)(struct plateau_bench *bench, const struct up_plateau *plateau);
    /* Called after each trial; true: that is enough. May be NULL. */
    bool (*closed)(struct plateau_bench *bench, struct up_procedure *procedure, unsigned trials);
    void *context;
};

/* Runs to the end of the procedure, which may give up; false where the tank would not do what was
   asked. */
bool plateau_bench_run(struct plateau_bench *bench, struct up_procedure *procedure);

/* One reading without a procedure: waits for the act, then for a window of the length that ends at
   the rig's usual time. */
double plateau_bench_read(struct plateau_bench *bench, enum up_action action, const char *item,
                          double mass_kg, double window_s);

#endif
