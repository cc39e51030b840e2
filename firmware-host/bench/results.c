/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From the trials of a session to results: fills the budget of metrology/. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "budget.h"
#include "doubt.h"
#include "metrology/statistics.h"
#include "text/text.h"

enum { LEAST_TRIALS = 2 };

/* What a schedule matched to the calibration's leaves of the creep, either way, as a share of a
   decade's (choices of ours): cells creep faster on unloading and not quite additively. A simulated
   cell whose creep goes 15 % faster when unloaded left an eighth of it with items that load the
   cell as the masses did, three tenths with those that float and unload it. */
static const double CREEP_LEFT_AS_LOADED = 1.0 / 5, CREEP_LEFT_OTHER_WAY = 1.0 / 3;

/* Typed readings have no fixed timing, so creep does not cancel: the bound of cheap cells' data
   sheets, 0.05 % of the load within half an hour. */
static const double CREEP_TYPED_REL = 5e-4;

/* Assumed where it is unknown what share of the air a shake frees; then no class depends on it. */
static const double SHAKE_SHARE_UNKNOWN = 0.2;

/* Assumed for an item that was never shaken, as a share of its weight (a choice of ours, wide on
   purpose); no class depends on it either. */
static const double AIR_UNSHAKEN_REL = 0.05;

/* Data sheets of cheap beams: 0.05 % of the span for 10 K (published). */
static const double SPAN_REL_PER_K = 5e-5;

/* Assumed where the calibration's temperature is not recorded (a choice of ours). */
static const double TEMP_UNKNOWN_K = 10;

/* A hung load that swings reads high by theta^2 / 4 of the load, on a cell that turns with its
   line; one that stays put reads its mean right. 0.02 rad is a centimetre on half a metre of line,
   which people see and steady (a choice of ours). The masses of the calibration swung as well, so
   the item reads too much or too little by half of that. */
static const double SWING_MOST_RAD = 0.02;

/* The depth of the middle of the load in the water, as measured by hand (a choice of ours). */
static const double DEPTH_HALFWIDTH_M = 0.1;

struct trials {
    struct up_summary load; /* of those kept */
    double sd, sd_dof;      /* of one trial, pooled with what its kind is known for */
    double last, u_last; /* what is stated: their mean, or, where the item takes up water, the line
                            through them at the soak of the last one */
    double u_plateau;    /* of the mean, from the plateaus' own noise */
    double late_rel;     /* creep between the schedule's time and that of the reading, mean */
    double last_gain;    /* mean; NaN where none was shaken */
    double u_gain;       /* its own: hanging and wetting scatter in each gain twice */
    struct unsteady bubbles, drips;
    double freed; /* by all shakes of a trial, mean over those shaken; 0 where none was */
};

static struct up_term student(double value, double u, double dof) {
    return (struct up_term){
        .value = value, .u = u, .dof = dof, .distribution = UP_STUDENT, .evaluation = 'A'};
}

/* Pooled where an F test (99 %) shows no difference; an item that scatters more than its kind uses
   its own scatter. */
static void pool_repeatability(const struct up_measurement *measurement, struct trials *trials) {
    const struct up_quantity *kind = &measurement->kind_repeatability_kg;
    double kind_sd = kind->u * fabs(measurement->calibration.slope_counts_per_kg);
    double own_dof = (double)trials->load.count - 1;
    double ratio = own_dof > 0 && kind_sd > 0 ? pow(trials->load.sd / kind_sd, 2) : 0;
    trials->sd = trials->load.sd;
    trials->sd_dof = own_dof;
    if (!(kind_sd > 0 && kind->dof > 0) ||
        (own_dof > 0 && ratio > up_f_limit(0.99, own_dof, kind->dof))) {
        return;
    }
    trials->sd_dof = own_dof + kind->dof;
    trials->sd = kind_sd * sqrt((own_dof * ratio + kind->dof) / trials->sd_dof);
}

/* An item that takes up water is heavier in each trial: their mean belongs to an earlier time of
   soaking, and their scatter is mostly the water. Where a straight line through them can be fitted,
   its value at the last trial is stated. */
static const double UPTAKE_CONFIDENCE = 0.99;
enum { UPTAKE_LEAST_DOF = 2 };

struct uptake {
    struct up_fit line; /* counts, over the soak in minutes; dof 0: none */
    bool significant;   /* chance does not explain it */
    double last_min;
};

static bool is_stated_by(const struct uptake *uptake) {
    return uptake->significant && uptake->line.dof >= UPTAKE_LEAST_DOF;
}

static struct uptake find_uptake(const struct up_measurement *measurement) {
    double soak_min[UP_TRIALS_MAX], load[UP_TRIALS_MAX];
    double sign = measurement->calibration.slope_counts_per_kg > 0 ? 1 : -1;
    struct uptake uptake = {0};
    unsigned kept = 0;
    for (unsigned i = 0; i < measurement->trials; i++) {
        if (!measurement->trial[i].left_out) {
            soak_min[kept] = measurement->trial[i].soak_s / 60;
            load[kept++] = measurement->trial[i].load_counts;
        }
    }
    if (up_fit_polynomial(soak_min, load, kept, 2, &uptake.line)) {
        double rise = sign * uptake.line.c[1];
        /* one-sided: what dries under water is no gear */
        double limit = up_coverage_factor(2 * UPTAKE_CONFIDENCE - 1, uptake.line.dof);
        uptake.significant = rise > limit * sqrt(uptake.line.covariance[1][1]) && rise > 0;
        uptake.last_min = soak_min[kept - 1];
    }
    return uptake;
}

/* The last gains without the water taken up between their two readings. Where the first trial set
   the number of shakes only the later ones count, as many as were done by it: their last gains were
   not selected, so their mean is unbiased and its u is that of a mean. Otherwise each trial ended
   because its own gain was small: a gain below zero does not prove that no air was left, and the
   scatter of a single gain stays. A trial that was never shaken says nothing about its air: the
   others are used for it. */
static void find_last_gain(const struct up_measurement *measurement, double uptake_per_min,
                           struct trials *trials) {
    double sign = measurement->calibration.slope_counts_per_kg > 0 ? 1 : -1, gains[2] = {0};
    unsigned count[2] = {0};
    for (unsigned i = 0; i < measurement->trials; i++) {
        const struct up_trial *trial = &measurement->trial[i];
        if (!trial->left_out && trial->shakes > 0) {
            double water = sign * uptake_per_min * trial->last_gain_s / 60;
            double gain = trial->last_gain_counts - water;
            gains[trial->shakes_set] += trial->shakes_set ? gain : fmax(gain, 0);
            count[trial->shakes_set]++;
        }
    }
    bool set = count[1] > 0;
    trials->last_gain = set || count[0] > 0 ? gains[set] / count[set] : (double)NAN;
    trials->u_gain = trials->sd * sqrt(set ? 2.0 / count[1] : 2);
}

static void state_at_last_soak(const struct uptake *uptake, struct trials *trials) {
    const struct up_fit *line = &uptake->line;
    double t = uptake->last_min;
    trials->last = line->c[0] + line->c[1] * t;
    trials->u_last = sqrt(line->covariance[0][0] + 2 * t * line->covariance[0][1] +
                          t * t * line->covariance[1][1]);
    trials->sd = line->residual_sd;
    trials->sd_dof = line->dof;
}

/* At most: readings before the last two may have ended early. */
static double freed_counts(const struct up_trial *trial) {
    double freed = trial->early_freed_counts;
    for (unsigned i = 0; i < trial->shakes; i++) {
        freed += trial->gain_counts[i];
    }
    return freed;
}

static struct trials summarise(const struct up_measurement *measurement) {
    double load[UP_TRIALS_MAX] = {0}, freed = 0;
    struct trials trials = {0};
    unsigned shaken = 0, kept = 0;
    for (unsigned i = 0; i < measurement->trials; i++) {
        const struct up_trial *trial = &measurement->trial[i];
        if (trial->left_out) {
            continue;
        }
        load[kept++] = trial->load_counts;
        trials.u_plateau += trial->u_plateau_counts * trial->u_plateau_counts;
        trials.late_rel += log10(1 + trial->late_s / fmax(measurement->rig.read_after_s, 1));
        if (trial->shakes > 0) {
            freed += freed_counts(trial);
            shaken++;
        }
    }
    trials.freed = shaken > 0 ? freed / shaken : 0;
    trials.load = up_summarise(load, kept);
    trials.u_plateau = sqrt(trials.u_plateau) / kept;
    trials.late_rel /= kept;
    pool_repeatability(measurement, &trials);
    trials.last = trials.load.mean;
    trials.u_last = trials.sd / sqrt(kept);
    struct uptake uptake = find_uptake(measurement);
    bool by_line = is_stated_by(&uptake);
    if (by_line) {
        state_at_last_soak(&uptake, &trials);
    }
    trials.bubbles = find_bubbles(measurement);
    trials.drips = find_drips(measurement);
    /* Bubbles that grew between its two readings were freed by the shake as well. */
    double grown_per_min = trials.bubbles.significant ? trials.bubbles.rate_kg_s.value * 60 : 0;
    find_last_gain(measurement,
                   (by_line ? uptake.line.c[1] : 0) -
                       grown_per_min * measurement->calibration.slope_counts_per_kg,
                   &trials);
    return trials;
}

unsigned up_measurement_trials(const struct up_measurement *measurement) {
    unsigned kept = 0;
    for (unsigned i = 0; i < measurement->trials; i++) {
        kept += !measurement->trial[i].left_out;
    }
    return kept;
}

static bool is_weighed_in_air(const struct up_measurement *measurement) {
    return !isnan(measurement->air_counts.value);
}

/* Its weight in air where it was weighed, else the size of its load in water. */
static double weight_kg(const struct up_measurement *measurement) {
    double counts = is_weighed_in_air(measurement) ? measurement->air_counts.value
                                                   : measurement->trial[0].load_counts;
    return fabs(counts / measurement->calibration.slope_counts_per_kg);
}

/* What the bench has learned about this kind of item takes precedence over the rig file's figure
   for all. */
static double shake_share(const struct up_measurement *measurement) {
    double learned = measurement->kind_shake_share;
    return learned > 0 ? learned : measurement->rig.shake_share;
}

static bool air_is_known(const struct up_measurement *measurement) {
    bool shaken = false;
    for (unsigned i = 0; i < measurement->trials; i++) {
        shaken = shaken || measurement->trial[i].shakes > 0;
    }
    return shaken && !isnan(shake_share(measurement));
}

/* Between zero and what a last gain of that mean leaves. The scatter of the trials widens it and
   does not shift it: half of the bound is taken off, so half of an error of the gain acts. */
static struct up_term trapped_air(const struct up_measurement *measurement,
                                  const struct trials *trials) {
    double share = shake_share(measurement);
    double slope = fabs(measurement->calibration.slope_counts_per_kg);
    double bound_kg, u_kg;
    if (isnan(share)) {
        share = SHAKE_SHARE_UNKNOWN;
    }
    bound_kg = up_trapped_air_bound(trials->last_gain, 0, share) / slope;
    u_kg = up_trapped_air_bound(0, trials->u_gain, share) / slope;
    if (isnan(trials->last_gain)) {
        bound_kg = AIR_UNSHAKEN_REL * weight_kg(measurement);
        u_kg = 0;
    }
    return rectangular(bound_kg / 2, (bound_kg + u_kg) / 2);
}

/* Air that no shake frees shows in no gain: a share of all the air, estimated from what was freed,
   and the lift declared for the kind, since an item from which nothing was freed may still hold
   some. */
static double stuck_air_kg(const struct up_measurement *measurement, const struct trials *trials) {
    double share = measurement->kind_stuck_share;
    double freed_kg = trials->freed / fabs(measurement->calibration.slope_counts_per_kg);
    return up_stuck_air_bound(freed_kg, share > 0 ? share : measurement->rig.stuck_share) +
           measurement->kind_stuck_kg;
}

/* ---- the tank's own water ---- */

struct up_water tank_water(const struct up_measurement *measurement) {
    struct up_water water = measurement->rig.tank_water;
    double sum_c = 0;
    for (unsigned i = 0; i < measurement->trials; i++) {
        sum_c += measurement->trial[i].temp_c;
    }
    water.temp_c =
        measurement->trials > 0 ? sum_c / measurement->trials : measurement->water_temp_c;
    water.u_temp_c = measurement->rig.u_thermometer_k;
    return water;
}

/* Where a range is known, it is taken as rectangular. */
static struct up_term salinity_term(const struct up_water *water,
                                    const struct up_water_density *density) {
    struct up_term term = normal(0, density->u_salinity_kg_m3);
    if (water->salinity_range) {
        term.distribution = UP_RECTANGULAR;
    }
    return term;
}

/* The increase of the water's density per metre of depth. */
static double slope_by_depth(const struct up_water *tank, const struct up_water_density *density) {
    struct up_water other = *tank;
    struct up_water_density there;
    double step_m = tank->depth_m < 30 ? 1 : -1;
    other.depth_m += step_m;
    return up_water_density(&other, &there, NULL)
               ? (there.density_kg_m3.value - density->density_kg_m3.value) / step_m
               : 0;
}

/* ---- the budget ---- */

/* The plateaus' noise is part of the trials' scatter: only what that scatter, by chance, does not
   show is added. */
static struct up_term plateau_noise(const struct trials *trials) {
    double shown = trials->u_last;
    struct up_term term =
        normal(0, sqrt(fmax(0, trials->u_plateau * trials->u_plateau - shown * shown)));
    term.evaluation = 'A';
    return term;
}

/* What drift leaves between two tares is in the trials' own scatter. One that was learned of
   others, or is that of two trials at most, need not hold it: a mean of two tares is off by half of
   what they differ by beside a steady drift, as in scatter.c. Added is what that scatter does not
   show. */
static struct up_term drift_term(const struct up_measurement *measurement,
                                 const struct trials *trials) {
    double change[UP_TRIALS_MAX] = {0}, shown = trials->u_last;
    unsigned kept = 0;
    for (unsigned i = 0; i < measurement->trials; i++) {
        if (!measurement->trial[i].left_out) {
            change[kept++] = measurement->trial[i].tare_change_counts;
        }
    }
    struct up_summary all = up_summarise(change, kept);
    bool hidden = kept <= 2 || trials->sd_dof > kept - 1;
    double u = (kept > 1 ? all.sd : fabs(all.mean)) / 2 / sqrt(kept);
    struct up_term term = normal(0, hidden ? sqrt(fmax(0, u * u - shown * shown)) : 0);
    term.evaluation = 'A';
    return term;
}

static struct up_term cell_temp(const struct up_measurement *measurement) {
    double off_k = fabs(measurement->rig.air.temp_c.value - measurement->calibration.temp_c);
    return rectangular(0, SPAN_REL_PER_K * (isnan(off_k) ? TEMP_UNKNOWN_K : off_k));
}

static double creep_remaining_rel(const struct up_calibration *calibration,
                                  const struct trials *trials) {
    bool matched = is_matched(calibration, trials->last * calibration->slope_counts_per_kg < 0);
    if (is_typed(calibration)) {
        return CREEP_TYPED_REL;
    }
    /* Where chance may explain it, it is no larger than its uncertainty. */
    double u = isnan(calibration->u_creep_rel_decade) ? 0 : calibration->u_creep_rel_decade;
    double creep = calibration->creep_is_known == 0 ? 0 : calibration->creep_rel_decade;
    return ((matched ? CREEP_LEFT_AS_LOADED : CREEP_LEFT_OTHER_WAY) + trials->late_rel) *
           hypot(creep, u);
}

double u_reading_rel(const struct up_measurement *measurement, double load_counts) {
    struct trials one = {.last = load_counts};
    double swing_rel = SWING_MOST_RAD * SWING_MOST_RAD / 8;
    double creep_rel = creep_remaining_rel(&measurement->calibration, &one);
    return hypot(cell_temp(measurement).u, hypot(creep_rel, swing_rel) / sqrt(3));
}

static struct up_term unsteady(const struct unsteady *found) {
    return found->significant ? rectangular(found->lift_kg, sqrt(3) * found->u_kg)
                              : rectangular(0, 0);
}

static void fill_loads(const struct up_measurement *measurement, const struct trials *trials,
                       struct up_weighing *weighing) {
    const struct up_calibration *calibration = &measurement->calibration;
    double sd = trials->sd, sd_dof = trials->sd_dof;
    double turn = measurement->rig.division_counts / 2;
    double load_kg = fabs(trials->last / calibration->slope_counts_per_kg);
    weighing->term[UP_INPUT_WATER_LOAD] = student(trials->last, trials->u_last, sd_dof);
    weighing->term[UP_INPUT_WATER_PLATEAU] = plateau_noise(trials);
    weighing->term[UP_INPUT_DRIFT] = drift_term(measurement, trials);
    /* One dry weighing: it is hung once, and scatters as a single trial does, and as a mass as
       heavy as it does. */
    double dry = is_weighed_in_air(measurement) ? measurement->air_counts.value : 0;
    double slope = fabs(calibration->slope_counts_per_kg);
    double sd_dry = fmax(sd, u_loading_kg(calibration, dry / slope) * slope);
    weighing->term[UP_INPUT_AIR_LOAD] =
        student(dry, hypot(measurement->air_counts.u, sd_dry), sd_dof);
    weighing->term[UP_INPUT_SLOPE] = student(calibration->slope_counts_per_kg,
                                             u_slope_counts_per_kg(calibration), calibration->dof);
    weighing->term[UP_INPUT_MASSES] = rectangular(0, calibration->mass_tolerance_rel);
    weighing->term[UP_INPUT_LACK_OF_FIT] = lack_of_fit(calibration, load_kg);
    weighing->term[UP_INPUT_OFFSET] = offset(calibration, load_kg);
    weighing->term[UP_INPUT_HYSTERESIS] =
        hysteresis(calibration, trials->last / calibration->slope_counts_per_kg);
    weighing->term[UP_INPUT_CELL_TEMP] = cell_temp(measurement);
    weighing->term[UP_INPUT_RESOLUTION] = rectangular(0, turn * sqrt(2));
    weighing->term[UP_INPUT_CREEP] = rectangular(0, creep_remaining_rel(calibration, trials));
    weighing->term[UP_INPUT_SWING] = rectangular(0, SWING_MOST_RAD * SWING_MOST_RAD / 8);
    weighing->term[UP_INPUT_TRAPPED_AIR] = trapped_air(measurement, trials);
    weighing->term[UP_INPUT_MENISCUS] = rectangular(0, measurement->rig.meniscus_kg);
    weighing->term[UP_INPUT_BUBBLES] = unsteady(&trials->bubbles);
    weighing->term[UP_INPUT_DRIPS] = unsteady(&trials->drips);
    weighing->stuck_air_kg = stuck_air_kg(measurement, trials);
}

static bool fill_surroundings(const struct up_measurement *measurement, const struct up_water *tank,
                              struct up_weighing *weighing, struct up_failure *failure) {
    const struct up_rig *rig = &measurement->rig;
    const struct up_item *item = &measurement->item;
    struct up_water_density density;
    struct up_quantity air;
    if (!up_water_density(tank, &density, failure) || !up_air_density(&rig->air, &air, failure)) {
        return false;
    }
    weighing->term[UP_INPUT_AIR_DENSITY] = normal(air.value, air.u);
    weighing->term[UP_INPUT_WATER_TEMP] = normal(0, tank->u_temp_c);
    weighing->term[UP_INPUT_WATER_DENSITY] =
        normal(density.density_kg_m3.value, density.u_model_kg_m3);
    weighing->term[UP_INPUT_WATER_SALINITY] = salinity_term(tank, &density);
    weighing->term[UP_INPUT_DEPTH] = rectangular(0, DEPTH_HALFWIDTH_M);
    weighing->term[UP_INPUT_ITEM_TEMP] = rectangular(0, rig->item_temp_halfwidth_k);
    weighing->term[UP_INPUT_EXPANSION] =
        rectangular(item->expansion_per_k, item->u_expansion_per_k * sqrt(3));
    weighing->calibration_air_kg_m3 = measurement->calibration.air_density_kg_m3;
    weighing->tank_density_slope_kg_m3_k = density.slope_kg_m3_k;
    weighing->tank_density_slope_kg_m3_m = slope_by_depth(tank, &density);
    weighing->tank_temp_c = tank->temp_c;
    weighing->cord_area_m2 = acos(-1) / 4 * rig->cord_diameter_m * rig->cord_diameter_m;
    weighing->tank_area_m2 = rig->tank_area_m2;
    weighing->weighed_in_air = is_weighed_in_air(measurement);
    return true;
}

/* ---- beside the number ---- */

static void fill_uptake(const struct up_measurement *measurement, struct up_result *result) {
    struct uptake uptake = find_uptake(measurement);
    double g = 1e3 / measurement->calibration.slope_counts_per_kg;
    bool fitted = uptake.line.dof > 0;
    struct unsteady bubbles = find_bubbles(measurement);
    result->forms_bubbles = bubbles.significant;
    result->drips = find_drips(measurement).significant;
    result->bubbles_g_min = bubbles.rate_kg_s.dof > 0 ? bubbles.rate_kg_s.value * 6e4 : (double)NAN;
    result->u_bubbles_g_min = bubbles.rate_kg_s.dof > 0 ? bubbles.rate_kg_s.u * 6e4 : (double)NAN;
    result->takes_up_water = uptake.significant;
    result->at_last_soak = is_stated_by(&uptake);
    result->uptake_g_min = fitted ? uptake.line.c[1] * g : (double)NAN;
    result->u_uptake_g_min = fitted ? sqrt(uptake.line.covariance[1][1]) * fabs(g) : (double)NAN;
}

/* A single reading: it scatters as a trial does. The slope and the masses are common to it and to
   the mean it is held against, and cancel where the two are near. */
static struct up_quantity extra_load_kg(const struct up_measurement *measurement,
                                        const struct trials *trials, struct up_quantity counts) {
    double slope = measurement->calibration.slope_counts_per_kg;
    double k = 1 - measurement->calibration.air_density_kg_m3 / UP_MASS_DENSITY_KG_M3;
    return (struct up_quantity){counts.value / slope * k, hypot(counts.u, trials->sd) / fabs(slope),
                                trials->sd_dof};
}

/* Two loads that differ were reached in different ways, so hysteresis applies. */
static struct up_quantity with_hysteresis(const struct up_calibration *calibration,
                                          struct up_quantity load_kg) {
    load_kg.u = hypot(load_kg.u, hysteresis(calibration, load_kg.value).u);
    return load_kg;
}

/* A tape along the item, its ends judged by eye: 5 mm either way (a choice of ours). */
static const double TWO_POINT_HALFWIDTH_M = 0.005;

/* The depth of the item's middle, measured twice (a choice of ours). */
static const double U_DEPTH_DIFFERENCE_M = 0.02;

static void find_gas(const struct up_measurement *measurement, struct up_quantity whole_kg,
                     struct up_result *result) {
    const struct up_rig *rig = &measurement->rig;
    struct up_gas_session session = {
        .shallow = {rig->depth_m, result->answer.buoyancy_kg.value},
        .deep = {result->second_depth_m, result->second_buoyancy_kg.value},
        .u_buoyancy_kg = result->answer.buoyancy_kg.u,
        .u_difference_kg = hypot(whole_kg.u, result->second_buoyancy_kg.u),
        .u_deep_own_kg = result->second_buoyancy_kg.u,
        .u_depth_difference_m = U_DEPTH_DIFFERENCE_M,
        .air_pressure_pa = rig->air.pressure_pa,
        .temp_c = result->water.temp_c,
        .gravity_m_s2 = rig->gravity_m_s2,
        .water_kg_m3 = result->water_density_kg_m3.value};
    result->has_gas = up_gas_from_depths(&session, &result->gas, NULL);
}

static void fill_extras(const struct up_measurement *measurement, const struct trials *trials,
                        struct up_result *result) {
    const struct up_calibration *calibration = &measurement->calibration;
    struct up_quantity whole = extra_load_kg(measurement, trials, up_known(trials->last, 0));
    whole.u =
        hypot(trials->u_last, plateau_noise(trials).u) / fabs(calibration->slope_counts_per_kg);
    if (!isnan(measurement->level_counts.value)) {
        result->moment =
            up_moment_of(with_hysteresis(calibration, extra_load_kg(measurement, trials,
                                                                    measurement->level_counts)),
                         with_hysteresis(calibration, whole),
                         up_known(measurement->two_point_m, TWO_POINT_HALFWIDTH_M / sqrt(3)),
                         measurement->rig.gravity_m_s2.value);
    }
    if (!isnan(measurement->deep_counts.value)) {
        struct up_quantity deep = extra_load_kg(measurement, trials, measurement->deep_counts);
        double air_kg = result->weighing.term[UP_INPUT_TRAPPED_AIR].value;
        result->second_depth_m = measurement->second_depth_m;
        result->second_buoyancy_kg = (struct up_quantity){-deep.value - air_kg, deep.u, deep.dof};
        find_gas(measurement, whole, result);
    }
}

/* The corrections between the mean of the trials, as they were shown, and the result. */
static void fill_corrections(const struct up_measurement *measurement, const struct trials *trials,
                             struct up_result *result) {
    result->trials_mean_kg = -trials->load.mean / measurement->calibration.slope_counts_per_kg;
    result->air_correction_kg = -result->weighing.term[UP_INPUT_TRAPPED_AIR].value;
    result->other_corrections_kg =
        result->answer.buoyancy_kg.value - result->trials_mean_kg - result->air_correction_kg;
}

static void describe(const struct up_measurement *measurement, const struct trials *trials,
                     struct up_result *result) {
    const char *rule = air_is_known(measurement) ? "air share given" : "air share unknown";
    double load_kg = reads_kg(&measurement->calibration, measurement->trial[0].load_counts);
    char reading[80] = "typed readings";
    if (!is_typed(&measurement->calibration)) {
        snprintf(reading, sizeof reading, "read %g s after the step over %g s",
                 measurement->rig.read_after_s, measurement->rig.window_s);
    }
    memcpy(result->item_id, measurement->item.id, sizeof result->item_id);
    memcpy(result->run_id, measurement->run_id, sizeof result->run_id);
    memcpy(result->calibration_id, measurement->calibration.id, sizeof result->calibration_id);
    result->immersion_depth_m = measurement->rig.depth_m;
    result->air_pressure_pa = measurement->rig.air.pressure_pa.value;
    result->compressible = measurement->item.compressible;
    result->simulated = measurement->rig.simulated;
    result->trials = up_measurement_trials(measurement);
    for (unsigned i = 0; i < measurement->trials; i++) {
        const struct up_trial *trial = &measurement->trial[i];
        result->left_out |= (uint64_t)trial->left_out << i;
        result->soak_s = trial->left_out ? result->soak_s : trial->soak_s;
    }
    result->pieces = measurement->item.pieces;
    result->filling = measurement->filling;
    if (result->filling.gas[0] == '\0') {
        result->filling.pressure_bar = (double)NAN;
    }
    memcpy(result->check, measurement->check, sizeof result->check);
    result->checks = measurement->checks;
    fill_uptake(measurement, result);
    result->question = (struct up_question){.tolerance_kg = measurement->item.tolerance_g / 1e3,
                                            .coverage = measurement->coverage,
                                            .confidence = measurement->confidence,
                                            .air_share_known = air_is_known(measurement),
                                            .analyses = measurement->analyses,
                                            .draws = measurement->draws,
                                            .seed = measurement->seed > 0 ? measurement->seed : 1};
    snprintf(result->method, sizeof result->method,
             "upthrust %s; calibration %s; %u trial%s, %s; %s%s; %s; %sMonte Carlo",
             UPTHRUST_VERSION, measurement->calibration.id, measurement->trials,
             up_text_plural(measurement->trials), reading,
             division_shows(measurement->rig.division_counts, trials->load.mean)
                 ? ""
                 : "lighter in water than the scale's steps show; ",
             rule, up_air_model(&measurement->rig.air),
             !isnan(measurement->calibration.hysteresis_kg) ? ""
             : hysteresis_unseen_kg(&measurement->calibration, load_kg) > 0
                 ? "hysteresis by data sheets; "
                 : "zero return by its tares; ");
}

static bool answer_in_water(struct up_weighing *weighing, const struct up_water *water,
                            bool in_tank, bool more_are_asked, struct up_result *result,
                            struct up_failure *failure) {
    struct up_water_density density;
    if (!up_water_density(water, &density, failure)) {
        return false;
    }
    weighing->in_tank = in_tank;
    weighing->target_temp_c = water->temp_c;
    weighing->term[UP_INPUT_TARGET_DENSITY] =
        normal(density.density_kg_m3.value,
               in_tank ? 0 : hypot(density.u_model_kg_m3, density.u_temp_kg_m3));
    weighing->term[UP_INPUT_TARGET_SALINITY] =
        in_tank ? normal(0, 0) : salinity_term(water, &density);
    result->water = *water;
    result->measured = in_tank;
    result->water_density_kg_m3 = density.density_kg_m3;
    if (!up_weighing_check(weighing, &result->question, failure)) {
        return false;
    }
    if (!up_weigh(weighing, &result->question, &result->answer)) {
        return up_fail(
            failure, UP_STATUS_UNABLE,
            "the uncertainty is too large to give an interval; was the calibration sound?");
    }
    result->weighing = *weighing;
    result->has_model = true;
    if (result->answer.class == UP_CLASS_UNDECIDED && more_are_asked) {
        result->trials_would_decide =
            up_trials_to_decide(weighing, &result->question, result->trials, &result->more_trials);
    }
    return true;
}

bool up_measurement_results(const struct up_measurement *measurement, struct up_result *result,
                            unsigned *results, struct up_failure *failure) {
    struct up_weighing weighing = {0};
    struct up_water tank;
    struct trials trials;
    *results = 0;
    unsigned least = measurement->kind_repeatability_kg.u > 0 ? 1 : LEAST_TRIALS;
    if (up_measurement_trials(measurement) < least) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "a result needs %u trial%s, and %u of them ended: there is no result", least,
                       up_text_plural(least), up_measurement_trials(measurement));
    }
    trials = summarise(measurement);
    tank = tank_water(measurement);
    fill_loads(measurement, &trials, &weighing);
    if (!fill_surroundings(measurement, &tank, &weighing, failure)) {
        return false;
    }
    for (unsigned i = 0; i <= measurement->waters; i++) {
        const struct up_water *water = i == 0 ? &tank : &measurement->water[i - 1];
        if (i > 0 && (!is_weighed_in_air(measurement) || measurement->item.compressible)) {
            break; /* its volume is not known, or not the same there: nothing is predicted */
        }
        result[i] = (struct up_result){.trials_mean_kg = (double)NAN,
                                       .air_correction_kg = (double)NAN,
                                       .other_corrections_kg = (double)NAN};
        describe(measurement, &trials, &result[i]);
        /* An interim analysis needs no forecast of further trials. */
        if (!answer_in_water(&weighing, water, i == 0, !measurement->under_way, &result[i],
                             failure)) {
            return false;
        }
        if (i == 0) {
            fill_corrections(measurement, &trials, &result[0]);
            fill_extras(measurement, &trials, &result[0]);
        }
        ++*results;
    }
    return true;
}
