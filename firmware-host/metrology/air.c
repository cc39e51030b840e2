/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * CIPM-2007: Picard, Davis, Glaeser and Fujii, Metrologia 45 (2008) 149-155. Beyond its abstract
 * the paper was not at hand: the constants were read in two programs that name it and agree, one
 * by the national metrology institute of New Zealand (MSL).
 */
#include <math.h>

#include "upthrust/water.h"

#define ZERO_C_K       273.15
#define GAS_J_MOL_K    8.314472    /* the value CIPM-2007 was fitted with, CODATA 2006 */
#define DRY_AIR_KG_MOL 28.96546e-3 /* for 400 umol/mol of carbon dioxide, its default */
#define WATER_KG_MOL   18.01528e-3

/* Relative, in the range of the paper: 600 to 1100 hPa, 15 to 27 C. From memory. */
#define U_FORMULA_REL  22e-6
#define FORMULA_LOW_C  15.0
#define FORMULA_HIGH_C 27.0
/* Outside it: a guess of ours, above the 6e-5 by which older tables differ at 40 C. */
#define U_FAR_REL 1e-4

#define TEMP_MIN_C      0.0
#define TEMP_MAX_C      40.0
#define PRESSURE_MIN_PA 60e3
#define PRESSURE_MAX_PA 110e3

static double saturation_pa(double temp_k) {
    return exp(1.2378847e-5 * temp_k * temp_k - 1.9121316e-2 * temp_k + 33.93711047 -
               6.3431645e3 / temp_k);
}

static double enhancement(double temp_c, double pressure_pa) {
    return 1.00062 + 3.14e-8 * pressure_pa + 5.6e-7 * temp_c * temp_c;
}

static double compression(double temp_c, double pressure_pa, double vapour) {
    double per_k = pressure_pa / (temp_c + ZERO_C_K);
    double first = 1.58123e-6 + temp_c * (-2.9331e-8 + temp_c * 1.1043e-10) +
                   (5.707e-6 - 2.051e-8 * temp_c) * vapour +
                   (1.9898e-4 - 2.376e-6 * temp_c) * vapour * vapour;
    return 1 - per_k * first + per_k * per_k * (1.83e-11 - 0.765e-8 * vapour * vapour);
}

static double cipm_2007_kg_m3(double temp_c, double pressure_pa, double humidity) {
    double temp_k = temp_c + ZERO_C_K;
    double vapour =
        humidity * enhancement(temp_c, pressure_pa) * saturation_pa(temp_k) / pressure_pa;
    return pressure_pa * DRY_AIR_KG_MOL /
           (compression(temp_c, pressure_pa, vapour) * GAS_J_MOL_K * temp_k) *
           (1 - vapour * (1 - WATER_KG_MOL / DRY_AIR_KG_MOL));
}

/* OIML R 111-1 (2004), equation E.3-1, read in a public program; see water.h. */
#define U_SHORT_REL       2e-4
#define SHORT_LOW_C       10.0
#define SHORT_HIGH_C      30.0
#define SHORT_LOW_PA      90e3
#define SHORT_HIGH_PA     110e3
#define SHORT_HUMIDITY    0.8
#define ROUGH_TIMES_SHORT 10.0 /* a choice of ours: then the form adds half a hundredth to u */

static double short_form_kg_m3(double temp_c, double pressure_pa, double humidity) {
    return (0.34848 * pressure_pa / 100 - 0.009 * 100 * humidity * exp(0.061 * temp_c)) /
           (ZERO_C_K + temp_c);
}

static bool short_form_holds(const struct up_air *air) {
    return air->temp_c.value >= SHORT_LOW_C && air->temp_c.value <= SHORT_HIGH_C &&
           air->pressure_pa.value >= SHORT_LOW_PA && air->pressure_pa.value <= SHORT_HIGH_PA &&
           air->humidity.value < SHORT_HUMIDITY;
}

/* ---- uncertainty ---- */

enum { INPUTS = 3 };

/* Of either formula: they differ by 3e-4 at most, their slopes by no more. */
static double density_of(const double *input) {
    return cipm_2007_kg_m3(input[0], input[1], input[2]);
}

/* The formula is smooth a step beyond its range, so the ends need no special case. */
static double sensitivity(const struct up_quantity *const *input, int moved, double step) {
    double low[INPUTS], high[INPUTS];
    for (int i = 0; i < INPUTS; i++) {
        low[i] = input[i]->value - (i == moved ? step : 0);
        high[i] = input[i]->value + (i == moved ? step : 0);
    }
    return (density_of(high) - density_of(low)) / (2 * step);
}

/* GUM (JCGM 100:2008): (10) for the uncertainty, (G.2b) for the degrees of freedom; the formula's
   own uncertainty is taken as known. */
static struct up_quantity combine(const struct up_air *air, double rho, double u_formula) {
    static const double step[INPUTS] = {0.01, 10, 1e-3};
    const struct up_quantity *const input[INPUTS] = {&air->temp_c, &air->pressure_pa,
                                                     &air->humidity};
    struct up_quantity sum = up_known(rho, u_formula);
    double share = 0;
    for (int i = 0; i < INPUTS; i++) {
        double u = fabs(sensitivity(input, i, step[i])) * input[i]->u;
        sum.u = hypot(sum.u, u);
        share += isinf(input[i]->dof) || u <= 0 ? 0 : pow(u, 4) / input[i]->dof;
    }
    sum.dof = share > 0 ? pow(sum.u, 4) / share : (double)INFINITY;
    return sum;
}

/* ---- the whole ---- */

/* Whether the inputs alone leave so much that the short form's own share does not matter. */
static bool inputs_dominate(const struct up_air *air) {
    if (!short_form_holds(air)) {
        return false;
    }
    double rho = cipm_2007_kg_m3(air->temp_c.value, air->pressure_pa.value, air->humidity.value);
    return combine(air, rho, 0).u > ROUGH_TIMES_SHORT * U_SHORT_REL * rho;
}

const char *up_air_model(const struct up_air *air) {
    return inputs_dominate(air) ? "air by the short form of OIML R 111-1 (E.3-1)"
                                : "air by CIPM-2007";
}

struct range {
    const char *what;
    double low, high;
};

static bool is_within(const struct up_quantity *input, const struct range *range,
                      struct up_failure *failure) {
    /* Written so that NaN fails as well. */
    if (!(input->value >= range->low && input->value <= range->high)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "air: %s is %g, outside %g to %g",
                       range->what, input->value, range->low, range->high);
    }
    if (!(input->u >= 0 && input->u <= range->high)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "air: uncertainty of %s is %g, outside 0 to %g", range->what, input->u,
                       range->high);
    }
    if (input->u > 0 && !(input->dof > 0)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "air: degrees of freedom of %s are %g, not above 0", range->what,
                       input->dof);
    }
    return true;
}

bool up_air_density(const struct up_air *air, struct up_quantity *density_kg_m3,
                    struct up_failure *failure) {
    static const struct range temp = {"temperature in C", TEMP_MIN_C, TEMP_MAX_C};
    static const struct range pressure = {"pressure in Pa", PRESSURE_MIN_PA, PRESSURE_MAX_PA};
    static const struct range humidity = {"humidity", 0, 1};
    double nan = (double)NAN;
    *density_kg_m3 = (struct up_quantity){nan, nan, nan};
    if (!is_within(&air->temp_c, &temp, failure) ||
        !is_within(&air->pressure_pa, &pressure, failure) ||
        !is_within(&air->humidity, &humidity, failure)) {
        return false;
    }
    if (inputs_dominate(air)) {
        double rho =
            short_form_kg_m3(air->temp_c.value, air->pressure_pa.value, air->humidity.value);
        *density_kg_m3 = combine(air, rho, U_SHORT_REL * rho);
        return true;
    }
    bool near = air->temp_c.value >= FORMULA_LOW_C && air->temp_c.value <= FORMULA_HIGH_C;
    double rho = cipm_2007_kg_m3(air->temp_c.value, air->pressure_pa.value, air->humidity.value);
    *density_kg_m3 = combine(air, rho, (near ? U_FORMULA_REL : U_FAR_REL) * rho);
    return true;
}
