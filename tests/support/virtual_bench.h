/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The procedure on the simulated tank within one process: no port, no clock, no waiting. The
   operator does what is asked at the device time of the ask, unless a test's hook says otherwise.
 */
#ifndef VIRTUAL_BENCH_H
#define VIRTUAL_BENCH_H

#include "bench/procedure.h"
#include "tank.h"

struct virtual_bench {
    struct up_rig rig;
    struct tank *tank;
    struct tank_cell cell;
    struct tank_declared declared;
    struct up_reader reader;
    struct up_calibration calibration;
    bool staircase; /* of a calibration */
    unsigned asks, plateaus, trials, faults, checks, checks_confirmed;
    unsigned glitches; /* within all plateaus */
    unsigned asked[UP_ACTIONS];
    char fault[240], note[240]; /* the latest */
    /* Called at each ask; true: it has answered, or acted, itself. May be NULL. */
    bool (*hook)(struct virtual_bench *bench, struct up_procedure *procedure,
                 const struct up_ask *ask);
    /* Called with each plateau as it was taken. May be NULL. */
    void (*told)(struct virtual_bench *bench, const struct up_plateau *plateau);
    /* Called with each sample before the procedure gets it, to change what the wire says. */
    void (*spoil)(struct virtual_bench *bench, struct up_procedure *procedure,
                  struct up_sample *sample);
    void *context;
};

/* Reads the simulated rig; the tank is made by the first calibrate with the cell as it is then. */
void virtual_bench_begin(struct virtual_bench *bench, unsigned long seed);
/* A cell without any vice but white noise, in a session with a seed of its own. */
void virtual_bench_quiet(struct virtual_bench *bench, unsigned long seed);
void virtual_bench_restart(struct virtual_bench *bench, unsigned long seed);
void virtual_bench_end(struct virtual_bench *bench);

/* Runs to the end of the procedure; false where it asked for more than a day of samples. */
bool virtual_bench_run(struct virtual_bench *bench, struct up_procedure *procedure);

/* Whole jobs; masses in kg, each hung `rounds` times. */
bool virtual_bench_calibrate(struct virtual_bench *bench, const double *mass_kg, unsigned masses,
                             unsigned rounds, struct up_failure *failure);
bool virtual_bench_measure(struct virtual_bench *bench, const struct tank_item *item,
                           unsigned trials, const struct up_water *water, unsigned waters,
                           struct up_result *result, unsigned *results, struct up_failure *failure);
/* A piece of the demonstration's gear; a name that there is none of is a mistake of the test. */
const struct tank_item *virtual_bench_gear(const char *name);
struct up_item virtual_bench_item(const struct tank_item *item);

#endif
