/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "second_tank.h"

#include <gsl/gsl_randist.h>
#include <math.h>
#include <string.h>

/* Handbook densities, kg/m3; the masses' is the conventional one of OIML R 111. */
static const double lead_kg_m3 = 11340, masses_kg_m3 = 8000;
static const double drop_kg = 5e-5; /* of water, the usual one of a burette */
static const double floor_stiffness = 0.02;

void second_tank_begin(struct second_tank *tank, const struct second_tank_law *law,
                       const struct second_cell_law *cell, gsl_rng *chance) {
    memset(tank, 0, sizeof *tank);
    tank->law = *law;
    tank->chance = chance;
    tank->lifted_s = -(double)INFINITY;
    second_cell_begin(&tank->cell, cell, chance);
}

/* ---- water and item ---- */

double second_tank_water_c(const struct second_tank *tank, double time_s) {
    return tank->law.water_c + tank->law.water_k_h * time_s / 3600;
}

double second_tank_water_kg_m3(const struct second_tank *tank, double time_s) {
    return tank->law.water_kg_m3 +
           tank->law.water_kg_m3_k * (second_tank_water_c(tank, time_s) - tank->law.water_c);
}

double second_item_volume_m3(const struct second_item *item, double temp_c) {
    return item->volume_m3 * (1 + item->expansion_per_k * (temp_c - 20));
}

double second_item_buoyancy_kg(const struct second_item *item, double water_kg_m3, double temp_c) {
    return water_kg_m3 * second_item_volume_m3(item, temp_c) - item->mass_kg;
}

static double item_temp_c(const struct second_tank *tank, double time_s) {
    double soak_s = time_s - tank->soaked_s;
    double warmer_k =
        tank->law.item_lag_s > 0 ? tank->law.item_k * exp(-soak_s / tank->law.item_lag_s) : 0;
    return second_tank_water_c(tank, time_s) + warmer_k;
}

/* ---- air, drips, touch, drift ---- */

static double bubbles_kg(const struct second_tank *tank, double time_s) {
    return tank->bubbles_kg + tank->law.bubbles_kg_s * (time_s - tank->bubbles_s);
}

double second_tank_air_kg(const struct second_tank *tank, double time_s) {
    if (!tank->hung.in_water)
        return 0;
    return tank->loose_kg + tank->stuck_kg + bubbles_kg(tank, time_s);
}

/* Drop by drop, each slower than the one before: the share lost grows as time to the power 2/3. */
double second_tank_drip_kg(const struct second_tank *tank, double time_s) {
    double since_s = time_s - tank->lifted_s;
    if (!(since_s >= 0 && since_s < tank->law.drip_s) || tank->hung.in_water)
        return 0;
    double share = since_s / tank->law.drip_s;
    return drop_kg * ceil(tank->law.drip_kg * (1 - pow(share, 2.0 / 3)) / drop_kg);
}

static double touch_kg(const struct second_tank *tank, double time_s) {
    if (tank->touch_kg == 0)
        return 0;
    double wave = 0.6 * sin(2 * M_PI * time_s / 31 + tank->touch_phase) +
                  0.4 * sin(2 * M_PI * time_s / 7.3 + 2 * tank->touch_phase);
    return tank->touch_kg * (1 + tank->law.touch_varies * wave);
}

double second_tank_drift_kg(const struct second_tank *tank, double time_s) {
    const struct second_tank_law *law = &tank->law;
    double drift_kg = law->slow_kg_h * time_s / 3600;
    drift_kg += law->wander_kg * (sin(2 * M_PI * time_s / 2900 + 5 * law->sine_phase) +
                                  0.5 * sin(2 * M_PI * time_s / 1700 + 3 * law->sine_phase));
    if (law->sine_s > 0)
        drift_kg += law->sine_kg * sin(2 * M_PI * time_s / law->sine_s + law->sine_phase);
    return drift_kg;
}

static double hand_kg(const struct second_tank *tank, double time_s) {
    if (!tank->hung.hand)
        return 0;
    return tank->law.hand_kg * (sin(2 * M_PI * 0.7 * time_s + tank->touch_phase) +
                                0.6 * sin(2 * M_PI * 1.9 * time_s + 2 * tank->touch_phase));
}

/* ---- what hangs ---- */

static double under_water_kg(const struct second_tank *tank, double time_s) {
    const struct second_item *item = tank->hung.in_water;
    if (!item)
        return 0;
    double water_kg_m3 = second_tank_water_kg_m3(tank, time_s);
    double volume_m3 = second_item_volume_m3(item, item_temp_c(tank, time_s));
    double air_kg = second_tank_air_kg(tank, time_s);
    double level_m = (volume_m3 + air_kg / water_kg_m3) / tank->law.area_m2;
    double cord_lift_kg = water_kg_m3 * tank->law.cord_area_m2 * level_m;
    if (tank->hung.unhooked)
        return -cord_lift_kg;
    return item->mass_kg - water_kg_m3 * volume_m3 - air_kg - cord_lift_kg - touch_kg(tank, time_s);
}

/* A line cannot push: where more lifts than hangs it goes slack. Where the ballast stands on the
   floor, the floor carries what the line does not. */
static double cord_kg(const struct second_tank *tank, double time_s) {
    const struct second_tank_law *law = &tank->law;
    double water_kg_m3 = second_tank_water_kg_m3(tank, time_s);
    double ballast_kg = law->ballast_kg * (1 - water_kg_m3 / lead_kg_m3) * tank->hung.ballast_share;
    double pull_kg = law->hanger_kg + ballast_kg + under_water_kg(tank, time_s) + tank->meniscus_kg;
    if (law->floor_kg > 0 && tank->hung.ballast_share > 0 && pull_kg > law->floor_kg)
        pull_kg = law->floor_kg + floor_stiffness * (pull_kg - law->floor_kg);
    return fmax(0, pull_kg) + second_tank_drip_kg(tank, time_s);
}

double second_tank_hung_kg(const struct second_tank *tank, double time_s) {
    const struct second_item *item = tank->hung.in_air;
    double air_kg_m3 = tank->law.air_kg_m3;
    double hung_kg = tank->hung.masses_kg * (1 - air_kg_m3 / masses_kg_m3);
    if (item)
        hung_kg += item->mass_kg -
                   air_kg_m3 * second_item_volume_m3(item, second_tank_water_c(tank, time_s));
    return hung_kg + cord_kg(tank, time_s);
}

/* ---- changes ---- */

static void go_under(struct second_tank *tank, double time_s, const struct second_item *item) {
    if (item != tank->soaked) {
        tank->soaked = item;
        tank->soaked_s = time_s;
    }
    double air_kg = item->air_kg * fmax(0, 1 + gsl_ran_gaussian(tank->chance, 0.1));
    tank->stuck_kg = air_kg * item->stuck_share;
    tank->loose_kg = air_kg - tank->stuck_kg;
    tank->bubbles_kg = 0;
    tank->bubbles_s = time_s;
}

static void kick(struct second_tank *tank, double time_s, const struct second_kick *kick) {
    struct second_swing swing = {.start_s = time_s,
                                 .rate_hz = kick->rate_hz,
                                 .linear_per_s = kick->linear_per_s,
                                 .square_per_kg_s = kick->square_per_kg_s};
    swing.amplitude_kg = gsl_ran_flat(tank->chance, kick->low_kg, kick->high_kg);
    swing.phase = gsl_ran_flat(tank->chance, 0, 2 * M_PI);
    if (kick->high_kg > 0)
        second_motion_start(&tank->motion, &swing);
}

static void let_go(struct second_tank *tank, double time_s) {
    kick(tank, time_s, &tank->law.bounce);
    kick(tank, time_s, &tank->law.swing);
    kick(tank, time_s, &tank->law.slosh);
}

/* Each hanging touches in its own way, and has a meniscus of its own. */
static void hang_anew(struct second_tank *tank) {
    const struct second_tank_law *law = &tank->law;
    double differs = law->touch_varies > 0 ? gsl_ran_flat(tank->chance, 0.2, 1.8) : 1;
    tank->touch_kg = tank->hung.in_water ? law->touch_kg * differs : 0;
    tank->touch_phase = gsl_ran_flat(tank->chance, 0, 2 * M_PI);
    tank->meniscus_kg = gsl_ran_flat(tank->chance, -law->meniscus_kg, law->meniscus_kg);
}

void second_tank_change(struct second_tank *tank, double time_s, const struct second_hung *hung) {
    struct second_hung before = tank->hung;
    if (hung->in_water && hung->in_water != before.in_water)
        go_under(tank, time_s, hung->in_water);
    if (before.in_water && !hung->in_water)
        tank->lifted_s = time_s;
    tank->hung = *hung;
    if (hung->in_water != before.in_water || hung->unhooked != before.unhooked)
        hang_anew(tank);
    second_cell_load(&tank->cell, time_s, second_tank_hung_kg(tank, time_s));
    if (hung->hand)
        tank->motion.started = 0; /* a hand that holds it lets nothing swing */
    else
        let_go(tank, time_s);
}

void second_tank_shake(struct second_tank *tank, double time_s) {
    const struct second_item *item = tank->soaked;
    tank->bubbles_kg = bubbles_kg(tank, time_s) * (1 - item->shake_share);
    tank->bubbles_s = time_s;
    tank->loose_kg *= 1 - item->shake_share;
}

double second_tank_word(struct second_tank *tank, double time_s) {
    double extra_kg = second_tank_hung_kg(tank, time_s) - tank->cell.load_kg +
                      second_tank_drift_kg(tank, time_s) + hand_kg(tank, time_s) +
                      second_motion_kg(&tank->motion, time_s);
    return second_cell_word(&tank->cell, time_s, extra_kg);
}
