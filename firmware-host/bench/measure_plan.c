/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Can this plan be measured on this rig with this calibration? */
#include <string.h>

#include "measuring.h"

/* The second depth must differ enough for its pressure to show (a choice of ours: a litre of gas
   then loses 9 g). */
static const double DEEPER_LEAST_M = 0.1;

bool up_calibration_fits(const struct up_calibration *calibration, const struct up_rig *rig,
                         struct up_failure *failure) {
    if (strcmp(rig->id, calibration->bench) != 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the calibration is of the bench %s, the rig is %s: calibrate this rig",
                       calibration->bench, rig->id);
    }
    if (strcmp(rig->sha256, calibration->rig_sha256) != 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the calibration is void: [line] or [sensor] of %s has changed since; "
                       "calibrate again",
                       rig->path);
    }
    if ((rig->window_s == 0) != (calibration->window_s == 0)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the calibration of %s was made with %s readings, these are %s: calibrate "
                       "again in the same way",
                       calibration->bench, calibration->window_s == 0 ? "typed" : "recorded",
                       rig->window_s == 0 ? "typed" : "recorded");
    }
    if (rig->read_after_s != calibration->read_after_s || rig->window_s != calibration->window_s) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the calibration was read %g s after the step over %g s, the rig now says "
                       "%g s and %g s: creep would not cancel; calibrate again",
                       calibration->read_after_s, calibration->window_s, rig->read_after_s,
                       rig->window_s);
    }
    return true;
}

static bool trials_make_sense(const struct up_measure_plan *plan, struct up_failure *failure) {
    unsigned last = 0;
    if (plan->trials == 1 && !(plan->kind_repeatability_kg.u > 0)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "one trial does not show how far trials scatter, and the catalogue has no "
                       "other items of this kind that do: make at least two");
    }
    if (plan->trials < 1 || plan->trials > UP_TRIALS_MAX) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "%u trials: give 2 to %d", plan->trials,
                       UP_TRIALS_MAX);
    }
    for (unsigned i = 0; i < plan->analyses; i++) {
        if (plan->analysis_at[i] < 2 || plan->analysis_at[i] <= last ||
            plan->analysis_at[i] > UP_TRIALS_MAX) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "looks at the results after %u and then %u trials: give counts that "
                           "rise, from 2 to %d",
                           last, plan->analysis_at[i], UP_TRIALS_MAX);
        }
        last = plan->analysis_at[i];
    }
    return true;
}

static bool extras_make_sense(const struct up_measure_plan *plan, struct up_failure *failure) {
    if (plan->waters > UP_WATERS_MAX) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "%u waters: give at most %d", plan->waters,
                       UP_WATERS_MAX);
    }
    if (!(plan->confidence >= 0.5 && plan->confidence <= 0.9999)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "confidence %g: give 0.5 to 0.9999",
                       plan->confidence);
    }
    if (plan->second_depth_m != 0 && !(plan->second_depth_m > plan->rig->depth_m + DEEPER_LEAST_M &&
                                       plan->second_depth_m <= 60)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "a second depth of %g m shows nothing about gas: give %g m (%g m below the "
                       "first) to 60 m",
                       plan->second_depth_m, plan->rig->depth_m + DEEPER_LEAST_M, DEEPER_LEAST_M);
    }
    if (plan->two_point_m != 0 && !(plan->two_point_m >= 0.05 && plan->two_point_m <= 5)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "two lines %g m apart: give 0.05 to 5 m",
                       plan->two_point_m);
    }
    return true;
}

/* What hangs dry or at a second depth is no part of it, and typed readings have no trace. */
static bool quick_makes_sense(const struct up_measure_plan *plan, struct up_failure *failure) {
    if (!plan->quick.on) {
        return true;
    }
    if (plan->rig->port_kind == UP_PORT_TYPED) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "a quick weighing needs the scale's own readings: typed ones do not show "
                       "when enough is known; weigh it in full");
    }
    if (plan->second_depth_m != 0 || plan->two_point_m != 0 || plan->references > 0 ||
        plan->analyses > 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "a quick weighing has no second depth, second line, reference body or "
                       "numbers of trials: weigh it in full for these");
    }
    return plan->quick.mass_kg == 0 || (plan->quick.mass_kg > 0 && plan->quick.u_mass_kg > 0) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the mass by another scale is %g g, give or take %g g: both must be above 0",
                   plan->quick.mass_kg * 1e3, plan->quick.u_mass_kg * 1e3);
}

bool measure_plan_check(const struct up_measure_plan *plan, struct up_failure *failure) {
    const struct up_calibration *calibration = plan->calibration;
    if (plan->rig->line.loads != 1) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s names %d load columns: to weigh, name one in load_field",
                       plan->rig->path, plan->rig->line.loads);
    }
    if (!trials_make_sense(plan, failure) || !extras_make_sense(plan, failure) ||
        !quick_makes_sense(plan, failure)) {
        return false;
    }
    if (!isfinite(calibration->slope_counts_per_kg) || calibration->slope_counts_per_kg == 0 ||
        !(calibration->dof > 0)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the stored calibration of %s is not sound: calibrate again",
                       calibration->bench);
    }
    return up_calibration_fits(plan->calibration, plan->rig, failure);
}

/* Beside the reading itself: hang, shake or lift, dry one's hand, press; to read a display and type
   it (common practice, no source). */
static const double HANDLING_S = 20, TYPING_S = 10;

/* On the simulated tank: a mask two or three times, a fin three or four, a boot up to six. */
enum { SHAKES_USUAL = 4, SHAKES_OF_LEAD = 1, SHAKES_QUICK = 1 };

double up_measure_guess_s(const struct up_measure_plan *plan, double *trial_s) {
    const struct up_rig *rig = plan->rig;
    bool typed = rig->port_kind == UP_PORT_TYPED;
    double reading_s = HANDLING_S + (typed ? TYPING_S : rig->read_after_s + rig->window_s / 2);
    bool asks_temp =
        isnan(rig->temp_c) && rig->line.temp.field == 0 && rig->line.temp.label[0] == '\0';
    /* before the trials: hanger, item dry, hanger; and the bare hook, the ballast */
    double before_s = 3 * reading_s + (asks_temp ? HANDLING_S : 0) +
                      (plan->opening.known ? -reading_s : reading_s + HANDLING_S);
    unsigned sides = 2 * plan->references + (plan->two_point_m != 0 ? 2 : 0) +
                     (plan->second_depth_m != 0 ? 3 : 0);
    unsigned trials = plan->analyses > 0 ? plan->analysis_at[0] : plan->trials;
    int shakes = plan->quick.on                         ? SHAKES_QUICK
                 : strcmp(plan->item.kind, "lead") == 0 ? SHAKES_OF_LEAD
                                                        : SHAKES_USUAL;
    *trial_s = (2 + shakes) * reading_s; /* immersed, each shake, the hanger */
    if (plan->quick.on) {                /* nothing is weighed dry, one immersion does */
        return (plan->opening.known ? 0 : 2 * reading_s + HANDLING_S) + *trial_s;
    }
    return before_s + sides * reading_s + trials * *trial_s;
}

void up_measurement_begin(struct up_measurement *measurement, const struct up_measure_plan *plan) {
    *measurement = (struct up_measurement){.rig = *plan->rig,
                                           .calibration = *plan->calibration,
                                           .item = plan->item,
                                           .kind_repeatability_kg = plan->kind_repeatability_kg,
                                           .kind_shake_share = plan->kind_shake_share,
                                           .kind_stuck_share = plan->kind_stuck_share,
                                           .kind_stuck_kg = plan->kind_stuck_kg,
                                           .references = plan->references,
                                           .waters = plan->waters,
                                           .confidence = plan->confidence,
                                           .coverage = plan->coverage,
                                           .analyses = plan->analyses,
                                           .draws = plan->draws,
                                           .seed = plan->seed,
                                           .water_temp_c = plan->rig->temp_c,
                                           .air_counts = up_known((double)NAN, 0),
                                           .level_counts = up_known((double)NAN, 0),
                                           .two_point_m = plan->two_point_m,
                                           .deep_counts = up_known((double)NAN, 0),
                                           .second_depth_m = plan->second_depth_m,
                                           .filling = plan->filling};
    memcpy(measurement->run_id, plan->run_id, sizeof measurement->run_id);
    memcpy(measurement->reference, plan->reference, sizeof measurement->reference);
    for (unsigned i = 0; i < plan->waters; i++) {
        measurement->water[i] = plan->water[i];
    }
}
