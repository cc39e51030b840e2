/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "second_laws.h"

#include <gsl/gsl_randist.h>
#include <math.h>

static const double gram = 1e-3, minute = 60;

static const char rig_text[] = "[rig]\n"
                               "id = second-tank\n"
                               "[port]\n"
                               "kind = stdin\n"
                               "[line]\n"
                               "layout = fields\n"
                               "separator = comma\n"
                               "time_field = 1\n"
                               "time_unit = ms\n"
                               "load_field = 2\n"
                               "load_unit = counts\n"
                               "temp_field = 3\n"
                               "word_bits = 24\n"
                               "[sensor]\n"
                               "capacity_kg = 10\n"
                               "u_thermometer_k = 0.2\n"
                               "[tank]\n"
                               "water = fresh\n"
                               "solids_max_g_kg = 0.4\n"
                               "area_m2 = 0.5\n"
                               "line_diameter_mm = 1\n"
                               "depth_m = 0.4\n"
                               "meniscus_g = 0.05\n"
                               "ballast_kg = 2\n"
                               "[air]\n"
                               "temp_c = 21\n"
                               "u_temp_k = 1.5\n"
                               "pressure_pa = 100500\n"
                               "u_pressure_pa = 800\n"
                               "humidity = 0.55\n"
                               "u_humidity = 0.1\n"
                               "[masses]\n"
                               "tolerance_rel = 1e-4\n"
                               "[item]\n"
                               "temp_halfwidth_k = 0.5\n"
                               "[bench]\n"
                               "shake_share = 0.5\n"
                               "trials = 5\n";

const char *second_rig_text(void) {
    return rig_text;
}

static double between(gsl_rng *chance, double low, double high) {
    return gsl_ran_flat(chance, low, high);
}

static double either_sign(gsl_rng *chance) {
    return gsl_rng_uniform(chance) < 0.5 ? -1 : 1;
}

/* ---- what every rig has, in a measure that the rig file and the usual budget declare ---- */

/* Short form of OIML R 111-1, E.3-1. */
static double air_kg_m3(double temp_c, double pressure_pa, double humidity) {
    return (0.34848 * pressure_pa / 100 - 0.9 * humidity * exp(0.061 * temp_c)) / (273.15 + temp_c);
}

static double draw(const struct up_quantity *quantity, gsl_rng *chance) {
    return quantity->value + gsl_ran_gaussian(chance, quantity->u);
}

static void draw_air(struct second_truth *truth, const struct up_rig *rig, gsl_rng *chance) {
    double temp_c = draw(&rig->air.temp_c, chance);
    double pressure_pa = draw(&rig->air.pressure_pa, chance);
    double humidity = draw(&rig->air.humidity, chance);
    truth->tank.air_kg_m3 = air_kg_m3(temp_c, pressure_pa, fmin(1, fmax(0, humidity)));
}

static double density_kg_m3(struct up_water water, double *slope_kg_m3_k) {
    struct up_water_density density;
    water.u_temp_c = water.u_salinity_g_kg = 0;
    if (!up_water_density(&water, &density, NULL))
        return (double)NAN;
    if (slope_kg_m3_k)
        *slope_kg_m3_k = density.slope_kg_m3_k;
    return density.density_kg_m3.value;
}

static void draw_water(struct second_truth *truth, const struct up_rig *rig, gsl_rng *chance) {
    struct up_water water = rig->tank_water;
    water.depth_m = rig->depth_m;
    water.temp_c = truth->tank.water_c = between(chance, 12, 28);
    water.salinity_g_kg = between(chance, 0, rig->solids_max_g_kg);
    truth->tank.water_kg_m3 = density_kg_m3(water, &truth->tank.water_kg_m3_k);
    truth->thermometer_k = gsl_ran_gaussian(chance, rig->u_thermometer_k);
}

static void draw_waters_asked_for(struct second_truth *truth, const struct up_water waters[2],
                                  gsl_rng *chance) {
    for (int i = 0; i < 2; i++) {
        struct up_water water = waters[i];
        water.temp_c += gsl_ran_gaussian(chance, water.u_temp_c);
        double half_g_kg = sqrt(3) * water.u_salinity_g_kg;
        water.salinity_g_kg += water.salinity_range
                                   ? between(chance, -half_g_kg, half_g_kg)
                                   : gsl_ran_gaussian(chance, water.u_salinity_g_kg);
        truth->water_c[i] = water.temp_c;
        truth->water_kg_m3[i] = density_kg_m3(water, NULL);
    }
}

static void draw_rig(struct second_truth *truth, const struct up_rig *rig, gsl_rng *chance) {
    struct second_tank_law *tank = &truth->tank;
    tank->area_m2 = rig->tank_area_m2;
    tank->cord_area_m2 = M_PI * rig->cord_diameter_m * rig->cord_diameter_m / 4;
    tank->meniscus_kg = rig->meniscus_kg;
    tank->hanger_kg = 0.12;
    tank->ballast_kg = rig->ballast_kg + gsl_ran_gaussian(chance, 2 * gram);
    tank->item_k = between(chance, -rig->item_temp_halfwidth_k, rig->item_temp_halfwidth_k);
    tank->item_lag_s = between(chance, 300, 900);
    truth->masses_share = between(chance, -rig->mass_tolerance_rel, rig->mass_tolerance_rel);
}

static void draw_movements(struct second_tank_law *tank, gsl_rng *chance) {
    tank->hand_kg = between(chance, 30 * gram, 120 * gram);
    tank->bounce = (struct second_kick){5 * gram, 40 * gram, between(chance, 3, 4.4), 0.4, 10};
    tank->swing = (struct second_kick){2 * gram, 8 * gram, between(chance, 0.6, 1.2), 0.2, 0};
    tank->slosh = (struct second_kick){0.1 * gram, 0.6 * gram, between(chance, 0.3, 0.9), 0.1, 0};
}

/* A sound cell: what the data sheets of good beams state, and less. */
static void draw_cell(struct second_cell_law *cell, gsl_rng *chance) {
    *cell = (struct second_cell_law){.counts_g = between(chance, 300, 700), .held = 1};
    cell->zero_counts = between(chance, -2e5, 2e5);
    cell->noise_kg = between(chance, 0.08, 0.2) * gram;
    cell->noise_lag1 = between(chance, -0.2, 0.4);
    cell->scatter_kg = 0.03 * gram;
    cell->scatter_share = cell->return_share = 5e-5;
    cell->bend_per_kg = gsl_ran_gaussian(chance, 1e-5);
    double sign = either_sign(chance);
    for (int i = 0; i < SECOND_CREEPS; i++) {
        cell->creep[i] = cell->creep_unloading[i] = sign * between(chance, 1e-4, 5e-4);
        cell->creep_s[i] = i == 0 ? between(chance, 10, 45) : between(chance, 150, 600);
    }
    for (int i = 0; i < SECOND_PLAYS; i++) {
        cell->play_kg[i] = 0.05 * pow(3, i); /* 50, 150, 450, 1350 g */
        cell->play_share[i] = between(chance, 0, 1e-4);
    }
}

static void draw_slow_drift(struct second_tank_law *tank, double grams_an_hour, gsl_rng *chance) {
    tank->slow_kg_h = gsl_ran_gaussian(chance, grams_an_hour * gram);
    tank->wander_kg = fabs(gsl_ran_gaussian(chance, 0.2 * grams_an_hour * gram));
    tank->sine_phase = between(chance, 0, 2 * M_PI);
}

/* ---- the laws: what each adds or puts in the place of the above ---- */

typedef void law_draw(struct second_truth *truth, gsl_rng *chance);

static void quiet(struct second_truth *truth, gsl_rng *chance) {
    (void)truth;
    (void)chance;
}

/* Drag by the square of the speed: at first it dies out fast, at last hardly. */
static void ringing(struct second_truth *truth, gsl_rng *chance) {
    double bounce_hz = truth->tank.bounce.rate_hz, swing_hz = between(chance, 0.7, 1.1);
    truth->tank.bounce = (struct second_kick){30 * gram, 120 * gram, bounce_hz, 0.04, 15};
    truth->tank.swing = (struct second_kick){5 * gram, 30 * gram, swing_hz, 0.02, 12};
}

static void slosh(struct second_truth *truth, gsl_rng *chance) {
    double rate_hz = between(chance, 0.12, 0.3), loss_per_s = between(chance, 0.03, 0.08);
    truth->tank.slosh = (struct second_kick){0.2 * gram, 0.8 * gram, rate_hz, loss_per_s, 0};
}

static void creep(struct second_truth *truth, gsl_rng *chance) {
    double sign = either_sign(chance);
    for (int i = 0; i < SECOND_CREEPS; i++)
        truth->cell.creep[i] = truth->cell.creep_unloading[i] =
            sign * between(chance, 0.6e-3, 2.4e-3);
}

/* Coming off it creeps less, and at times the other way. */
static void creep_turns(struct second_truth *truth, gsl_rng *chance) {
    creep(truth, chance);
    for (int i = 0; i < SECOND_CREEPS; i++)
        truth->cell.creep_unloading[i] *= between(chance, -0.3, 0.5);
}

static void set_loop(struct second_cell_law *cell, double share) {
    for (int i = 0; i < SECOND_PLAYS; i++)
        cell->play_share[i] = share / SECOND_PLAYS;
}

static void loops(struct second_truth *truth, gsl_rng *chance) {
    set_loop(&truth->cell, between(chance, 1e-3, 4e-3));
}

static void slow_drift(struct second_truth *truth, gsl_rng *chance) {
    draw_slow_drift(&truth->tank, 4, chance);
}

static void held_words(struct second_truth *truth, gsl_rng *chance) {
    truth->cell.held = 2 + (unsigned)gsl_rng_uniform_int(chance, 2);
}

static void fast_drift(struct second_truth *truth, gsl_rng *chance) {
    truth->tank.sine_kg = between(chance, 1, 3) * gram;
    truth->tank.sine_s = between(chance, 200, 600);
}

static void drips(struct second_truth *truth, gsl_rng *chance) {
    truth->tank.drip_kg = between(chance, 0.6, 3) * gram;
    truth->tank.drip_s = 45;
}

static void degassing(struct second_truth *truth, gsl_rng *chance) {
    truth->tank.bubbles_kg_s = between(chance, 0.7, 1.3) * gram / minute;
}

static void composite(struct second_truth *truth, gsl_rng *chance) {
    ringing(truth, chance);
    slosh(truth, chance);
    creep(truth, chance);
    loops(truth, chance);
    fast_drift(truth, chance);
    truth->tank.sine_kg /= 2;
    drips(truth, chance);
    truth->tank.drip_kg /= 2;
    degassing(truth, chance);
    truth->tank.bubbles_kg_s /= 3;
}

/* Figures of recordings: creep of 0.2 to 0.4 % of the load a decade of time, of either sign, 0.01
   to 0.07 % coming off; zero back to 0.2 to 0.5 % of the load; scatter of loadings 0.2 to 0.4 % of
   it; a loop of 11 g in 2.5 kg; swing at 0.93 Hz, 5 to 25 g twenty seconds after the step; noise of
   0.13 to 0.2 g. A share a decade is 0.85 of what an exponential loses in all, where its time lies
   in that decade. The swing loses amplitude by quadratic drag alone: A(20 s) = A0 / (1 + c A0 20
   s). */
static void look_alike(struct second_truth *truth, gsl_rng *chance) {
    struct second_cell_law *cell = &truth->cell;
    double sign = either_sign(chance), back = either_sign(chance);
    double decade = sign * between(chance, 2e-3, 4e-3),
           back_decade = back * between(chance, 1e-4, 7e-4);
    for (int i = 0; i < SECOND_CREEPS; i++) {
        cell->creep[i] = decade / 0.85;
        cell->creep_unloading[i] = back_decade / 0.85;
    }
    cell->return_share = between(chance, 2e-3, 5e-3);
    cell->scatter_kg = between(chance, 0.3, 1) * gram;
    cell->scatter_share = between(chance, 2e-3, 4e-3);
    set_loop(cell, 11e-3); /* 2 * 11e-3 / 4 * (50 + 150 + 450 + 1350) g */
    cell->noise_kg = between(chance, 0.13, 0.2) * gram;
    cell->held = 1 + (unsigned)gsl_rng_uniform_int(chance, 3);
    truth->tank.swing = (struct second_kick){6 * gram, 60 * gram, 0.93, 0, 1.2};
}

struct second_law_row {
    const char *name;
    law_draw *draw;
    struct second_gear_ranges gear;
};

/* Air in kg, stuck share, steel in kg. A tenth is what is taken as stuck where nobody knows more.
 */
static const struct second_law_row row[SECOND_LAWS] = {
    [SECOND_QUIET] = {"quiet", quiet, {0.002, 0.04, 0, 0, 0, 0}},
    [SECOND_RINGING] = {"ringing, quadratic drag", ringing, {0.002, 0.04, 0, 0, 0, 0}},
    [SECOND_SLOSH] = {"slow slosh", slosh, {0.002, 0.04, 0, 0, 0, 0}},
    [SECOND_CREEP] = {"creep of two times", creep, {0.002, 0.04, 0, 0, 0, 0}},
    [SECOND_CREEP_TURNS] = {"creep, other unloading", creep_turns, {0.002, 0.04, 0, 0, 0, 0}},
    [SECOND_LOOPS] = {"loops", loops, {0.002, 0.04, 0, 0, 0, 0}},
    [SECOND_SLOW_DRIFT] = {"slow drift", slow_drift, {0.002, 0.04, 0, 0, 0, 0}},
    [SECOND_HELD_WORDS] = {"held words", held_words, {0.002, 0.04, 0, 0, 0, 0}},
    [SECOND_FAST_DRIFT] = {"fast drift", fast_drift, {0.002, 0.04, 0, 0, 0, 0}},
    [SECOND_DRIPS] = {"drips after lift-out", drips, {0.002, 0.04, 0, 0, 0, 0}},
    [SECOND_STUCK_NONE] = {"stuck air 0", quiet, {0.02, 0.12, 0, 0, 0, 0}},
    [SECOND_STUCK_TENTH] = {"stuck air 10 %", quiet, {0.02, 0.12, 0.1, 0.1, 0, 0}},
    [SECOND_STUCK_FIFTH] = {"stuck air 20 %", quiet, {0.02, 0.12, 0.2, 0.2, 0, 0}},
    [SECOND_DEGASSING] = {"degassing 1 g/min", degassing, {0.002, 0.04, 0, 0, 0, 0}},
    [SECOND_COMPOSITE] = {"composite", composite, {0.002, 0.04, 0, 0.1, 0, 0}},
    [SECOND_LOOK_ALIKE] = {"recorded look-alike", look_alike, {0.002, 0.04, 0, 0, 0, 0}},
    [SECOND_LOOK_ALIKE_STEEL] = {"look-alike, steel", look_alike, {0, 0, 0, 0, 0.3, 3}},
    [SECOND_LOOK_ALIKE_LIGHT_STEEL] = {"look-alike, light steel",
                                       look_alike,
                                       {0, 0, 0, 0, 0.1, 0.3}},
};

const char *second_law_name(enum second_law law) {
    return row[law].name;
}

void second_truth_draw(struct second_truth *truth, enum second_law law, const struct up_rig *rig,
                       const struct up_water waters[2], gsl_rng *chance) {
    *truth = (struct second_truth){0};
    draw_air(truth, rig, chance);
    draw_water(truth, rig, chance);
    draw_waters_asked_for(truth, waters, chance);
    draw_rig(truth, rig, chance);
    draw_movements(&truth->tank, chance);
    draw_cell(&truth->cell, chance);
    truth->measuring_span_share = gsl_ran_gaussian(chance, 3e-5);
    draw_slow_drift(&truth->tank, 0.5, chance);
    row[law].draw(truth, chance);
    second_gear_draw(&truth->item, &row[law].gear, rig, chance);
    second_gear_draw(&truth->other, &row[law].gear, rig, chance);
    second_gear_draw_body(&truth->body, chance);
}
