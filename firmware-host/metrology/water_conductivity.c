/* SPDX-License-Identifier: GPL-3.0-or-later */
/* PSS-78 with its extension to low salinities, see waters.h for the sources. */
#include "upthrust/waters.h"

#define STANDARD_MS_CM 42.914  /* of S = 35 at 15 C and one atmosphere */
#define T68_PER_T90    1.00024 /* the scale is defined on IPTS-68 */
#define PA_PER_DBAR    1e4
#define LOW_SALINITY   2.0

/* Conductivity of S = 35 at a temperature over that at 15 C. */
static double ratio_of_temp(double t68) {
    return 0.6766097 +
           t68 * (2.00564e-2 + t68 * (1.104259e-4 + t68 * (-6.9698e-7 + t68 * 1.0031e-9)));
}

static double ratio_of_pressure(double ratio, double t68, double p_dbar) {
    return 1 + p_dbar * (2.070e-5 + p_dbar * (-6.370e-10 + p_dbar * 3.989e-15)) /
                   (1 + t68 * (3.426e-2 + t68 * 4.464e-4) + (4.215e-1 - 3.107e-3 * t68) * ratio);
}

static double salinity_78(double root, double warmth) {
    return 0.0080 +
           root *
               (-0.1692 + root * (25.3851 + root * (14.0941 + root * (-7.0261 + root * 2.7081)))) +
           warmth * (0.0005 + root * (-0.0056 +
                                      root * (-0.0066 +
                                              root * (-0.0375 + root * (0.0636 - root * 0.0144)))));
}

/* What PSS-78 gives too much at low salinity (Hill et al. 1986): at nothing it makes it 0. */
static double excess(double ratio, double warmth) {
    double x = 400 * ratio, root_y = 10 * sqrt(ratio);
    return 0.0080 / (1 + x * (1.5 + x)) +
           0.0005 * warmth / (1 + root_y * (1 + root_y * (1 + root_y)));
}

double up_water_practical_salinity(double conductivity_ms_cm, double temp_c,
                                   double gauge_pressure_pa) {
    /* Written so that NaN fails as well. */
    if (!(conductivity_ms_cm > 0 && conductivity_ms_cm <= 150) || !(temp_c >= -2 && temp_c <= 41) ||
        !(gauge_pressure_pa >= 0 && gauge_pressure_pa <= 100e6)) {
        return (double)NAN;
    }
    double t68 = T68_PER_T90 * temp_c;
    double ratio = conductivity_ms_cm / STANDARD_MS_CM;
    double of_temp = ratio / (ratio_of_temp(t68) *
                              ratio_of_pressure(ratio, t68, gauge_pressure_pa / PA_PER_DBAR));
    double warmth = (t68 - 15) / (1 + 0.0162 * (t68 - 15));
    double salinity = salinity_78(sqrt(of_temp), warmth);
    return salinity < LOW_SALINITY ? fmax(salinity - excess(of_temp, warmth), 0) : salinity;
}
