/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/masses.h"

#include <math.h>
#include <string.h>

#include "upthrust/weighing.h"

struct nominal {
    double mass_g;
    int pieces; /* in a 1-2-2-5 set */
    double error_mg[UP_MASS_CLASSES];
};

/* OIML R 111-1:2004, table 1 (published; read in two independent copies that agree in every cell
   here). Heaviest first. */
static const struct nominal table[] = {
    {50000, 1, {0, 80, 250, 800, 2500, 8000, 25000}},
    {20000, 2, {0, 30, 100, 300, 1000, 3000, 10000}},
    {10000, 1, {0, 16, 50, 160, 500, 1600, 5000}},
    {5000, 1, {0, 8.0, 25, 80, 250, 800, 2500}},
    {2000, 2, {0, 3.0, 10, 30, 100, 300, 1000}},
    {1000, 1, {0, 1.6, 5.0, 16, 50, 160, 500}},
    {500, 1, {0, 0.8, 2.5, 8.0, 25, 80, 250}},
    {200, 2, {0, 0.3, 1.0, 3.0, 10, 30, 100}},
    {100, 1, {0, 0.16, 0.5, 1.6, 5.0, 16, 50}},
    {50, 1, {0, 0.10, 0.3, 1.0, 3.0, 10, 30}},
    {20, 2, {0, 0.08, 0.25, 0.8, 2.5, 8.0, 25}},
    {10, 1, {0, 0.06, 0.20, 0.6, 2.0, 6.0, 20}},
    {5, 1, {0, 0.05, 0.16, 0.5, 1.6, 5.0, 16}},
    {2, 2, {0, 0.04, 0.12, 0.4, 1.2, 4.0, 12}},
    {1, 1, {0, 0.03, 0.10, 0.3, 1.0, 3.0, 10}},
};
enum { NOMINALS = sizeof table / sizeof table[0] };

/* Decimal fractions of a kilogram are not whole grams to the last bit. */
static const double SAME_G = 1e-6;

static const char *const names[UP_MASS_CLASSES] = {
    [UP_MASSES_UNCLASSED] = "", [UP_MASSES_E2] = "E2", [UP_MASSES_F1] = "F1", [UP_MASSES_F2] = "F2",
    [UP_MASSES_M1] = "M1",      [UP_MASSES_M2] = "M2", [UP_MASSES_M3] = "M3",
};

const char *up_mass_class_name(enum up_mass_class mass_class) {
    return names[mass_class];
}

bool up_mass_class_from_name(const char *name, enum up_mass_class *mass_class) {
    for (int i = UP_MASSES_UNCLASSED + 1; i < UP_MASS_CLASSES; i++) {
        if (strcmp(names[i], name) == 0) {
            *mass_class = (enum up_mass_class)i;
            return true;
        }
    }
    return false;
}

/* The greedy choice is the one of fewest pieces: a set with 1, 2, 2, 5 in each decade makes every
   whole number once through. */
double up_mass_error_kg(enum up_mass_class mass_class, double mass_kg) {
    double remaining_g = mass_kg * 1e3, error_mg = 0;
    if (!isfinite(mass_kg) || mass_class == UP_MASSES_UNCLASSED) {
        return (double)NAN;
    }
    for (int i = 0; i < NOMINALS; i++) {
        for (int piece = 0; piece < table[i].pieces && remaining_g > table[i].mass_g - SAME_G;
             piece++) {
            remaining_g -= table[i].mass_g;
            error_mg += table[i].error_mg[mass_class];
        }
    }
    return error_mg > 0 && fabs(remaining_g) <= SAME_G ? error_mg * 1e-6 : (double)NAN;
}

double up_masses_tolerance_rel(enum up_mass_class mass_class, const double *mass_kg, size_t count) {
    double product = 0, square = 0;
    for (size_t i = 0; i < count; i++) {
        double mass = fabs(mass_kg[i]);
        product += mass * up_mass_error_kg(mass_class, mass);
        square += mass * mass;
    }
    return square > 0 ? product / square : (double)NAN;
}

/* OIML R 76-1, table 6 (from memory; read in a second source: half a step at zero, one and a half
   at the end, twice that in service): class III, steps in service, up to so many steps of load. */
static const struct {
    double to_steps, error_steps;
} class_iii[] = {{500, 1}, {2000, 2}, {(double)INFINITY, 3}};

/* At this load or any above it. */
static double worst_of_class_iii_rel(double load_steps) {
    double worst = 0, from = load_steps;
    for (size_t i = 0; i < sizeof class_iii / sizeof class_iii[0]; i++) {
        if (from < class_iii[i].to_steps) {
            worst = fmax(worst, class_iii[i].error_steps / from);
            from = class_iii[i].to_steps;
        }
    }
    return worst;
}

/* A bottle that is filled but for a tenth; weather and a heated room (choices of ours). */
static const double BOTTLE_KG_M3 = 900, AIR_OFF_KG_M3 = 0.1;

double up_weighed_tolerance_rel(const struct up_scale_check *scale, double lightest_g) {
    double air_rel = AIR_OFF_KG_M3 * (1 / BOTTLE_KG_M3 - 1 / UP_MASS_DENSITY_KG_M3);
    double off_g = fabs(scale->shown_g - scale->known_g) + scale->step_g / 2;
    if (!(scale->step_g > 0 && scale->known_g > 0 && scale->known_tolerance_rel >= 0 &&
          lightest_g > 0)) {
        return (double)NAN;
    }
    return off_g / scale->known_g + scale->known_tolerance_rel +
           worst_of_class_iii_rel(lightest_g / scale->step_g) + air_rel;
}
