/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Tanaka, Girard, Davis, Peuto and Bignell, Metrologia 38 (2001) 301-309, recommended by the CIPM:
 * air-free water of ocean isotope content. The paper was not at hand: the constants of the density
 * were read in several programs that name it and agree; those of the compressibility are from
 * memory and were checked against IAPWS SR7-09 (within 0.3 %, which is 1e-6 of the density at
 * 60 m).
 */
#include "upthrust/water.h"

/* A compressibility that does not change with pressure is good for the 60 m of this program. */
#define LOWEST_GAUGE_PRESSURE_PA  (-0.1e6)
#define HIGHEST_GAUGE_PRESSURE_PA 1e6

static double at_one_atmosphere_kg_m3(double temp_c) {
    static const double a1 = -3.983035, a2 = 301.797, a3 = 522528.9, a4 = 69.34881, a5 = 999.974950;
    double from_maximum = temp_c + a1;
    return a5 * (1 - from_maximum * from_maximum * (temp_c + a2) / (a3 * (temp_c + a4)));
}

static double compressibility_per_pa(double temp_c) {
    static const double k0 = 50.74e-11, k1 = -0.326e-11, k2 = 0.00416e-11;
    return k0 + temp_c * (k1 + temp_c * k2);
}

double up_water_fresh_kg_m3(double temp_c, double gauge_pressure_pa) {
    /* Written so that NaN fails as well. */
    if (!(temp_c >= 0 && temp_c <= 40) || !(gauge_pressure_pa >= LOWEST_GAUGE_PRESSURE_PA &&
                                            gauge_pressure_pa <= HIGHEST_GAUGE_PRESSURE_PA)) {
        return (double)NAN;
    }
    return at_one_atmosphere_kg_m3(temp_c) *
           (1 + compressibility_per_pa(temp_c) * gauge_pressure_pa);
}
