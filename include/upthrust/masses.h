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

/* A body weighed on a scale that was checked with a known mass, such as a closed bottle of water,
   weighed whole: what the scale shows is its conventional mass (OIML D 28: 8000 kg/m3 in air of
   1.2 kg/m3). Returns the half-width of its relative error for this and any heavier one: what the
   check left open, the errors of a scale of class III in service (OIML R 76), and air that is
   0.1 kg/m3 another one than it was, on a body of 900 kg/m3. NaN where a number is not above 0. */
struct up_scale_check {
    double step_g;              /* of the scale */
    double known_g, shown_g;    /* the known mass, and what the scale shows for it */
    double known_tolerance_rel; /* of the known mass */
};
double up_weighed_tolerance_rel(const struct up_scale_check *scale, double lightest_g);

#endif
