/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The model and its first-order combination. */
#include "metrology/statistics.h"
#include "weighing_internal.h"

struct input_text {
    const char *name, *unit;
    enum up_sharing sharing;
};

static const struct input_text input_texts[UP_INPUT_COUNT] = {
    [UP_INPUT_WATER_LOAD] = {"repeatability in water", "counts", UP_SHARED_WEIGHING},
    [UP_INPUT_WATER_PLATEAU] = {"plateau noise in water", "counts", UP_SHARED_WEIGHING},
    [UP_INPUT_DRIFT] = {"drift between the tares", "counts", UP_SHARED_WEIGHING},
    [UP_INPUT_AIR_LOAD] = {"dry weighing in air", "counts", UP_SHARED_WEIGHING},
    [UP_INPUT_SLOPE] = {"calibration slope", "counts/kg", UP_SHARED_CALIBRATION},
    [UP_INPUT_MASSES] = {"reference masses", "1", UP_SHARED_MASSES},
    [UP_INPUT_LACK_OF_FIT] = {"calibration lack of fit", "kg", UP_SHARED_CALIBRATION},
    [UP_INPUT_OFFSET] = {"calibration offset", "kg", UP_SHARED_CALIBRATION},
    [UP_INPUT_HYSTERESIS] = {"hysteresis", "kg", UP_SHARED_CALIBRATION},
    [UP_INPUT_CELL_TEMP] = {"cell temperature since the calibration", "1", UP_SHARED_SESSION},
    [UP_INPUT_RESOLUTION] = {"resolution", "counts", UP_SHARED_WEIGHING},
    [UP_INPUT_CREEP] = {"residual creep", "1", UP_SHARED_CALIBRATION},
    [UP_INPUT_SWING] = {"hanging point and swing", "1", UP_SHARED_WEIGHING},
    [UP_INPUT_AIR_DENSITY] = {"air density", "kg/m3", UP_SHARED_SESSION},
    [UP_INPUT_WATER_TEMP] = {"thermometer", "K", UP_SHARED_SESSION},
    [UP_INPUT_WATER_DENSITY] = {"tank water density", "kg/m3", UP_SHARED_TANK_WATER},
    [UP_INPUT_WATER_SALINITY] = {"salinity or solids in the tank", "kg/m3", UP_SHARED_TANK_WATER},
    [UP_INPUT_DEPTH] = {"immersion depth", "m", UP_SHARED_SESSION},
    [UP_INPUT_ITEM_TEMP] = {"item temperature", "K", UP_SHARED_WEIGHING},
    [UP_INPUT_EXPANSION] = {"item expansion", "1/K", UP_SHARED_ITEM},
    [UP_INPUT_TRAPPED_AIR] = {"residual air", "kg", UP_SHARED_WEIGHING},
    [UP_INPUT_BUBBLES] = {"bubbles that form on it", "kg", UP_SHARED_WEIGHING},
    [UP_INPUT_DRIPS] = {"water that drips off", "kg", UP_SHARED_WEIGHING},
    [UP_INPUT_MENISCUS] = {"line meniscus", "kg", UP_SHARED_WEIGHING},
    [UP_INPUT_TARGET_DENSITY] = {"density of the water asked for", "kg/m3", UP_SHARED_TARGET_WATER},
    [UP_INPUT_TARGET_SALINITY] = {"salinity or solids of the water asked for", "kg/m3",
                                  UP_SHARED_TARGET_WATER},
};

const char *up_input_name(enum up_input input) {
    return input_texts[input].name;
}

const char *up_input_unit(enum up_input input) {
    return input_texts[input].unit;
}

enum up_sharing up_input_sharing(enum up_input input) {
    return input_texts[input].sharing;
}

const char *up_sharing_name(enum up_sharing sharing) {
    static const char *const names[UP_SHARINGS] = {[UP_SHARED_WEIGHING] = "weighing",
                                                   [UP_SHARED_ITEM] = "item",
                                                   [UP_SHARED_SESSION] = "session",
                                                   [UP_SHARED_CALIBRATION] = "calibration",
                                                   [UP_SHARED_MASSES] = "masses",
                                                   [UP_SHARED_TANK_WATER] = "tank water",
                                                   [UP_SHARED_TARGET_WATER] = "water asked for"};
    return names[sharing];
}

const char *up_distribution_name(enum up_distribution distribution) {
    switch (distribution) {
    case UP_NORMAL:
        return "normal";
    case UP_STUDENT:
        return "student";
    case UP_RECTANGULAR:
        return "rectangular";
    }
    return "";
}

/* ---- the model ---- */

static void solve_in_air(const struct up_weighing *weighing, const double x[UP_INPUT_COUNT],
                         struct up_chain *chain) {
    double line = weighing->tank_area_m2 > 0 ? weighing->cord_area_m2 / weighing->tank_area_m2 : 0;
    double water_density = chain->water_density_kg_m3;
    double air_kg = x[UP_INPUT_TRAPPED_AIR] + x[UP_INPUT_BUBBLES];
    double tank_temp_c = weighing->tank_temp_c + x[UP_INPUT_WATER_TEMP];
    chain->wetted_volume_m3 =
        (chain->air_kg - chain->water_kg) * chain->k / (water_density - x[UP_INPUT_AIR_DENSITY]);
    /* The trapped air's volume is none of the item's; its mass counts for nothing. The level rises
       by what is immersed, and wets more of the line, whose lift the reading lacks. */
    chain->volume_m3 = chain->wetted_volume_m3 - air_kg / water_density;
    chain->mass_kg = chain->air_kg * chain->k + x[UP_INPUT_AIR_DENSITY] * chain->volume_m3;
    chain->cord_kg = water_density * line * chain->wetted_volume_m3;
    /* What the item will displace once it has the water's temperature. */
    chain->warming_kg =
        water_density * chain->volume_m3 * x[UP_INPUT_EXPANSION] * x[UP_INPUT_ITEM_TEMP];
    chain->tank_kg -= chain->cord_kg + chain->warming_kg;
    chain->buoyancy_kg = chain->tank_kg;
    if (!weighing->in_tank) {
        chain->stretch = 1 + x[UP_INPUT_EXPANSION] * (weighing->target_temp_c - tank_temp_c);
        chain->buoyancy_kg +=
            (chain->target_density_kg_m3 * chain->stretch - water_density) * chain->volume_m3;
    }
}

/* Of what hangs and of what lifts: a load either way reads larger by the offset. */
static double direction(const struct up_weighing *weighing) {
    return weighing->term[UP_INPUT_WATER_LOAD].value / weighing->term[UP_INPUT_SLOPE].value < 0 ? -1
                                                                                                : 1;
}

/* The equations at the head of the header, with what disturbs them put in where it acts. */
void weighing_solve(const struct up_weighing *weighing, const double x[UP_INPUT_COUNT],
                    struct up_chain *chain) {
    double counts = x[UP_INPUT_WATER_LOAD] + x[UP_INPUT_WATER_PLATEAU] + x[UP_INPUT_DRIFT] +
                    x[UP_INPUT_RESOLUTION];
    *chain = (struct up_chain){
        .k = 1 - weighing->calibration_air_kg_m3 / UP_MASS_DENSITY_KG_M3,
        .slope_counts_per_kg =
            x[UP_INPUT_SLOPE] * (1 + x[UP_INPUT_MASSES]) * (1 + x[UP_INPUT_CELL_TEMP]),
        .water_density_kg_m3 = x[UP_INPUT_WATER_DENSITY] + x[UP_INPUT_WATER_SALINITY] +
                               weighing->tank_density_slope_kg_m3_k * x[UP_INPUT_WATER_TEMP] +
                               weighing->tank_density_slope_kg_m3_m * x[UP_INPUT_DEPTH],
        .target_density_kg_m3 = x[UP_INPUT_TARGET_DENSITY] + x[UP_INPUT_TARGET_SALINITY],
        .stretch = 1,
        .volume_m3 = (double)NAN,
        .mass_kg = (double)NAN};
    chain->water_kg =
        counts / chain->slope_counts_per_kg * (1 + x[UP_INPUT_CREEP]) * (1 - x[UP_INPUT_SWING]) +
        x[UP_INPUT_LACK_OF_FIT] + x[UP_INPUT_HYSTERESIS] + x[UP_INPUT_DRIPS] -
        direction(weighing) * x[UP_INPUT_OFFSET];
    chain->air_kg = x[UP_INPUT_AIR_LOAD] / chain->slope_counts_per_kg - x[UP_INPUT_OFFSET];
    chain->tank_kg = -chain->water_kg * chain->k - x[UP_INPUT_MENISCUS] - x[UP_INPUT_TRAPPED_AIR] -
                     x[UP_INPUT_BUBBLES];
    chain->buoyancy_kg = chain->tank_kg;
    if (weighing->weighed_in_air) {
        solve_in_air(weighing, x, chain);
    } else {
        chain->air_kg = chain->wetted_volume_m3 = chain->cord_kg = chain->warming_kg = (double)NAN;
    }
}

void weighing_estimates(const struct up_weighing *weighing, double x[UP_INPUT_COUNT]) {
    for (int i = 0; i < UP_INPUT_COUNT; i++) {
        x[i] = weighing->term[i].value;
    }
}

/* ---- first order ---- */

static double sensitivity(const struct up_weighing *weighing, int input) {
    double x[UP_INPUT_COUNT];
    double step = weighing->term[input].u;
    struct up_chain high, low;
    weighing_estimates(weighing, x);
    x[input] += step;
    weighing_solve(weighing, x, &high);
    x[input] -= 2 * step;
    weighing_solve(weighing, x, &low);
    return (high.buoyancy_kg - low.buoyancy_kg) / (2 * step);
}

static void combine_first_order(struct up_weighing *weighing, double coverage,
                                struct up_answer *answer) {
    double u[UP_INPUT_COUNT], dof[UP_INPUT_COUNT];
    double variance = 0;
    for (int i = 0; i < UP_INPUT_COUNT; i++) {
        struct up_term *term = &weighing->term[i];
        term->sensitivity = term->u > 0 ? sensitivity(weighing, i) : 0;
        u[i] = fabs(term->sensitivity) * term->u;
        dof[i] = term->dof;
        variance += u[i] * u[i];
    }
    for (int i = 0; i < UP_INPUT_COUNT; i++) {
        weighing->term[i].share = variance > 0 ? u[i] * u[i] / variance : 0;
    }
    answer->buoyancy_kg.u = sqrt(variance);
    answer->buoyancy_kg.dof = up_effective_dof(u, dof, UP_INPUT_COUNT);
    answer->first_order_expanded_u_kg =
        variance > 0 ? up_coverage_factor(coverage, answer->buoyancy_kg.dof) * sqrt(variance) : 0;
}

/* What two results share has one error, so their deviations by it are fully correlated. */
void up_covariance_kg2(const struct up_weighing *const weighing[], const struct up_origin *origin,
                       size_t count, double *covariance_kg2) {
    for (size_t i = 0; i < count; i++) {
        for (size_t j = 0; j < count; j++) {
            double sum = 0;
            for (int input = 0; input < UP_INPUT_COUNT; input++) {
                const struct up_term *a = &weighing[i]->term[input];
                const struct up_term *b = &weighing[j]->term[input];
                enum up_sharing sharing = up_input_sharing((enum up_input)input);
                if (i == j || origin[i].of[sharing] == origin[j].of[sharing]) {
                    sum += a->sensitivity * a->u * b->sensitivity * b->u;
                }
            }
            covariance_kg2[i * count + j] = sum;
        }
    }
}

/* ---- what cannot be weighed ---- */

static bool check_terms(const struct up_weighing *weighing, struct up_failure *failure) {
    for (int i = 0; i < UP_INPUT_COUNT; i++) {
        const struct up_term *term = &weighing->term[i];
        const char *name = up_input_name((enum up_input)i);
        if (!isfinite(term->value) || !isfinite(term->u) || term->u < 0) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "the budget's \"%s\" is %g with the standard uncertainty %g: both must "
                           "be finite; look for it in the rig file, the calibration or the water",
                           name, term->value, term->u);
        }
        if (term->u > 0 && !(term->dof > 0)) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "the budget's \"%s\" has %g degrees of freedom: they must be above 0",
                           name, term->dof);
        }
    }
    if (weighing->stuck_air_kg < 0 || isinf(weighing->stuck_air_kg)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the air that may have stayed is %g kg: its bound is 0 or above",
                       weighing->stuck_air_kg);
    }
    return true;
}

static bool check_question(const struct up_question *question, struct up_failure *failure) {
    if (!(question->tolerance_kg > 0) || !isfinite(question->tolerance_kg)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the tolerance of neutral is %g g: give one above 0 g",
                       question->tolerance_kg * 1e3);
    }
    if (!(question->confidence >= 0.5 && question->confidence <= 0.9999)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the confidence is %g: give one from 0.5 to 0.9999", question->confidence);
    }
    return (question->coverage > 0 && question->coverage < 1) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the interval's coverage is %g: give one between 0 and 1", question->coverage);
}

/* The model divides by the slope and by the difference of the densities. */
static bool can_divide(const double x[UP_INPUT_COUNT]) {
    return x[UP_INPUT_SLOPE] != 0 && x[UP_INPUT_MASSES] > -1 &&
           x[UP_INPUT_WATER_DENSITY] > x[UP_INPUT_AIR_DENSITY];
}

bool up_weighing_check(const struct up_weighing *weighing, const struct up_question *question,
                       struct up_failure *failure) {
    double x[UP_INPUT_COUNT];
    struct up_chain best;
    if (!check_question(question, failure) || !check_terms(weighing, failure)) {
        return false;
    }
    weighing_estimates(weighing, x);
    if (!can_divide(x)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the calibration has no slope, or the water is no denser than the air");
    }
    if (!weighing->weighed_in_air && !weighing->in_tank) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "the item was not weighed in air, so its volume is not known: there is no "
                       "result for another water");
    }
    weighing_solve(weighing, x, &best);
    return (isfinite(best.buoyancy_kg) && (!weighing->weighed_in_air || best.volume_m3 > 0)) ||
           up_fail(failure, UP_STATUS_UNABLE,
                   "the weighings in air and in water do not fit together: the volume is not "
                   "known; was the item hung dry in air and wholly under water?");
}

bool up_weighing_chain(const struct up_weighing *weighing, struct up_chain *chain) {
    double x[UP_INPUT_COUNT];
    weighing_estimates(weighing, x);
    if (!can_divide(x)) {
        *chain = (struct up_chain){0};
        return false;
    }
    weighing_solve(weighing, x, chain);
    return isfinite(chain->buoyancy_kg) != 0;
}

/* What stayed lifts as other trapped air does. */
static double weighing_stuck_kg(const struct up_weighing *weighing, double buoyancy_kg) {
    double x[UP_INPUT_COUNT];
    struct up_chain chain;
    weighing_estimates(weighing, x);
    x[UP_INPUT_TRAPPED_AIR] += weighing->stuck_air_kg;
    weighing_solve(weighing, x, &chain);
    return buoyancy_kg - chain.buoyancy_kg;
}

bool up_weigh(struct up_weighing *weighing, const struct up_question *question,
              struct up_answer *answer) {
    struct up_chain chain;
    *answer = (struct up_answer){.volume_m3 = (double)NAN, .mass_kg = (double)NAN};
    if (!up_weighing_check(weighing, question, NULL) || !up_weighing_chain(weighing, &chain)) {
        return false;
    }
    answer->buoyancy_kg.value = chain.buoyancy_kg;
    answer->stuck_air_kg = weighing_stuck_kg(weighing, chain.buoyancy_kg);
    answer->volume_m3 = chain.volume_m3;
    answer->mass_kg = chain.mass_kg;
    combine_first_order(weighing, question->coverage, answer);
    if (!weighing_draw(weighing, question, answer)) {
        return false;
    }
    answer->class = weighing_class(weighing, question, answer);
    return true;
}

double up_trapped_air_bound(double last_gain, double u_gain, double share) {
    return (fmax(last_gain, 0) + u_gain) * (1 - share) / share;
}

double up_stuck_air_bound(double freed, double stuck_share) {
    return fmax(freed, 0) * stuck_share / (1 - stuck_share);
}

double up_lead_to_cancel_kg(double buoyancy_kg, double water_density_kg_m3,
                            double lead_density_kg_m3) {
    return buoyancy_kg / (1 - water_density_kg_m3 / lead_density_kg_m3);
}
