/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From loads on the cell to net buoyancy in a water, with uncertainty and a class.
 *
 * Sign: positive net buoyancy floats. "Buoyancy in grams" is the mass whose weight equals the net
 * upward force at the bench. Equations, with rho_a, rho_w, rho_x the densities of air, of the tank
 * and of the water asked for, and k = 1 - rho_a(calibration) / 8000 kg/m3 (the masses' conventional
 * density, OIML R 111):
 *
 *   in air    L k = m - rho_a V          L, w: loads as differences to the tares, conventional kg
 *   in water  w k = m - rho_w V          V = (L - w) k / (rho_w - rho_a)
 *   net       b = -w k                   in the tank
 *             b_x = b + (rho_x (1 + beta (t_x - t_w)) - rho_w) V
 *
 * (Archimedes; hydrostatic weighing with air correction as in ISO 1183-1 method A and ASTM D792.)
 * The equation for other waters holds for gear that does not compress, at the depth measured.
 *
 * Every uncertain number is a term of the budget: an input of the model with estimate, standard
 * uncertainty, degrees of freedom and distribution. The first-order combination (GUM, JCGM 100) and
 * a Monte Carlo (JCGM 101) run over the same model; the interval and the probabilities come from
 * the Monte Carlo, u and dof from the first order.
 */
#ifndef UPTHRUST_WEIGHING_H
#define UPTHRUST_WEIGHING_H

#include <stdbool.h>
#include <stddef.h>

#include "upthrust/quantity.h"

#define UP_MASS_DENSITY_KG_M3 8000.0 /* conventional density of masses, OIML R 111 */

enum up_distribution { UP_NORMAL, UP_STUDENT, UP_RECTANGULAR };

/* The inputs of the model, in the order of the budget. */
enum up_input {
    UP_INPUT_WATER_LOAD,     /* counts: mean over the trials; its scatter is the repeatability */
    UP_INPUT_WATER_PLATEAU,  /* counts: noise of the plateaus themselves, and of their tares */
    UP_INPUT_AIR_LOAD,       /* counts: the dry weighing */
    UP_INPUT_SLOPE,          /* counts/kg: the fit; common to all weighings */
    UP_INPUT_MASSES,         /* relative: tolerance of the reference masses; common too */
    UP_INPUT_LACK_OF_FIT,    /* kg: points off the straight line */
    UP_INPUT_HYSTERESIS,     /* kg: what a reading hangs on the way it was come by */
    UP_INPUT_CELL_TEMP,      /* relative: slope, the cell being warmer than when calibrated */
    UP_INPUT_RESOLUTION,     /* counts: division of the indication, on a difference */
    UP_INPUT_CREEP,          /* relative to w: what the matched schedule leaves */
    UP_INPUT_AIR_DENSITY,    /* kg/m3: at the dry weighing */
    UP_INPUT_WATER_TEMP,     /* K: error of the thermometer in the tank */
    UP_INPUT_WATER_DENSITY,  /* kg/m3: formula and dissolved solids of the tank's water */
    UP_INPUT_ITEM_TEMP,      /* K: item's temperature above that of the water */
    UP_INPUT_EXPANSION,      /* 1/K: volume expansion of the item */
    UP_INPUT_TRAPPED_AIR,    /* kg: lift of air still in the item; one-sided */
    UP_INPUT_LINE,           /* kg: meniscus on the line */
    UP_INPUT_TARGET_DENSITY, /* kg/m3: the water asked for */
    UP_INPUT_COUNT
};

struct up_term {
    double value, u; /* rectangular: u is the half-width over the square root of 3 */
    double dof;
    enum up_distribution distribution;
    char evaluation;    /* 'A' by statistics, 'B' by other means (GUM 4.2, 4.3) */
    double sensitivity; /* d b / d input, kg per unit of the input; filled by up_weigh */
    double share;       /* of the combined variance; filled by up_weigh */
};

/* Name and unit of an input, for tables and records. Never NULL. */
const char *up_input_name(enum up_input input);
const char *up_input_unit(enum up_input input);
const char *up_distribution_name(enum up_distribution distribution);

struct up_weighing {
    struct up_term term[UP_INPUT_COUNT];
    bool weighed_in_air;               /* false: V unknown, the tank's own result only */
    double calibration_air_kg_m3;      /* rho_a in k */
    double tank_density_slope_kg_m3_k; /* turns the thermometer's error into density */
    double tank_temp_c;
    double line_area_m2, tank_area_m2; /* line's cross-section; 0 where the rig does not say */
    bool in_tank;                      /* the water asked for is the tank's own */
    double target_temp_c;
};

struct up_question {
    double tolerance_kg;  /* neutral: |b| <= tolerance */
    double coverage;      /* of the interval, 0.95 */
    double confidence;    /* a class is stated when its probability reaches this */
    bool air_share_known; /* false: no class that hangs on the trapped air */
    unsigned draws;       /* of the Monte Carlo; 0 for 50000 */
    unsigned long seed;
};

enum up_class { UP_CLASS_UNDECIDED, UP_CLASS_POSITIVE, UP_CLASS_NEUTRAL, UP_CLASS_NEGATIVE };

const char *up_class_name(enum up_class class);

struct up_answer {
    struct up_quantity buoyancy_kg; /* estimate; first-order u and effective dof */
    double expanded_u_kg;           /* half-width that holds `coverage` of the draws */
    double probability_positive, probability_neutral, probability_negative;
    enum up_class class;
    double volume_m3, mass_kg; /* NaN where not weighed in air */
};

/* Fills term[].sensitivity and .share too. False where the model has no finite value, or V is not
   positive, or another water is asked for without a weighing in air. */
bool up_weigh(struct up_weighing *weighing, const struct up_question *question,
              struct up_answer *answer);

/* The residual of trapped air (measurement of gains by successive shakes): one shake removes at
   least the share phi of what is left, so what remains lies between 0 and
   (max(last_gain, 0) + u_gain) (1 - phi) / phi. Returns the upper bound, in the unit of the gain.
 */
double up_trapped_air_bound(double last_gain, double u_gain, double share);

/* Lead that cancels a positive net buoyancy in a water, true kg: b / (1 - rho_x / rho_lead). */
double up_lead_to_cancel_kg(double buoyancy_kg, double water_density_kg_m3,
                            double lead_density_kg_m3);

#endif
