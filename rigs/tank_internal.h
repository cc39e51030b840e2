/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the tank and its cell share. */
#ifndef TANK_INTERNAL_H
#define TANK_INTERNAL_H

#include <gsl/gsl_rng.h>

#include "tank.h"

enum { CREEP_STATES = 3, PLAYS = 4, ACTS_MAX = 16, ITEMS_MAX = 64 };

#define RAMP_S 0.5
#define TURN   6.283185307179586

enum hung { HUNG_NOTHING, HUNG_MASS, HUNG_AIR, HUNG_WATER, HUNG_LEVEL };

struct act {
    char name[24], item[80];
    double number, at_s;
};

struct tank {
    struct tank_declared declared;
    struct tank_cell cell;
    unsigned long seed;
    /* apart, so that one more draw here shifts none there */
    gsl_rng *session, *noise, *hand, *swing;

    /* drawn once a session */
    double temp_c, thermometer_error_k, solids_g_kg, water_kg_m3, air_kg_m3;
    double expansion_per_k[ITEMS_MAX], item_offset_k[ITEMS_MAX], shake_share[ITEMS_MAX];
    double counts_per_kg, offset_counts, creep_rel, drift_counts_s, curvature_per_kg,
        hysteresis_rel;

    /* now */
    double time_s, noise_counts, walk_counts;
    double creep_kg[CREEP_STATES], play_kg[PLAYS];
    bool ballast;
    enum hung hung;
    double depth_m;
    const struct tank_item *item;
    double mass_kg, trapped_kg, hang_kg, meniscus_kg;
    double wet_s[ITEMS_MAX], immersed_s;   /* time under water until the last lift; since when */
    double target_kg, from_kg, ramp_end_s; /* the load moves from one to the other */
    double shake_end_s;                    /* off the hook until then; 0 for no shake */
    double touched_s, sway_kg, slosh_kg, sway_phase, slosh_phase;
    struct act act[ACTS_MAX];
    size_t acts;
};

/* tank.c */
double tank_soaked_now_kg(const struct tank *tank);
double tank_load_now(const struct tank *tank); /* kg, while it changes too */
void tank_act_when_due(struct tank *tank);
/* tank_cell.c */
double tank_ramp_middle_s(const struct tank *tank);

#endif
