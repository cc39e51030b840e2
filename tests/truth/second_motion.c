/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "second_motion.h"

#include <math.h>

double second_swing_amplitude_kg(const struct second_swing *swing, double time_s) {
    double t = time_s - swing->start_s;
    if (t < 0)
        return 0;
    double a = swing->linear_per_s;
    double lost = swing->square_per_kg_s * swing->amplitude_kg * (a > 0 ? -expm1(-a * t) / a : t);
    return swing->amplitude_kg * exp(-a * t) / (1 + lost);
}

double second_swing_kg(const struct second_swing *swing, double time_s) {
    double amplitude_kg = second_swing_amplitude_kg(swing, time_s);
    if (amplitude_kg < 1e-8)
        return 0;
    return amplitude_kg * cos(2 * M_PI * swing->rate_hz * (time_s - swing->start_s) + swing->phase);
}

void second_motion_start(struct second_motion *motion, const struct second_swing *swing) {
    motion->swing[motion->started++ % SECOND_SWINGS] = *swing;
}

double second_motion_kg(const struct second_motion *motion, double time_s) {
    double sum_kg = 0;
    for (unsigned i = 0; i < SECOND_SWINGS && i < motion->started; i++)
        sum_kg += second_swing_kg(&motion->swing[i], time_s);
    return sum_kg;
}
