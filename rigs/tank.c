/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tank_internal.h"

#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "upthrust/water.h"

static const double BALLAST_KG = 2, LEAD_KG_M3 = 11340, MASS_KG_M3 = 8000;

struct tank_declared tank_declared_default(void) {
    size_t count, references;
    const struct tank_item *gear = tank_gear(&count);
    tank_references(&references); /* they stand behind the gear */
    return (struct tank_declared){.temp_c = 22,
                                  .temp_spread_k = 2,
                                  .u_thermometer_k = 0.1,
                                  .solids_max_g_kg = 0.4,
                                  .item_temp_halfwidth_k = 0.5,
                                  .expansion_low_per_k = 3e-4,
                                  .expansion_high_per_k = 6e-4,
                                  .mass_tolerance_rel = 5e-5,
                                  .air_temp_c = 22,
                                  .air_pressure_pa = 101325,
                                  .air_humidity = 0.5,
                                  .u_air_temp_k = 1,
                                  .u_air_pressure_pa = 500,
                                  .u_air_humidity = 0.1,
                                  .shake_share_low = 0.5,
                                  .shake_share_high = 0.95,
                                  .swing_most_rad = 0.02,
                                  .cord_diameter_m = 0.0008,
                                  .tank_area_m2 = 0.36,
                                  .meniscus_halfwidth_kg = 2e-5,
                                  .hang_sd_kg = 2.5e-4,
                                  .depth_m = 0.4,
                                  .gear = gear,
                                  .gear_count = count + references};
}

/* White and correlated noise, drift, creep and settling within what recordings of cheap cells on
   24-bit converters show; 600 counts a gram is a 10 kg beam at gain 128. */
struct tank_cell tank_cell_default(void) {
    return (struct tank_cell){.counts_per_kg = 600000,
                              .counts_per_kg_spread_rel = 0.02,
                              .offset_counts = 80000,
                              .white_counts = 45,
                              .correlated_counts = 40,
                              .correlation = 0.4,
                              .drift_counts_min = 150,
                              .walk_counts_sqrt_s = 3,
                              .creep_rel_low = -0.0025,
                              .creep_rel_high = 0.0025,
                              .creep_asymmetry = 0.15,
                              .curvature_rel = 2e-5,
                              .hysteresis_rel = 2e-4,
                              .capacity_kg = 10,
                              .sway_kg = 0.02,
                              .sway_period_s = 1.3,
                              .sway_decay_s = 3,
                              .slosh_kg = 0.03,
                              .slosh_period_s = 0.9,
                              .slosh_decay_s = 2.5,
                              .bit_slip_chance = 1.0 / 2000,
                              .rate_hz = 10,
                              .jitter_s = 0.002};
}

/* ---- a session's draws ---- */

static double between(gsl_rng *rng, double low, double high) {
    return low + (high - low) * gsl_rng_uniform(rng);
}

static double density_at(double temp_c, double solids_g_kg, double depth_m) {
    struct up_water water = {.model = UP_WATER_FRESH,
                             .temp_c = fmin(fmax(temp_c, 0), 40),
                             .salinity_g_kg = solids_g_kg,
                             .depth_m = depth_m};
    struct up_water_density density;
    return up_water_density(&water, &density, NULL) ? density.density_kg_m3.value : (double)NAN;
}

static double draw_air(gsl_rng *rng, const struct tank_declared *declared) {
    struct up_air air = {
        .temp_c = up_known(declared->air_temp_c + gsl_ran_gaussian(rng, declared->u_air_temp_k), 0),
        .pressure_pa = up_known(
            declared->air_pressure_pa + gsl_ran_gaussian(rng, declared->u_air_pressure_pa), 0),
        .humidity = up_known(
            fmin(fmax(declared->air_humidity + gsl_ran_gaussian(rng, declared->u_air_humidity), 0),
                 1),
            0)};
    struct up_quantity density;
    return up_air_density(&air, &density, NULL) ? density.value : (double)NAN;
}

static void draw_session(struct tank *tank) {
    const struct tank_declared *declared = &tank->declared;
    const struct tank_cell *cell = &tank->cell;
    gsl_rng *rng = tank->session;
    tank->temp_c = declared->temp_c + gsl_ran_gaussian(rng, declared->temp_spread_k);
    tank->temp_c = fmin(fmax(tank->temp_c, 4), 36);
    tank->thermometer_error_k = gsl_ran_gaussian(rng, declared->u_thermometer_k);
    tank->solids_g_kg = between(rng, 0, declared->solids_max_g_kg);
    tank->water_kg_m3 = density_at(tank->temp_c, tank->solids_g_kg, declared->depth_m);
    tank->air_kg_m3 = draw_air(rng, declared);
    tank->counts_per_kg =
        cell->counts_per_kg * (1 + gsl_ran_gaussian(rng, cell->counts_per_kg_spread_rel));
    tank->offset_counts = cell->offset_counts;
    tank->creep_rel = between(rng, cell->creep_rel_low, cell->creep_rel_high);
    tank->drift_counts_s = between(rng, -1, 1) * cell->drift_counts_min / 60;
    tank->curvature_per_kg = between(rng, -1, 1) * cell->curvature_rel / cell->capacity_kg;
    for (size_t i = 0; i < ITEMS_MAX; i++) {
        tank->expansion_per_k[i] =
            between(rng, declared->expansion_low_per_k, declared->expansion_high_per_k);
        tank->item_offset_k[i] = declared->item_temp_halfwidth_k * between(rng, -1, 1);
    }
    tank->hysteresis_rel = cell->hysteresis_rel * between(rng, 0, 1);
    for (size_t i = 0; i < ITEMS_MAX; i++) {
        tank->shake_share[i] = between(rng, declared->shake_share_low, declared->shake_share_high);
    }
}

struct tank *tank_create(const struct tank_declared *declared, const struct tank_cell *cell,
                         unsigned long seed) {
    struct tank *tank = calloc(1, sizeof *tank);
    if (tank == NULL) {
        return NULL;
    }
    tank->declared = *declared;
    tank->depth_m = declared->depth_m;
    tank->cell = *cell;
    tank->seed = seed;
    tank->session = gsl_rng_alloc(gsl_rng_mt19937);
    tank->noise = gsl_rng_alloc(gsl_rng_mt19937);
    tank->hand = gsl_rng_alloc(gsl_rng_mt19937);
    tank->swing = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(tank->session, 3 * seed + 1);
    gsl_rng_set(tank->noise, 3 * seed + 2);
    gsl_rng_set(tank->hand, 3 * seed + 3);
    gsl_rng_set(tank->swing, seed + 0x40000000);
    draw_session(tank);
    tank->touched_s = -1e9;
    return tank;
}

struct tank *tank_clone(const struct tank *tank) {
    struct tank *clone = calloc(1, sizeof *clone);
    if (clone != NULL) {
        *clone = *tank;
        clone->session = gsl_rng_clone(tank->session);
        clone->noise = gsl_rng_clone(tank->noise);
        clone->hand = gsl_rng_clone(tank->hand);
        clone->swing = gsl_rng_clone(tank->swing);
    }
    return clone;
}

void tank_destroy(struct tank *tank) {
    if (tank != NULL) {
        gsl_rng_free(tank->session);
        gsl_rng_free(tank->noise);
        gsl_rng_free(tank->hand);
        gsl_rng_free(tank->swing);
        free(tank);
    }
}

/* The same draw whenever a name comes again, and apart from all others: what is asked first, or not
   at all, changes nothing else. FNV-1a over the name, mixed with the seed. */
static gsl_rng *rng_for(const struct tank *tank, const char *kind, const char *name) {
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    uint32_t hash = 2166136261U ^ (uint32_t)tank->seed;
    const char *parts[] = {kind, name};
    for (size_t i = 0; i < 2; i++) {
        for (const char *at = parts[i]; *at != '\0'; at++) {
            hash = (hash ^ (unsigned char)*at) * 16777619U;
        }
    }
    gsl_rng_set(rng, hash);
    return rng;
}

/* Of a reference mass, by its nominal value: rectangular, -1 to 1. */
static double mass_error(const struct tank *tank, double mass_kg) {
    char name[32];
    snprintf(name, sizeof name, "%.9g", mass_kg);
    gsl_rng *rng = rng_for(tank, "mass ", name);
    double error = between(rng, -1, 1);
    gsl_rng_free(rng);
    return error;
}

/* Of another water's density, by its name: normal, standard deviation 1. */
static double water_error(const struct tank *tank, const char *name) {
    gsl_rng *rng = rng_for(tank, "water ", name);
    double error = gsl_ran_gaussian(rng, 1);
    gsl_rng_free(rng);
    return error;
}

/* ---- forces, as true kilograms of upward pull on the hook ---- */

static size_t item_index(const struct tank *tank, const struct tank_item *item) {
    return (size_t)(item - tank->declared.gear);
}

static const struct tank_item *find_item(const struct tank *tank, const char *name) {
    const struct tank_item *gear = tank->declared.gear;
    for (size_t i = 0; name != NULL && i < tank->declared.gear_count; i++) {
        if (strcmp(gear[i].name, name) == 0) {
            return &gear[i];
        }
    }
    return NULL;
}

static double volume_at(const struct tank *tank, const struct tank_item *item, double temp_c) {
    double expansion = item->reference ? 0 : tank->expansion_per_k[item_index(tank, item)];
    return item->volume_m3 * (1 + expansion * (temp_c - 20));
}

/* The immersed item raises the level by V / A, which wets as much more of the line. */
static double wetted_cord_kg(const struct tank *tank, double volume_m3) {
    double radius_m = tank->declared.cord_diameter_m / 2;
    return tank->water_kg_m3 * TURN / 2 * radius_m * radius_m * volume_m3 /
           tank->declared.tank_area_m2;
}

/* Boyle: how much less the gas fills at the depth it hangs at now than at the tank's own. */
static double squeezed_m3(const struct tank *tank) {
    double pa_m = tank->water_kg_m3 * UP_STANDARD_GRAVITY_M_S2;
    double here_pa = tank->declared.air_pressure_pa + pa_m * tank->depth_m;
    double tank_pa = tank->declared.air_pressure_pa + pa_m * tank->declared.depth_m;
    return tank->item->gas_m3 * (1 - tank_pa / here_pa);
}

static double hung_kg(const struct tank *tank) {
    double mass_kg = tank->mass_kg;
    double volume_m3;
    switch (tank->hung) {
    case HUNG_NOTHING:
        break;
    case HUNG_MASS:
        mass_kg *= 1 + tank->declared.mass_tolerance_rel * mass_error(tank, mass_kg);
        return mass_kg * (1 - tank->air_kg_m3 / MASS_KG_M3);
    case HUNG_AIR:
        volume_m3 = volume_at(tank, tank->item, tank->declared.air_temp_c);
        return tank->item->mass_kg - tank->air_kg_m3 * volume_m3;
    case HUNG_LEVEL:
        return (tank->item->mass_kg -
                tank->water_kg_m3 * volume_at(tank, tank->item, tank->temp_c)) /
                   2 +
               tank->item->tip_kg + tank->hang_kg;
    case HUNG_WATER:
        volume_m3 = volume_at(tank, tank->item,
                              tank->temp_c + tank->item_offset_k[item_index(tank, tank->item)]);
        volume_m3 -= squeezed_m3(tank);
        return tank->item->mass_kg - tank->water_kg_m3 * volume_m3 - tank->trapped_kg +
               tank->hang_kg - wetted_cord_kg(tank, volume_m3);
    }
    return 0;
}

/* Water taken up so far. */
static double soaked_kg(const struct tank_item *item, double wet_s) {
    return item->soak_kg > 0 ? item->soak_kg * (1 - exp(-wet_s / item->soak_s)) : 0;
}

double tank_soaked_now_kg(const struct tank *tank) {
    if (tank->hung != HUNG_WATER) {
        return 0;
    }
    return soaked_kg(tank->item,
                     tank->wet_s[item_index(tank, tank->item)] + tank->time_s - tank->immersed_s);
}

static double ballast_kg(const struct tank *tank) {
    return tank->ballast ? BALLAST_KG * (1 - tank->water_kg_m3 / LEAD_KG_M3) : 0;
}

/* ---- acts ---- */

static void touch(struct tank *tank) {
    double size = 0.3 + fabs(tank->target_kg - tank->from_kg);
    tank->touched_s = tank->ramp_end_s;
    tank->sway_kg = tank->cell.sway_kg * fmin(size, 2) * between(tank->hand, 0.5, 1);
    tank->slosh_kg = tank->cell.slosh_kg * between(tank->hand, 0.3, 1);
    tank->sway_phase = between(tank->hand, 0, TURN);
    tank->slosh_phase = between(tank->hand, 0, TURN);
}

double tank_load_now(const struct tank *tank) {
    double left = (tank->ramp_end_s - tank->time_s) / RAMP_S;
    if (tank->time_s < tank->shake_end_s) {
        return ballast_kg(tank);
    }
    double target_kg = tank->target_kg + tank_soaked_now_kg(tank);
    left = fmin(fmax(left, 0), 1);
    return target_kg + (tank->from_kg - target_kg) * left;
}

/* A line can pull but not push: what floats off lifts the hanger, no more. */
static void load_hook(struct tank *tank, double from_kg, double from_s) {
    tank->from_kg = from_kg;
    tank->meniscus_kg = tank->declared.meniscus_halfwidth_kg * between(tank->hand, -1, 1);
    double swing_rad = tank->declared.swing_most_rad;
    double swing_rel = swing_rad * swing_rad / 4 * between(tank->swing, 0, 1);
    tank->target_kg =
        fmax(0, ballast_kg(tank) + hung_kg(tank) * (1 + swing_rel) + tank->meniscus_kg);
    tank->ramp_end_s = from_s + RAMP_S;
    touch(tank);
}

static void immerse(struct tank *tank) {
    double mean_kg = tank->item->trapped_kg;
    tank->trapped_kg = mean_kg > 0 ? gsl_ran_exponential(tank->hand, mean_kg) : 0;
    tank->hang_kg = gsl_ran_gaussian(tank->hand, tank->declared.hang_sd_kg);
    if (tank->depth_m != tank->declared.depth_m) {
        tank->trapped_kg *= 0.01; /* down there it is asked for with its air shaken out */
    }
}

/* By so much one shake differs from the item's usual one, either way. */
static const double SHAKE_VARIES = 0.05;

static void shake(struct tank *tank) {
    const struct tank_declared *declared = &tank->declared;
    double share =
        tank->shake_share[item_index(tank, tank->item)] + SHAKE_VARIES * between(tank->hand, -1, 1);
    share = fmin(fmax(share, declared->shake_share_low), declared->shake_share_high);
    tank->trapped_kg *= 1 - share;
    tank->hang_kg = gsl_ran_gaussian(tank->hand, tank->declared.hang_sd_kg);
    tank->shake_end_s = tank->time_s + TANK_SHAKE_S;
}

static bool is_act(const char *act, const char *name) {
    return strcmp(act, name) == 0;
}

static bool empties(const char *act) {
    return is_act(act, "bare-hook") || strncmp(act, "empty-in-", 9) == 0 || is_act(act, "lift-out");
}

static void hang_item(struct tank *tank, const struct act *act) {
    tank->item = act->item[0] != '\0' ? find_item(tank, act->item) : tank->item;
    tank->hung = is_act(act->name, "hang-in-air")  ? HUNG_AIR
                 : is_act(act->name, "hang-level") ? HUNG_LEVEL
                                                   : HUNG_WATER;
    if (is_act(act->name, "hang-level") || is_act(act->name, "hang-reference")) {
        tank->trapped_kg = 0;
        tank->hang_kg = gsl_ran_gaussian(tank->hand, tank->declared.hang_sd_kg);
    } else if (is_act(act->name, "immerse")) {
        immerse(tank);
    } else if (is_act(act->name, "shake")) {
        shake(tank);
    }
}

static void stop_wetting(struct tank *tank) {
    if (tank->hung == HUNG_WATER) {
        tank->wet_s[item_index(tank, tank->item)] += tank->time_s - tank->immersed_s;
    }
    tank->immersed_s = tank->time_s;
}

/* An act during a shake ends it. */
static void carry_out(struct tank *tank, const struct act *act) {
    double from_kg = tank_load_now(tank);
    stop_wetting(tank);
    tank->shake_end_s = 0;
    if (is_act(act->name, "add-ballast")) {
        tank->ballast = true;
    } else if (is_act(act->name, "hang-mass")) {
        tank->hung = HUNG_MASS;
        tank->mass_kg = act->number;
    } else if (is_act(act->name, "lower-hanger")) {
        tank->hung = HUNG_NOTHING;
        tank->depth_m = act->number;
    } else if (empties(act->name)) {
        tank->hung = HUNG_NOTHING;
        tank->ballast = tank->ballast && !is_act(act->name, "bare-hook");
    } else {
        hang_item(tank, act);
    }
    if (is_act(act->name, "shake")) {
        load_hook(tank, ballast_kg(tank), tank->shake_end_s);
    } else {
        load_hook(tank, from_kg, tank->time_s);
    }
}

/* What will be in the water when an act comes at a time: "" for nothing. */
static const char *in_water_at(const struct tank *tank, double at_s) {
    const char *item = tank->hung == HUNG_WATER ? tank->item->name : "";
    for (size_t i = 0; i < tank->acts && tank->act[i].at_s <= at_s; i++) {
        const struct act *act = &tank->act[i];
        if (is_act(act->name, "immerse")) {
            item = act->item;
        } else if (!is_act(act->name, "shake") && !is_act(act->name, "add-ballast")) {
            item = "";
        }
    }
    return item;
}

static bool is_possible(const struct tank *tank, const char *act, const char *item, double number,
                        double at_s) {
    if (is_act(act, "add-ballast") || empties(act)) {
        return true;
    }
    if (is_act(act, "hang-mass") || is_act(act, "lower-hanger")) {
        return isfinite(number) && number > 0;
    }
    if (is_act(act, "shake")) {
        const char *hangs = in_water_at(tank, at_s);
        return hangs[0] != '\0' && (item == NULL || item[0] == '\0' || is_act(item, hangs));
    }
    return (is_act(act, "hang-in-air") || is_act(act, "immerse") || is_act(act, "hang-reference") ||
            is_act(act, "hang-level")) &&
           find_item(tank, item) != NULL;
}

/* The queue is in the order of time; acts of one time in the order they were given. */
bool tank_act(struct tank *tank, const char *act, const char *item, double number, double at_s) {
    size_t place = tank->acts;
    struct act *next;
    if (tank->acts == ACTS_MAX || !isfinite(at_s) || !is_possible(tank, act, item, number, at_s)) {
        return false;
    }
    while (place > 0 && tank->act[place - 1].at_s > at_s) {
        place--;
    }
    next = &tank->act[place];
    memmove(next + 1, next, (tank->acts++ - place) * sizeof *next);
    memset(next, 0, sizeof *next);
    snprintf(next->name, sizeof next->name, "%s", act);
    snprintf(next->item, sizeof next->item, "%s", item != NULL ? item : "");
    next->number = number;
    next->at_s = at_s;
    return true;
}

void tank_act_when_due(struct tank *tank) {
    while (tank->acts > 0 && tank->act[0].at_s <= tank->time_s) {
        struct act act = tank->act[0];
        tank->acts--;
        memmove(tank->act, tank->act + 1, tank->acts * sizeof tank->act[0]);
        carry_out(tank, &act);
    }
}

/* ---- what it shows ---- */

double tank_ideal_counts(const struct tank *tank) {
    return tank->offset_counts + tank->counts_per_kg * (tank->target_kg + tank_soaked_now_kg(tank));
}

double tank_step_s(const struct tank *tank, double change_counts) {
    const struct tank_cell *cell = &tank->cell;
    double half_kg = fabs(change_counts / tank->counts_per_kg) / 2;
    double sway_s = cell->sway_decay_s * log(fabs(tank->sway_kg) / half_kg);
    double slosh_s = cell->slosh_decay_s * log(fabs(tank->slosh_kg) / half_kg);
    double ringing_s = fmax(sway_s, slosh_s);
    return ringing_s > 0 ? tank->touched_s + ringing_s : tank_ramp_middle_s(tank);
}

double tank_time_s(const struct tank *tank) {
    return tank->time_s;
}

double tank_thermometer_c(const struct tank *tank) {
    return round((tank->temp_c + tank->thermometer_error_k) * 100) / 100;
}

/* ---- the truth ---- */

/* Water fills what was empty: the item displaces so much less, in any water. */
static double displaced_m3(const struct tank *tank, const struct tank_item *item, double temp_c) {
    double soaked = soaked_kg(item, tank->wet_s[item_index(tank, item)]);
    return volume_at(tank, item, temp_c) - soaked / tank->water_kg_m3;
}

double tank_truth_in_tank_g(const struct tank *tank, const char *name) {
    const struct tank_item *item = find_item(tank, name);
    return item == NULL
               ? (double)NAN
               : (tank->water_kg_m3 * displaced_m3(tank, item, tank->temp_c) - item->mass_kg) * 1e3;
}

static double truth_at_density_g(const struct tank *tank, const char *name, double density_kg_m3,
                                 double temp_c) {
    const struct tank_item *item = find_item(tank, name);
    return item == NULL ? (double)NAN
                        : (density_kg_m3 * displaced_m3(tank, item, temp_c) - item->mass_kg) * 1e3;
}

double tank_truth_in_water_g(const struct tank *tank, const char *name, const char *water,
                             double density_kg_m3, double u_density_kg_m3, double temp_c) {
    return truth_at_density_g(tank, name,
                              density_kg_m3 + u_density_kg_m3 * water_error(tank, water), temp_c);
}

/* The same draw, turned from normal to rectangular by its distribution function. */
double tank_truth_in_range_g(const struct tank *tank, const char *name, const char *water,
                             double density_kg_m3, double halfwidth_kg_m3, double temp_c) {
    double error = erf(water_error(tank, water) / sqrt(2));
    return truth_at_density_g(tank, name, density_kg_m3 + halfwidth_kg_m3 * error, temp_c);
}
