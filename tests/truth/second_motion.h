/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What moves after a touch: a hung load that swings and bounces in water, whose drag goes by the
 * square of the speed beside a part in proportion to it, and the slow slosh of the tank's surface.
 *
 * Over a cycle an oscillator with x'' = -w^2 x - a x' - c |x'| x' loses amplitude as
 *   dA/dt = -(a/2) A - (4 c w / 3 pi) A^2
 * (energy lost over one cycle at nearly constant amplitude), of which the solution is closed.
 */
#ifndef SECOND_MOTION_H
#define SECOND_MOTION_H

struct second_swing {
    double start_s, amplitude_kg, rate_hz, phase;
    double linear_per_s;    /* a/2 */
    double square_per_kg_s; /* 4 c w / 3 pi, with A in kg of reading */
};

double second_swing_amplitude_kg(const struct second_swing *swing, double time_s);
double second_swing_kg(const struct second_swing *swing, double time_s);

/* The latest movements; the oldest is forgotten, by then it has died out. */
enum { SECOND_SWINGS = 12 };
struct second_motion {
    struct second_swing swing[SECOND_SWINGS];
    unsigned started;
};

void second_motion_start(struct second_motion *motion, const struct second_swing *swing);
double second_motion_kg(const struct second_motion *motion, double time_s);

#endif
