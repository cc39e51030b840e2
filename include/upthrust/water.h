/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Density of fresh water and seawater, and of moist air, with standard uncertainty.
 *
 * Fresh water: CIPM formula, Tanaka et al., Metrologia 38 (2001) 301-309, 0 to 40 C, with its
 * compressibility. Seawater: the Gibbs function of IAPWS R13-08 on that of IAPWS SR7-09 (the
 * formulation of TEOS-10), in-situ temperature. Air: CIPM-2007, Picard et al., Metrologia 45
 * (2008) 149-155, or the short form of OIML R 111-1. Salt of pools: see up_water_pool_kg_m3.
 * Temperatures are ITS-90. Pure functions: no device, clock, file or screen.
 */
#ifndef UPTHRUST_WATER_H
#define UPTHRUST_WATER_H

#include <stdbool.h>

#include "upthrust/failure.h"
#include "upthrust/gravity.h"
#include "upthrust/quantity.h"

#define UP_STANDARD_PRESSURE_PA 101325.0 /* ISO 2533: one standard atmosphere */
#define UP_SEA_SALINITY_G_KG    35.16504 /* TEOS-10 standard seawater */
#define UP_SALINITY_MAX_G_KG                                                                       \
    42.0 /* range of IAPWS R13-08 near the surface (its upper                                      \
            limit of 120 g/kg holds only at 101325 Pa) */

/* Air-free fresh water. temp_c in 0 to 40, gauge_pressure_pa above one standard atmosphere.
   NaN outside the range. */
double up_water_fresh_kg_m3(double temp_c, double gauge_pressure_pa);

/* Seawater of the reference composition. salinity_g_kg is Absolute Salinity. NaN outside 0 to 42
   g/kg, -2 to 40 C, -0.1 to 100 MPa gauge. */
double up_water_sea_kg_m3(double salinity_g_kg, double temp_c, double gauge_pressure_pa);

/* Fresh water with sodium chloride, grams in a kilogram of it: what the salt adds by Lo Surdo,
   Alzola and Millero, J. Chem. Thermodyn. 14 (1982) 649, which was not at hand: coefficients read
   in two public programs that agree. NaN outside 0 to 42 g/kg and the range of fresh water. */
double up_water_pool_kg_m3(double salt_g_kg, double temp_c, double gauge_pressure_pa);

/* Absolute Salinity at the reference composition of a Practical Salinity (PSS-78):
   S_A = (35.16504 g/kg / 35) S_P; IOC, SCOR and IAPSO 2010 (the TEOS-10 manual), section 2.4. */
double up_water_absolute_salinity_g_kg(double practical_salinity);

/* A water as somebody asks for it. Zero u_... means "exactly this". */
enum up_water_model { UP_WATER_FRESH, UP_WATER_SEA, UP_WATER_POOL };

struct up_water {
    char name[48]; /* UTF-8, "tank" for the tank itself */
    enum up_water_model model;
    double temp_c, u_temp_c;
    double salinity_g_kg, u_salinity_g_kg; /* sea: Absolute Salinity; fresh: dissolved solids,
                                              which add to the CIPM density; pool: its salt */
    bool salinity_range; /* it lies anywhere in estimate +- sqrt(3) u, rectangular */
    double depth_m;
    double gravity_m_s2; /* at the place; 0: standard */
};

struct up_water_density {
    struct up_quantity density_kg_m3; /* all below combined */
    double u_model_kg_m3;             /* the formula itself */
    double u_salinity_kg_m3;          /* salinity or dissolved solids */
    double u_temp_kg_m3;              /* thermometer */
    double slope_kg_m3_k;             /* d density / d temperature */
    double gauge_pressure_pa;         /* at the depth, hydrostatic */
    bool rectangular;                 /* a salinity's range rules the uncertainty, and its shape */
    const char *model;                /* one line naming formula and source */
};

/* False (UP_STATUS_WRONG_INPUT, naming the number and its range) where an input is not finite or
   outside its range: 0 to 40 C, 0 to 42 g/kg (fresh: 0 to 2), 0 to 60 m, 9.7 to 9.9 m/s2. */
bool up_water_density(const struct up_water *water, struct up_water_density *density,
                      struct up_failure *failure);

/* Moist air. humidity is a fraction 0 to 1. The uncertainty holds that of the three inputs (all
   standard) and of the formula. False outside 60 to 110 kPa, 0 to 40 C.

   By CIPM-2007; where the inputs are known so roughly that they alone leave more than ten times the
   2e-4 of the short form of OIML R 111-1 (2004), equation E.3-1, by that, within its range of 900
   to 1100 hPa, 10 to 30 C, humidity below 0.8 (range and 2e-4 from memory). */
struct up_air {
    struct up_quantity temp_c, pressure_pa, humidity;
};

bool up_air_density(const struct up_air *air, struct up_quantity *density_kg_m3,
                    struct up_failure *failure);

/* One line naming the formula that up_air_density takes for this air, and its source. */
const char *up_air_model(const struct up_air *air);

#endif
