/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "upthrust/text.h"

/* Shaking stops when a shake frees less than this, or nothing but noise: half a gram changes no
   diver's lead (a choice of ours, no standard). */
static const double AIR_MATTERS_KG = 0.0005;

/* Ballast must weigh at least this many times the lift it holds down, in water. */
static const double BALLAST_FACTOR = 1.5;
static const double LEAD_KG_M3 = 11340; /* handbook value of pure lead */
static const double WATER_KG_M3 = 1000;

/* The second depth must differ by as much as makes its pressure tell (a choice of ours: a litre of
   gas then loses 9 g). */
static const double DEEPER_LEAST_M = 0.1;

/* A tare before the item's weighing in air serves so long: the next tare comes after it anyway, and
   what drift does between two is a straight line only for a while (a choice of ours). */
static const double OPENING_OLDEST_S = 600;

/* A trial after a break that is off those before by so much was weighed by another cell (a choice
   of ours: cells of one kind differ by a few per cent, trials of one item by some grams). */
static const double OTHER_CELL_KG = 0.02, OTHER_CELL_REL = 0.05;
enum { UNLIKE_MAX = 2 };

/* ---- the plan ---- */

static bool fits_bench(const struct up_measure_plan *plan, struct up_failure *failure) {
    const struct up_rig *rig = plan->rig;
    const struct up_calibration *calibration = plan->calibration;
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
        return up_fail(
            failure, UP_STATUS_WRONG_INPUT,
            "one trial tells nothing of how far trials scatter, and the catalogue has no "
            "other items of this kind to tell it: make two at least");
    }
    if (plan->trials < 1 || plan->trials > UP_TRIALS_MAX) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "%u trials: give 2 to %d", plan->trials,
                       UP_TRIALS_MAX);
    }
    for (unsigned i = 0; i < plan->looks; i++) {
        if (plan->look[i] < 2 || plan->look[i] <= last || plan->look[i] > UP_TRIALS_MAX) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "looks at the results after %u and then %u trials: give counts that "
                           "rise, from 2 to %d",
                           last, plan->look[i], UP_TRIALS_MAX);
        }
        last = plan->look[i];
    }
    return true;
}

static bool sides_make_sense(const struct up_measure_plan *plan, struct up_failure *failure) {
    if (plan->waters > UP_WATERS_MAX) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "%u waters: give %d at most", plan->waters,
                       UP_WATERS_MAX);
    }
    if (!(plan->confidence >= 0.5 && plan->confidence <= 0.9999)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "confidence %g: give 0.5 to 0.9999",
                       plan->confidence);
    }
    if (plan->second_depth_m != 0 && !(plan->second_depth_m > plan->rig->depth_m + DEEPER_LEAST_M &&
                                       plan->second_depth_m <= 60)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "a second depth of %g m tells nothing of gas: give %g m (%g m below the "
                       "first) to 60 m",
                       plan->second_depth_m, plan->rig->depth_m + DEEPER_LEAST_M, DEEPER_LEAST_M);
    }
    if (plan->two_point_m != 0 && !(plan->two_point_m >= 0.05 && plan->two_point_m <= 5)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "two lines %g m apart: give 0.05 to 5 m",
                       plan->two_point_m);
    }
    return true;
}

static bool check_plan(const struct up_measure_plan *plan, struct up_failure *failure) {
    const struct up_calibration *calibration = plan->calibration;
    if (plan->rig->line.loads != 1) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s names %d load columns: to weigh, name one in load_field",
                       plan->rig->path, plan->rig->line.loads);
    }
    if (!trials_make_sense(plan, failure) || !sides_make_sense(plan, failure)) {
        return false;
    }
    if (!isfinite(calibration->slope_counts_per_kg) || calibration->slope_counts_per_kg == 0 ||
        !(calibration->dof > 0)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the stored calibration of %s is not sound: calibrate again",
                       calibration->bench);
    }
    return fits_bench(plan, failure);
}

/* With the hanger as a neighbour left it, the item is the first thing to hang. */
static void begin(struct up_procedure *procedure) {
    const struct up_opening *opening = &procedure->measure.opening;
    if (!opening->known) {
        ask_step(procedure, STEP_BALLAST);
        return;
    }
    /* its time is set when the stream begins */
    procedure->tare = (struct up_indication){.time_s = -opening->age_s,
                                             .step_s = -opening->age_s,
                                             .load = opening->load,
                                             .u_load = opening->u_load,
                                             .temp_c = opening->temp_c,
                                             .known = true};
    procedure->air_tare = procedure->last = procedure->tare;
    procedure->measurement.water_temp_c = isnan(procedure->measurement.water_temp_c)
                                              ? opening->temp_c
                                              : procedure->measurement.water_temp_c;
    ask_step(procedure, STEP_AIR);
}

struct up_opening up_procedure_opening(const struct up_procedure *procedure) {
    double age_s = procedure->now_s - procedure->tare.time_s;
    bool same = !procedure->deep_tare.known && procedure->rig->port_kind != UP_PORT_TYPED;
    return (struct up_opening){.known = procedure->tare.known && same && age_s < OPENING_OLDEST_S,
                               .age_s = age_s,
                               .load = procedure->tare.load,
                               .u_load = procedure->tare.u_load,
                               .temp_c = procedure->measurement.water_temp_c};
}

void up_measurement_begin(struct up_measurement *measurement, const struct up_measure_plan *plan) {
    *measurement = (struct up_measurement){.rig = *plan->rig,
                                           .calibration = *plan->calibration,
                                           .item = plan->item,
                                           .kind_repeatability_kg = plan->kind_repeatability_kg,
                                           .kind_shake_share = plan->kind_shake_share,
                                           .references = plan->references,
                                           .waters = plan->waters,
                                           .confidence = plan->confidence,
                                           .coverage = plan->coverage,
                                           .looks = plan->looks,
                                           .draws = plan->draws,
                                           .seed = plan->seed,
                                           .water_temp_c = plan->rig->temp_c,
                                           .air_counts = up_known((double)NAN, 0),
                                           .level_counts = up_known((double)NAN, 0),
                                           .two_point_m = plan->two_point_m,
                                           .deep_counts = up_known((double)NAN, 0),
                                           .second_depth_m = plan->second_depth_m};
    memcpy(measurement->run_id, plan->run_id, sizeof measurement->run_id);
    memcpy(measurement->reference, plan->reference, sizeof measurement->reference);
    for (unsigned i = 0; i < plan->waters; i++) {
        measurement->water[i] = plan->water[i];
    }
}

bool up_procedure_measure(const struct up_measure_plan *plan, struct up_procedure **result,
                          struct up_failure *failure) {
    struct up_procedure *procedure;
    *result = NULL;
    if (!check_plan(plan, failure)) {
        return false;
    }
    procedure = up_allocate(1, sizeof *procedure);
    procedure->measure = *plan;
    up_measurement_begin(&procedure->measurement, plan);
    procedure->measurement.under_way = true;
    procedure->rig = &procedure->measurement.rig;
    procedure->level_done = plan->two_point_m == 0;
    procedure->deep_done = plan->second_depth_m == 0;
    up_glitch_filter_begin(&procedure->filter, plan->rig->line.word_bits,
                           plan->rig->division_counts);
    begin(procedure);
    *result = procedure;
    return true;
}

/* ---- the sequence ----
   ballast, temperature; empty, item, empty in air; tare, the reference bodies; then each trial:
   immerse, shakes, lift out, whose tare closes the trial and opens the next; last, two points and
   the second depth. */

double counts_per_kg(const struct up_procedure *procedure) {
    return procedure->measurement.calibration.slope_counts_per_kg;
}

double linear(const struct up_procedure *procedure, double counts) {
    return up_calibration_linear_counts(&procedure->measurement.calibration, counts);
}

static void begin_trial(struct up_procedure *procedure) {
    memset(&procedure->now, 0, sizeof procedure->now);
    procedure->now.number = procedure->measurement.trials + 1;
    procedure->water.known = false;
    ask_step(procedure, STEP_IMMERSE);
}

static bool is_all_done(const struct up_procedure *procedure) {
    return procedure->measurement.checks >= procedure->measurement.references &&
           procedure->decided && procedure->level_done && procedure->deep_done;
}

void go_on(struct up_procedure *procedure) {
    if (is_all_done(procedure)) {
        finish(procedure);
    } else if (procedure->temp_lost) {
        ask_step(procedure, STEP_TEMPERATURE);
    } else if (!procedure->tare.known) {
        ask_step(procedure, STEP_TARE);
    } else if (procedure->measurement.checks < procedure->measurement.references) {
        ask_step(procedure, STEP_REFERENCE);
    } else if (!procedure->decided) {
        begin_trial(procedure);
    } else if (!procedure->level_done) {
        ask_step(procedure, STEP_LEVEL);
    } else {
        ask_step(procedure, STEP_DEEP_TARE);
    }
}

bool has_thermometer(const struct up_line_rule *line) {
    return line->temp.field != 0 || line->temp.label[0] != '\0';
}

static bool is_weighed_in_air(const struct up_procedure *procedure) {
    return !isnan(procedure->measurement.air_counts.value);
}

static void after_ballast(struct up_procedure *procedure) {
    bool asked_already = is_weighed_in_air(procedure) || procedure->measurement.trials > 0;
    bool has = has_thermometer(&procedure->rig->line) && !procedure->temp_lost;
    if (!has && isnan(procedure->measurement.water_temp_c)) {
        ask_step(procedure, STEP_TEMPERATURE);
    } else {
        ask_step(procedure, asked_already ? STEP_TARE : STEP_AIR_TARE);
    }
}

/* A step that is answered without a reading: one that needs none, or one that is skipped. */
void measure_after(struct up_procedure *procedure, enum up_answer_word word) {
    switch (procedure->step) {
    case STEP_BALLAST:
    case STEP_TEMPERATURE:
        after_ballast(procedure);
        break;
    case STEP_AIR:
        ask_step(procedure, STEP_TARE);
        break;
    case STEP_SHAKE:
        ask_step(procedure, STEP_LIFT);
        break;
    case STEP_IMMERSE:
        procedure->decided = true; /* no more of them */
        go_on(procedure);
        break;
    case STEP_OUTLIER:
        answer_outlier(procedure, word);
        break;
    case STEP_REFERENCE:
    case STEP_REFERENCE_CONFIRM:
        answer_reference(procedure, word);
        break;
    case STEP_LEVEL:
        procedure->level_done = true;
        go_on(procedure);
        break;
    case STEP_DEEP_TARE:
        procedure->deep_done = true;
        go_on(procedure);
        break;
    case STEP_PRELOAD:
    case STEP_MASS:
    case STEP_HUNG_TARE:
    case STEP_UNLOAD:
    case STEP_STAIR:
    case STEP_STAIR_END:
    case STEP_AIR_TARE:
    case STEP_AIR_TARE_AFTER:
    case STEP_TARE:
    case STEP_LIFT:
    case STEP_REFERENCE_TARE:
    case STEP_LEVEL_TARE:
    case STEP_DEEP:
    case STEP_DEEP_TARE_AFTER:
        break;
    }
}

/* What is under way is thrown away and begins anew with a tare. */
void measure_break(struct up_procedure *procedure) {
    switch (procedure->step) {
    case STEP_BALLAST:
    case STEP_TEMPERATURE:
        ask_step(procedure, procedure->step);
        break;
    case STEP_OUTLIER: /* nothing is spoilt but the tare before it */
        procedure->tare.known = false;
        ask_about_outlier(procedure);
        break;
    case STEP_AIR_TARE:
    case STEP_AIR:
    case STEP_AIR_TARE_AFTER:
        ask_step(procedure, STEP_AIR_TARE);
        break;
    case STEP_DEEP_TARE:
    case STEP_DEEP:
    case STEP_DEEP_TARE_AFTER:
        ask_step(procedure, STEP_DEEP_TARE);
        break;
    case STEP_PRELOAD:
    case STEP_MASS:
    case STEP_HUNG_TARE:
    case STEP_UNLOAD:
    case STEP_STAIR:
    case STEP_STAIR_END:
    case STEP_TARE:
    case STEP_IMMERSE:
    case STEP_SHAKE:
    case STEP_LIFT:
    case STEP_REFERENCE:
    case STEP_REFERENCE_TARE:
    case STEP_REFERENCE_CONFIRM:
    case STEP_LEVEL:
    case STEP_LEVEL_TARE:
        ask_step(procedure, STEP_TARE);
        break;
    }
}

static void read_air_tare_after(struct up_procedure *procedure, const struct up_indication *here) {
    double u_tare = 0;
    double tare = tare_at(&procedure->air_tare, here, procedure->air.time_s, &u_tare);
    double capacity_kg = procedure->rig->capacity_kg;
    struct up_quantity *counts = &procedure->measurement.air_counts;
    *counts = up_known(linear(procedure, procedure->air.load - tare),
                       hypot(procedure->air.u_load, u_tare));
    double total_kg = counts->value / counts_per_kg(procedure) + procedure->rig->ballast_kg;
    if (capacity_kg > 0 && total_kg > capacity_kg) {
        push_fault(procedure, "item and ballast together are %.2f kg, more than the cell's %g kg",
                   total_kg, capacity_kg);
        procedure->gave_up = true;
        finish(procedure);
        return;
    }
    procedure->tare = *here; /* hook and hanger are one: this is the first trial's tare as well */
    go_on(procedure);
}

double ballast_holds_kg(double lead_kg) {
    return lead_kg * (1 - WATER_KG_M3 / LEAD_KG_M3);
}

double ballast_wanted_kg(double lift_kg) {
    return lift_kg * BALLAST_FACTOR / ballast_holds_kg(1);
}

/* A line that goes slack measures nothing: the ballast must outweigh the lift with room to spare.
 */
static bool ballast_holds(struct up_procedure *procedure, const struct up_indication *here,
                          const struct up_indication *tare) {
    double lift_kg = -linear(procedure, here->load - tare->load) / counts_per_kg(procedure);
    double lead_kg = procedure->rig->ballast_kg;
    if (lead_kg == 0 || ballast_wanted_kg(lift_kg) <= lead_kg) {
        return true;
    }
    push_fault(procedure,
               "the item lifts %.0f g and the ballast holds %.0f g: hang at least %.1f kg of lead "
               "and say so in the rig file",
               lift_kg * 1e3, ballast_holds_kg(lead_kg) * 1e3, ballast_wanted_kg(lift_kg));
    procedure->gave_up = true;
    finish(procedure);
    return false;
}

/* Shake on while a shake frees air that matters; once at least. */
static void read_water(struct up_procedure *procedure, const struct up_indication *here) {
    struct up_trial *trial = &procedure->now;
    struct up_indication before = procedure->water;
    double matters = AIR_MATTERS_KG * fabs(counts_per_kg(procedure));
    procedure->water = *here;
    if (!ballast_holds(procedure, here, &procedure->tare)) {
        return;
    }
    if (procedure->step == STEP_SHAKE) {
        double sign = counts_per_kg(procedure) > 0 ? 1 : -1;
        trial->last_gain_counts = sign * (linear(procedure, here->load - procedure->tare.load) -
                                          linear(procedure, before.load - procedure->tare.load));
        trial->u_gain_counts = hypot(here->u_load, before.u_load);
        trial->last_gain_s = here->time_s - before.time_s;
        trial->gain_counts[trial->shakes++] = trial->last_gain_counts;
        matters = fmax(matters, 3 * trial->u_gain_counts);
        trial->still_gaining = trial->last_gain_counts > matters;
        if (!trial->still_gaining || trial->shakes >= (unsigned)procedure->rig->shakes_max) {
            ask_step(procedure, STEP_LIFT);
            return;
        }
    } else {
        procedure->immersed_s = here->time_s - procedure->rig->read_after_s;
        if (procedure->measurement.trials == 0) {
            procedure->first_immersed_s = procedure->immersed_s;
        }
    }
    ask_step(procedure, STEP_SHAKE);
}

/* After a break nobody knows whether the same cell answers: the item, weighed before, tells. */
static bool is_as_before(struct up_procedure *procedure, double load_counts) {
    double sum = 0;
    unsigned kept = up_measurement_trials(&procedure->measurement);
    for (unsigned i = 0; i < procedure->measurement.trials; i++) {
        sum += procedure->measurement.trial[i].left_out
                   ? 0
                   : procedure->measurement.trial[i].load_counts;
    }
    double mean = kept > 0 ? sum / kept : load_counts;
    double off_kg = (load_counts - mean) / counts_per_kg(procedure);
    double most_kg = fmax(OTHER_CELL_KG, OTHER_CELL_REL * fabs(mean / counts_per_kg(procedure)));
    if (!procedure->returned || fabs(off_kg) <= most_kg) {
        procedure->returned = false;
        procedure->unlike = 0;
        return true;
    }
    push_fault(
        procedure,
        "the item weighs %.0f g %s than before the break: is it the same cell, the same item, "
        "is all ballast on? This trial does not count",
        fabs(off_kg) * 1e3, off_kg > 0 ? "more" : "less");
    return false;
}

static void refuse_trial(struct up_procedure *procedure) {
    if (++procedure->unlike < UNLIKE_MAX) {
        measure_break(procedure);
        return;
    }
    push_fault(procedure, "gave up: what is weighed since the break does not fit what was weighed "
                          "before; calibrate if it is another cell, and measure anew");
    procedure->gave_up = true;
    finish(procedure);
}

static void close_trial(struct up_procedure *procedure, const struct up_indication *after) {
    struct up_trial *trial = &procedure->now;
    double u_tare = 0;
    double tare = tare_at(&procedure->tare, after, procedure->water.time_s, &u_tare);
    trial->load_counts = linear(procedure, procedure->water.load - tare);
    if (!is_as_before(procedure, trial->load_counts)) {
        refuse_trial(procedure);
        return;
    }
    trial->u_plateau_counts = hypot(procedure->water.u_load, u_tare);
    trial->soak_s = procedure->water.time_s - procedure->first_immersed_s;
    trial->temp_c = procedure->measurement.water_temp_c;
    trial->late_s = procedure->water.late_s;
    procedure->measurement.trial[procedure->measurement.trials++] = *trial;
    push_event(procedure, UP_EVENT_TRIAL)->trial = *trial;
    procedure->tare = *after;
    if (look_at_trials(procedure)) {
        go_on(procedure);
    }
}

/* ---- two points, the second depth ---- */

static void close_level(struct up_procedure *procedure, const struct up_indication *after) {
    double u_tare = 0;
    double tare = tare_at(&procedure->tare, after, procedure->side.time_s, &u_tare);
    procedure->measurement.level_counts = up_known(linear(procedure, procedure->side.load - tare),
                                                   hypot(procedure->side.u_load, u_tare));
    procedure->level_done = true;
    procedure->tare = *after;
    go_on(procedure);
}

static void close_deep(struct up_procedure *procedure, const struct up_indication *after) {
    double u_tare = 0;
    double tare = tare_at(&procedure->deep_tare, after, procedure->side.time_s, &u_tare);
    procedure->measurement.deep_counts = up_known(linear(procedure, procedure->side.load - tare),
                                                  hypot(procedure->side.u_load, u_tare));
    procedure->deep_done = true;
    go_on(procedure);
}

/* A reading that only its tare afterwards completes. */
static void read_side(struct up_procedure *procedure, const struct up_indication *here,
                      const struct up_indication *tare, enum step next) {
    procedure->side = *here;
    if (ballast_holds(procedure, here, tare)) {
        ask_step(procedure, next);
    }
}

void measure_read(struct up_procedure *procedure, const struct up_plateau *plateau) {
    struct up_indication here = point_of(plateau);
    procedure->broken = 0;
    switch (procedure->step) {
    case STEP_AIR_TARE:
        procedure->air_tare = here;
        procedure->tare = here;
        ask_step(procedure, STEP_AIR);
        break;
    case STEP_AIR:
        procedure->air = here;
        ask_step(procedure, STEP_AIR_TARE_AFTER);
        break;
    case STEP_AIR_TARE_AFTER:
        read_air_tare_after(procedure, &here);
        break;
    case STEP_TARE:
        procedure->tare = here;
        go_on(procedure);
        break;
    case STEP_REFERENCE:
        read_side(procedure, &here, &procedure->tare, STEP_REFERENCE_TARE);
        break;
    case STEP_REFERENCE_TARE:
        close_reference(procedure, &here);
        break;
    case STEP_LEVEL:
        read_side(procedure, &here, &procedure->tare, STEP_LEVEL_TARE);
        break;
    case STEP_LEVEL_TARE:
        close_level(procedure, &here);
        break;
    case STEP_DEEP_TARE:
        procedure->deep_tare = here;
        ask_step(procedure, STEP_DEEP);
        break;
    case STEP_DEEP:
        read_side(procedure, &here, &procedure->deep_tare, STEP_DEEP_TARE_AFTER);
        break;
    case STEP_DEEP_TARE_AFTER:
        close_deep(procedure, &here);
        break;
    case STEP_OUTLIER:
    case STEP_REFERENCE_CONFIRM:
    case STEP_IMMERSE:
    case STEP_SHAKE:
        read_water(procedure, &here);
        break;
    case STEP_LIFT:
        close_trial(procedure, &here);
        break;
    case STEP_BALLAST:
    case STEP_TEMPERATURE:
    case STEP_PRELOAD:
    case STEP_MASS:
    case STEP_HUNG_TARE:
    case STEP_UNLOAD:
    case STEP_STAIR:
    case STEP_STAIR_END:
        break;
    }
}
