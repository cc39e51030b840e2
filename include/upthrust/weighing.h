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
 * uncertainty, degrees of freedom and distribution, and what it is shared with. The first-order
 * combination (GUM, JCGM 100:2008) and a Monte Carlo (JCGM 101:2008) run over the same model; the
 * interval and the probabilities come from the Monte Carlo, u and dof from the first order. Whether
 * the two agree is reported (JCGM 101 clause 8).
 *
 * The decision follows JCGM 106:2012: a class is stated when its probability reaches the
 * confidence.
 *
 * Air that no shake frees is not a term: its distribution is unknown. It is a bound, added linearly
 * and downward only: the interval is the union over all that may have stayed, from b - expanded_u -
 * stuck_air to b + expanded_u, and a class holds whatever of it stayed.
 */
#ifndef UPTHRUST_WEIGHING_H
#define UPTHRUST_WEIGHING_H

#include <stdbool.h>
#include <stddef.h>

#include "upthrust/failure.h"
#include "upthrust/quantity.h"

#define UP_MASS_DENSITY_KG_M3 8000.0 /* conventional density of masses, OIML R 111 */

enum up_distribution { UP_NORMAL, UP_STUDENT, UP_RECTANGULAR };

/* The inputs of the model, in the order of the budget. */
enum up_input {
    UP_INPUT_WATER_LOAD,      /* counts: mean over the trials; its scatter is the repeatability */
    UP_INPUT_WATER_PLATEAU,   /* counts: noise of the plateaus themselves, and of their tares */
    UP_INPUT_DRIFT,           /* counts: of the zero between tares, where no own scatter shows it */
    UP_INPUT_AIR_LOAD,        /* counts: the dry weighing */
    UP_INPUT_SLOPE,           /* counts/kg: the fit */
    UP_INPUT_MASSES,          /* relative: tolerance of the reference masses */
    UP_INPUT_LACK_OF_FIT,     /* kg: points off the straight line */
    UP_INPUT_OFFSET,          /* kg: by which any load reads larger, as the calibration shows */
    UP_INPUT_HYSTERESIS,      /* kg: difference of a reading between loading and unloading */
    UP_INPUT_CELL_TEMP,       /* relative: slope, the cell being warmer than when calibrated */
    UP_INPUT_RESOLUTION,      /* counts: division of the indication, on a difference */
    UP_INPUT_CREEP,           /* relative to w: what the matched schedule leaves */
    UP_INPUT_SWING,           /* relative to w: hanging point and swing read it high by up to
                                 theta^2 / 4 */
    UP_INPUT_AIR_DENSITY,     /* kg/m3: at the dry weighing */
    UP_INPUT_WATER_TEMP,      /* K: error of the thermometer in the tank */
    UP_INPUT_WATER_DENSITY,   /* kg/m3: of the tank's water; u of the formula alone */
    UP_INPUT_WATER_SALINITY,  /* kg/m3: what salinity or dissolved solids put it off by */
    UP_INPUT_DEPTH,           /* m: the item hangs so much deeper than is said */
    UP_INPUT_ITEM_TEMP,       /* K: item's temperature above that of the water */
    UP_INPUT_EXPANSION,       /* 1/K: volume expansion of the item */
    UP_INPUT_TRAPPED_AIR,     /* kg: lift of air still in the item; one-sided */
    UP_INPUT_BUBBLES,         /* kg: lift of bubbles that formed on it since the last shake */
    UP_INPUT_DRIPS,           /* kg: water that still drips off when the tares are read */
    UP_INPUT_MENISCUS,        /* kg: meniscus on the line */
    UP_INPUT_TARGET_DENSITY,  /* kg/m3: the water asked for; u of formula and temperature */
    UP_INPUT_TARGET_SALINITY, /* kg/m3: what its salinity or dissolved solids put it off by */
    UP_INPUT_COUNT
};

/* What has the same error in an input: whoever adds or compares results keeps that correlation.
   Results of one weighing (in several waters) share all but the water asked for. */
enum up_sharing {
    UP_SHARED_WEIGHING, /* one weighing: its trials and its dry weighing */
    UP_SHARED_ITEM,
    UP_SHARED_SESSION, /* all that is weighed on one day: rig, air, thermometer, depth */
    UP_SHARED_CALIBRATION,
    UP_SHARED_MASSES,     /* all calibrations with one set of masses */
    UP_SHARED_TANK_WATER, /* all that is weighed in one filling of the tank */
    UP_SHARED_TARGET_WATER,
    UP_SHARINGS
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
enum up_sharing up_input_sharing(enum up_input input);
/* "weighing", "item", "session", "calibration", "masses", "tank water", "water asked for". */
const char *up_sharing_name(enum up_sharing sharing);
const char *up_distribution_name(enum up_distribution distribution);

struct up_weighing {
    struct up_term term[UP_INPUT_COUNT];
    bool weighed_in_air;               /* false: V unknown, the tank's own result only */
    double calibration_air_kg_m3;      /* rho_a in k */
    double tank_density_slope_kg_m3_k; /* turns the thermometer's error into density */
    double tank_density_slope_kg_m3_m; /* and the depth's */
    double tank_temp_c;
    double cord_area_m2, tank_area_m2; /* line's cross-section; 0 where the rig does not say */
    bool in_tank;                      /* the water asked for is the tank's own */
    double target_temp_c;
    double stuck_air_kg; /* lift in the tank of the air that may have stayed through all shakes, the
                            most of it; NaN: not assessed, as in older records, taken as 0 */
};

struct up_question {
    double tolerance_kg;  /* neutral: |b| <= tolerance; above 0 */
    double coverage;      /* of the interval, 0.95 */
    double confidence;    /* 0.5 to 0.9999: a class is stated when its probability reaches this */
    unsigned analyses;    /* at so many preset counts of trials a class may be stated; 0 is 1 */
    bool air_share_known; /* false: no class that hangs on the trapped air */
    unsigned draws;       /* of the Monte Carlo: exactly so many; 0: until the digits stand still */
    unsigned digits;      /* significant ones of u, 1 or 2; 0 is 2 */
    unsigned long seed;
};

/* What a class must reach at each interim analysis, so that all together keep the confidence asked
   for (Bonferroni's inequality): 1 - (1 - confidence) / looks. */
double up_confidence_at_analysis(const struct up_question *question);

enum up_class { UP_CLASS_UNDECIDED, UP_CLASS_POSITIVE, UP_CLASS_NEUTRAL, UP_CLASS_NEGATIVE };

const char *up_class_name(enum up_class class);

struct up_answer {
    struct up_quantity buoyancy_kg; /* estimate; first-order u and effective dof */
    double expanded_u_kg; /* half-width about the estimate that holds `coverage` of the draws */
    double
        stuck_air_kg; /* the net is lower by up to so much more in the water asked for; NaN as there
                       */
    /* Each the least over all the air that may have stayed; so they may add up to less than 1. */
    double probability_positive, probability_neutral, probability_negative;
    enum up_class class;
    double volume_m3, mass_kg; /* NaN where not weighed in air */

    /* The guard band (JCGM 106 clause 8): positive is stated from tolerance + guard_low on,
       negative from -tolerance - guard_high down, neutral between -tolerance + guard_low and
       tolerance - guard_high where that leaves room. guard_low holds the air that may have stayed.
     */
    double guard_low_kg, guard_high_kg;

    /* How the interval was obtained. */
    double first_order_expanded_u_kg; /* k u, with k of Student t at the effective dof */
    double draws_mean_kg, draws_u_kg; /* NaN where a term of two dof or less has no variance */
    double numerical_tolerance_kg;    /* half a unit of the last digit of u (JCGM 101 7.9.2) */
    bool first_order_agrees;          /* its ends lie within that of those used: clause 8 */
    bool stable;    /* the draws stand still within that; else there were too few */
    unsigned draws; /* made */
};

/* UP_STATUS_WRONG_INPUT, naming the term or the number: a term that is not finite, a tolerance of
   nothing, a confidence outside 0.5 to 0.9999, a coverage outside 0 to 1. UP_STATUS_UNABLE: V is
   not positive, or another water is asked for without a weighing in air. */
bool up_weighing_check(const struct up_weighing *weighing, const struct up_question *question,
                       struct up_failure *failure);

/* Fills term[].sensitivity and .share too. False where up_weighing_check would say why. */
bool up_weigh(struct up_weighing *weighing, const struct up_question *question,
              struct up_answer *answer);

/* How many further trials would state a class, the estimate and the scatter staying what they are;
   0 where one is stated. False where none would: the item lies on the limit of a class, or
   something else than the trials dominates. More than UP_TRIALS_FORESEEN are not looked for. */
enum { UP_TRIALS_FORESEEN = 200 };
bool up_trials_to_decide(const struct up_weighing *weighing, const struct up_question *question,
                         unsigned trials, unsigned *more);

/* The derivation from counts to buoyancy at the estimates, step by step; NaN where it was not
   weighed in air. */
struct up_chain {
    double k;                    /* 1 - rho_a(calibration) / 8000 */
    double slope_counts_per_kg;  /* with what masses and temperature put it off by */
    double water_kg, air_kg;     /* w and L: conventional */
    double water_density_kg_m3;  /* of the tank */
    double wetted_volume_m3;     /* item and the air in it: (L - w) k / (rho_w - rho_a) */
    double volume_m3, mass_kg;   /* the item's own */
    double cord_kg;              /* rho_w a V / A: lift that the line gained by the higher level */
    double warming_kg;           /* rho_w V beta dt: lift that it loses once it is warm or cold */
    double tank_kg;              /* net in the tank: -w k - meniscus - air - line - warming */
    double target_density_kg_m3; /* of the water asked for */
    double stretch;              /* 1 + beta (t_x - t_w) */
    double buoyancy_kg;          /* in the water asked for */
};
bool up_weighing_chain(const struct up_weighing *weighing, struct up_chain *chain);

/* Covariance of the buoyancies of several results, kg^2, row by row: the terms that two of them
   share are fully correlated, all others not at all. origin[i].of[s]: a number for what result i
   shares with others of sharing s; equal numbers, the same thing. The weighings were through
   up_weigh. Bounds are no part of it: those of a sum (stuck_air_kg of each answer) add up. */
struct up_origin {
    unsigned of[UP_SHARINGS];
};
void up_covariance_kg2(const struct up_weighing *const weighing[], const struct up_origin *origin,
                       size_t count, double *covariance_kg2);

/* The residual of trapped air (measurement of gains by successive shakes): one shake removes at
   least the share phi of what is left, so what remains lies between 0 and
   (max(last_gain, 0) + u_gain) (1 - phi) / phi. Returns the upper bound, in the unit of the gain.
 */
double up_trapped_air_bound(double last_gain, double u_gain, double share);

/* The most that stays where shaking freed `freed` and a share `stuck` of all air may stay through
   any number of shakes: freed s / (1 - s), in the unit of `freed`; nothing where nothing was freed.
 */
double up_stuck_air_bound(double freed, double stuck_share);

/* Lead that cancels a positive net buoyancy in a water, true kg: b / (1 - rho_x / rho_lead). */
double up_lead_to_cancel_kg(double buoyancy_kg, double water_density_kg_m3,
                            double lead_density_kg_m3);

#endif
