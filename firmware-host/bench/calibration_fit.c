/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From the points of a calibration to a slope, a bend where one is demanded, and what is left. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "metrology/statistics.h"
#include "staircase.h"
#include "text/text.h"

/* An offset of less than this share of the lightest mass changes no decision about gear; creep that
   is not quite additive gives as much (a choice of ours). */
static const double OFFSET_MATTERS_REL = 5e-4;

/* A model is made wider only where chance does so once in a hundred times (a choice of ours), with
   two degrees of freedom left. */
static const double SIGNIFICANT = 0.99;
enum { LEAST_DOF = 2 };

/* Unloading turned over: a line through zero is the same for both. */
struct folded {
    double mass_kg[UP_CALIBRATION_POINTS_MAX], load[UP_CALIBRATION_POINTS_MAX];
    bool unloading[UP_CALIBRATION_POINTS_MAX];
    unsigned count;
};

static struct folded fold(const struct up_loadings *loadings) {
    struct folded folded = {.count = loadings->points};
    for (unsigned i = 0; i < loadings->points; i++) {
        const struct up_calibration_point *point = &loadings->point[i];
        folded.unloading[i] = point->mass_kg < 0;
        folded.mass_kg[i] = fabs(point->mass_kg);
        folded.load[i] = folded.unloading[i] ? -point->load_counts : point->load_counts;
    }
    return folded;
}

double up_calibration_linear_counts(const struct up_calibration *calibration, double counts) {
    double slope = calibration->slope_counts_per_kg;
    double unloading = calibration->unloading_slope_counts_per_kg;
    if (isnormal(unloading) && counts * slope < 0) {
        counts *= slope / unloading;
    }
    /* The root of quadratic m m + slope m = counts that goes to counts / slope. */
    double inside = slope * slope + 4 * calibration->quadratic_counts_per_kg2 * counts;
    if (calibration->quadratic_counts_per_kg2 == 0 || !(inside > 0)) {
        return counts;
    }
    return slope * 2 * counts / (slope + copysign(sqrt(inside), slope));
}

/* ---- one slope or two ---- */

static unsigned part_of(const struct folded *folded, bool unloading, struct folded *part) {
    part->count = 0;
    for (unsigned i = 0; i < folded->count; i++) {
        if (folded->unloading[i] == unloading) {
            part->mass_kg[part->count] = folded->mass_kg[i];
            part->load[part->count++] = folded->load[i];
        }
    }
    return part->count;
}

static double sum_squares(const struct folded *part) {
    double sum = 0;
    for (unsigned i = 0; i < part->count; i++) {
        sum += part->mass_kg[i] * part->mass_kg[i];
    }
    return sum;
}

/* Student t of the difference of two slopes, with the scatter of both directions together. */
static bool directions_differ(const struct folded *folded, struct up_calibration *calibration) {
    struct folded up, down;
    struct up_fit fit_up, fit_down;
    if (part_of(folded, false, &up) < 2 || part_of(folded, true, &down) < 2 ||
        !up_fit_proportional(up.mass_kg, up.load, up.count, &fit_up) ||
        !up_fit_proportional(down.mass_kg, down.load, down.count, &fit_down)) {
        return false;
    }
    double dof = fit_up.dof + fit_down.dof;
    double sd = sqrt((fit_up.residual_sum_squares + fit_down.residual_sum_squares) / dof);
    double u_up = sd / sqrt(sum_squares(&up)), u_down = sd / sqrt(sum_squares(&down));
    double off = fabs(fit_up.c[1] - fit_down.c[1]);
    if (dof < LEAST_DOF || !(off > up_coverage_factor(SIGNIFICANT, dof) * hypot(u_up, u_down))) {
        return false;
    }
    calibration->slope_counts_per_kg = fit_up.c[1];
    calibration->u_slope_counts_per_kg = u_up;
    calibration->dof = dof;
    calibration->unloading_slope_counts_per_kg = fit_down.c[1];
    calibration->u_unloading_slope_counts_per_kg = u_down;
    return true;
}

/* ---- what is left ---- */

/*
 * Lack of fit by replication (NIST/SEMATECH e-Handbook 4.4.4.6, from memory): the points' scatter
 * about the line, less what loadings of the same mass scatter among themselves. Without replicates
 * only the plateaus' own noise can be taken off.
 */
static double lack_of_fit_counts(const struct up_loadings *loadings,
                                 const struct up_calibration *calibration) {
    double pure = 0, pure_dof = 0, plateau = 0, groups = 0, left = 0;
    for (unsigned i = 0; i < loadings->points; i++) {
        const struct up_calibration_point *point = &loadings->point[i];
        double sum = 0, count = 0;
        double linear = up_calibration_linear_counts(calibration, point->load_counts);
        left += pow(linear - calibration->slope_counts_per_kg * point->mass_kg, 2);
        plateau += point->u_plateau_counts * point->u_plateau_counts;
        for (unsigned j = 0; j < loadings->points; j++) {
            bool same = loadings->point[j].mass_kg == point->mass_kg;
            sum += same ? loadings->point[j].load_counts : 0;
            count += same;
        }
        pure += pow(point->load_counts - sum / count, 2);
        pure_dof += 1 - 1 / count;
        groups += 1 / count;
    }
    double noise = plateau / loadings->points;
    if (pure_dof > 0.5) {
        noise = fmax(noise, pure / pure_dof);
    }
    double lack_dof = calibration->dof - pure_dof;
    if (lack_dof < 0.5) {
        return 0;
    }
    double lack = (left - pure) / lack_dof;
    /* A group's mean departs from the line by the lack of fit; its square stands in the sum once
       for each replicate. */
    return sqrt(fmax(0, lack - noise) * groups / loadings->points);
}

/* ---- creep, and readings that were late ---- */

/* Creep a decade of time as a share of the load, by least squares over all masses: at the time t
   after the step a creep of c a decade has the slope c L / (t ln 10). */
static struct up_quantity creep_rel_decade(const struct up_loadings *loadings) {
    double slope[UP_CALIBRATION_POINTS_MAX], expected[UP_CALIBRATION_POINTS_MAX];
    struct up_fit fit;
    if (loadings->rig.read_after_s <= 0) {
        return up_known(0, 0); /* typed readings keep no schedule */
    }
    for (unsigned i = 0; i < loadings->points; i++) {
        const struct up_calibration_point *point = &loadings->point[i];
        slope[i] = loadings->slope_per_s[i];
        expected[i] = point->load_counts / ((loadings->rig.read_after_s + point->late_s) * log(10));
    }
    return up_fit_proportional(expected, slope, loadings->points, &fit)
               ? up_known(fit.c[1], sqrt(fit.covariance[1][1]))
               : up_known(0, 0);
}

static double decades_late(const struct up_loadings *loadings, unsigned point) {
    double late_s = loadings->point[point].late_s, due_s = loadings->rig.read_after_s;
    return late_s > 0 && due_s > 0 ? log10(1 + late_s / due_s) : 0;
}

/* The loads as they would have been read on time. Returns the standard uncertainty that this
   leaves with the slope, as a share of it: the creep's is shared by all. */
static double correct_late(struct up_loadings *loadings, struct up_quantity creep) {
    double weighted = 0, squares = 0;
    for (unsigned i = 0; i < loadings->points; i++) {
        struct up_calibration_point *point = &loadings->point[i];
        double decades = decades_late(loadings, i);
        weighted += point->mass_kg * point->mass_kg * decades;
        squares += point->mass_kg * point->mass_kg;
        point->load_counts /= 1 + creep.value * decades;
    }
    return squares > 0 ? creep.u * weighted / squares : 0;
}

/* ---- straight or bent ---- */

static double departure(const struct folded *folded, const struct up_fit *straight,
                        const struct up_fit *bent) {
    double most = 0;
    for (unsigned i = 0; i < folded->count; i++) {
        double m = folded->mass_kg[i];
        most = fmax(most, fabs((bent->c[1] + bent->c[2] * m - straight->c[1]) * m));
    }
    return most;
}

/* The line as it would be with the bend. */
static void bend(const struct up_fit *bent, struct up_calibration *calibration) {
    double stretch = bent->c[1] / calibration->slope_counts_per_kg;
    calibration->slope_counts_per_kg = bent->c[1];
    calibration->u_slope_counts_per_kg = sqrt(bent->covariance[1][1]);
    calibration->dof = bent->dof;
    calibration->quadratic_counts_per_kg2 = bent->c[2];
    calibration->unloading_slope_counts_per_kg *= stretch;
}

/* Bent where chance would not do it and where it changes more than a division and than what even
   the bent line leaves. */
static void fit_bend(const struct up_loadings *loadings, struct folded *folded,
                     struct up_calibration *calibration) {
    struct up_calibration *bowed;
    struct up_fit straight, bent;
    double ratio = calibration->slope_counts_per_kg / calibration->unloading_slope_counts_per_kg;
    for (unsigned i = 0; i < folded->count && !isnan(ratio); i++) {
        folded->load[i] *= folded->unloading[i] ? ratio : 1;
    }
    if (!up_fit_proportional(folded->mass_kg, folded->load, folded->count, &straight) ||
        !up_fit_bent(folded->mass_kg, folded->load, folded->count, &bent)) {
        return;
    }
    bent.dof -= isnan(ratio) ? 0 : 1; /* the second slope took one */
    if (bent.dof < LEAST_DOF) {
        return;
    }
    calibration->quadratic_f = up_f_of_term(&straight, &bent);
    calibration->quadratic_f_limit = up_f_limit(SIGNIFICANT, 1, bent.dof);
    if (!(calibration->quadratic_f > calibration->quadratic_f_limit)) {
        return;
    }
    bowed = up_allocate(1, sizeof *bowed);
    *bowed = *calibration;
    bend(&bent, bowed);
    if (departure(folded, &straight, &bent) >
        fmax(loadings->rig.division_counts, lack_of_fit_counts(loadings, bowed))) {
        *calibration = *bowed;
    }
    free(bowed);
}

/* ---- all of it ---- */

static void fill_points(const struct up_loadings *loadings, struct up_calibration *calibration) {
    double mass_kg[UP_CALIBRATION_POINTS_MAX];
    enum up_mass_class mass_class = loadings->rig.mass_class;
    calibration->points = loadings->points;
    for (unsigned i = 0; i < loadings->points; i++) {
        struct up_calibration_point *point = &calibration->point[i];
        *point = loadings->point[i];
        mass_kg[i] = point->mass_kg;
        point->residual_g = (up_calibration_linear_counts(calibration, point->load_counts) /
                                 calibration->slope_counts_per_kg -
                             point->mass_kg) *
                            1e3;
        calibration->span_kg = fmax(calibration->span_kg, fabs(point->mass_kg));
    }
    calibration->mass_tolerance_rel =
        mass_class == UP_MASSES_UNCLASSED
            ? loadings->rig.mass_tolerance_rel
            : up_masses_tolerance_rel(mass_class, mass_kg, loadings->points);
    snprintf(calibration->mass_class, sizeof calibration->mass_class, "%s",
             up_mass_class_name(mass_class));
}

/* Of the loads made linear: a bend would pass for an offset. */
static void fill_offset(struct folded *folded, struct up_calibration *calibration) {
    struct up_fit fit;
    for (unsigned i = 0; i < folded->count; i++) {
        double sign = folded->unloading[i] ? -1 : 1;
        double counts = calibration->point[i].load_counts;
        folded->load[i] = sign * up_calibration_linear_counts(calibration, counts);
    }
    if (up_fit_polynomial(folded->mass_kg, folded->load, folded->count, 2, &fit)) {
        calibration->offset_counts = fit.c[0];
        calibration->u_offset_counts = sqrt(fit.covariance[0][0]);
    }
}

static void fill(const struct up_loadings *loadings, struct folded *folded,
                 struct up_calibration *calibration) {
    const struct up_rig *rig = &loadings->rig;
    memcpy(calibration->bench, rig->id, sizeof calibration->bench);
    memcpy(calibration->rig_sha256, rig->sha256, sizeof calibration->rig_sha256);
    calibration->lack_of_fit_kg =
        lack_of_fit_counts(loadings, calibration) / fabs(calibration->slope_counts_per_kg);
    calibration->noise_counts =
        isnan(loadings->noise_counts)
            ? rig->division_counts / sqrt(12) /* typed: nothing else tells */
            : loadings->noise_counts;
    calibration->temp_c = rig->air.temp_c.value;
    calibration->read_after_s = rig->read_after_s;
    calibration->window_s = rig->window_s;
    calibration->preloaded = loadings->preloaded;
    fill_points(loadings, calibration);
    fill_offset(folded, calibration);
    staircase_fill(loadings, calibration);
}

/* Rounding to the division repeats with the load, so scatter does not show it: of reading and tare
   in each loading, as if of one sign at random. */
static double rounding_of_slope(const struct up_loadings *loadings, const struct folded *folded) {
    return loadings->rig.division_counts / sqrt(12) * sqrt(2) / sqrt(sum_squares(folded));
}

static bool check_slope(const struct up_fit *fit, struct up_failure *failure) {
    return fabs(fit->c[1]) > 20 * sqrt(fit->covariance[1][1]) ||
           up_fail(failure, UP_STATUS_UNABLE,
                   "the readings do not follow the masses (%.4g counts/kg, standard "
                   "uncertainty %.4g): were other masses hung than those named?",
                   fit->c[1], sqrt(fit->covariance[1][1]));
}

static bool fit_on_time(const struct up_loadings *loadings, struct up_calibration *calibration,
                        struct up_failure *failure) {
    struct folded folded = fold(loadings);
    struct up_fit fit, with_offset;
    struct up_quantity air_kg_m3;
    if (!up_fit_polynomial(folded.mass_kg, folded.load, folded.count, 2, &with_offset) ||
        !up_fit_proportional(folded.mass_kg, folded.load, folded.count, &fit)) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "%u loadings are too few: a calibration needs at least three different "
                       "masses; run calibrate again",
                       loadings->points);
    }
    if (!check_slope(&fit, failure) || !up_air_density(&loadings->rig.air, &air_kg_m3, failure)) {
        return false;
    }
    calibration->slope_counts_per_kg = fit.c[1];
    calibration->u_slope_counts_per_kg =
        fmax(sqrt(fit.covariance[1][1]), rounding_of_slope(loadings, &folded));
    calibration->dof = fit.dof;
    calibration->unloading_slope_counts_per_kg = (double)NAN;
    calibration->u_unloading_slope_counts_per_kg = (double)NAN;
    calibration->quadratic_f = calibration->quadratic_f_limit = (double)NAN;
    calibration->air_density_kg_m3 = air_kg_m3.value;
    directions_differ(&folded, calibration);
    fit_bend(loadings, &folded, calibration);
    fill(loadings, &folded, calibration);
    return true;
}

bool up_calibration_fit(const struct up_loadings *loadings, struct up_calibration *calibration,
                        struct up_failure *failure) {
    struct up_loadings *on_time = up_allocate(1, sizeof *on_time);
    struct up_quantity creep = creep_rel_decade(loadings);
    memset(calibration, 0, sizeof *calibration);
    calibration->creep_rel_decade = creep.value;
    *on_time = *loadings;
    double u_late_rel = correct_late(on_time, creep);
    bool good = fit_on_time(on_time, calibration, failure);
    double u_late = calibration->slope_counts_per_kg * u_late_rel;
    calibration->u_slope_counts_per_kg = hypot(calibration->u_slope_counts_per_kg, u_late);
    calibration->u_unloading_slope_counts_per_kg =
        hypot(calibration->u_unloading_slope_counts_per_kg, u_late);
    free(on_time);
    return good;
}

bool up_calibration_offset_matters(const struct up_calibration *calibration) {
    double least_kg = (double)INFINITY;
    for (unsigned i = 0; i < calibration->points; i++) {
        least_kg = fmin(least_kg, fabs(calibration->point[i].mass_kg));
    }
    double offset = fabs(calibration->offset_counts);
    double chance = up_coverage_factor(0.99, calibration->dof - 1) * calibration->u_offset_counts;
    return offset > chance &&
           offset > OFFSET_MATTERS_REL * least_kg * fabs(calibration->slope_counts_per_kg);
}
