/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/water.h"

#define NACL_G_MOL 58.443 /* IUPAC atomic weights, from memory */

/* What sodium chloride adds to water, at one atmosphere; t in C, molality in mol/kg of water. */
static double added_kg_m3(double molality, double t) {
    double a = 45.5655 + t * (-0.2341 + t * (3.4128e-3 + t * (-2.7030e-5 + t * 1.4037e-7)));
    double b = -1.8527 + t * (5.3956e-2 - t * 6.2635e-4);
    double c = -1.6368 + t * (-9.5653e-4 + t * 5.2829e-5);
    double root = sqrt(molality);
    return molality * (a + root * (b + root * (c + root * 0.2274)));
}

/* Salt makes water stiffer, by some 2e-3 of its compressibility for each g/kg: at 60 m and 42 g/kg
   0.02 kg/m3 are left out. */
double up_water_pool_kg_m3(double salt_g_kg, double temp_c, double gauge_pressure_pa) {
    double fresh = up_water_fresh_kg_m3(temp_c, gauge_pressure_pa);
    /* Written so that NaN fails as well. */
    if (!(salt_g_kg >= 0 && salt_g_kg <= UP_SALINITY_MAX_G_KG) || isnan(fresh)) {
        return (double)NAN;
    }
    return fresh + added_kg_m3(salt_g_kg / NACL_G_MOL / (1 - salt_g_kg / 1e3), temp_c);
}
