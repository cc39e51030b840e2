/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A reference body at the bench: its mass and volume are known from elsewhere, so that its weight
 * under water is known before it is weighed. What the bench reads checks calibration and water at
 * once; two bodies of different density separate them (bodies.h). The deviations of one body are
 * its control chart (chart.h): a point outside stops the session unless somebody confirms it, and
 * then the record says so.
 */
#ifndef UPTHRUST_REFERENCE_H
#define UPTHRUST_REFERENCE_H

#include <stdbool.h>

#include "upthrust/chart.h"
#include "upthrust/item.h"
#include "upthrust/quantity.h"

enum { UP_REFERENCES_MAX = 2 }; /* in one session */

struct up_reference {
    char id[UP_ID_SIZE]; /* UUID in lower case */
    char name[UP_NAME_SIZE];
    struct up_quantity mass_kg;   /* true mass: weighed in air, its lift there allowed for */
    struct up_quantity volume_m3; /* at 20 degrees C */
    double expansion_per_k, u_expansion_per_k; /* of the volume; 0: not stated, taken as none */
    bool elsewhere;                            /* `find` sets it: it came by import or merge */
};

/* At a temperature; its u with that of the expansion. */
struct up_quantity up_reference_volume_m3(const struct up_reference *reference, double temp_c);

/* To be weighed, with the chart of its deviations so far. */
struct up_reference_plan {
    struct up_reference reference;
    struct up_chart chart;
};

struct up_reference_check {
    char id[UP_ID_SIZE];
    char name[UP_NAME_SIZE];
    double load_counts; /* difference to the tares, made linear */
    double water_kg;    /* that load, as mass less displaced water: positive hangs */
    double u_water_kg;  /* without slope and masses, which all weighings share */
    double expected_kg; /* m - rho_w V, V at the water's temperature */
    double water_kg_m3, water_temp_c;
    struct up_quantity deviation_kg; /* positive: reads too heavy */
    double e_n;                      /* deviation over twice its uncertainty */
    double low_kg, high_kg;          /* the limits it was held against */
    bool by_history;                 /* they come from the chart, else from its own uncertainty */
    bool outside, confirmed;         /* confirmed: somebody went on all the same */
};

#endif
