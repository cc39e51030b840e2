/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is hung in the second tank: invented gear, and steel. */
#include "second_laws.h"

#include <gsl/gsl_randist.h>
#include <math.h>

#include "upthrust/item.h"

static const double steel_kg_m3 = 7850, nominal_kg_m3 = 998;

static double between(gsl_rng *chance, double low, double high) {
    return gsl_ran_flat(chance, low, high);
}

static double between_logs(gsl_rng *chance, double low, double high) {
    return low * pow(high / low, gsl_rng_uniform(chance));
}

/* A third of what is weighed lies within the usual tolerance, a third floats, a third sinks. */
static double draw_buoyancy_kg(gsl_rng *chance) {
    switch (gsl_rng_uniform_int(chance, 3)) {
    case 0:
        return between(chance, -0.045, 0.045);
    case 1:
        return between(chance, 0.06, 0.5);
    default:
        return between(chance, -0.7, -0.06);
    }
}

static void draw_piece(struct second_item *item, gsl_rng *chance) {
    item->volume_m3 = between_logs(chance, 0.5e-3, 3.5e-3);
    item->mass_kg = nominal_kg_m3 * item->volume_m3 - draw_buoyancy_kg(chance);
    if (item->mass_kg < 0.1)
        item->mass_kg = 0.1;
    double half_per_k = sqrt(3) * UP_U_EXPANSION_PER_K;
    item->expansion_per_k = UP_EXPANSION_PER_K + between(chance, -half_per_k, half_per_k);
}

static void draw_steel(struct second_item *item, const struct second_gear_ranges *ranges,
                       gsl_rng *chance) {
    item->mass_kg = between_logs(chance, ranges->steel_low_kg, ranges->steel_high_kg);
    item->volume_m3 = item->mass_kg / steel_kg_m3;
    item->expansion_per_k = 35e-6;
}

void second_gear_draw(struct second_item *item, const struct second_gear_ranges *ranges,
                      const struct up_rig *rig, gsl_rng *chance) {
    *item = (struct second_item){0};
    if (ranges->steel_high_kg > 0) {
        draw_steel(item, ranges, chance);
        return;
    }
    draw_piece(item, chance);
    item->shake_share = between(chance, rig->shake_share, 0.95);
    if (ranges->air_high_kg > 0)
        item->air_kg = between_logs(chance, ranges->air_low_kg, ranges->air_high_kg);
    item->stuck_share = between(chance, ranges->stuck_low, ranges->stuck_high);
}

void second_gear_make_float(struct second_item *item, gsl_rng *chance) {
    double lift_kg = between(chance, 0.2, 0.45);
    item->volume_m3 = fmax(item->volume_m3, 1e-3);
    item->mass_kg = nominal_kg_m3 * item->volume_m3 - lift_kg;
}

void second_gear_make_stock(struct second_item *item, gsl_rng *chance) {
    double line_kg = UP_TOLERANCE_ONE_G / 1e3 * (gsl_rng_uniform(chance) < 0.5 ? -1 : 1);
    double near_kg = line_kg + between(chance, -0.05, 0.05);
    double far_kg =
        gsl_rng_uniform(chance) < 0.6 ? between(chance, -0.9, -0.1) : between(chance, 0.1, 0.5);
    double buoyancy_kg = gsl_rng_uniform(chance) < 0.25 ? near_kg : far_kg;
    item->volume_m3 = fmax(item->volume_m3, (buoyancy_kg + 0.1) / nominal_kg_m3);
    item->mass_kg = nominal_kg_m3 * item->volume_m3 - buoyancy_kg;
}

void second_gear_draw_body(struct second_item *body, gsl_rng *chance) {
    *body = (struct second_item){.expansion_per_k = 69e-6};
    body->mass_kg = 2 + gsl_ran_gaussian(chance, 5e-5);
    body->volume_m3 = 2 / 2700.0 + gsl_ran_gaussian(chance, 1e-7);
}
