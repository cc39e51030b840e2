/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Gravity, and the usual air pressure, at a place. Grams do not need it, since the cell is
 * calibrated where it weighs; newtons and the pressure at a depth do.
 *
 * Normal gravity of WGS84: the closed formula of Somigliana on the ellipsoid and the second-order
 * expansion for the height above it (NIMA TR8350.2, "Department of Defense World Geodetic System
 * 1984", equations 4-1 and 4-3; the report was not at hand: constants read in several public codes,
 * m from memory). Pure functions.
 */
#ifndef UPTHRUST_GRAVITY_H
#define UPTHRUST_GRAVITY_H

#include <stdbool.h>

#include "upthrust/failure.h"
#include "upthrust/quantity.h"

#define UP_STANDARD_GRAVITY_M_S2 9.80665 /* CGPM 1901 */

#define UP_ALTITUDE_MIN_M (-500.0)
#define UP_ALTITUDE_MAX_M 6000.0

/* NaN outside -90 to 90 degrees and UP_ALTITUDE_MIN_M to UP_ALTITUDE_MAX_M. */
double up_gravity_normal_m_s2(double latitude_deg, double altitude_m);

/* The same as an estimate of the true gravity there. Real gravity departs from normal by some 1e-4
   (anomalies of 100 mGal = 1e-3 m/s2 are large ones; from memory): that is the u. An altitude above
   the sea is taken for one above the ellipsoid: up to 100 m between them are 3e-5 (from memory).
   False (UP_STATUS_WRONG_INPUT, naming the number and its range) outside the range. */
bool up_gravity_at(double latitude_deg, double altitude_m, struct up_quantity *gravity_m_s2,
                   struct up_failure *failure);

/* Where the place is unknown: standard gravity, and as u the distance from it to that of the
   equator at sea level (0.026 m/s2; to the pole it is less) taken as the half-width of a rectangle.
 */
struct up_quantity up_gravity_unknown(void);

/* Air pressure at an altitude in the standard atmosphere, ISO 2533 (equation from memory). NaN
   outside the range of altitudes. Weather adds some 3 kPa either way. */
double up_standard_pressure_pa(double altitude_m);

#endif
