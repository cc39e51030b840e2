/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Does an earlier calibration still read known masses correctly? */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "budget.h"
#include "calibrating.h"
#include "metrology/statistics.h"
#include "scatter.h"
#include "text/text.h"

/* A wrong slope shows in proportion to the mass; a calibration that leaves more open than half
   a hundredth of it, or a mass that is known no better, says nothing. Choices of ours. */
static const double LEAST_SHARE_OF_SPAN = 0.25, MOST_OPEN_REL = 0.005;

static double tolerance_kg(const struct up_rig *rig, double mass_kg) {
    return rig->mass_class == UP_MASSES_UNCLASSED ? rig->mass_tolerance_rel * mass_kg
                                                  : up_mass_error_kg(rig->mass_class, mass_kg);
}

/* One mass cannot distinguish a bend from a slope, nor loading from unloading. */
static bool is_straight(const struct up_calibration *calibration) {
    return calibration->quadratic_counts_per_kg2 == 0 &&
           isnan(calibration->unloading_slope_counts_per_kg);
}

/* All readings of one mass, whose zero comes back alike each time it follows the same mass: only
   what grows with the load averages out. False where it is off, in either direction. */
static bool check_mass(const struct up_calibration *calibration, const struct up_loadings *loadings,
                       double mass_kg, struct up_known_mass *check) {
    double slope = calibration->slope_counts_per_kg, sum_kg = 0, variance_kg2 = 0;
    double u_any = u_loading_kg(calibration, 0), u_loading = u_loading_kg(calibration, mass_kg);
    unsigned n = 0;
    for (unsigned i = 0; i < loadings->points; i++) {
        const struct up_calibration_point *point = &loadings->point[i];
        if (point->mass_kg == mass_kg) {
            double u_kg = point->u_plateau_counts / slope;
            sum_kg += reads_kg(calibration,
                               up_calibration_linear_counts(calibration, point->load_counts));
            variance_kg2 += fmax(u_kg * u_kg, u_loading * u_loading - u_any * u_any);
            n++;
        }
    }
    double bound_kg = 2 * hypot(up_calibration_expanded_u_kg(calibration, mass_kg) / 2,
                                hypot(u_any, sqrt(variance_kg2) / n)) +
                      tolerance_kg(&loadings->rig, fabs(mass_kg));
    double off_kg = fabs(sum_kg / n - mass_kg);
    if (!(off_kg <= fabs(check->reading_kg - check->mass_kg)) || check->bound_kg == 0) {
        check->mass_kg = mass_kg;
        check->reading_kg = sum_kg / n;
        check->bound_kg = bound_kg;
    }
    return off_kg <= bound_kg && bound_kg <= MOST_OPEN_REL * fabs(mass_kg);
}

struct up_known_mass up_calibration_known_mass(const struct up_calibration *calibration,
                                               const struct up_loadings *loadings) {
    struct up_known_mass check = {.agrees = loadings->points > 0};
    double most_kg = 0, least_kg = (double)INFINITY;
    for (unsigned i = 0; i < loadings->points; i++) {
        double mass_kg = loadings->point[i].mass_kg;
        check.agrees = check_mass(calibration, loadings, mass_kg, &check) && check.agrees;
        most_kg = fmax(most_kg, fabs(mass_kg));
        least_kg = fmin(least_kg, fabs(mass_kg));
    }
    check.heavy_enough = most_kg >= LEAST_SHARE_OF_SPAN * calibration->span_kg && most_kg > 0;
    check.masses_enough = is_straight(calibration) || 2 * least_kg <= most_kg;
    return check;
}

/* ---- does one line describe them all? ---- */

/* A mass is off the others where chance does so once in a hundred calibrations, whichever mass it
   is (a choice of ours). */
static const double SURE = 0.99;
enum { LEAST_MASSES = 4 };

static void give(const struct up_loadings *from, unsigned i, struct up_loadings *to) {
    to->point[to->points] = from->point[i];
    to->tare_change[to->points] = from->tare_change[i];
    to->tare_span_s[to->points] = from->tare_span_s[i];
    to->at_reading[to->points] = from->at_reading[i];
    to->decade[to->points++] = from->decade[i];
}

/* Read by the others alone: how far it is off, in what chance leaves of that. */
static double off_the_others(const struct up_loadings *loadings, double mass_kg, double masses,
                             struct up_known_mass *check) {
    UP_FREED struct up_loadings *part = up_allocate(2, sizeof *part);
    UP_FREED struct up_calibration *rest = up_allocate(1, sizeof *rest);
    part[0] = part[1] = *loadings;
    part[0].points = part[1].points = 0;
    part[0].rig.mass_class = part[1].rig.mass_class = UP_MASSES_UNCLASSED;
    part[0].rig.mass_tolerance_rel = part[1].rig.mass_tolerance_rel = 0;
    for (unsigned i = 0; i < loadings->points; i++) {
        double other_kg = loadings->point[i].mass_kg;
        if (fabs(other_kg) != fabs(mass_kg) || other_kg == mass_kg) {
            give(loadings, i, &part[other_kg == mass_kg]);
        }
    }
    if (masses < LEAST_MASSES || !up_calibration_fit(&part[0], rest, NULL)) {
        return 0;
    }
    *check = up_calibration_known_mass(rest, &part[1]);
    /* It and the others may be off by their tolerance, either way. */
    double tolerance = 2 * tolerance_kg(&loadings->rig, fabs(mass_kg));
    double chance = up_coverage_factor(1 - (1 - SURE) / masses, masses - 2);
    return fabs(check->reading_kg - mass_kg) / (chance / 2 * check->bound_kg + tolerance);
}

static bool doubt_mass(const struct up_loadings *loadings, char *text, size_t size) {
    double masses = 0, most = 1;
    for (unsigned i = 0; i < loadings->points; i++) {
        masses += 1.0 / scatter_replicates(loadings, i);
    }
    for (unsigned i = 0; i < loadings->points; i++) {
        double mass_kg = loadings->point[i].mass_kg;
        struct up_known_mass check = {0};
        double off = mass_kg > 0 ? off_the_others(loadings, mass_kg, masses, &check) : 0;
        if (off > most) {
            most = off;
            double off_kg = check.reading_kg - mass_kg;
            snprintf(text, size,
                     "By the other masses the one of %.6g kg weighs %.1f g too %s. Is it this "
                     "mass, did it hang alone, each time? Put it right, then press Enter: all are "
                     "weighed again. To keep the readings, type accept",
                     mass_kg, fabs(off_kg) * 1e3, off_kg > 0 ? "much" : "little");
        }
    }
    return most > 1;
}

static bool doubt_offset(const struct up_loadings *loadings, char *text, size_t size) {
    UP_FREED struct up_loadings *accepted = up_allocate(1, sizeof *accepted);
    UP_FREED struct up_calibration *found = up_allocate(1, sizeof *found);
    *accepted = *loadings;
    accepted->offset_accepted = true;
    if (!up_calibration_fit(accepted, found, NULL) || !(found->offset_taken > 0) ||
        !up_calibration_offset_matters(found) || up_calibration_rounding(found).offset) {
        return false;
    }
    double off_kg = found->offset_counts / found->slope_counts_per_kg;
    snprintf(text, size,
             "Each mass reads %.1f g too %s, light or heavy. Does a hook hang with each, does the "
             "ballast touch, was the empty hook not empty? Put it right, then press Enter: all "
             "are weighed again. If it is the cell's own, type accept",
             fabs(off_kg) * 1e3, off_kg > 0 ? "heavy" : "light");
    return true;
}

/* One mass that is off gives a line an offset too, a hook that comes with each leaves none off the
   others. */
enum line_doubt calibration_line_doubt(const struct up_loadings *loadings, char *text,
                                       size_t size) {
    return doubt_mass(loadings, text, size)     ? LINE_HAS_MASS_OFF
           : doubt_offset(loadings, text, size) ? LINE_HAS_OFFSET
                                                : LINE_HOLDS;
}
