/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From the trials of a session to results: fills the budget of metrology/. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "internal.h"
#include "upthrust/statistics.h"

enum { LEAST_TRIALS = 2 };

/* What a schedule matched to the calibration's leaves of the creep: cells creep less on unloading
   and not quite additively. A third of the creep seen in the calibration, either way (a choice of
   ours; the truth test is its check). */
static const double CREEP_LEFT = 1.0 / 3;

/* Typed readings keep no schedule, so nothing cancels: what data sheets of cheap cells bound it by,
   0.05 % of the load within half an hour. */
static const double CREEP_TYPED_REL = 5e-4;

/* Assumed where nobody knows what share of the air a shake frees; no class hangs on it then. */
static const double SHAKE_SHARE_UNKNOWN = 0.2;

/* Assumed of an item that was never shaken, as a share of its weight (a choice of ours, wide on
   purpose); no class hangs on it either. */
static const double AIR_UNSHAKEN_REL = 0.05;

/* Data sheets of cheap beams: hysteresis 0.05 % of full scale (published); taken where the
   calibration did not look for it, of the masses' span. */
static const double HYSTERESIS_UNSEEN_REL = 5e-4;

/* Data sheets of cheap beams: 0.05 % of the span for 10 K (published). */
static const double SPAN_REL_PER_K = 5e-5;

/* Assumed where the calibration does not tell its temperature (a choice of ours). */
static const double TEMP_UNKNOWN_K = 10;

struct trials {
    struct up_summary load;
    double u_plateau; /* of the mean, from the plateaus' own noise */
    double last_gain; /* mean over the trials of max(last gain, 0); NaN where none was shaken */
    double u_gain;    /* of one gain: hanging and wetting scatter in it twice */
};

static struct up_term normal(double value, double u) {
    return (struct up_term){.value = value,
                            .u = u,
                            .dof = (double)INFINITY,
                            .distribution = UP_NORMAL,
                            .evaluation = 'B'};
}

static struct up_term rectangular(double value, double halfwidth) {
    struct up_term term = normal(value, halfwidth / sqrt(3));
    term.distribution = UP_RECTANGULAR;
    return term;
}

static struct up_term student(double value, double u, double dof) {
    return (struct up_term){
        .value = value, .u = u, .dof = dof, .distribution = UP_STUDENT, .evaluation = 'A'};
}

static struct trials summarise(const struct up_procedure *procedure) {
    double load[UP_TRIALS_MAX] = {0}, gains = 0;
    struct trials trials = {0};
    unsigned shaken = 0;
    for (unsigned i = 0; i < procedure->trials; i++) {
        const struct up_trial *trial = &procedure->trial[i];
        load[i] = trial->load_counts;
        trials.u_plateau += trial->u_plateau_counts * trial->u_plateau_counts;
        if (trial->shakes > 0) {
            gains += fmax(trial->last_gain_counts, 0);
            shaken++;
        }
    }
    trials.load = up_summarise(load, procedure->trials);
    trials.u_plateau = sqrt(trials.u_plateau) / procedure->trials;
    /* A trial that was never shaken tells nothing of its air: the others stand for it. */
    trials.last_gain = shaken > 0 ? gains / shaken : (double)NAN;
    trials.u_gain = trials.load.sd * sqrt(2);
    return trials;
}

/* In air where it was weighed, else what it puts on the hook or takes off. */
static double weight_kg(const struct up_procedure *procedure) {
    double counts =
        procedure->weighed_in_air ? procedure->air_counts : procedure->trial[0].load_counts;
    return fabs(counts / procedure->calibration.slope_counts_kg);
}

static bool air_is_known(const struct up_procedure *procedure) {
    bool shaken = false;
    for (unsigned i = 0; i < procedure->trials; i++) {
        shaken = shaken || procedure->trial[i].shakes > 0;
    }
    return shaken && !isnan(procedure->rig.shake_share);
}

/* The bound of each trial, averaged over them. The scatter of a single gain stays in it, not that
   of their mean: shaking stops at a small gain, so the last gains are chosen ones and lean to the
   low side. */
static struct up_term trapped_air(const struct up_procedure *procedure,
                                  const struct trials *trials) {
    double share = procedure->rig.shake_share;
    double slope = fabs(procedure->calibration.slope_counts_kg);
    double bound_kg;
    if (isnan(share)) {
        share = SHAKE_SHARE_UNKNOWN;
    }
    bound_kg = up_trapped_air_bound(trials->last_gain, trials->u_gain, share) / slope;
    if (isnan(trials->last_gain)) {
        bound_kg = AIR_UNSHAKEN_REL * weight_kg(procedure);
    }
    return rectangular(bound_kg / 2, bound_kg / 2);
}

/* ---- the tank's own water ---- */

static struct up_water tank_water(const struct up_procedure *procedure) {
    const struct up_rig *rig = &procedure->rig;
    struct up_water water = {.name = "tank", .model = rig->water, .depth_m = rig->depth_m};
    double sum_c = 0;
    for (unsigned i = 0; i < procedure->trials; i++) {
        sum_c += procedure->trial[i].temp_c;
    }
    water.temp_c = sum_c / procedure->trials;
    water.u_temp_c = rig->u_thermometer_k;
    if (rig->water == UP_WATER_SEA) {
        water.salinity_g_kg = rig->salinity_g_kg;
        water.u_salinity_g_kg = rig->u_salinity_g_kg;
    } else {
        water.salinity_g_kg = rig->solids_max_g_kg / 2;
        water.u_salinity_g_kg = rig->solids_max_g_kg / 2 / sqrt(3);
    }
    return water;
}

static struct up_term tank_density_term(const struct up_procedure *procedure,
                                        const struct up_water_density *density) {
    double u = hypot(density->u_model_kg_m3, density->u_salinity_kg_m3);
    struct up_term term = normal(density->density_kg_m3.value, u);
    if (procedure->rig.water == UP_WATER_FRESH &&
        density->u_salinity_kg_m3 > 3 * density->u_model_kg_m3) {
        term.distribution = UP_RECTANGULAR; /* solids anywhere between none and the most */
    }
    return term;
}

/* ---- the budget ---- */

/* The way a reading was come by shifts it by half the loop's width at most, either way. */
static struct up_term hysteresis(const struct up_calibration *calibration) {
    double halfwidth_kg = isnan(calibration->hysteresis_kg)
                              ? HYSTERESIS_UNSEEN_REL * calibration->span_kg
                              : calibration->hysteresis_kg / 2;
    return rectangular(0, halfwidth_kg);
}

static struct up_term cell_temp(const struct up_procedure *procedure) {
    double off_k = fabs(procedure->rig.air.temp_c.value - procedure->calibration.temp_c);
    return rectangular(0, SPAN_REL_PER_K * (isnan(off_k) ? TEMP_UNKNOWN_K : off_k));
}

/* Loads are made linear to the slope of loading; that of unloading may be known less well. */
static double u_slope_counts_kg(const struct up_calibration *calibration) {
    double u = calibration->u_slope_counts_kg;
    double unloading = calibration->unloading_slope_counts_kg;
    return isnan(unloading) ? u
                            : fmax(u, fabs(calibration->u_unloading_slope_counts_kg / unloading *
                                           calibration->slope_counts_kg));
}

static bool is_typed(const struct up_calibration *calibration) {
    return calibration->window_s == 0;
}

static void fill_loads(const struct up_procedure *procedure, const struct trials *trials,
                       struct up_weighing *weighing) {
    const struct up_calibration *calibration = &procedure->calibration;
    double n = (double)trials->load.count;
    double sd = trials->load.sd;
    double turn = procedure->rig.division_counts / 2;
    weighing->term[UP_INPUT_WATER_LOAD] = student(trials->load.mean, sd / sqrt(n), n - 1);
    weighing->term[UP_INPUT_WATER_PLATEAU] = normal(0, trials->u_plateau);
    weighing->term[UP_INPUT_WATER_PLATEAU].evaluation = 'A';
    /* One dry weighing: it is hung once, and scatters as a single trial does. */
    weighing->term[UP_INPUT_AIR_LOAD] =
        student(procedure->air_counts, hypot(procedure->u_air_counts, sd), n - 1);
    weighing->term[UP_INPUT_SLOPE] =
        student(calibration->slope_counts_kg, u_slope_counts_kg(calibration), calibration->dof);
    weighing->term[UP_INPUT_MASSES] = rectangular(0, calibration->mass_tolerance_rel);
    weighing->term[UP_INPUT_LACK_OF_FIT] = normal(0, calibration->lack_of_fit_kg);
    weighing->term[UP_INPUT_HYSTERESIS] = hysteresis(calibration);
    weighing->term[UP_INPUT_CELL_TEMP] = cell_temp(procedure);
    weighing->term[UP_INPUT_RESOLUTION] = rectangular(0, turn * sqrt(2));
    weighing->term[UP_INPUT_CREEP] =
        rectangular(0, is_typed(calibration) ? CREEP_TYPED_REL
                                             : CREEP_LEFT * fabs(calibration->creep_rel_decade));
    weighing->term[UP_INPUT_TRAPPED_AIR] = trapped_air(procedure, trials);
    weighing->term[UP_INPUT_LINE] = rectangular(0, procedure->rig.meniscus_kg);
}

static bool fill_surroundings(const struct up_procedure *procedure, const struct up_water *tank,
                              struct up_weighing *weighing, struct up_failure *failure) {
    const struct up_rig *rig = &procedure->rig;
    const struct up_item *item = &procedure->measure.item;
    struct up_water_density density;
    struct up_quantity air;
    if (!up_water_density(tank, &density, failure) || !up_air_density(&rig->air, &air, failure)) {
        return false;
    }
    weighing->term[UP_INPUT_AIR_DENSITY] = normal(air.value, air.u);
    weighing->term[UP_INPUT_WATER_TEMP] = normal(0, tank->u_temp_c);
    weighing->term[UP_INPUT_WATER_DENSITY] = tank_density_term(procedure, &density);
    weighing->term[UP_INPUT_ITEM_TEMP] = rectangular(0, rig->item_temp_halfwidth_k);
    weighing->term[UP_INPUT_EXPANSION] =
        rectangular(item->expansion_per_k, item->u_expansion_per_k * sqrt(3));
    weighing->calibration_air_kg_m3 = procedure->calibration.air_density_kg_m3;
    weighing->tank_density_slope_kg_m3_k = density.slope_kg_m3_k;
    weighing->tank_temp_c = tank->temp_c;
    weighing->line_area_m2 = acos(-1) / 4 * rig->line_diameter_m * rig->line_diameter_m;
    weighing->tank_area_m2 = rig->tank_area_m2;
    weighing->weighed_in_air = procedure->weighed_in_air;
    return true;
}

static void describe(const struct up_procedure *procedure, struct up_result *result) {
    const struct up_measure_plan *plan = &procedure->measure;
    const char *rule = air_is_known(procedure) ? "air share given" : "air share unknown";
    char reading[80] = "typed readings";
    if (!is_typed(&procedure->calibration)) {
        snprintf(reading, sizeof reading, "read %g s after the step over %g s",
                 procedure->rig.read_after_s, procedure->rig.window_s);
    }
    memcpy(result->item_id, plan->item.id, sizeof result->item_id);
    memcpy(result->run_id, plan->run_id, sizeof result->run_id);
    result->immersion_depth_m = procedure->rig.depth_m;
    result->air_pressure_pa = procedure->rig.air.pressure_pa.value;
    result->soak_s = procedure->trial[procedure->trials - 1].soak_s;
    result->compressible = plan->item.compressible;
    result->trials = procedure->trials;
    result->question = (struct up_question){.tolerance_kg = plan->item.tolerance_g / 1e3,
                                            .coverage = plan->coverage,
                                            .confidence = plan->confidence,
                                            .air_share_known = air_is_known(procedure),
                                            .draws = plan->draws,
                                            .seed = plan->seed > 0 ? plan->seed : 1};
    snprintf(result->method, sizeof result->method,
             "upthrust %s; calibration %s; %u trials, %s; %s; %sMonte Carlo", UPTHRUST_VERSION,
             procedure->calibration.id, procedure->trials, reading, rule,
             isnan(procedure->calibration.hysteresis_kg) ? "hysteresis by data sheets; " : "");
}

static bool weigh_in(struct up_weighing *weighing, const struct up_water *water, bool in_tank,
                     struct up_result *result, struct up_failure *failure) {
    struct up_water_density density;
    if (!up_water_density(water, &density, failure)) {
        return false;
    }
    weighing->in_tank = in_tank;
    weighing->target_temp_c = water->temp_c;
    weighing->term[UP_INPUT_TARGET_DENSITY] =
        normal(density.density_kg_m3.value, in_tank ? 0 : density.density_kg_m3.u);
    result->water = *water;
    result->measured = in_tank;
    result->water_density_kg_m3 = density.density_kg_m3;
    if (!up_weigh(weighing, &result->question, &result->answer)) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "the weighings in air and in water do not fit together: no volume can be "
                       "told; was the item hung dry in air and wholly under water?");
    }
    memcpy(result->term, weighing->term, sizeof result->term);
    return true;
}

bool up_procedure_results(const struct up_procedure *procedure, struct up_result *result,
                          unsigned *results, struct up_failure *failure) {
    struct up_weighing weighing = {0};
    struct up_water tank;
    struct trials trials;
    *results = 0;
    if (procedure->calibrating || procedure->trials < LEAST_TRIALS) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "%u trials were completed and a result needs %d: nothing is stated; the "
                       "trials are kept",
                       procedure->trials, LEAST_TRIALS);
    }
    trials = summarise(procedure);
    tank = tank_water(procedure);
    fill_loads(procedure, &trials, &weighing);
    if (!fill_surroundings(procedure, &tank, &weighing, failure)) {
        return false;
    }
    for (unsigned i = 0; i <= procedure->measure.waters; i++) {
        const struct up_water *water = i == 0 ? &tank : &procedure->waters[i - 1];
        if (i > 0 && (!procedure->weighed_in_air || procedure->measure.item.compressible)) {
            break; /* its volume is not known, or not the same there: nothing is predicted */
        }
        result[i] = (struct up_result){0};
        describe(procedure, &result[i]);
        if (!weigh_in(&weighing, water, i == 0, &result[i], failure)) {
            return false;
        }
        ++*results;
    }
    return true;
}
