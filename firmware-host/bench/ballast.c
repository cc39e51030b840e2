/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "ballast.h"

/* Ballast must weigh at least this many times the lift it holds down, in water. */
static const double BALLAST_FACTOR = 1.5;
static const double LEAD_KG_M3 = 11340; /* handbook value of pure lead */
static const double WATER_KG_M3 = 1000;

double ballast_holds_kg(double lead_kg) {
    return lead_kg * (1 - WATER_KG_M3 / LEAD_KG_M3);
}

double ballast_wanted_kg(double lift_kg) {
    return lift_kg * BALLAST_FACTOR / ballast_holds_kg(1);
}
