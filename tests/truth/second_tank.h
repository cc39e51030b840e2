/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The second tank: water, hanger, item and what disturbs them, written from physics by somebody who
 * had not read how the bench weighs. Its cell is second_cell.h, its movements second_motion.h.
 *
 * What hangs is changed by second_tank_change, in the order of time; between changes every force is
 * a function of time. Loads are in kg: the mass whose weight equals the pull on the cell.
 */
#ifndef SECOND_TANK_H
#define SECOND_TANK_H

#include <stdbool.h>

#include "second_cell.h"
#include "second_motion.h"

/* True values. Air is given by its lift. */
struct second_item {
    double mass_kg, volume_m3; /* at 20 degrees C */
    double expansion_per_k;
    double air_kg;      /* goes under with it, give or take a tenth */
    double stuck_share; /* of that, what no shake frees */
    double shake_share; /* of the rest, what one shake frees */
};

struct second_kick { /* a movement that each change of the load starts */
    double low_kg, high_kg, rate_hz, linear_per_s, square_per_kg_s;
};

struct second_tank_law {
    double water_c, water_kg_m3, water_kg_m3_k; /* density there, and its slope */
    double water_k_h;                           /* it warms by so much an hour */
    double air_kg_m3;
    double area_m2, cord_area_m2, meniscus_kg; /* meniscus: a new one within +- at each change */
    double hanger_kg;                          /* its weight under water */
    double ballast_kg;                         /* in air, lead */
    double floor_kg;   /* above 0: the ballast stands on the floor, the line pulls so much */
    double item_k;     /* the item is warmer than the water when it goes under first */
    double item_lag_s; /* and loses that with this time constant */
    double sine_kg, sine_s, sine_phase; /* zero of the cell: fast drift */
    double slow_kg_h, wander_kg;        /* and slow drift: a line, and two waves of an hour */
    double drip_kg, drip_s;             /* water that drips off after a lift-out */
    double bubbles_kg_s;                /* lift of bubbles that form on what is under water */
    double touch_kg, touch_varies;      /* floor or wall carry the item; share that varies */
    double hand_kg;                     /* the push of a hand at work */
    struct second_kick bounce, swing, slosh;
};

/* What hangs where. NULL: nothing. */
struct second_hung {
    double masses_kg;     /* true mass of the known masses on the upper hook, density 8000 kg/m3 */
    double ballast_share; /* of the ballast that hangs: 0, 1, or what a slip left */
    const struct second_item *in_air, *in_water;
    bool unhooked; /* what is in the water is held there, off the hook */
    bool hand;     /* somebody touches what hangs */
};

struct second_tank {
    struct second_tank_law law;
    struct second_cell cell;
    struct second_motion motion;
    gsl_rng *chance; /* borrowed */
    struct second_hung hung;
    const struct second_item *soaked; /* the item under way, and when it first went under */
    double soaked_s;
    double loose_kg, stuck_kg, bubbles_kg, bubbles_s; /* bubbles: those of bubbles_s */
    double touch_kg, touch_phase, meniscus_kg;
    double lifted_s; /* before the first lift-out: minus infinity */
};

void second_tank_begin(struct second_tank *tank, const struct second_tank_law *law,
                       const struct second_cell_law *cell, gsl_rng *chance);

void second_tank_change(struct second_tank *tank, double time_s, const struct second_hung *hung);
void second_tank_shake(struct second_tank *tank, double time_s);

/* The pull of all that hangs. */
double second_tank_hung_kg(const struct second_tank *tank, double time_s);
double second_tank_drift_kg(const struct second_tank *tank, double time_s);
double second_tank_air_kg(const struct second_tank *tank, double time_s);
double second_tank_drip_kg(const struct second_tank *tank, double time_s);

double second_tank_word(struct second_tank *tank, double time_s);

double second_tank_water_c(const struct second_tank *tank, double time_s);
double second_tank_water_kg_m3(const struct second_tank *tank, double time_s);

double second_item_volume_m3(const struct second_item *item, double temp_c);
/* Net buoyancy without air at the temperature of a water. */
double second_item_buoyancy_kg(const struct second_item *item, double water_kg_m3, double temp_c);

#endif
