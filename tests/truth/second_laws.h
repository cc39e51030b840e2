/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The laws that the second tank can follow, and one session's truth drawn from them: what the rig
 * file declares is drawn from the distribution it declares; what a law adds, from the law's own.
 */
#ifndef SECOND_LAWS_H
#define SECOND_LAWS_H

#include "second_tank.h"

#include "upthrust/rig.h"

enum second_law {
    SECOND_QUIET,
    SECOND_RINGING,
    SECOND_SLOSH,
    SECOND_CREEP,
    SECOND_CREEP_TURNS,
    SECOND_LOOPS,
    SECOND_SLOW_DRIFT,
    SECOND_HELD_WORDS,
    SECOND_FAST_DRIFT,
    SECOND_DRIPS,
    SECOND_STUCK_NONE,
    SECOND_STUCK_TENTH,
    SECOND_STUCK_FIFTH,
    SECOND_DEGASSING,
    SECOND_COMPOSITE,
    SECOND_LOOK_ALIKE,
    SECOND_LOOK_ALIKE_STEEL,
    SECOND_LOOK_ALIKE_LIGHT_STEEL,
    SECOND_LAWS
};

const char *second_law_name(enum second_law law);

/* True values of one calibration and one measurement. */
struct second_truth {
    struct second_tank_law tank;
    struct second_cell_law cell;
    double measuring_span_share;          /* the cell is not as warm as it was calibrated */
    double masses_share;                  /* all masses are off by this share */
    double thermometer_k;                 /* it reads so much too high */
    struct second_item item, other, body; /* other: what may be hung by mistake */
    double water_kg_m3[2], water_c[2];    /* of the waters asked for */
};

/* The rig file of the second tank. */
const char *second_rig_text(void);

void second_truth_draw(struct second_truth *truth, enum second_law law, const struct up_rig *rig,
                       const struct up_water waters[2], gsl_rng *chance);

/* second_gear.c */
struct second_gear_ranges {
    double air_low_kg, air_high_kg; /* of an item that holds air; high 0: none does */
    double stuck_low, stuck_high;
    double steel_low_kg, steel_high_kg; /* it is a piece of steel; high 0: it is gear */
};
void second_gear_draw(struct second_item *item, const struct second_gear_ranges *ranges,
                      const struct up_rig *rig, gsl_rng *chance);
/* Of the same volume, it lifts more than the bare hanger weighs. */
void second_gear_make_float(struct second_item *item, gsl_rng *chance);
/* Of the same volume, as a shop's stock lies: a quarter within one tolerance of a line, of the rest
   three in five sink. */
void second_gear_make_stock(struct second_item *item, gsl_rng *chance);
/* A body of aluminium, 2 kg, known within 50 mg and 0.1 cm3 (standard uncertainties). */
void second_gear_draw_body(struct second_item *body, gsl_rng *chance);

#endif
