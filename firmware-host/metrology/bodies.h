/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reference bodies of known mass and volume, weighed in the tank. Pure functions.
 *
 * The load by the calibration, times k (see weighing.h), is
 *
 *     o = (1 + s) (m - (rho + d) V)
 *
 * with s the relative error of the scale and d that of the presumed water density rho. One body
 * shows only whether the sum of both is within the claims. Two of different density separate them:
 * with A = 1 + s and B = A (rho + d) the equation o = A m - B V is linear.
 */
#pragma once

#include "upthrust/failure.h"
#include "upthrust/quantity.h"

struct up_body {
    struct up_quantity mass_kg;   /* true mass */
    struct up_quantity volume_m3; /* at the water's temperature */
    struct up_quantity water_kg;  /* o: the load in the water times k; u without what the scale and
                                     the water share, which is what is asked for */
};

/* One body. `scale_rel` and `water_kg_m3`: what is claimed; the scale's value is its known relative
   error, usually 0. */
struct up_body_check {
    struct up_quantity difference_kg; /* observed minus expected, for up_chart_judge */
    double e_n;                       /* difference over 2 u: beyond -1 to 1 the claims fail */
};

/* False, with a message, for a body that has no mass or volume, or a number that is not finite. */
bool up_check_body(const struct up_body *body, struct up_quantity scale_rel,
                   struct up_quantity water_kg_m3, struct up_body_check *check,
                   struct up_failure *failure);

struct up_separation {
    struct up_quantity scale_rel;           /* s; dof: the effective ones of the two weighings */
    struct up_quantity density_error_kg_m3; /* d */
    double covariance_kg_m3;                /* of both; their correlation times both u */
};

/* Two bodies. False, with a message, as above, where the lesser density is above 0.8 of the greater
   (a choice of ours: a scale error and a wrong water would look alike), and where the scale would
   be out by a factor of two. */
bool up_separate_bodies(const struct up_body body[2], double water_kg_m3,
                        struct up_separation *separation, struct up_failure *failure);
