/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From the trials of a quick weighing to results: u as in a full one, all else as bounds. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "metrology/sequential.h"
#include "quick.h"
#include "text/text.h"

/* Bubbles on hanger and ballast that the tare had not, a line that touches, an item that breaks the
   surface by some centimetres of edge (7 g a metre): 2 g either way (our choice). */
static const double MARGIN_KG = 0.002;

/* An item that was not weighed dry has no volume, and what it is warmer than the water does not
   show. Three litres are more than a pair of fins displaces (our choice). */
static const double VOLUME_MOST_M3 = 3e-3, WATER_KG_M3 = 1000;

/* One shake does not show what share it frees, so the class must stand at the share that is assumed
   where none is known; two do, and a share below this is as good as nothing known (our choices). */
static const double SHARE_OF_ONE_SHAKE = 0.2, SHARE_LEAST = 0.05;
/* A gain above so many of its u shows the share of the next shake. */
static const double GAIN_SHOWS_U = 4;

enum { DRAWS = 200 };

/* ---- air ---- */

static double declared_share(const struct up_measurement *record) {
    return record->kind_shake_share > 0 ? record->kind_shake_share : record->rig.shake_share;
}

static double share_of(const struct up_measurement *record, const struct up_trial *trial,
                       double u_gain) {
    double declared = declared_share(record);
    if (trial->shakes < 2) {
        return fmin(declared, SHARE_OF_ONE_SHAKE);
    }
    double before = trial->gain_counts[trial->shakes - 2];
    double last = fmax(trial->gain_counts[trial->shakes - 1], 0);
    double seen = before > GAIN_SHOWS_U * u_gain ? fmax(1 - last / before, SHARE_LEAST) : declared;
    return fmin(declared, seen);
}

static double freed_counts(const struct up_trial *trial) {
    double freed = 0;
    for (unsigned i = 0; i < trial->shakes; i++) {
        freed += trial->gain_counts[i];
    }
    return fmax(freed, 0);
}

double quick_air_counts(const struct up_measurement *record, const struct up_trial *trial) {
    double u_gain = trial->u_gain_counts;
    return trial->shakes == 0
               ? (double)INFINITY
               : up_trapped_air_bound(fmax(trial->last_gain_counts, 0) + trial->early_gain_counts,
                                      u_gain, share_of(record, trial, u_gain));
}

/* The most that its air may lift; infinite where nothing was shaken, or nobody knows how much a
   shake frees. */
static double air_bound_kg(const struct up_measurement *record, double sd_counts) {
    double slope = fabs(record->calibration.slope_counts_per_kg), sum = 0;
    double stuck_share =
        record->kind_stuck_share > 0 ? record->kind_stuck_share : record->rig.stuck_share;
    unsigned kept = 0;
    if (isnan(declared_share(record))) {
        return (double)INFINITY;
    }
    for (unsigned i = 0; i < record->trials; i++) {
        const struct up_trial *trial = &record->trial[i];
        double u_gain = hypot(sqrt(2) * sd_counts, trial->u_gain_counts);
        if (trial->left_out) {
            continue;
        }
        if (trial->shakes == 0) {
            return (double)INFINITY;
        }
        double gain = fmax(trial->gain_counts[trial->shakes - 1], 0) + trial->early_gain_counts;
        sum += up_trapped_air_bound(gain, u_gain, share_of(record, trial, u_gain)) +
               up_stuck_air_bound(freed_counts(trial), stuck_share);
        kept++;
    }
    return sum / kept / slope + record->kind_stuck_kg;
}

/* ---- other bounds ---- */

static double early_kg(const struct up_measurement *record) {
    double sum = 0;
    unsigned kept = 0;
    for (unsigned i = 0; i < record->trials; i++) {
        kept += !record->trial[i].left_out;
        sum += record->trial[i].left_out ? 0 : record->trial[i].early_counts;
    }
    return sum / kept / fabs(record->calibration.slope_counts_per_kg);
}

static double margin_kg(const struct up_measurement *record, const struct up_weighing *weighing) {
    double expansion = record->item.expansion_per_k + sqrt(3) * record->item.u_expansion_per_k;
    double warm_kg = VOLUME_MOST_M3 * WATER_KG_M3 * expansion * record->rig.item_temp_halfwidth_k;
    return MARGIN_KG + (weighing->weighed_in_air ? 0 : warm_kg);
}

/* ---- results ---- */

static enum up_class class_of(const struct up_quick *quick, double tolerance_kg) {
    if (quick->class_high_kg < -tolerance_kg) {
        return UP_CLASS_NEGATIVE;
    }
    if (quick->class_low_kg > tolerance_kg) {
        return UP_CLASS_POSITIVE;
    }
    return quick->class_low_kg > -tolerance_kg && quick->class_high_kg < tolerance_kg
               ? UP_CLASS_NEUTRAL
               : UP_CLASS_UNDECIDED;
}

/* The interval of a result reaches from b - expanded_u - stuck_air to b + expanded_u; one without a
   lower end has no half-width. The class has no probability: bounds have none. */
static void fill_answer(struct up_result *result) {
    struct up_answer *answer = &result->answer;
    const struct up_quick *quick = &result->quick;
    double b = answer->buoyancy_kg.value, half_kg = quick->high_kg - b;
    answer->expanded_u_kg = quick->at_most ? (double)NAN : half_kg;
    answer->stuck_air_kg = quick->at_most ? (double)NAN : fmax(b - quick->low_kg - half_kg, 0);
    answer->class = class_of(quick, result->question.tolerance_kg);
    answer->probability_positive = answer->probability_neutral = answer->probability_negative =
        (double)NAN;
    answer->guard_low_kg = answer->guard_high_kg = (double)NAN;
    answer->draws = 0; /* u alone was taken from them */
    answer->stable = false;
    result->has_model = true;
    result->trials_would_decide = false;
}

/* Why no class: with nothing in it, and with as many degrees of freedom as one likes, would there
   be one? */
static enum up_aside aside_of(const struct up_result *result, struct up_quantity b,
                              double bound_one, double either_kg) {
    const struct up_quick *quick = &result->quick;
    struct up_quick other = *quick;
    if (result->answer.class != UP_CLASS_UNDECIDED) {
        return UP_ASIDE_NOT;
    }
    struct up_repeated_interval emptied = up_repeat_interval(b, bound_one, either_kg, either_kg);
    other.class_low_kg = emptied.low;
    other.class_high_kg = emptied.high;
    if (class_of(&other, result->question.tolerance_kg) != UP_CLASS_UNDECIDED) {
        return UP_ASIDE_AIR;
    }
    b.dof = (double)INFINITY;
    struct up_repeated_interval known =
        up_repeat_interval(b, bound_one, either_kg + quick->air_kg, either_kg);
    other.class_low_kg = known.low;
    other.class_high_kg = known.high;
    return class_of(&other, result->question.tolerance_kg) != UP_CLASS_UNDECIDED ? UP_ASIDE_SCATTER
                                                                                 : UP_ASIDE_NEAR;
}

static void tell_method(struct up_result *result) {
    char *by = strstr(result->method, "; Monte Carlo");
    if (by != NULL) {
        snprintf(by, sizeof result->method - (size_t)(by - result->method),
                 "; quick: looks by Pocock 1977, bounds added");
    }
}

static void fill_history(const struct up_measurement *record, struct up_quick *quick) {
    for (unsigned i = 0; i < record->trials; i++) {
        quick->shakes += record->trial[i].shakes;
    }
    quick->immersions = record->trials;
    quick->readings = record->quick.readings;
    quick->ended_early = record->quick.ended_early;
    quick->mass_kg = record->quick.mass_kg;
    quick->u_mass_kg = record->quick.u_mass_kg;
}

/* What was computed as for a full weighing, less its term for the air, which is a bound here. */
static bool make_quick(const struct up_measurement *record, double shrink, enum quick_air air,
                       struct up_result *result) {
    struct up_weighing *weighing = &result->weighing;
    struct up_quick *quick = &result->quick;
    double sd_counts = weighing->term[UP_INPUT_WATER_LOAD].u * sqrt(result->trials);
    weighing->term[UP_INPUT_TRAPPED_AIR] = (struct up_term){
        .dof = (double)INFINITY, .distribution = UP_RECTANGULAR, .evaluation = 'B'};
    weighing->stuck_air_kg = 0;
    if (!up_weigh(weighing, &result->question, &result->answer)) {
        return false;
    }
    struct up_quantity b = result->answer.buoyancy_kg;
    result->air_correction_kg = 0;
    result->other_corrections_kg = b.value - result->trials_mean_kg;
    double air_kg = air == QUICK_AIR_NONE ? 0 : air_bound_kg(record, sd_counts);
    /* An interval with one end needs the boundary of one side, where that is as sure. */
    double interval_bound = isinf(air_kg) && record->confidence >= record->coverage
                                ? record->quick.bound_one
                                : record->quick.bound_two;
    *quick = (struct up_quick){.is = true,
                               .at_most = isinf(air_kg),
                               .analysis = record->quick.analysis,
                               .bound_one = up_bound_by_level(record->quick.bound_one, b.dof),
                               .bound_two = up_bound_by_level(interval_bound, b.dof),
                               .early_kg = early_kg(record),
                               .margin_kg = margin_kg(record, weighing),
                               .air_kg = air_kg};
    b.u *= shrink;
    double either_kg = quick->early_kg + quick->margin_kg;
    struct up_repeated_interval significant =
        up_repeat_interval(b, interval_bound, either_kg + air_kg, either_kg);
    struct up_repeated_interval class =
        up_repeat_interval(b, record->quick.bound_one, either_kg + air_kg, either_kg);
    quick->low_kg = significant.low;
    quick->high_kg = significant.high;
    quick->class_low_kg = class.low;
    quick->class_high_kg = class.high;
    fill_answer(result);
    fill_history(record, quick);
    tell_method(result);
    quick->aside = aside_of(result, b, record->quick.bound_one, either_kg);
    return true;
}

/* What another scale says of it dry takes the place of the weighing in air: L k = m - rho_a V. */
static void take_mass(struct up_measurement *record) {
    const struct up_calibration *calibration = &record->calibration;
    double k = 1 - calibration->air_density_kg_m3 / UP_MASS_DENSITY_KG_M3;
    double m = record->quick.mass_kg, slope = calibration->slope_counts_per_kg, load = 0;
    struct up_quantity air;
    if (!(m > 0) || !up_air_density(&record->rig.air, &air, NULL)) {
        return;
    }
    for (unsigned i = 0; i < record->trials; i++) {
        load += record->trial[i].load_counts / record->trials;
    }
    double volume_m3 = (m - load / slope * k) / WATER_KG_M3;
    record->air_counts =
        up_known((m - air.value * volume_m3) / k * slope, record->quick.u_mass_kg * fabs(slope));
}

static bool take_results(const struct up_measurement *given, double shrink, enum quick_air air,
                         struct up_result *result, unsigned *results, struct up_failure *failure) {
    UP_FREED struct up_measurement *record = up_allocate(1, sizeof *record);
    *record = *given;
    record->under_way = true; /* more trials are another weighing */
    record->draws = DRAWS;    /* u and dof are of first order */
    take_mass(record);
    bool good = up_measurement_results(record, result, results, failure);
    for (unsigned i = 0; good && i < *results; i++) {
        good = make_quick(record, shrink, air, &result[i]) ||
               up_fail(failure, UP_STATUS_UNABLE, "the budget gives no interval: calibrate again");
    }
    return good;
}

bool up_measurement_quick_results(const struct up_measurement *measurement,
                                  struct up_result *result, unsigned *results,
                                  struct up_failure *failure) {
    return take_results(measurement, 1, QUICK_AIR_AS_IS, result, results, failure);
}

bool quick_look(const struct up_measurement *record, double shrink, enum quick_air air,
                struct up_result *result) {
    UP_FREED struct up_measurement *analysis_at = up_allocate(1, sizeof *analysis_at);
    unsigned results;
    *analysis_at = *record;
    analysis_at->waters = 0;
    return take_results(analysis_at, shrink, air, result, &results, NULL);
}
