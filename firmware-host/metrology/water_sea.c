/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Seawater by its Gibbs function, the fundamental equation behind TEOS-10; not the 75-term fit
 * that oceanographers use for speed, which differs from it by up to 1.4e-3 kg/m3.
 *
 * Coefficients: IAPWS SR7-09, "Supplementary Release on a Computationally Efficient Thermodynamic
 * Formulation for Liquid Water for Oceanographic Use" (2009), table 2, and IAPWS R13-08, "Release
 * on the IAPWS Formulation 2008 for the Thermodynamic Properties of Seawater" (2008), table 2.
 * The digits were read in iapws08.py of Debian's python3-iapws 1.5.3-1 (J. J. Gomez Romera,
 * GPL-3), which names these releases; the releases' own check values confirm them.
 */
#include <stddef.h>

#include "upthrust/water.h"

#define REDUCING_TEMP_K        40.0
#define REDUCING_PRESSURE_PA   1e8
#define REDUCING_SALINITY_G_KG (UP_SEA_SALINITY_G_KG * 40 / 35)

enum { POWERS = 8 };

/* One term, gibbs_j_kg * x^salt * y^temp * z^press, with x = sqrt(S / reducing salinity),
   y = t / 40 K, z = gauge pressure / 100 MPa. */
struct gibbs_term {
    int salt, temp, press;
    double gibbs_j_kg;
};

/* Only terms that depend on pressure: density is the pressure derivative. */
static const struct gibbs_term LIQUID_WATER[] = {
    {0, 0, 1, 0.100015695367145e6},  {0, 0, 2, -0.254457654203630e4},
    {0, 0, 3, 0.284517778446287e3},  {0, 0, 4, -0.333146754253611e2},
    {0, 0, 5, 0.420263108803084e1},  {0, 0, 6, -0.546428511471039},
    {0, 1, 1, -0.270983805184062e3}, {0, 1, 2, 0.776153611613101e3},
    {0, 1, 3, -0.196512550881220e3}, {0, 1, 4, 0.289796526294175e2},
    {0, 1, 5, -0.213290083518327e1}, {0, 2, 1, 0.145503645404680e4},
    {0, 2, 2, -0.756558385769359e3}, {0, 2, 3, 0.273479662323528e3},
    {0, 2, 4, -0.555604063817218e2}, {0, 2, 5, 0.434420671917197e1},
    {0, 3, 1, -0.672507783145070e3}, {0, 3, 2, 0.499360390819152e3},
    {0, 3, 3, -0.239545330654412e3}, {0, 3, 4, 0.488012518593872e2},
    {0, 3, 5, -0.166307106208905e1}, {0, 4, 1, 0.397968445406972e3},
    {0, 4, 2, -0.301815380621876e3}, {0, 4, 3, 0.152196371733841e3},
    {0, 4, 4, -0.263748377232802e2}, {0, 5, 1, -0.194618310617595e3},
    {0, 5, 2, 0.120520654902025e3},  {0, 5, 3, -0.552723052340152e2},
    {0, 5, 4, 0.648190668077221e1},  {0, 6, 1, 0.635113936641785e2},
    {0, 6, 2, -0.222897317140459e2}, {0, 6, 3, 0.817060541818112e1},
    {0, 7, 1, -0.963108119393062e1}};

static const struct gibbs_term SALT[] = {
    {2, 0, 1, -0.331049154044839e4}, {3, 0, 1, 0.199459603073901e3},
    {4, 0, 1, -0.547919133532887e2}, {5, 0, 1, 0.360284195611086e2},
    {2, 1, 1, 0.729116529735046e3},  {3, 1, 1, -0.175292041186547e3},
    {4, 1, 1, -0.226683558512829e2}, {2, 2, 1, -0.860764303783977e3},
    {3, 2, 1, 0.383058066002476e3},  {2, 3, 1, 0.694244814133268e3},
    {3, 3, 1, -0.460319931801257e3}, {2, 4, 1, -0.297728741987187e3},
    {3, 4, 1, 0.234565187611355e3},  {2, 0, 2, 0.384794152978599e3},
    {3, 0, 2, -0.522940909281335e2}, {4, 0, 2, -0.408193978912261e1},
    {2, 1, 2, -0.343956902961561e3}, {3, 1, 2, 0.831923927801819e2},
    {2, 2, 2, 0.337409530269367e3},  {3, 2, 2, -0.541917262517112e2},
    {2, 3, 2, -0.204889641964903e3}, {2, 4, 2, 0.747261411387560e2},
    {2, 0, 3, -0.965324320107458e2}, {3, 0, 3, 0.680444942726459e2},
    {4, 0, 3, -0.301755111971161e2}, {2, 1, 3, 0.124687671116248e3},
    {3, 1, 3, -0.294830643494290e2}, {2, 2, 3, -0.178314556207638e3},
    {3, 2, 3, 0.256398487389914e2},  {2, 3, 3, 0.113561697840594e3},
    {2, 4, 3, -0.364872919001588e2}, {2, 0, 4, 0.158408172766824e2},
    {3, 0, 4, -0.341251932441282e1}, {2, 1, 4, -0.316569643860730e2},
    {2, 2, 4, 0.442040358308000e2},  {2, 3, 4, -0.111282734326413e2},
    {2, 0, 5, -0.262480156590992e1}, {2, 1, 5, 0.704658803315449e1},
    {2, 2, 5, -0.792001547211682e1}};

/* The first is there: 1. */
static void fill_powers(double base, double *power) {
    for (int i = 1; i < POWERS; i++) {
        power[i] = power[i - 1] * base;
    }
}

struct powers {
    double salt[POWERS], temp[POWERS], press[POWERS];
};

/* d gibbs / d pressure, which is the specific volume. Summed from the last, small, terms on. */
static double volume_m3_kg(const struct gibbs_term *term, size_t count, const struct powers *p) {
    double sum = 0;
    for (size_t i = count; i-- > 0;) {
        sum += term[i].press * term[i].gibbs_j_kg * p->salt[term[i].salt] * p->temp[term[i].temp] *
               p->press[term[i].press - 1];
    }
    return sum / REDUCING_PRESSURE_PA;
}

double up_water_sea_kg_m3(double salinity_g_kg, double temp_c, double gauge_pressure_pa) {
    struct powers powers = {.salt = {1}, .temp = {1}, .press = {1}};
    /* Written so that NaN fails as well. */
    if (!(salinity_g_kg >= 0 && salinity_g_kg <= UP_SALINITY_MAX_G_KG) ||
        !(temp_c >= -2 && temp_c <= 40) ||
        !(gauge_pressure_pa >= -0.1e6 && gauge_pressure_pa <= 100e6)) {
        return (double)NAN;
    }
    fill_powers(sqrt(salinity_g_kg / REDUCING_SALINITY_G_KG), powers.salt);
    fill_powers(temp_c / REDUCING_TEMP_K, powers.temp);
    fill_powers(gauge_pressure_pa / REDUCING_PRESSURE_PA, powers.press);
    return 1 / (volume_m3_kg(LIQUID_WATER, sizeof LIQUID_WATER / sizeof *LIQUID_WATER, &powers) +
                volume_m3_kg(SALT, sizeof SALT / sizeof *SALT, &powers));
}

double up_water_absolute_salinity_g_kg(double practical_salinity) {
    return UP_SEA_SALINITY_G_KG / 35 * practical_salinity;
}
