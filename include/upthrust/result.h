/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A result: one item in one water, as the catalogue keeps it and other tools read it.
 */
#ifndef UPTHRUST_RESULT_H
#define UPTHRUST_RESULT_H

#include <stdint.h>

#include "upthrust/gas.h"
#include "upthrust/item.h"
#include "upthrust/moment.h"
#include "upthrust/reference.h"
#include "upthrust/water.h"
#include "upthrust/weighing.h"

/* What was in it when it was weighed. */
struct up_filling {
    char gas[32];        /* "air", "EAN32", ...; "none": emptied; empty: not stated */
    double pressure_bar; /* as its gauge shows, above that of the air */
};

/* Why a quick weighing states no class, so that the item is put aside for the full one. */
enum up_aside {
    UP_ASIDE_NOT,
    UP_ASIDE_NEAR,    /* the interval reaches over the line */
    UP_ASIDE_AIR,     /* with the air that may still be in it it does */
    UP_ASIDE_SCATTER, /* two immersions of a new kind do not show how far trials scatter */
    UP_ASIDES
};

/* How a quick result came about. What may have acted one way only, or by an amount of which only a
   limit is known, is a bound and no part of u. */
struct up_quick {
    bool is;      /* false: a full weighing, nothing below counts */
    bool at_most; /* nothing was shaken, so air may lift it by any amount: b is at most high_kg, and
                     the answer's half-width is NaN */
    unsigned analysis;
    double bound_one, bound_two;        /* the boundaries for u's degrees of freedom */
    double early_kg, margin_kg;         /* of readings that ended early; of what nobody checks */
    double air_kg;                      /* that may still be in it; infinite with at_most */
    double low_kg, high_kg;             /* repeated confidence interval */
    double class_low_kg, class_high_kg; /* by which the class is stated */
    enum up_aside aside;
    unsigned immersions, shakes;    /* shakes of all immersions */
    unsigned readings, ended_early; /* of the item and of the hanger after it; of those so many */
    double mass_kg, u_mass_kg;      /* dry, by another scale; 0: not told */
};

struct up_result {
    char item_id[UP_ID_SIZE], run_id[UP_ID_SIZE];
    struct up_water water; /* name "tank" for the tank itself */
    bool measured;         /* basis: measured there, or calculated */
    bool simulated;        /* on a simulated bench: of invented gear */
    struct up_quantity water_density_kg_m3;
    double immersion_depth_m;
    double air_pressure_pa;
    double soak_s; /* from the first immersion to the reading of the last trial that counts */
    bool compressible;
    struct up_answer answer;
    struct up_question question;
    unsigned trials;   /* in the mean */
    uint64_t left_out; /* bit i: trial i + 1 was, by the operator's word */
    /* Heavier with the time under water (t test, 99 %): it goes on taking up water. NaN where there
       are too few trials. With four or more, the number is that at the stated soak, by the line
       through the trials, and not their mean. */
    bool takes_up_water, at_last_soak;
    double uptake_g_min, u_uptake_g_min;
    /* Bubbles form on it, or water drips off when the empty hanger is read after it: slopes of the
       readings say so (t test, 99 %), and the budget carries it. */
    bool forms_bubbles, drips;
    double bubbles_g_min, u_bubbles_g_min;              /* NaN: too few trials, or typed ones */
    struct up_reference_check check[UP_REFERENCES_MAX]; /* reference bodies of the session */
    unsigned checks;
    /* The tank's result only. Net mean of the trials that count, and what was added to it for air
       that they may still hold, and for all else; NaN where it is not known. */
    double trials_mean_kg, air_correction_kg, other_corrections_kg;
    struct up_moment moment;
    double second_depth_m; /* 0: weighed at one depth */
    struct up_quantity second_buoyancy_kg;
    struct up_gas gas; /* what the two depths show; */
    bool has_gas;      /* false: no gas law explains them */
    char method[320];  /* code version, calibration, rule */
    char calibration_id[UP_ID_SIZE];
    struct up_weighing weighing; /* the model and its terms: from them it can be computed again */
    bool has_model;              /* false: read from a record of before it was kept */
    bool trials_would_decide;    /* undecided: so many more would, the estimate staying */
    unsigned more_trials;
    struct up_filling filling;
    int pieces;    /* of the item, all together: 1, 2 for a pair; 0: not stated */
    bool rejudged; /* the class is that of a later decision */
    struct up_quick quick;
};

#endif
