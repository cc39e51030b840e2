/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The staircase: all masses one upon the other, up and down again without emptying. A steady drift
   of the zero is corrected, creep is not: recordings do not confirm that the remainders of earlier
   steps add up. */
#include "staircase.h"

#include "stream/indication.h"

static void fill_stair(const struct up_loadings *loadings, unsigned i,
                       struct up_calibration *calibration) {
    double slope = calibration->slope_counts_per_kg, u_zero = 0;
    unsigned top = loadings->stair_masses - 1, rising = 2 * top - i;
    const struct up_indication *here = &loadings->stair[i];
    struct up_stair *stair = &calibration->stair[i];
    double zero = tare_at(&loadings->stair_begin, &loadings->stair_end, here->time_s, &u_zero);
    stair->falling = i > top;
    stair->mass_kg = loadings->stair_kg[stair->falling ? rising : i];
    stair->load_counts = here->load - zero;
    stair->u_plateau_counts = hypot(here->u_load, u_zero);
    stair->hysteresis_g = (double)NAN;
    if (stair->falling) {
        stair->hysteresis_g =
            (stair->load_counts - calibration->stair[rising].load_counts) / slope * 1e3;
        calibration->hysteresis_kg =
            fmax(calibration->hysteresis_kg, fabs(stair->hysteresis_g) * 1e-3);
    }
}

/* Off the straight line through the empty hanger and the top: the staircase has another schedule
   than the loadings, so creep gives it another slope; only its shape matters. */
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
