/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reference masses by their accuracy class: maximum permissible errors of OIML R 111-1:2004,
 * table 1, 1 g to 50 kg.
 */
#ifndef UPTHRUST_MASSES_H
#define UPTHRUST_MASSES_H

#include <stdbool.h>
#include <stddef.h>

/* UP_MASSES_UNCLASSED: a tolerance was given instead. */
enum up_mass_class {
    UP_MASSES_UNCLASSED,
    UP_MASSES_E2,
    UP_MASSES_F1,
    UP_MASSES_F2,
    UP_MASSES_M1,
    UP_MASSES_M2,
    UP_MASSES_M3,
    UP_MASS_CLASSES
};

/* "M1", ...; "" for UP_MASSES_UNCLASSED. Never NULL. */
const char *up_mass_class_name(enum up_mass_class mass_class);
/* False, changing nothing, for a name that is none. */
bool up_mass_class_from_name(const char *name, enum up_mass_class *mass_class);

/* The maximum permissible error of a mass, in kg. A mass that is no nominal value counts as the
   fewest pieces of one set (1-2-2-5 in each decade) that add up to it, and their errors as a sum.
   NaN for a mass that no set of 1 g to 50 kg makes. */
double up_mass_error_kg(enum up_mass_class mass_class, double mass_kg);

/* Half-width of the relative error of a proportional slope fitted to these masses, whose errors all
   go the same way (one set, made and worn together): sum(m e) / sum(m m). Signs of the masses do
   not matter. NaN where a mass is outside the table. */
double up_masses_tolerance_rel(enum up_mass_class mass_class, const double *mass_kg, size_t count);

#endif
