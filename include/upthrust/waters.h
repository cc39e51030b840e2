/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Waters by name, and a water of one's own by what was measured of it.
 *
 * A name stands for a range of salinity, published for the place; it enters as rectangular. A water
 * of one's own is given by salinity, by conductivity (PSS-78), by a hydrometer, by its dissolved
 * solids or by the salt of a pool; where several are given they must agree, and are averaged. Pure
 * functions.
 */
#ifndef UPTHRUST_WATERS_H
#define UPTHRUST_WATERS_H

#include <stddef.h>

#include "upthrust/water.h"

struct up_named_water {
    const char *name;
    enum up_water_model model;
    double low_g_kg, high_g_kg; /* as salinity_g_kg of struct up_water */
    double temp_c;              /* taken where none is given: a choice of ours */
    bool narrow;                /* a salinity outside the range contradicts the name */
    const char *what, *source;
};

/* The i-th, NULL behind the last; the first two are those that are asked for where none is. */
const struct up_named_water *up_named_water_at(size_t i);

/* True, and the whole water with the range's middle and standard uncertainty, where the name is
   known. Otherwise false; the water has the name then, is sea and has no salinity (NaN). */
bool up_water_by_name(const char *name, struct up_water *water);

/*
 * What was measured of a water; NaN where it was not given. The list is the one place that names
 * the keys and their ranges: of --water, and of [tank] in the rig file.
 */
#define UP_WATER_GIVEN_KEYS(KEY)                                                                   \
    KEY(salinity_g_kg, 0, UP_SALINITY_MAX_G_KG)                                                    \
    KEY(salinity_psu, 0, 41.8)                                                                     \
    KEY(u_salinity_g_kg, 0, 10)                                                                    \
    KEY(conductivity_ms_cm, 0.05, 80)                                                              \
    KEY(conductivity_temp_c, 0, 35)                                                                \
    KEY(u_conductivity_ms_cm, 0, 10)                                                               \
    KEY(hydrometer_kg_m3, 985, 1040)                                                               \
    KEY(hydrometer_sg, 0.985, 1.04)                                                                \
    KEY(hydrometer_ref_c, 0, 40)                                                                   \
    KEY(hydrometer_temp_c, 0, 40)                                                                  \
    KEY(u_hydrometer_kg_m3, 0, 10)                                                                 \
    KEY(solids_g_kg, 0, 2)                                                                         \
    KEY(u_solids_g_kg, 0, 2)                                                                       \
    KEY(pool_salt_g_l, 0, 40)                                                                      \
    KEY(u_pool_salt_g_l, 0, 10)

struct up_water_given {
    double salinity_g_kg, salinity_psu; /* absolute, practical; of fresh water: dissolved solids */
    double u_salinity_g_kg;
    double conductivity_ms_cm;   /* as read at conductivity_temp_c; a meter that shows it for 25 C
                                    has 25 there */
    double conductivity_temp_c;  /* else the water's own */
    double u_conductivity_ms_cm; /* else 1 % of the reading, the thermometer's part in it */
    double hydrometer_kg_m3;     /* the reading, of a scale in density ... */
    double hydrometer_sg;        /* ... or in specific gravity, to water at hydrometer_ref_c */
    double hydrometer_ref_c;     /* at which it reads true; printed on it; must be given */
    double hydrometer_temp_c;    /* of the sample; else the water's own */
    double u_hydrometer_kg_m3;   /* else 0.5: half a division of 1 */
    double solids_g_kg;          /* dissolved in fresh water */
    double u_solids_g_kg;        /* else a tenth: pocket meters guess at the kind of salt */
    double pool_salt_g_l;        /* sodium chloride, as strips and meters show it */
    double u_pool_salt_g_l;      /* else a tenth */
};

struct up_water_key {
    const char *name;
    size_t offset; /* of the double in struct up_water_given */
    double low, high;
};

/* The i-th key, NULL behind the last. */
const struct up_water_key *up_water_key_at(size_t i);

struct up_water_given up_water_nothing_given(void);

/* Whether anything that fixes the salinity was given. */
bool up_water_is_given(const struct up_water_given *given);

/* The model that the given keys belong to: pool for pool salt, fresh for solids, else sea. */
enum up_water_model up_water_model_given(const struct up_water_given *given);

/* Fills salinity, its uncertainty and its distribution in a water that has name, model and temp_c
   (NaN: not known, then the samples' temperatures must be given) and perhaps the range of its name.
   False (UP_STATUS_WRONG_INPUT) where a number is out of its range, two keys say the same, a key
   lacks its companion, does not go with the kind of water, the sources contradict each other by
   more than twice the standard uncertainty of their difference, or all together the name. */
bool up_water_from_given(const struct up_water_given *given, struct up_water *water,
                         struct up_failure *failure);

/* Practical Salinity of seawater by its conductivity: PSS-78, Fofonoff and Millard, UNESCO
   Technical Papers in Marine Science 44 (1983); below 2 its extension by Hill, Dauphinee and Woods,
   IEEE J. Oceanic Eng. 11 (1986) 109. C(35, 15 C, 0) = 42.914 mS/cm, Culkin and Smith 1980. The
   papers were not at hand: coefficients read in public programs that name them and agree. ITS-90;
   published for -2 to 35 C and 2 to 42. NaN for conductivity not above 0 or above 150 mS/cm,
   outside -2 to 41 C or 0 to 100 MPa; no less than 0 otherwise. */
double up_water_practical_salinity(double conductivity_ms_cm, double temp_c,
                                   double gauge_pressure_pa);

/* Density of the liquid in which a glass hydrometer reads so: its volume swells with the glass,
   reading / (1 + 25e-6 (t - t_ref)); the coefficient is the convention of ISO 1768:1975 (abstract
   read). Surface tension and meniscus are in the reading's uncertainty. */
double up_water_hydrometer_kg_m3(double reading_kg_m3, double ref_c, double temp_c);

#endif
