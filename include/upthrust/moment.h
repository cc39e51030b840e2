/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where the force acts along an item: hung level under water by two lines, one on the cell's hook,
 * the other on something fixed. A blade that floats and a foot pocket that sinks can make a fin
 * "neutral" that turns all the same.
 *
 *   net weight in water  w = a + c      a: on the cell's line, c: on the fixed one (from w)
 *   moment about the middle between the lines  M = (a - c) g L / 2 = (2 a - w) g L / 2
 *
 * (Statics of a beam on two supports; w is the trials' mean.) Positive: the end on the cell sinks.
 */
#ifndef UPTHRUST_MOMENT_H
#define UPTHRUST_MOMENT_H

#include "upthrust/quantity.h"

struct up_moment {
    double distance_m;                  /* 0: not measured */
    struct up_quantity hook_kg, far_kg; /* net buoyancy at either end: positive lifts it */
    struct up_quantity moment_nm;       /* about the middle; positive: the end on the hook sinks */
};

/* `hook_kg` and `total_kg` are what the item puts on the cell by two lines and by one, mass as
   w k in weighing.h; their uncertainties are taken as independent. */
struct up_moment up_moment_of(struct up_quantity hook_kg, struct up_quantity total_kg,
                              struct up_quantity distance_m, double gravity_m_s2);

#endif
