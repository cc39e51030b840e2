/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The staircase: all masses one upon the other, up and down again without emptying. */
#include "staircase.h"

#include "stream/indication.h"

/*
 * The creep of earlier steps that is still under way in a reading, by superposition: a step of the
 * load goes on by c a decade of time, counted from the time at which it was read. The matched
 * loadings know c; measuring follows their schedule, where it cancels, so it is no part of the
 * hysteresis.
 */
static double late_creep(const struct up_loadings *loadings, double creep_rel_decade,
                         double time_s) {
    double sum = 0;
    if (creep_rel_decade == 0) { /* typed readings know none, and keep no schedule */
        return 0;
    }
    for (unsigned i = 1; i < loadings->pasts && loadings->past[i].time_s <= time_s; i++) {
        double step = loadings->past[i].load - loadings->past[i - 1].load;
        double since_s = fmax(time_s - loadings->past[i].step_s, 1);
        sum += step * log10(since_s / loadings->rig.read_after_s);
    }
    return creep_rel_decade * sum;
}

static struct up_indication without_creep(const struct up_loadings *loadings,
                                          double creep_rel_decade, struct up_indication point) {
    point.load -= late_creep(loadings, creep_rel_decade, point.time_s);
    return point;
}

static void fill_stair(const struct up_loadings *loadings, unsigned i,
                       struct up_calibration *calibration) {
    double creep = calibration->creep_rel_decade, slope = calibration->slope_counts_per_kg,
           u_zero = 0;
    unsigned top = loadings->stair_masses - 1, rising = 2 * top - i;
    struct up_indication begin = without_creep(loadings, creep, loadings->stair_begin);
    struct up_indication end = without_creep(loadings, creep, loadings->stair_end);
    struct up_indication here = without_creep(loadings, creep, loadings->stair[i]);
    struct up_stair *stair = &calibration->stair[i];
    double zero = tare_at(&begin, &end, here.time_s, &u_zero);
    stair->falling = i > top;
    stair->mass_kg = loadings->stair_kg[stair->falling ? rising : i];
    stair->load_counts = here.load - zero;
    stair->u_plateau_counts = hypot(here.u_load, u_zero);
    stair->hysteresis_g = (double)NAN;
    if (stair->falling) {
        stair->hysteresis_g =
            (stair->load_counts - calibration->stair[rising].load_counts) / slope * 1e3;
        calibration->hysteresis_kg =
            fmax(calibration->hysteresis_kg, fabs(stair->hysteresis_g) * 1e-3);
    }
}

/* Off the straight line through the empty hanger and the top: the staircase has another schedule
   than the loadings, so creep gives it another slope; its shape is what it is for. */
static void fill_residuals(unsigned top, struct up_calibration *calibration) {
    struct up_stair *stair = calibration->stair;
    double counts_per_kg = stair[top].load_counts / stair[top].mass_kg;
    for (unsigned i = 0; i < calibration->stairs; i++) {
        stair[i].residual_g = (stair[i].load_counts / counts_per_kg - stair[i].mass_kg) * 1e3;
    }
}

void staircase_fill(const struct up_loadings *loadings, struct up_calibration *calibration) {
    calibration->hysteresis_kg = (double)NAN;
    if (!loadings->stair_end.known) {
        return;
    }
    calibration->hysteresis_kg = 0;
    calibration->stairs = loadings->stairs;
    for (unsigned i = 0; i < loadings->stairs; i++) {
        fill_stair(loadings, i, calibration);
    }
    fill_residuals(loadings->stair_masses - 1, calibration);
}
