/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/gravity.h"

#define U_LOCAL_REL 1e-4 /* normal against real gravity, see the header */

/* WGS84 */
#define EQUATOR_M_S2    9.7803253359
#define SOMIGLIANA      0.00193185265241
#define ECCENTRICITY_SQ 0.00669437999014
#define SEMI_MAJOR_M    6378137.0
#define FLATTENING      (1 / 298.257223563)
#define CENTRIFUGAL     0.00344978650684 /* m = omega^2 a^2 b / GM, from memory */

double up_gravity_normal_m_s2(double latitude_deg, double altitude_m) {
    /* Written so that NaN fails as well. */
    if (!(fabs(latitude_deg) <= 90) ||
        !(altitude_m >= UP_ALTITUDE_MIN_M && altitude_m <= UP_ALTITUDE_MAX_M)) {
        return (double)NAN;
    }
    double sine = sin(latitude_deg * acos(-1) / 180);
    double square = sine * sine;
    double on_ellipsoid =
        EQUATOR_M_S2 * (1 + SOMIGLIANA * square) / sqrt(1 - ECCENTRICITY_SQ * square);
    double height = altitude_m / SEMI_MAJOR_M;
    return on_ellipsoid *
           (1 - 2 * (1 + FLATTENING + CENTRIFUGAL - 2 * FLATTENING * square) * height +
            3 * height * height);
}

bool up_gravity_at(double latitude_deg, double altitude_m, struct up_quantity *gravity_m_s2,
                   struct up_failure *failure) {
    double gravity = up_gravity_normal_m_s2(latitude_deg, altitude_m);
    *gravity_m_s2 = up_known(gravity, U_LOCAL_REL * gravity);
    if (!(fabs(latitude_deg) <= 90)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "gravity: latitude in degrees is %g, outside -90 to 90", latitude_deg);
    }
    return !isnan(gravity) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT, "gravity: altitude in m is %g, outside %g to %g",
                   altitude_m, UP_ALTITUDE_MIN_M, UP_ALTITUDE_MAX_M);
}

struct up_quantity up_gravity_unknown(void) {
    double below = UP_STANDARD_GRAVITY_M_S2 - up_gravity_normal_m_s2(0, 0);
    double above = up_gravity_normal_m_s2(90, 0) - UP_STANDARD_GRAVITY_M_S2;
    return up_known(UP_STANDARD_GRAVITY_M_S2, fmax(below, above) / sqrt(3));
}

double up_standard_pressure_pa(double altitude_m) {
    if (!(altitude_m >= UP_ALTITUDE_MIN_M && altitude_m <= UP_ALTITUDE_MAX_M)) {
        return (double)NAN;
    }
    /* 288.15 K at sea level, 6.5 K less a kilometre; 9.80665 / (287.05287 * 6.5e-3) = 5.25588 */
    return 101325 * pow(1 - 6.5e-3 * altitude_m / 288.15, 5.25588);
}
