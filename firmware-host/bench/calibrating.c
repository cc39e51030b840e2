/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "internal.h"
#include "upthrust/statistics.h"
#include "upthrust/text.h"

enum { LEAST_MASSES = 3 };

/* An offset of less than this share of the lightest mass changes no decision about gear; creep that
   is not quite additive gives as much (a choice of ours). */
static const double OFFSET_MATTERS_REL = 5e-4;

/* ---- the plan ---- */

static unsigned different_masses(const struct up_calibrate_plan *plan) {
    unsigned different = 0;
    for (unsigned i = 0; i < plan->masses; i++) {
        unsigned j = 0;
        while (j < i && plan->mass_kg[j] != plan->mass_kg[i]) {
            j++;
        }
        different += j == i;
    }
    return different;
}

static bool check_plan(const struct up_calibrate_plan *plan, struct up_failure *failure) {
    for (unsigned i = 0; i < plan->masses; i++) {
        double mass_kg = plan->mass_kg[i];
        if (!isfinite(mass_kg) || mass_kg <= 0) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "mass %u is %g g: a mass must be positive", i + 1, mass_kg * 1e3);
        }
        if (plan->rig->capacity_kg > 0 &&
            mass_kg + plan->rig->ballast_kg > plan->rig->capacity_kg) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "mass %u of %g kg and the ballast of %g kg are more than the cell's "
                           "capacity of %g kg",
                           i + 1, mass_kg, plan->rig->ballast_kg, plan->rig->capacity_kg);
        }
    }
    if (different_masses(plan) < LEAST_MASSES) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "a calibration needs three different known masses or more, not %u: two "
                       "points cannot show whether the line is straight",
                       different_masses(plan));
    }
    return plan->rig->line.loads == 1 ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%s names %d load columns: to weigh, name one in load_field", plan->rig->path,
                   plan->rig->line.loads);
}

static unsigned heaviest(const struct up_calibrate_plan *plan) {
    unsigned best = 0;
    for (unsigned i = 1; i < plan->masses; i++) {
        best = plan->mass_kg[i] > plan->mass_kg[best] ? i : best;
    }
    return best;
}

bool up_procedure_calibrate(const struct up_calibrate_plan *plan, struct up_procedure **result,
                            struct up_failure *failure) {
    struct up_procedure *procedure;
    *result = NULL;
    if (!check_plan(plan, failure)) {
        return false;
    }
    procedure = up_allocate(1, sizeof *procedure);
    procedure->calibrating = true;
    procedure->calibrate = *plan;
    procedure->rig = *plan->rig;
    procedure->temp_c = (double)NAN;
    up_screen_begin(&procedure->screen, plan->rig->line.word_bits, plan->rig->division_counts);
    procedure->mass_index = heaviest(plan);
    ask_step(procedure, STEP_BALLAST);
    *result = procedure;
    return true;
}

/* ---- the sequence: preload, tare, mass, tare, mass, ... tare ---- */

/* The tare after a mass completes its point. */
static void complete_point(struct up_procedure *procedure, const struct point *after) {
    const struct point *mass = &procedure->mass;
    struct up_calibration_point *point = &procedure->point[procedure->points];
    double u_tare = 0;
    double tare = tare_at(&procedure->tare, after, mass->time_s, &u_tare);
    double span_s = after->time_s - procedure->tare.time_s;
    double drift_per_s = span_s > 0 ? (after->load - procedure->tare.load) / span_s : 0;
    point->mass_kg = procedure->calibrate.mass_kg[procedure->mass_index];
    point->load_counts = mass->load - tare;
    point->u_plateau_counts = hypot(mass->u_load, u_tare);
    procedure->slope_per_s[procedure->points++] = mass->slope_per_s - drift_per_s;
    procedure->mass_index++;
}

static void next_mass(struct up_procedure *procedure) {
    if (procedure->mass_index >= procedure->calibrate.masses) {
        finish(procedure);
    } else {
        ask_step(procedure, STEP_MASS);
    }
}

void calibrate_read(struct up_procedure *procedure, const struct up_plateau *plateau) {
    struct point here = point_of(plateau);
    procedure->broken = 0;
    if (procedure->step == STEP_PRELOAD) {
        procedure->mass_index = 0;
        ask_step(procedure, STEP_TARE);
    } else if (procedure->step == STEP_MASS) {
        procedure->mass = here;
        ask_step(procedure, STEP_TARE);
    } else {
        if (procedure->mass.known) {
            complete_point(procedure, &here);
        }
        procedure->mass.known = false;
        procedure->tare = here;
        next_mass(procedure);
    }
}

void calibrate_skip(struct up_procedure *procedure) {
    if (procedure->step == STEP_BALLAST) {
        ask_step(procedure, STEP_PRELOAD);
    } else if (procedure->step == STEP_PRELOAD) {
        procedure->mass_index = 0;
        ask_step(procedure, STEP_TARE);
    } else {
        procedure->mass_index++;
        next_mass(procedure);
    }
}

/* The loading under way is thrown away; it begins anew with a tare. */
void calibrate_break(struct up_procedure *procedure) {
    procedure->mass.known = false;
    if (procedure->step == STEP_BALLAST || procedure->step == STEP_PRELOAD) {
        ask_step(procedure, procedure->step);
    } else {
        ask_step(procedure, STEP_TARE);
    }
}

/* ---- the fit ---- */

/*
 * Lack of fit by replication (NIST/SEMATECH e-Handbook 4.4.4.6, from memory): the points' scatter
 * about the line, less what loadings of the same mass scatter among themselves. Without replicates
 * only the plateaus' own noise can be taken off.
 */
static double lack_of_fit_counts(const struct up_procedure *procedure, const struct up_fit *fit) {
    double pure = 0, pure_dof = 0, plateau = 0, groups = 0;
    for (unsigned i = 0; i < procedure->points; i++) {
        const struct up_calibration_point *point = &procedure->point[i];
        double sum = 0, count = 0;
        plateau += point->u_plateau_counts * point->u_plateau_counts;
        for (unsigned j = 0; j < procedure->points; j++) {
            bool same = procedure->point[j].mass_kg == point->mass_kg;
            sum += same ? procedure->point[j].load_counts : 0;
            count += same;
        }
        pure += pow(point->load_counts - sum / count, 2);
        pure_dof += 1 - 1 / count;
        groups += 1 / count;
    }
    double noise = plateau / procedure->points;
    if (pure_dof > 0.5) {
        noise = fmax(noise, pure / pure_dof);
    }
    double lack_dof = fit->dof - pure_dof;
    if (lack_dof < 0.5) {
        return 0;
    }
    double lack = (fit->residual_sum_squares - pure) / lack_dof;
    /* A group's mean departs from the line by the lack of fit; its square stands in the sum once
       for each replicate. */
    return sqrt(fmax(0, lack - noise) * groups / procedure->points);
}

/* Creep a decade of time as a share of the load, by least squares over all masses: at the reading
   time t a creep of c a decade has the slope c L / (t ln 10). */
static double creep_rel_decade(const struct up_procedure *procedure) {
    double product = 0, square = 0;
    for (unsigned i = 0; i < procedure->points; i++) {
        double load = procedure->point[i].load_counts;
        product += procedure->slope_per_s[i] * load;
        square += load * load;
    }
    return square > 0 ? product / square * procedure->rig.read_after_s * log(10) : 0;
}

static void fill(const struct up_procedure *procedure, const struct up_fit *fit,
                 const struct up_fit *with_offset, struct up_calibration *calibration) {
    const struct up_rig *rig = &procedure->rig;
    double slope = fit->c[1];
    memcpy(calibration->bench, rig->id, sizeof calibration->bench);
    memcpy(calibration->rig_sha256, rig->sha256, sizeof calibration->rig_sha256);
    calibration->slope_counts_kg = slope;
    calibration->u_slope_counts_kg = sqrt(fit->covariance[1][1]);
    calibration->dof = fit->dof;
    calibration->mass_tolerance_rel = rig->mass_tolerance_rel;
    calibration->lack_of_fit_kg = lack_of_fit_counts(procedure, fit) / fabs(slope);
    calibration->offset_counts = with_offset->c[0];
    calibration->u_offset_counts = sqrt(with_offset->covariance[0][0]);
    calibration->creep_rel_decade = creep_rel_decade(procedure);
    calibration->noise_counts = procedure->screen.noise_floor;
    calibration->read_after_s = rig->read_after_s;
    calibration->window_s = rig->window_s;
    calibration->points = procedure->points;
    for (unsigned i = 0; i < procedure->points; i++) {
        struct up_calibration_point *point = &calibration->point[i];
        *point = procedure->point[i];
        point->residual_g = (point->load_counts / slope - point->mass_kg) * 1e3;
        calibration->span_kg = fmax(calibration->span_kg, point->mass_kg);
    }
}

bool up_procedure_calibration(const struct up_procedure *procedure,
                              struct up_calibration *calibration, struct up_failure *failure) {
    double mass_kg[UP_CALIBRATION_POINTS_MAX], load[UP_CALIBRATION_POINTS_MAX];
    struct up_fit fit, with_offset;
    struct up_quantity air_kg_m3;
    memset(calibration, 0, sizeof *calibration);
    for (unsigned i = 0; i < procedure->points; i++) {
        mass_kg[i] = procedure->point[i].mass_kg;
        load[i] = procedure->point[i].load_counts;
    }
    if (!up_fit_polynomial(mass_kg, load, procedure->points, 2, &with_offset) ||
        !up_fit_proportional(mass_kg, load, procedure->points, &fit)) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "%u loadings carry no calibration: three different masses at least must "
                       "be read; run calibrate again",
                       procedure->points);
    }
    if (!(fabs(fit.c[1]) > 20 * sqrt(fit.covariance[1][1]))) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "the readings do not follow the masses (%.4g counts/kg, standard "
                       "uncertainty %.4g): were other masses hung than those named?",
                       fit.c[1], sqrt(fit.covariance[1][1]));
    }
    fill(procedure, &fit, &with_offset, calibration);
    if (!up_air_density(&procedure->rig.air, &air_kg_m3, failure)) {
        return false;
    }
    calibration->air_density_kg_m3 = air_kg_m3.value;
    return true;
}

bool up_calibration_offset_matters(const struct up_calibration *calibration) {
    double least_kg = (double)INFINITY;
    for (unsigned i = 0; i < calibration->points; i++) {
        least_kg = fmin(least_kg, calibration->point[i].mass_kg);
    }
    double offset = fabs(calibration->offset_counts);
    double chance = up_coverage_factor(0.99, calibration->dof - 1) * calibration->u_offset_counts;
    return offset > chance &&
           offset > OFFSET_MATTERS_REL * least_kg * fabs(calibration->slope_counts_kg);
}
