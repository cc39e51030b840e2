/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From the points of a calibration to a slope, a bend where one is demanded, and what is left. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "budget.h"
#include "metrology/statistics.h"
#include "scatter.h"
#include "staircase.h"
#include "text/text.h"

/* A model is extended only where chance would suggest it once in a hundred times (a choice of
   ours), with two degrees of freedom left. */
static const double SIGNIFICANT = 0.99;
enum { LEAST_DOF = 2 };

/* Unloading with its sign changed: a line through zero is the same for both. */
struct folded {
    double mass_kg[UP_CALIBRATION_POINTS_MAX], load[UP_CALIBRATION_POINTS_MAX];
    double weight[UP_CALIBRATION_POINTS_MAX]; /* reciprocal variances */
    bool unloading[UP_CALIBRATION_POINTS_MAX];
    unsigned count;
};

static struct folded fold(const struct up_loadings *loadings) {
    struct folded folded = {.count = loadings->points};
    for (unsigned i = 0; i < loadings->points; i++) {
        const struct up_calibration_point *point = &loadings->point[i];
        folded.unloading[i] = point->mass_kg < 0;
        folded.weight[i] = 1;
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

/* ---- weights ---- */

/* A mean's variance is that of a loading over their number, and what lies between the masses. */
static void set_weights(const struct up_loadings *loadings, const struct scatter *scatter,
                        double slope, double between, struct folded *folded) {
    for (unsigned i = 0; i < folded->count && scatter->a > 0; i++) {
        double load = slope * folded->mass_kg[i], shared = between * between * load * load;
        folded->weight[i] = 1 / (scatter_replicates(loadings, i) *
                                 (scatter_of_mean(loadings, scatter, i, load) + shared));
    }
}

static double masses_dof(const struct up_loadings *loadings, double terms) {
    double masses = 0;
    for (unsigned i = 0; i < loadings->points; i++) {
        masses += 1.0 / scatter_replicates(loadings, i);
    }
    return masses - terms;
}

/* Twice: the scatter between the masses shows only after a first fit. */
static bool fit_weighted(const struct up_loadings *loadings, const struct scatter *scatter,
                         size_t first, size_t terms, struct folded *folded, struct up_fit *fit) {
    double off[UP_CALIBRATION_POINTS_MAX] = {0};
    if (!up_fit_powers(folded->mass_kg, folded->load, folded->weight, folded->count, first, terms,
                       fit)) {
        return false;
    }
    set_weights(loadings, scatter, fit->c[1], 0, folded);
    bool good = up_fit_powers(folded->mass_kg, folded->load, folded->weight, folded->count, first,
                              terms, fit);
    for (unsigned i = 0; i < folded->count; i++) {
        off[i] = folded->load[i] - fit->c[0] - fit->c[1] * folded->mass_kg[i];
    }
    double between =
        scatter_between(loadings, scatter, fit->c[1], off, masses_dof(loadings, (double)terms));
    set_weights(loadings, scatter, fit->c[1], between, folded);
    return good && up_fit_powers(folded->mass_kg, folded->load, folded->weight, folded->count,
                                 first, terms, fit);
}

/* ---- one slope or two ---- */

static unsigned part_of(const struct folded *folded, bool unloading, struct folded *part) {
    part->count = 0;
    for (unsigned i = 0; i < folded->count; i++) {
        if (folded->unloading[i] == unloading) {
            part->mass_kg[part->count] = folded->mass_kg[i];
            part->weight[part->count] = folded->weight[i];
            part->load[part->count++] = folded->load[i];
        }
    }
    return part->count;
}

static double sum_squares(const struct folded *part) {
    double sum = 0;
    for (unsigned i = 0; i < part->count; i++) {
        sum += part->weight[i] * part->mass_kg[i] * part->mass_kg[i];
    }
    return sum;
}

static bool fit_part(const struct folded *part, struct up_fit *fit) {
    return part->count >= 2 &&
           up_fit_powers(part->mass_kg, part->load, part->weight, part->count, 1, 1, fit);
}

/* Student t of the difference of two slopes, with the scatter of both directions together. */
static bool directions_differ(const struct folded *folded, struct up_calibration *calibration) {
    struct folded up, down;
    struct up_fit fit_up, fit_down;
    part_of(folded, false, &up);
    part_of(folded, true, &down);
    if (!fit_part(&up, &fit_up) || !fit_part(&down, &fit_down)) {
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

/* How far the masses' means lie off the line beyond the scatter of loadings: in proportion to the
   load, for the root mean square of the masses. */
static double lack_of_fit_counts(const struct up_loadings *loadings, const struct scatter *scatter,
                                 const struct up_calibration *calibration) {
    double off[UP_CALIBRATION_POINTS_MAX] = {0}, squares_kg2 = 0;
    double slope = calibration->slope_counts_per_kg;
    double terms = loadings->points - calibration->dof;
    for (unsigned i = 0; i < loadings->points; i++) {
        const struct up_calibration_point *point = &loadings->point[i];
        off[i] = up_calibration_linear_counts(calibration, point->load_counts) -
                 copysign(calibration->offset_taken > 0 ? calibration->offset_counts : 0,
                          point->mass_kg) -
                 slope * point->mass_kg;
        squares_kg2 += point->mass_kg * point->mass_kg / loadings->points;
    }
    return scatter_between(loadings, scatter, slope, off, masses_dof(loadings, terms)) *
           fabs(slope) * sqrt(squares_kg2);
}

/* ---- creep, and readings that were late ---- */

/* Creep a decade of time as a share of the load, by least squares over all masses; its u comes from
   how well the dwells agree. */
static void find_creep(const struct up_loadings *loadings, struct up_calibration *calibration) {
    double load[UP_CALIBRATION_POINTS_MAX];
    struct up_fit fit;
    for (unsigned i = 0; i < loadings->points; i++) {
        load[i] = loadings->point[i].load_counts;
    }
    calibration->creep_at_reading =
        up_fit_powers(load, loadings->at_reading, NULL, loadings->points, 1, 1, &fit) ? fit.c[1]
                                                                                      : 0;
    /* typed readings have no fixed timing */
    if (loadings->rig.read_after_s > 0 &&
        up_fit_powers(load, loadings->decade, NULL, loadings->points, 1, 1, &fit)) {
        calibration->creep_rel_decade = fit.c[1];
        calibration->u_creep_rel_decade = sqrt(fit.covariance[1][1]);
        calibration->creep_is_known = fabs(fit.c[1]) > up_coverage_factor(SIGNIFICANT, fit.dof) *
                                                           calibration->u_creep_rel_decade;
    }
}

static double decades_late(const struct up_loadings *loadings, unsigned point) {
    double late_s = loadings->point[point].late_s, due_s = loadings->rig.read_after_s;
    return late_s > 0 && due_s > 0 ? log10(1 + late_s / due_s) : 0;
}

/* The loads as they would have been read on time, where creep is beyond chance. Returns the
   standard uncertainty that this leaves with the slope, as a share of it: the creep's is shared by
   all. */
static double correct_late(struct up_loadings *loadings, const struct up_calibration *calibration) {
    double creep = calibration->creep_is_known > 0 ? calibration->creep_rel_decade : 0;
    double weighted = 0, squares = 0;
    for (unsigned i = 0; i < loadings->points; i++) {
        struct up_calibration_point *point = &loadings->point[i];
        double decades = decades_late(loadings, i);
        weighted += point->mass_kg * point->mass_kg * decades;
        squares += point->mass_kg * point->mass_kg;
        point->load_counts /= 1 + creep * decades;
    }
    return squares > 0 ? calibration->u_creep_rel_decade * weighted / squares : 0;
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

/* The line with the bend in it. */
static void bend(const struct up_fit *bent, struct up_calibration *calibration) {
    double stretch = bent->c[1] / calibration->slope_counts_per_kg;
    calibration->slope_counts_per_kg = bent->c[1];
    calibration->u_slope_counts_per_kg = sqrt(bent->covariance[1][1]);
    calibration->dof = bent->dof;
    calibration->quadratic_counts_per_kg2 = bent->c[2];
    calibration->unloading_slope_counts_per_kg *= stretch;
}

/* Bent where chance does not explain it, and where the bend changes more than a division and more
   than the bent line's own residuals. */
static void fit_bend(const struct up_loadings *loadings, const struct scatter *scatter,
                     struct folded *folded, struct up_calibration *calibration) {
    struct up_calibration *bowed;
    struct up_fit straight, bent;
    double ratio = calibration->slope_counts_per_kg / calibration->unloading_slope_counts_per_kg;
    for (unsigned i = 0; i < folded->count && !isnan(ratio); i++) {
        folded->load[i] *= folded->unloading[i] ? ratio : 1;
    }
    if (!up_fit_powers(folded->mass_kg, folded->load, folded->weight, folded->count, 1, 1,
                       &straight) ||
        !up_fit_powers(folded->mass_kg, folded->load, folded->weight, folded->count, 1, 2, &bent)) {
        return;
    }
    bent.dof -= isnan(ratio) ? 0 : 1; /* the second slope used up one */
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
        fmax(loadings->rig.division_counts, lack_of_fit_counts(loadings, scatter, bowed))) {
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
        point->residual_g =
            (reads_kg(calibration, up_calibration_linear_counts(calibration, point->load_counts)) -
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

static bool offset_is_told(const struct up_calibration *calibration) {
    double dof = calibration->dof - (calibration->offset_taken > 0 ? 0 : 1);
    return fabs(calibration->offset_counts) >
           up_coverage_factor(SIGNIFICANT, dof) * calibration->u_offset_counts;
}

/* Of the loads made linear: a bend would look like an offset. Where one is beyond chance and was
   accepted, the line has it. */
static void fit_offset(const struct up_loadings *loadings, const struct scatter *scatter,
                       struct folded folded, struct up_calibration *calibration) {
    struct up_fit fit;
    calibration->points = loadings->points;
    memcpy(calibration->point, loadings->point, sizeof calibration->point);
    for (unsigned i = 0; i < folded.count; i++) {
        double sign = folded.unloading[i] ? -1 : 1;
        double counts = loadings->point[i].load_counts;
        folded.load[i] = sign * up_calibration_linear_counts(calibration, counts);
    }
    if (!fit_weighted(loadings, scatter, 0, 2, &folded, &fit)) {
        return;
    }
    calibration->offset_counts = fit.c[0];
    calibration->u_offset_counts = sqrt(fit.covariance[0][0]);
    calibration->offset_taken =
        loadings->offset_accepted && calibration->dof > LEAST_DOF && offset_is_told(calibration);
    if (calibration->offset_taken > 0) {
        double stretch = fit.c[1] / calibration->slope_counts_per_kg;
        calibration->slope_counts_per_kg = fit.c[1];
        calibration->u_slope_counts_per_kg = sqrt(fit.covariance[1][1]);
        calibration->unloading_slope_counts_per_kg *= stretch;
        calibration->quadratic_counts_per_kg2 *= stretch;
        calibration->dof -= 1;
    }
}

static void fill_scatter(const struct up_loadings *loadings, const struct scatter *scatter,
                         struct up_calibration *calibration) {
    double slope = fabs(calibration->slope_counts_per_kg);
    calibration->scatter_kg = scatter->a / slope;
    calibration->scatter_rel = scatter->b;
    calibration->own_scatter_rel = scatter->own_b;
    calibration->own_scatter_dof = scatter->own_dof;
    calibration->lack_of_fit_kg = lack_of_fit_counts(loadings, scatter, calibration) / slope;
}

static void fill(const struct up_loadings *loadings, struct up_calibration *calibration) {
    const struct up_rig *rig = &loadings->rig;
    memcpy(calibration->bench, rig->id, sizeof calibration->bench);
    memcpy(calibration->rig_sha256, rig->sha256, sizeof calibration->rig_sha256);
    calibration->noise_counts =
        isnan(loadings->noise_counts)
            ? rig->division_counts / sqrt(12) /* typed: nothing else shows it */
            : loadings->noise_counts;
    calibration->division_counts = rig->division_counts;
    calibration->temp_c = rig->air.temp_c.value;
    calibration->read_after_s = rig->read_after_s;
    calibration->window_s = rig->window_s;
    calibration->preloaded = loadings->preloaded;
    fill_points(loadings, calibration);
    staircase_fill(loadings, calibration);
}

/* Rounding to the division repeats with the load, so scatter does not show it: of reading and tare
   in each loading, as if of one sign at random. */
static double rounding_of_slope(const struct up_loadings *loadings) {
    double squares_kg2 = 0;
    for (unsigned i = 0; i < loadings->points; i++) {
        squares_kg2 += loadings->point[i].mass_kg * loadings->point[i].mass_kg;
    }
    return loadings->rig.division_counts / sqrt(12) * sqrt(2) / sqrt(squares_kg2);
}

static bool check_slope(const struct up_fit *fit, struct up_failure *failure) {
    return fabs(fit->c[1]) > 20 * sqrt(fit->covariance[1][1]) ||
           up_fail(failure, UP_STATUS_UNABLE,
                   "the readings do not follow the masses (%.4g counts/kg, standard "
                   "uncertainty %.4g): were other masses hung than those named?",
                   fit->c[1], sqrt(fit->covariance[1][1]));
}

/* From one calibration to the next a slope changes by more than the masses' scatter suggests. */
static void widen_by_history(const struct up_calibration_history *history,
                             struct up_calibration *calibration) {
    double u = history->slope_rel * fabs(calibration->slope_counts_per_kg);
    if (history->slope_dof > 0 && u > calibration->u_slope_counts_per_kg) {
        calibration->u_slope_counts_per_kg = u;
        calibration->dof = history->slope_dof;
    }
}

static bool fit_on_time(const struct up_loadings *loadings, struct up_calibration *calibration,
                        struct up_failure *failure) {
    struct folded folded = fold(loadings);
    struct up_fit fit, with_offset;
    struct up_quantity air_kg_m3;
    if (!up_fit_polynomial(folded.mass_kg, folded.load, folded.count, 2, &with_offset) ||
        !up_fit_powers(folded.mass_kg, folded.load, NULL, folded.count, 1, 1, &fit)) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "%u loadings are too few: a calibration needs at least three different "
                       "masses; run calibrate again",
                       loadings->points);
    }
    if (!check_slope(&fit, failure) || !up_air_density(&loadings->rig.air, &air_kg_m3, failure)) {
        return false;
    }
    struct scatter scatter = scatter_of(loadings, fit.c[1]);
    fit_weighted(loadings, &scatter, 1, 1, &folded, &fit);
    calibration->slope_counts_per_kg = fit.c[1];
    calibration->u_slope_counts_per_kg =
        fmax(sqrt(fit.covariance[1][1]), rounding_of_slope(loadings));
    calibration->dof = fit.dof;
    calibration->unloading_slope_counts_per_kg = (double)NAN;
    calibration->u_unloading_slope_counts_per_kg = (double)NAN;
    calibration->quadratic_f = calibration->quadratic_f_limit = (double)NAN;
    calibration->air_density_kg_m3 = air_kg_m3.value;
    /* A second slope and a bend are judged by the scatter of loadings alone: either would look like
       scatter between the masses. */
    set_weights(loadings, &scatter, fit.c[1], 0, &folded);
    directions_differ(&folded, calibration);
    fit_bend(loadings, &scatter, &folded, calibration);
    fit_offset(loadings, &scatter, folded, calibration);
    fill_scatter(loadings, &scatter, calibration);
    widen_by_history(&loadings->history, calibration);
    fill(loadings, calibration);
    return true;
}

bool up_calibration_fit(const struct up_loadings *loadings, struct up_calibration *calibration,
                        struct up_failure *failure) {
    struct up_loadings *on_time = up_allocate(1, sizeof *on_time);
    memset(calibration, 0, sizeof *calibration);
    find_creep(loadings, calibration);
    *on_time = *loadings;
    double u_late_rel = correct_late(on_time, calibration);
    bool good = fit_on_time(on_time, calibration, failure);
    double u_late = calibration->slope_counts_per_kg * u_late_rel;
    calibration->u_slope_counts_per_kg = hypot(calibration->u_slope_counts_per_kg, u_late);
    calibration->u_unloading_slope_counts_per_kg =
        hypot(calibration->u_unloading_slope_counts_per_kg, u_late);
    free(on_time);
    return good;
}

bool up_calibration_offset_matters(const struct up_calibration *calibration) {
    double least_kg = lightest_kg(calibration), slope = calibration->slope_counts_per_kg;
    double once_kg = 2 * hypot(up_calibration_expanded_u_kg(calibration, least_kg) / 2,
                               u_loading_kg(calibration, least_kg));
    return offset_is_told(calibration) && fabs(calibration->offset_counts / slope) > once_kg;
}
